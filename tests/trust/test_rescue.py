"""A damaged job: what can be read is saved, what cannot is named, the original is left as it is."""

from __future__ import annotations

import os
import random
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner

from startkit.cli import main
from startkit.errors import JobError, JournalError
from startkit.facts import page_recovery
from startkit.facts.job import Job
from startkit.facts.journal import Entry, Journal
from startkit.facts.rescue import rescue, whole_entries
from startkit.procedure.assessment import of_job as assess

ROOT = Path(__file__).parents[2]
SHEET = ROOT / "workbook" / "plant" / "machines" / "CH-1.toml"


@pytest.fixture
def job(tmp_path: Path) -> Job:
    """A job of several hundred entries, some of them longer than a page."""
    made = Job.create(tmp_path / "J", SHEET, ROOT / "templates" / "new-machine.ipynb", who="Ana")
    made.record(
        [Entry(f"lube.note{n}", f"reading {n} äöü 李", "kPa", "Ana", "P-1") for n in range(300)]
    )
    made.record(
        Entry("vanes.trace", "\n".join(f"1\t{n}\t{n}\t{n}\topen" for n in range(2000)), "", "Ana")
    )
    made.record([Entry(f"setup.note{n}", str(n), "", "Ben") for n in range(100)])
    return made


def test_every_row_of_a_whole_journal_can_be_carved(job: Job) -> None:
    assert sorted(page_recovery.rows(job.journal.path), key=lambda e: e.seq) == job.journal.read()


def test_a_whole_job_is_saved_whole(job: Job, tmp_path: Path) -> None:
    saved = rescue(job.folder, tmp_path / "new")
    assert saved.lost == () and saved.files_lost == ()
    again = Job(tmp_path / "new")
    assert [(e.what, e.value, e.who, e.at) for e in again.state().entries[:-1]] == [
        (e.what, e.value, e.who, e.at) for e in job.state().entries
    ]
    assert again.journal.faults() == []


def test_a_journal_cut_at_any_page_gives_back_what_is_left(job: Job, tmp_path: Path) -> None:
    whole = job.journal.path.read_bytes()
    original = {e.seq: e for e in job.journal.read()}
    counts = []
    for end in range(4096, len(whole) + 1, 4096):
        path = tmp_path / "cut.db"
        path.write_bytes(whole[:end])
        found = whole_entries(path)
        assert all(original[seq] == entry for seq, entry in found.items())
        counts.append(len(found))
    assert counts == sorted(counts) and counts[-1] == len(original)


def test_flipped_bytes_are_detected_and_never_pass_as_entries(job: Job, tmp_path: Path) -> None:
    whole = bytearray(job.journal.path.read_bytes())
    original = {e.seq: e for e in job.journal.read()}
    chance = random.Random(11)
    harmed = 0
    for _ in range(500):
        at = chance.randrange(len(whole))
        bad = bytearray(whole)
        bad[at] ^= 1 << chance.randrange(8)
        path = tmp_path / "bad.db"
        path.write_bytes(bad)
        found = whole_entries(path)
        # One damaged byte costs at most what stands on one page, and nothing false comes back.
        assert all(original.get(seq) == entry for seq, entry in found.items())
        harmed += len(found) < len(original)
        if len(found) < len(original):
            assert _harmless_or_noticed(path, original), (
                f"byte {at} was changed and nobody would notice"
            )
    assert harmed > 100


def _harmless_or_noticed(path: Path, original: dict[int, Entry]) -> bool:
    """SQLite makes nothing of some bits, such as those above a page's size in the place of a row:
    then everything is still read.
    """
    try:
        journal = Journal.open(path, read_only=True)
        return bool(journal.faults()) or {e.seq: e for e in journal.read()} == original
    except JournalError:
        return True


def test_the_damaged_job_is_left_as_it_is(job: Job, tmp_path: Path) -> None:
    damaged = bytearray(job.journal.path.read_bytes())
    damaged[:200] = b"\0" * 200
    job.journal.path.write_bytes(damaged)
    before = {p.name: p.read_bytes() for p in job.folder.iterdir()}
    saved = rescue(job.folder, tmp_path / "new")
    assert saved.saved > 300
    assert {p.name: p.read_bytes() for p in job.folder.iterdir()} == before


def test_what_was_lost_is_named_and_the_status_tells(job: Job, tmp_path: Path) -> None:
    data = bytearray(job.journal.path.read_bytes())
    at = data.find(b"reading 150 ")
    data[at] ^= 1
    job.journal.path.write_bytes(data)
    lost = next(e.seq for e in page_recovery.rows(job.journal.path) if e.what == "lube.note150")
    result = CliRunner().invoke(main, ["rescue", str(job.folder), str(tmp_path / "new")])
    assert result.exit_code == 1 and f"lost: entry {lost}" in result.output
    assert "lost: " + str(lost) in Job(tmp_path / "new").state().latest["job.rescued"].value


def test_a_sheet_that_is_gone_says_what_to_do(job: Job, tmp_path: Path) -> None:
    (job.folder / "machine.toml").unlink()
    with pytest.raises(JobError, match="put a good copy"):
        rescue(job.folder, tmp_path / "new")
    assert not (tmp_path / "new").exists()


def test_nothing_left_says_so(job: Job, tmp_path: Path) -> None:
    job.journal.path.write_bytes(b"\0" * 40_960)
    with pytest.raises(JobError, match="nothing"):
        rescue(job.folder, tmp_path / "new")


def test_a_rescue_never_writes_over_another_job(job: Job) -> None:
    with pytest.raises(JobError, match="not empty"):
        rescue(job.folder, job.folder)


@pytest.mark.parametrize(
    "row", ["²", "9" * 5000, "٣", "10000"], ids=["square", "long", "arabic", "high"]
)
def test_a_row_that_has_no_number_is_told_and_can_be_taken_back(
    job: Job, tmp_path: Path, row: str
) -> None:
    """Append-only: what came in by a file of another tool must not close the job for good."""
    item = f"load_up.points.{row}.chilled_entering"
    job.record(Entry(item, "12", "°C", "Ana"))
    run = CliRunner().invoke
    assert "Load" in run(main, ["status", str(job.folder)]).output
    problems = assess(Job(job.folder)).stage_entries("load_up").problems()
    assert any(repr(row[:20])[:-1] in each for each in problems)
    path = tmp_path / "back.csv"
    path.write_text(f"item,value,note\n{item},,the row has no number\n", encoding="utf-8")
    done = run(main, ["enter", str(job.folder), str(path), "--who", "Ana"])
    assert done.exit_code == 0, done.output
    problems = assess(Job(job.folder)).stage_entries("load_up").problems()
    assert not any(repr(row[:20])[:-1] in each for each in problems)


@pytest.mark.parametrize(
    "row", ["²", "9" * 5000, "٣", "10000"], ids=["square", "long", "arabic", "high"]
)
def test_a_row_that_has_no_number_is_refused_at_the_door(
    job: Job, tmp_path: Path, row: str
) -> None:
    path = tmp_path / "rows.csv"
    path.write_text(f"item,value\nload_up.points.{row}.chilled_entering,12\n", encoding="utf-8")
    done = CliRunner().invoke(main, ["enter", str(job.folder), str(path), "--who", "Ana"])
    assert done.exit_code != 0 and "row and column" in " ".join(done.output.split())
    assert not any(row in entry.what for entry in job.state().entries)


def test_the_files_of_a_rescued_job_are_flushed_before_it_is_there(
    job: Job, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (job.folder / "photographs").mkdir()
    (job.folder / "photographs" / "a.jpg").write_bytes(b"x")
    flushed: list[tuple[int, int]] = []

    def fsync(handle: int, real: Callable[[int], None] = os.fsync) -> None:
        stat = os.fstat(handle)
        flushed.append((stat.st_dev, stat.st_ino))
        real(handle)

    monkeypatch.setattr(os, "fsync", fsync)
    rescue(job.folder, tmp_path / "new")
    there = [p for p in (tmp_path / "new").rglob("*") if p.name != "job.db"]
    lost = [p for p in there if (p.stat().st_dev, p.stat().st_ino) not in flushed]
    assert len(there) >= 4 and lost == []
