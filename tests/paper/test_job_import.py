"""Importing: a job made from a record keeps every entry as it was, and nothing that is attached is
ever executed.
"""

from __future__ import annotations

import json
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from nbformat.v4 import new_code_cell

from benchmarks.increments import added_to, rotate, swap
from startkit.cli import main
from startkit.errors import JobError, PaperError
from startkit.facts import baseline
from startkit.facts.digests import sha256
from startkit.facts.job import Job
from startkit.facts.journal import Entry, Journal
from startkit.paper import evidence, journal_export
from startkit.paper.verifying import job_import, verification
from startkit.paper.verifying.baseline_import import import_baseline
from startkit.paper.verifying.job_import import import_job, restore_job
from tests.paper import signing
from tests.paper.conftest import SHEET, make_job
from tests.paper.signing import TECHNICIAN, printed, real_job, signed


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, [str(a) for a in arguments])


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A signed record of a job with the shipped template, far from its job."""
    folder = tmp_path_factory.mktemp("office")
    job = real_job(folder / "CH-3 start-up")
    job.record(Entry("job.template", "new-machine.ipynb", at="2026-11-25T09:00:00.000+01:00"))
    path = tmp_path_factory.mktemp("post") / "from-the-site.pdf"
    path.write_bytes(signed(printed(job, "short")).read_bytes())
    return path


# --- for another office ---------------------------------------------------------------------------


def test_every_entry_is_taken_over_with_its_hash_and_one_names_the_record(
    record: Path, tmp_path: Path
):
    job = restore_job(record, tmp_path / "CH-3", "Ana")
    given = evidence.of_pdf(record.read_bytes()).entries
    entries = job.state().entries
    assert entries[:-1] == given and job.journal.faults() == []
    last = entries[-1]
    assert (last.what, last.value, last.who, last.note) == (
        "job.imported",
        "from-the-site.pdf",
        "Ana",
        f"sha256 {sha256(record.read_bytes())}",
    )


def test_the_job_goes_on_with_the_template_that_is_installed(record: Path, tmp_path: Path):
    from startkit.facts.plugins import find_template

    job = restore_job(record, tmp_path / "CH-3")
    assert job.template.read_bytes() == find_template("new-machine").read_bytes()
    job.record(Entry("lube.filter_drop", "13", "kPa", who="Ana", note="misread"))
    found = verification.verify(signed(printed(job, "short")), beside=False)
    assert found.valid and found.revision == "B"
    assert "from-the-site" not in found.file
    assert found.parts[-1].said[1].startswith("CH-3-commissioning-record-short.pdf ")


def test_the_record_is_kept_under_its_own_name_so_that_the_next_one_names_it(
    record: Path, tmp_path: Path
):
    job = restore_job(record, tmp_path / "CH-3")
    kept = job.folder / "records" / "CH-3-commissioning-record-short.pdf"
    assert kept.read_bytes() == record.read_bytes()
    assert printed(job, "short").name == "CH-3-commissioning-record-short-B.pdf"


def test_a_template_that_is_not_installed_is_asked_for_and_noted(tmp_path: Path):
    path = printed(make_job(tmp_path / "CH-3 start-up", signing.READINGS))
    with pytest.raises(JobError, match=r"there is no template 'template'; use .*new-machine"):
        restore_job(path, tmp_path / "CH-3")
    assert not (tmp_path / "CH-3").exists()
    job = restore_job(path, tmp_path / "CH-3", template="new-machine")
    assert [e.value for e in job.state().entries[-2:]] == [
        path.name,
        "new-machine.ipynb",
    ] and job.template.is_file()


def test_the_attached_notebook_is_neither_run_nor_taken_as_the_job_s(tmp_path: Path):
    trap = tmp_path / "it-ran.txt"
    job = real_job(tmp_path / "CH-3 start-up")
    path = printed(
        job,
        change=lambda notebook: notebook.cells.append(
            new_code_cell(f"open({str(trap)!r}, 'w').close()", id="trap")
        ),
    )
    made = restore_job(path, tmp_path / "CH-3", template="new-machine")
    assert not trap.exists() and [p.name for p in made.folder.glob("*.ipynb")] == [
        "new-machine.ipynb"
    ]


def test_what_belongs_to_the_job_comes_with_it(tmp_path: Path):
    from tests.paper.test_outputs import PNG

    listed = (
        'name = "own"\ntitle = "Own list"\nbefore = "hand_over"\n[[items]]\nname ='
        ' "photo"\nquestion = "Photograph of the plate"\nevidence = ["photograph"]\n'
    )
    job = real_job(
        tmp_path / "CH-3 start-up",
        [*signing.READINGS, Entry("own.photo_photo", "photos/plate.png", who=TECHNICIAN)],
    )
    files = {
        "checklists/own.toml": listed.encode(),
        "photos/plate.png": PNG,
        "trends/run.csv": b"t,x\n0,1\n",
        "specification.toml": (
            b'[limits."vanes.switch_distance"]\nhigh = "2 %"\nsource = "order 7"\n'
        ),
    }
    for name, content in files.items():
        (job.folder / name).parent.mkdir(exist_ok=True)
        (job.folder / name).write_bytes(content)
    made = restore_job(printed(Job(job.folder)), tmp_path / "CH-3", template="new-machine")
    assert {name: (made.folder / name).read_bytes() for name in files} == files


@pytest.mark.parametrize(
    "name",
    [
        "../evil.toml",
        "/etc/passwd",
        "trends/../../evil.csv",
        "trends\\..\\evil.csv",
        "C:evil.toml",
        "checklists/.hidden.toml",
        "checklists/deep/own.toml",
        "numpy.py",
        "new-machine.ipynb",
        "job.db",
        "records/x.pdf",
        ".jupyter/config.py",
        "pictures/numpy.py",
        "pictures/../numpy.py",
        "pictures/plate.png",
        "pictures",
        "trends",
    ],
)
def test_an_attachment_with_no_place_in_a_job_is_left_where_it_is(name: str):
    assert job_import._place(name, b"import os") is None


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("machine.toml", b""),
        ("trends/2026/run.csv", b"t"),
        ("checklists/own.toml", b""),
        ("pictures/photos/plate.JPG", b"\xff\xd8\xff\xe0"),
        ("pictures/plan.svg", b'<svg xmlns="http://www.w3.org/2000/svg"/>'),
    ],
)
def test_an_attachment_of_a_job_has_its_place(name: str, content: bytes):
    assert str(job_import._place(name, content)) == name.removeprefix("pictures/")


def test_a_record_that_is_not_in_order_is_refused_and_no_folder_is_left(
    record: Path, tmp_path: Path
):
    for name, content in (
        (
            "swapped.pdf",
            added_to(record.read_bytes(), swap({"journal.json": journal_export.as_json([])})),
        ),
        ("cut.pdf", record.read_bytes()[:9000]),
        ("empty.pdf", b""),
    ):
        (tmp_path / name).write_bytes(content)
        with pytest.raises(PaperError):
            restore_job(tmp_path / name, tmp_path / "CH-3")
        assert not (tmp_path / "CH-3").exists()


def test_a_signed_record_that_was_changed_is_refused(record: Path, tmp_path: Path):
    (tmp_path / "rotated.pdf").write_bytes(added_to(record.read_bytes(), rotate))
    with pytest.raises(
        PaperError, match="something was added to the file after the last signature"
    ):
        restore_job(tmp_path / "rotated.pdf", tmp_path / "CH-3")


def test_a_folder_that_holds_something_is_refused(record: Path, tmp_path: Path):
    (tmp_path / "CH-3").mkdir()
    (tmp_path / "CH-3" / "mine.txt").write_text("mine")
    with pytest.raises(JobError, match="the folder is not empty"):
        restore_job(record, tmp_path / "CH-3")
    assert (tmp_path / "CH-3" / "mine.txt").read_text() == "mine"


def test_a_journal_with_a_broken_chain_is_not_taken_over(record: Path, tmp_path: Path):
    entries = list(evidence.of_pdf(record.read_bytes()).entries)
    entries[3] = replace(entries[3], value="other")
    new = Journal.create(tmp_path / "job.db")
    with pytest.raises(Exception, match="the chain of hashes is broken \\(entry 4"):
        new.adopt(entries)
    assert new.read() == []


def test_entries_are_taken_over_into_an_empty_journal_only(record: Path, tmp_path: Path):
    entries = evidence.of_pdf(record.read_bytes()).entries
    new = Journal.create(tmp_path / "job.db")
    new.adopt(entries)
    with pytest.raises(Exception, match="already"):
        new.adopt(entries)


def test_the_command_makes_a_job_that_has_a_state(record: Path, tmp_path: Path):
    result = run("import", record, tmp_path / "CH-3", "--restore", "--who", "Ana")
    assert (
        result.exit_code == 0
        and f"Open it with:  startkit open {tmp_path / 'CH-3'}" in result.output
    )
    assert run("status", tmp_path / "CH-3").exit_code == 1
    again = run("import", record, tmp_path / "CH-3")
    assert again.exit_code == 2 and again.stderr.count("\n") == 1


# --- for the next visit ---------------------------------------------------------------------------


@pytest.fixture
def following(record: Path, tmp_path: Path) -> Job:
    return import_job(record, tmp_path / "next", "Ana")


def test_a_record_is_not_a_visit_nothing_of_it_is_an_entry(record: Path, following: Job):
    then = {e.what for e in evidence.of_pdf(record.read_bytes()).entries}
    now = following.state().entries
    assert {e.what for e in now if not e.what.startswith("job.")} == set()
    assert len([what for what in then if not what.startswith("job.")]) > 5
    (named,) = [e for e in now if e.what == "job.last_visit"]
    assert named.note == f"sha256 {sha256(record.read_bytes())}" and named.who == "Ana"


def test_nothing_is_clear_on_the_next_visit(following: Job):
    from startkit.procedure.assessment import of_job

    assert not any(hold.is_clear or hold.waived for hold in of_job(following).holds())


def test_what_was_entered_then_is_shown_as_last_time(record: Path, following: Job):
    from startkit.desk.fieldset import described
    from startkit.procedure.assessment import of_job

    then = {e.what: e for e in evidence.of_pdf(record.read_bytes()).entries}
    seen = of_job(following)
    shown = {
        f"{stage}.{field['name']}": field["state"]["last"]
        for stage in seen.stages
        for group in described(seen, stage)
        for field in group["fields"]
        if field["state"].get("last")
    }
    assert shown and all(then[what].value in said for what, said in shown.items())
    assert all(then[what].at[:10] in said for what, said in shown.items())


def test_once_it_is_read_again_last_time_is_gone(following: Job):
    from startkit.desk.fieldset import states
    from startkit.procedure.assessment import of_job

    seen = of_job(following)
    stage, name = next(
        (s, n) for s in seen.stages for n, state in states(seen, s).items() if state.get("last")
    )
    following.record(Entry(f"{stage}.{name}", "1", who="Ana"))
    assert states(of_job(following), stage)[name]["last"] == ""


def test_an_entry_sheet_of_the_last_visit_is_refused(record: Path, following: Job, tmp_path: Path):
    from startkit.desk.entry_sheet.entries import enter_sheet
    from startkit.desk.entry_sheet.export import write
    from startkit.errors import StartkitError

    old = restore_job(record, tmp_path / "old", "Ana")
    sheet = write(old.folder, tmp_path / "old.xlsx")
    with pytest.raises(StartkitError, match="job"):
        enter_sheet(following.folder, sheet, "Ana")
    assert enter_sheet(old.folder, sheet, "Ana").entries == []


def test_a_restored_job_says_on_page_1_whose_entries_these_are(record: Path, tmp_path: Path):
    from startkit.procedure.assessment import of_job
    from startkit.procedure.payload import front_part

    said = front_part(of_job(restore_job(record, tmp_path / "again", "Ana")))["clock"]
    assert any(record.name in each and "that visit" in each for each in said)


# --- as a baseline --------------------------------------------------------------------------------


def test_a_record_s_figures_become_the_baseline_of_a_job(tmp_path: Path):
    path = signed(printed(real_job(tmp_path / "First visit")))
    job = make_job(tmp_path / "Second visit", [])
    result = run("import", path, job.folder, "--baseline", "--who", "Ana")
    assert result.exit_code == 0, result.output
    found = Job(job.folder)
    figures = [
        f["key"]
        for block in evidence.of_pdf(path.read_bytes()).record["body"]
        for f in block.get("figures", ())
        if f["key"] and f["number"] is not None
    ]
    assert (
        figures
        and set(found.baseline.figures) == set(figures)
        and found.baseline.title == "Commissioning record CH-3"
    )
    last = found.state().entries[-1]
    assert (last.what, last.value, last.note) == (
        "job.baseline",
        path.name,
        f"sha256 {sha256(path.read_bytes())}",
    )
    assert (
        json.loads((job.folder / baseline.FILE).read_text(encoding="utf-8"))["schema"]
        == "startkit-record-1"
    )


def test_a_baseline_is_never_written_over(tmp_path: Path):
    path = signed(printed(real_job(tmp_path / "First visit")))
    job = make_job(tmp_path / "Second visit", [])
    import_baseline(path, job.folder)
    with pytest.raises(JobError, match="already"):
        import_baseline(path, job.folder)


def test_a_record_that_nobody_signed_is_no_baseline(tmp_path: Path):
    path = printed(real_job(tmp_path / "First visit"))
    job = make_job(tmp_path / "Second visit", [])
    with pytest.raises(PaperError, match="not valid"):
        import_baseline(path, job.folder)
    assert not (job.folder / baseline.FILE).exists()


def test_a_record_of_another_machine_is_no_baseline(tmp_path: Path):
    path = printed(real_job(tmp_path / "First visit"))
    job = make_job(tmp_path / "Second visit", [], SHEET.replace("EW-0042", "EW-0043"))
    with pytest.raises(JobError, match=r"CH-3 .*EW-0042"):
        import_baseline(path, job.folder)
    assert not (job.folder / baseline.FILE).exists()


def test_a_job_with_a_baseline_prints_it_along_and_is_verified_with_it(tmp_path: Path):
    first = signed(printed(real_job(tmp_path / "First visit")))
    job = real_job(tmp_path / "Second visit")
    import_baseline(first, job.folder)
    second = signed(printed(Job(job.folder)))
    assert (
        evidence.of_pdf(second.read_bytes()).files[baseline.FILE]
        == evidence.of_pdf(first.read_bytes()).files["record.json"]
    )
    assert verification.verify(second, beside=False).valid


def test_import_brings_no_notebook_machinery_into_the_process(record: Path, tmp_path: Path):
    """What could execute a notebook is not even loaded."""
    import subprocess

    code = (
        "import sys; from pathlib import Path; "
        "from startkit.paper.verifying.job_import import import_job, restore_job;"
        f" restore_job(Path({str(record)!r}), Path({str(tmp_path / 'CH-3')!r})); print([m for m in"
        " ('papermill', 'nbclient', 'jupyter_client', 'ipykernel') if m in sys.modules])"
    )
    assert (
        subprocess.run(
            [sys.executable, "-c", code], capture_output=True, text=True, check=True
        ).stdout.strip()
        == "[]"
    )
