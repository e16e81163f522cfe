"""Files of a job against the digests in its journal, and replacing one with a reason."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from PIL import Image

from startkit.errors import StartkitError
from startkit.facts.job import Job
from startkit.facts.journal import Entry, Journal
from startkit.facts.kept_files import REPLACED, changes, replace

ROOT = Path(__file__).parents[2]
MACHINES = ROOT / "workbook" / "plant" / "machines"
LIMITS = '[limits]\n"load_up.heat_balance" = { high = "20 %", source = "specification, page 3" }\n'


@pytest.fixture
def job(tmp_path: Path) -> Job:
    template = ROOT / "templates" / "new-machine.ipynb"
    return Job.create(tmp_path / "J", MACHINES / "CH-1.toml", template, who="Ana")


def test_a_new_job_has_no_changes(job: Job) -> None:
    assert changes(job) == ()


def test_an_edited_sheet_is_reported_with_the_entry_that_recorded_it(job: Job) -> None:
    with (job.folder / "machine.toml").open("a") as sheet:
        sheet.write("# edited\n")
    (said,) = changes(job)
    assert "machine.toml" in said
    assert "changed" in said
    assert "entry 4" in said


def test_limits_added_to_a_job_that_had_none_are_reported(job: Job) -> None:
    (job.folder / "specification.toml").write_text(LIMITS)
    (said,) = changes(job)
    assert "specification.toml" in said
    assert "added" in said


def test_limits_of_a_job_are_reported_when_edited_and_when_removed(tmp_path: Path) -> None:
    limits = tmp_path / "limits.toml"
    limits.write_text(LIMITS)
    template = ROOT / "templates" / "new-machine.ipynb"
    job = Job.create(tmp_path / "J", MACHINES / "CH-1.toml", template, specification=limits)
    assert changes(job) == ()
    (job.folder / "specification.toml").write_text(LIMITS.replace("20", "25"))
    assert "changed" in changes(job)[0]
    (job.folder / "specification.toml").unlink()
    assert "removed" in changes(job)[0]


def test_an_exchanged_photograph_is_reported_and_naming_it_again_changes_nothing(job: Job) -> None:
    place = job.folder / "photographs" / "plate.jpg"
    place.parent.mkdir()
    Image.new("RGB", (20, 20), "red").save(place)
    written = job.record(Entry("setup.photo", "photographs/plate.jpg | Plate", who="Ana"))
    assert [entry.what for entry in written] == ["setup.photo"]
    assert changes(job) == ()
    Image.new("RGB", (20, 20), "blue").save(place)
    assert "photographs/plate.jpg" in changes(job)[0]
    job.record(Entry("setup.photo", "photographs/plate.jpg | New plate", who="Ana", note="again"))
    assert "photographs/plate.jpg" in changes(job)[0]


def test_an_edited_notebook_is_reported(job: Job) -> None:
    text = job.template.read_text(encoding="utf-8")
    job.template.write_text(text.replace("book.front()", "book.front() #"), encoding="utf-8")
    assert "template" in changes(job)[0]


def test_the_journal_of_another_machine_is_reported(job: Job, tmp_path: Path) -> None:
    template = ROOT / "templates" / "new-machine.ipynb"
    other = Job.create(tmp_path / "K", MACHINES / "CH-2.toml", template)
    shutil.copy(job.folder / "job.db", other.folder / "job.db")
    said = changes(Job(other.folder))
    assert any("CH-1" in sentence and "CH-2" in sentence for sentence in said)


def test_a_job_made_before_digests_were_kept_says_nothing(job: Job) -> None:
    (job.folder / "job.db").unlink()
    Journal.create(job.folder / "job.db").append([Entry("job.machine", "CH-1")])
    (job.folder / "specification.toml").write_text(LIMITS)
    assert changes(Job(job.folder)) == ()


@pytest.mark.parametrize("kept", ["sheet", "specification", "template", "photographs/plate.jpg"])
def test_a_replaced_file_is_recorded_with_its_reason_and_reported_no_more(
    job: Job, kept: str, tmp_path: Path
) -> None:
    place = job.folder / "photographs" / "plate.jpg"
    place.parent.mkdir()
    Image.new("RGB", (20, 20), "red").save(place)
    job.record(Entry("setup.photo", "photographs/plate.jpg", who="Ana"))
    new = {
        "sheet": (MACHINES / "CH-1.toml").read_bytes() + b"# as built\n",
        "specification": LIMITS.encode(),
        "template": (ROOT / "templates" / "new-machine.ipynb").read_bytes() + b"\n",
    }.get(kept)
    file = tmp_path / "new.png"
    if new is None:
        Image.new("RGB", (20, 20), "blue").save(file)
    else:
        file.write_bytes(new)
    name = replace(job, kept, file, "Ana", "as the maker's letter says")
    assert changes(Job(job.folder)) == ()
    newest = [e for e in job.state().entries if "maker's letter" in e.note]
    assert [(e.who, name in f"{e.what} {e.value}") for e in newest] == [("Ana", True)]
    kept_before = list((job.folder / REPLACED).glob("*"))
    assert len(kept_before) == (0 if kept == "specification" else 1)


@pytest.mark.parametrize(
    ("kept", "who", "reason"),
    [("sheet", "", "a reason"), ("sheet", "Ana", " "), ("../secret", "Ana", "a reason")],
)
def test_a_file_is_replaced_only_by_somebody_for_a_reason_and_inside_the_job(
    job: Job, kept: str, who: str, reason: str
) -> None:
    with pytest.raises(StartkitError):
        replace(job, kept, MACHINES / "CH-1.toml", who, reason)


def test_a_sheet_that_cannot_be_read_replaces_nothing(job: Job, tmp_path: Path) -> None:
    (tmp_path / "bad.toml").write_text("machine = 3\n")
    with pytest.raises(StartkitError):
        replace(job, "sheet", tmp_path / "bad.toml", "Ana", "a reason")
    assert changes(job) == ()
