"""A job is a folder; what was entered stays, corrections need their reason."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from startkit.errors import JobError, JournalError, SheetError
from startkit.facts.job import Job
from startkit.facts.journal import Entry


def test_a_new_job_holds_sheet_template_and_first_entries(job: Job) -> None:
    assert {p.name for p in job.folder.iterdir()} == {"job.db", "machine.toml", "plain.ipynb"}
    assert job.machine.machine.tag == "CH-9"
    assert job.template.name == "plain.ipynb"
    assert job.state().latest["job.sheet"].note.startswith("sha256 ")


def test_an_entry_is_on_disk_when_record_returns(job: Job) -> None:
    job.record(Entry("lube.sump_temperature", " 51 ", "°C", "Ana"))
    other = Job(job.folder, read_only=True)
    assert other.state().latest["lube.sump_temperature"].value == "51"


def test_the_same_value_again_makes_no_entry(job: Job) -> None:
    job.record(Entry("a.b", "1", "K", "Ana"))
    assert job.record(Entry("a.b", "1", "K", "Ana")) == []


def test_the_same_value_with_a_reason_is_an_entry_of_its_own(job: Job) -> None:
    job.record(Entry("vanes.closed_seen", "yes", "", "Ana"))
    assert (
        len(
            job.record(
                Entry("vanes.closed_seen", "yes", "", "Ana", note="seen again after the adjustment")
            )
        )
        == 1
    )


def test_a_correction_needs_its_reason(job: Job) -> None:
    job.record(Entry("a.b", "1", "K", "Ana"))
    with pytest.raises(JournalError, match="reason"):
        job.record(Entry("a.b", "2", "K", "Ben"))
    job.record(Entry("a.b", "2", "K", "Ben", note="read the wrong gauge"))
    assert [(e.value, e.who, e.note) for e in job.state().history("a.b")] == [
        ("1", "Ana", ""),
        ("2", "Ben", "read the wrong gauge"),
    ]


def test_blanking_a_value_is_a_correction_and_filling_a_blank_is_not(job: Job) -> None:
    job.record(Entry("a.b", "1", "", "Ana"))
    with pytest.raises(JournalError):
        job.record(Entry("a.b", "", "", "Ana"))
    job.record(Entry("a.b", "", "", "Ana", note="belongs to the other machine"))
    job.record(Entry("a.b", "3", "", "Ana"))
    assert job.state().latest["a.b"].value == "3"


def test_another_unit_is_a_correction(job: Job) -> None:
    job.record(Entry("a.b", "1", "kPa", "Ana"))
    with pytest.raises(JournalError):
        job.record(Entry("a.b", "1", "psi", "Ana"))


def test_nothing_of_a_batch_is_saved_if_one_entry_is_refused(job: Job) -> None:
    job.record(Entry("a.b", "1", "", "Ana"))
    with pytest.raises(JournalError):
        job.record([Entry("a.c", "5", "", "Ana"), Entry("a.b", "2", "", "Ana")])
    assert "a.c" not in job.state().latest


def test_the_state_of_an_earlier_moment_can_be_seen(job: Job) -> None:
    (first,) = job.record(Entry("a.b", "1", "", "Ana"))
    job.record(Entry("a.b", "2", "", "Ana", note="misread"))
    assert job.state(until=first.seq).latest["a.b"].value == "1"


def test_two_people_see_each_others_entries(job: Job) -> None:
    other = Job(job.folder)
    job.record(Entry("a.b", "1", "", "Ana"))
    other.record(Entry("a.c", "2", "", "Ben"))
    assert {"a.b", "a.c"} <= set(job.state().latest) == set(other.state().latest)


def test_a_read_only_job_refuses_to_write(job: Job) -> None:
    with pytest.raises(JournalError, match="read-only"):
        Job(job.folder, read_only=True).record(Entry("a.b", "1", "", "Ana"))


def test_a_job_is_never_made_over_another(job: Job, sheet: Callable[..., Path]) -> None:
    with pytest.raises(JobError, match="not empty"):
        Job.create(job.folder, sheet(), job.template)


@pytest.mark.parametrize(
    "name", ["CON", "nul.job", "a:b", "trailing.", "trailing ", "-dash", "", "lpt1", "a/../.."]
)
def test_a_folder_name_that_some_computer_refuses_is_refused_here(
    tmp_path: Path, sheet: Callable[..., Path], name: str
) -> None:
    folder = tmp_path / name if name != "" else Path()
    with pytest.raises(JobError):
        Job.create(folder, sheet(), tmp_path / "plain.ipynb")


def test_a_refrigerant_that_is_not_known_is_refused_before_a_job_is_made(job, sheet, tmp_path):
    other = tmp_path / "other.toml"
    other.write_text(sheet().read_text(encoding="utf-8").replace("R-134a", "R-407C"), "utf-8")
    with pytest.raises(SheetError, match=r"other\.toml, line 5, machine\.refrigerant.*R-407C"):
        Job.create(tmp_path / "J", other, job.template)
    assert not (tmp_path / "J").exists()


def test_a_missing_template_leaves_no_half_made_job(
    tmp_path: Path, sheet: Callable[..., Path]
) -> None:
    with pytest.raises(JobError, match="no such file"):
        Job.create(tmp_path / "J", sheet(), tmp_path / "none.ipynb")
    assert not (tmp_path / "J").exists()


def test_a_specification_stands_between_default_and_sheet(
    tmp_path: Path, job: Job, sheet: Callable[..., Path]
) -> None:
    spec = tmp_path / "spec.toml"
    spec.write_text(
        '[limits]\n"vanes.zero" = { low = "-1 %", high = "1 %", source = "specification 5.3"'
        ' }\n"vanes.closing_time" = { high = "5 %", source = "specification 5.4" }\n',
        encoding="utf-8",
    )
    made = Job.create(tmp_path / "with spec", sheet(), job.template, specification=spec)
    assert made.limits["vanes.zero"].origin == "specification: specification 5.3"
    assert made.limits["vanes.closing_time"].origin == "machine sheet: data sheet, page 3"


def test_a_folder_that_is_no_job_is_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(JobError, match="no such job folder"):
        Job(tmp_path / "nothing")
    with pytest.raises(JournalError, match="no journal"):
        Job(tmp_path)


def test_an_entry_that_another_writer_overwrote_is_told(job: Job) -> None:
    (ours,) = job.record(Entry("a.b", "1", "", "Ana"))
    job.state()
    with closing(sqlite3.connect(job.journal.path)) as db:
        for verb in ("update", "delete"):
            db.execute(f"DROP TRIGGER entries_no_{verb}")
        db.execute("DELETE FROM entries WHERE seq = ?", (ours.seq,))
        db.commit()
    state = job.state()
    assert "a.b" not in state.latest and any("missing" in fault for fault in state.faults)
    assert job.state().entries == state.entries


def test_entries_of_another_writer_are_read_without_a_fault(job: Job) -> None:
    job.record(Entry("a.b", "1", "", "Ana"))
    Job(job.folder).record(Entry("a.c", "2", "", "Ben"))
    assert job.state().latest["a.c"].value == "2" and job.state().faults == ()
