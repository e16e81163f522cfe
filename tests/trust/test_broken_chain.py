"""A journal that was altered says so before anything else: on the card, in the terminal, on page 1,
by the exit status.
"""

from __future__ import annotations

import io
import random
import sqlite3
from pathlib import Path

import pytest
from click.testing import CliRunner

from startkit.cli import main
from startkit.desk import cards
from startkit.desk.cards import BROKEN
from startkit.desk.notebook import open_book
from startkit.desk.report import is_clear, status_lines
from startkit.errors import StartkitError
from startkit.facts.job import Job
from startkit.facts.journal import Entry

ROOT = Path(__file__).parents[2]
SHEET = ROOT / "workbook" / "plant" / "machines" / "CH-1.toml"


@pytest.fixture
def job(tmp_path: Path) -> Job:
    made = Job.create(tmp_path / "J", SHEET, ROOT / "templates" / "new-machine.ipynb", who="Ana")
    made.record(
        [
            Entry("setup.barometer", "101.3", "kPa abs", "Ana"),
            Entry("setup.people.1.name", "Ana", who="Ana"),
            Entry("setup.people.1.role", "technician", who="Ana"),
            Entry("lube.sump_temperature", "51,5", "°C", "Ana", "T-1"),
            Entry("lube.filter_drop", "12", "kPa", "Ana"),
        ]
    )
    return made


def forge(folder: Path, column: str = "value", value: str = "61,5") -> None:
    """Change one entry as somebody would who knows SQLite: the triggers taken away, the row
    changed, the triggers put back.
    """
    with sqlite3.connect(folder / "job.db") as db:
        kept = [
            sql for (sql,) in db.execute("SELECT sql FROM sqlite_master WHERE type = 'trigger'")
        ]
        for name in ("entries_no_update", "entries_no_delete"):
            db.execute(f"DROP TRIGGER {name}")
        db.execute(
            f"UPDATE entries SET {column} = ? WHERE what = 'lube.sump_temperature'", (value,)
        )
        for sql in kept:
            db.execute(sql)


def test_the_card_says_it_first_and_loudly(job: Job) -> None:
    assert BROKEN not in str(cards.html(open_book(job.folder, "record").front().part))
    forge(job.folder)
    part = open_book(job.folder, "record").front().part
    assert part["faults"] == ["entry 9 (lube.sump_temperature) was altered after it was written"]
    html, plain = str(cards.html(part)), cards.plain(part)
    assert html.index(BROKEN) < html.index("Do next") and 'role="alert"' in html
    assert (
        plain.splitlines()[0].startswith(f"✗ {BROKEN}")
        and "entry 9 (lube.sump_temperature)" in plain
    )


def test_the_terminal_says_it_and_the_status_is_1(job: Job) -> None:
    forge(job.folder)
    result = CliRunner().invoke(main, ["status", str(job.folder)])
    assert result.exit_code == 1
    assert result.output.startswith(f"✗ {BROKEN}") and "startkit rescue" in result.output


def test_a_broken_chain_alone_makes_a_job_not_clear(
    job: Job, monkeypatch: pytest.MonkeyPatch
) -> None:
    from startkit.procedure.assessment import Assessment

    monkeypatch.setattr(Assessment, "holds", lambda self: ())  # nothing else in the way
    assert is_clear(job.folder) and status_lines(job.folder)[1]
    forge(job.folder)
    assert not is_clear(job.folder) and not status_lines(job.folder)[1]


def test_an_entry_written_behind_the_chain_is_seen_while_the_job_is_open(job: Job) -> None:
    assert job.state().faults == ()
    with sqlite3.connect(job.folder / "job.db") as db:
        db.execute(
            "INSERT INTO entries SELECT seq + 1, 'lube.filter_drop', '1', unit, who, instrument,"
            " note, at, digest, 'made up' FROM entries ORDER BY seq DESC LIMIT 1"
        )
    assert job.state().faults == ("entry 11 (lube.filter_drop) was altered after it was written",)
    job.record(Entry("lube.oil_level", "mid glass", who="Ana"))
    assert len(job.state().faults) == 1, "a fault is told once, and what follows in order adds none"


def test_entering_into_it_warns_each_time(job: Job, tmp_path: Path) -> None:
    forge(job.folder)
    (tmp_path / "r.csv").write_text(
        "item,value,unit,who,note\nlube.filter_drop,14,kPa,Ana,seen again\n"
    )
    result = CliRunner().invoke(main, ["enter", str(job.folder), str(tmp_path / "r.csv")])
    assert result.exit_code == 0 and "1 entry saved" in result.stdout
    assert "entry 9 (lube.sump_temperature) was altered" in result.stderr


def test_page_1_of_the_record_says_it(job: Job) -> None:
    from pypdf import PdfReader

    from startkit.paper.printing.export import export

    forge(job.folder)
    first = PdfReader(io.BytesIO(export(job.folder).read_bytes())).pages[0].extract_text()
    assert (
        "chain of hashes is broken" in first
        and "entry 9 (lube.sump_temperature) was altered" in " ".join(first.split())
    )


def test_a_damaged_byte_is_told_in_words_wherever_it_lies(job: Job) -> None:
    whole = job.journal.path.read_bytes()
    entries = job.state().entries
    chance = random.Random(5)
    told = 0
    for _ in range(60):
        bad = bytearray(whole)
        # Bytes of the entries themselves: most of the file is empty page.
        at = chance.randrange(whole.rindex(b"job.machine") - 3000, len(whole))
        bad[at] ^= 1 << chance.randrange(8)
        job.journal.path.write_bytes(bad)
        try:
            lines, clear = status_lines(job.folder)
        except StartkitError as error:
            assert error.remedy
            told += 1
            continue
        assert not clear
        same = Job(job.folder, read_only=True).state().entries == entries
        assert same or lines[0].startswith(f"✗ {BROKEN}"), f"byte {at}"
        told += not same
    assert told > 10, (
        "of these bytes, how many hold an entry differs with the moments written in them"
    )
