"""What the current folder is (a job, a fleet, or neither) and what to do next there."""

from __future__ import annotations

from pathlib import Path

from startkit.desk.report import status_lines
from startkit.facts.job import DATABASE
from startkit.fleet.folder import SETTINGS, load
from startkit.fleet.index import Index
from startkit.fleet.summary import Summary
from startkit.verdict import Outcome

BEGIN = (
    "To begin:",
    "  startkit sheet CH-7.toml                    a blank machine sheet, to fill in",
    "  startkit new jobs/CH-7 --sheet CH-7.toml    a job from it",
    "  startkit open jobs/CH-7                     its notebook",
    "All commands: startkit --help. This computer: startkit doctor.",
)


def lines(folder: Path) -> tuple[list[str], bool]:
    """Lines to print in a folder, and whether all is clear there.

    Parameters
    ----------
    folder : pathlib.Path
        A folder inside a job or a fleet counts as that job or fleet.
    """
    start = Path(folder).resolve()
    for place in (start, *start.parents):
        if (place / DATABASE).is_file():
            found, clear = status_lines(place)
            return [f"You are in the job {place.name}.", *found], clear
        if (place / SETTINGS).is_file():
            return _fleet(place)
    return [f"startkit: no job in {start.name or start}.", *_jobs_below(start), *BEGIN], True


def _jobs_below(folder: Path) -> list[str]:
    below = sorted(
        path.parent.relative_to(folder)
        for depth in ("*", "*/*")
        for path in folder.glob(f"{depth}/{DATABASE}")
    )
    shown = [f"  startkit status {job.as_posix()}" for job in below[:12]]
    more = [f"  and {len(below) - 12} more"] if len(below) > 12 else []
    return ["Jobs below this folder:", *shown, *more] if below else []


def _fleet(folder: Path) -> tuple[list[str], bool]:
    fleet = load(folder)
    summaries = Index(fleet).summaries()
    clear = [summary for summary in summaries if _is_clear(summary)]
    head = (
        f"You are in the fleet {fleet.name}: {len(summaries)} jobs, {len(clear)} clear to hand"
        " over."
    )
    following = (
        "Next: startkit fleet register ."
        if len(clear) == len(summaries)
        else "Next: startkit open JOB for one of them; startkit fleet register . for all."
    )
    return [
        head,
        *map(_job_line, summaries),
        following if summaries else "Next: startkit fleet new . LIST.",
    ], len(clear) == len(summaries)


def _is_clear(summary: Summary) -> bool:
    return not summary["fault"] and all(hold["clear"] for hold in summary["holds"])


def _job_line(summary: Summary) -> str:
    if summary["fault"]:
        return f"  {Outcome.FAIL.mark} {summary['job']:20} {summary['fault']}"
    barred = next(
        (hold["headline"] for hold in summary["holds"] if not hold["clear"]), "clear to hand over"
    )
    mark = Outcome.PASS.mark if _is_clear(summary) else Outcome(summary["outcome"]).mark
    return f"  {mark} {summary['job']:20} {barred}"
