"""Make the demonstration: the invented plant, a whole job of CH-1, the beginnings of the other two,
and CH-1's record.

Run:  python workbook/demo.py [folder]
"""

from __future__ import annotations

import shutil
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

HERE = Path(__file__).resolve().parent
if str(HERE.parent) not in sys.path:
    sys.path.insert(0, str(HERE.parent))

from startkit.errors import StartkitError
from startkit.facts.job import Job
from startkit.facts.trend.importer import import_file
from startkit.procedure.assessment import of_job
from startkit.procedure.registry import for_job
from workbook.measured import Measured
from workbook.people import TECHNICIAN
from workbook.releasing import Releasing
from workbook.story import MADE_AT, MOUNTAIN, Chapter, chapters, moment, stamp
from workbook.story_begun import begun
from workbook.story_running import TREND, TREND_CHAPTER
from workbook.trend_model import confirmed_map, load_up_day

PLANT = HERE / "plant"
PHOTOGRAPHS = "photographs"
MARK = "demonstration.txt"
WHOLE = "CH-1"
SYSTEMS = {"CH-1": "SI", "CH-2": "I-P", "CH-3": "SI"}
BEGUN_AT = {"CH-2": stamp(moment("21 14:55", MOUNTAIN)), "CH-3": stamp(moment("22 09:20"))}


def build(folder: Path, measured: Measured | None = None) -> dict[str, Path]:
    """The fleet's folder with its three jobs.

    Parameters
    ----------
    folder : pathlib.Path
        Rebuilt if it holds an earlier demonstration.
    measured : Measured, optional
        Readings of CH-1; default: those of the story.

    Returns
    -------
    dict of str -> pathlib.Path
        Job folder by tag.
    """
    folder, measured = Path(folder), measured or Measured()
    _clear(folder)
    shutil.copytree(PLANT, folder, ignore=shutil.ignore_patterns(PHOTOGRAPHS))
    (folder / MARK).write_text(
        "Made by workbook/demo.py and rebuilt each time it runs: keep nothing of your own in"
        " here.\n",
        encoding="utf-8",
    )
    jobs = folder / "jobs"
    jobs.mkdir()
    told = {WHOLE: chapters(measured), **{tag: begun(tag) for tag in BEGUN_AT}}
    return {tag: _job(folder, jobs / tag, tag, story, measured) for tag, story in told.items()}


def _clear(folder: Path) -> None:
    """Remove an earlier demonstration, and nothing else."""
    if not folder.exists() or not any(folder.iterdir()):
        shutil.rmtree(folder, ignore_errors=True)
    elif (folder / MARK).is_file():
        shutil.rmtree(folder)
    else:
        raise StartkitError(
            "the folder contains something else",
            str(folder),
            "give the name of a new folder",
        )


def _job(
    fleet: Path, folder: Path, tag: str, story: tuple[Chapter, ...], measured: Measured
) -> Path:
    from startkit.facts.plugins import find_template

    made_at = BEGUN_AT.get(tag, stamp(moment(MADE_AT)))
    job = Job.create(
        folder,
        fleet / "machines" / f"{tag}.toml",
        find_template("new-machine"),
        SYSTEMS[tag],
        TECHNICIAN,
        fleet / "specification.toml",
        made_at,
    )
    if (PLANT / PHOTOGRAPHS / tag).is_dir():
        shutil.copytree(PLANT / PHOTOGRAPHS / tag, folder / PHOTOGRAPHS)
    stages = for_job(job)
    released = Releasing(job.record, lambda: of_job(job, stages))
    for chapter in story:
        if chapter.title == TREND_CHAPTER:
            _import_trend(job, measured, stamp(moment(chapter.begins, chapter.zone)))
        released.tell(chapter.entries(), stages)
    return folder


def _import_trend(job: Job, measured: Measured, at: str) -> None:
    """The panel's log as the technician brings it in: the file, and its map looked through and
    confirmed.
    """
    with TemporaryDirectory() as stick:
        path, map_path = Path(stick) / f"{TREND}.csv", Path(stick) / f"{TREND}.toml"
        path.write_text(load_up_day(measured).text, encoding="utf-8", newline="\n")
        map_path.write_text(confirmed_map(path, job.machine), encoding="utf-8", newline="\n")
        import_file(job, path, map_path, TECHNICIAN, at)


def main(arguments: list[str]) -> int:
    """Build, print the record, print where things are."""
    from startkit.desk.report import status_lines
    from startkit.fleet.task import print_alone

    folder = Path(arguments[0]) if arguments else Path("out") / "demo"
    try:
        jobs = build(folder)
        record = print_alone(jobs[WHOLE], "", "full", "").path
    except StartkitError as error:
        print(f"demo: {error}", file=sys.stderr)
        return 2
    lines, _ = status_lines(jobs[WHOLE])
    print("\n".join(lines))
    print(f"\nRecord (PDF):      {record}")
    print(f"Executed notebook: {record.parent / (WHOLE + '.ipynb')}")
    print(f"Job:               {jobs[WHOLE]}   open it with:  startkit open {jobs[WHOLE]}")
    print(f"Started:           {', '.join(str(jobs[tag]) for tag in BEGUN_AT)}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
