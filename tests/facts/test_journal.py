"""The journal keeps everything, in order, and shows when somebody altered it."""

from __future__ import annotations

import sqlite3
import threading
from contextlib import closing
from dataclasses import replace
from datetime import UTC
from pathlib import Path

import pytest

from startkit.errors import JournalError
from startkit.facts import journal as journal_
from startkit.facts.journal import GENESIS, Entry, Journal, chain_faults, row_number


@pytest.fixture
def journal(tmp_path: Path) -> Journal:
    return Journal.create(tmp_path / "job.db")


def test_what_is_written_can_be_read_back_in_order(journal: Journal) -> None:
    journal.append([Entry("a.b", "1", "K", "Ana"), Entry("a.c", "2")])
    assert [(e.what, e.value, e.unit, e.who, e.seq) for e in journal.read()] == [
        ("a.b", "1", "K", "Ana", 1),
        ("a.c", "2", "", "", 2),
    ]


def test_each_entry_carries_the_hash_of_the_one_before(journal: Journal) -> None:
    first, second = journal.append([Entry("a", "1"), Entry("b", "2")])
    assert first.previous == GENESIS and second.previous == first.digest
    assert journal.faults() == []


def test_reading_can_go_on_from_an_entry(journal: Journal) -> None:
    journal.append([Entry("a", "1"), Entry("b", "2")])
    assert [e.what for e in journal.read(after=1)] == ["b"]


@pytest.mark.parametrize(
    "statement",
    ["UPDATE entries SET value = '9'", "DELETE FROM entries", "DELETE FROM entries WHERE seq = 1"],
)
def test_the_database_itself_refuses_to_change_or_delete(journal: Journal, statement: str) -> None:
    journal.append([Entry("a", "1")])
    with (
        sqlite3.connect(journal.path) as db,
        pytest.raises(sqlite3.IntegrityError, match="never changed"),
    ):
        db.execute(statement)
    assert journal.read()[0].value == "1"


def _altered(journal: Journal, statement: str) -> list[str]:
    """Change the file as somebody would who drops the triggers first."""
    with sqlite3.connect(journal.path) as db:
        for (name,) in db.execute(
            "SELECT name FROM sqlite_master WHERE type = 'trigger'"
        ).fetchall():
            db.execute(f"DROP TRIGGER {name}")
        db.execute(statement)
    return journal.faults()


def test_an_altered_value_is_found(journal: Journal) -> None:
    journal.append([Entry("a", "1"), Entry("b", "2"), Entry("c", "3")])
    assert _altered(journal, "UPDATE entries SET value = '9' WHERE seq = 2") == [
        "entry 2 (b) was altered after it was written"
    ]


def test_a_deleted_entry_is_found(journal: Journal) -> None:
    journal.append([Entry("a", "1"), Entry("b", "2"), Entry("c", "3")])
    assert any(
        "entry 2 is missing" in fault
        for fault in _altered(journal, "DELETE FROM entries WHERE seq = 2")
    )


def test_a_recomputed_hash_breaks_the_next_link() -> None:
    entries = journal_.chained(
        [Entry("a", "1", at="t"), Entry("b", "2", at="t"), Entry("c", "3", at="t")], 0, GENESIS
    )
    forged = replace(entries[1], value="9", digest="")
    forged = replace(forged, digest=journal_.digest(forged))
    assert chain_faults([entries[0], forged, entries[2]]) == [
        "entry 3 (c) does not follow the entry before it"
    ]


def test_the_hash_does_not_depend_on_how_a_name_is_written_in_the_file(journal: Journal) -> None:
    journal.append([Entry("people.1.name", "Żółć 李 \U0001f600", who="Åse")])
    assert journal.faults() == []
    assert journal.read()[0].value == "Żółć 李 \U0001f600"


def test_a_lone_surrogate_is_kept_as_a_question_mark(journal: Journal) -> None:
    journal.append([Entry("a", "\ud800")])
    assert journal.read()[0].value == "?" and journal.faults() == []


def test_a_read_only_journal_refuses_to_write(journal: Journal) -> None:
    with pytest.raises(JournalError, match="read-only"):
        Journal.open(journal.path, read_only=True).append([Entry("a", "1")])


def test_a_journal_is_never_made_over_another(journal: Journal) -> None:
    with pytest.raises(JournalError, match="already"):
        Journal.create(journal.path)


def test_a_missing_journal_says_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(JournalError, match="startkit new"):
        Journal.open(tmp_path / "nothing.db")


def test_another_database_is_not_taken_for_a_journal(tmp_path: Path) -> None:
    path = tmp_path / "other.db"
    with sqlite3.connect(path) as db:
        db.execute("CREATE TABLE t (x)")
    with pytest.raises(JournalError, match="not a job's journal"):
        Journal.open(path)


def test_a_file_of_garbage_is_said_to_be_damaged(tmp_path: Path) -> None:
    path = tmp_path / "job.db"
    path.write_bytes(b"not a database at all" * 500)
    with pytest.raises(JournalError, match="damaged"):
        Journal.open(path)


def test_a_journal_of_a_newer_version_is_not_touched(journal: Journal) -> None:
    with sqlite3.connect(journal.path) as db:
        db.execute("PRAGMA user_version = 99")
    with pytest.raises(JournalError, match="newer version"):
        Journal.open(journal.path)


def test_an_old_layout_is_brought_up_by_named_migrations(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    journal = Journal.create(tmp_path / "job.db")
    journal.append([Entry("a", "1")])

    def m002_remark(db: sqlite3.Connection) -> None:
        db.execute("CREATE TABLE remark (text TEXT)")

    monkeypatch.setattr(journal_, "MIGRATIONS", (*journal_.MIGRATIONS, m002_remark))
    opened = Journal.open(journal.path)
    with sqlite3.connect(journal.path) as db:
        assert db.execute("SELECT name FROM sqlite_master WHERE name = 'remark'").fetchone()
    assert [e.what for e in opened.read()] == ["a"]


def test_entries_of_one_batch_are_written_all_or_none(journal: Journal) -> None:
    with pytest.raises(JournalError):
        journal.append([Entry("a", "1"), Entry("b", None)])  # type: ignore[arg-type]
    assert journal.read() == []


def test_several_threads_make_one_chain(journal: Journal) -> None:
    def write(name: str) -> None:
        for n in range(15):
            journal.append([Entry(f"{name}.{n}", str(n))])

    threads = [threading.Thread(target=write, args=(f"t{i}",)) for i in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(journal.read()) == 60 and journal.faults() == []


def test_the_folder_being_gone_is_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(JournalError, match="writ"):
        Journal.create(tmp_path / "no" / "such" / "job.db")


def test_a_value_that_is_no_text_any_more_is_read_and_told(tmp_path):
    journal = Journal.create(tmp_path / "job.db")
    journal.append([Entry("a", "1"), Entry("b", "2")])
    with sqlite3.connect(journal.path) as db:
        db.execute("DROP TRIGGER entries_no_update")
        db.execute("UPDATE entries SET value = x'31', at = 5 WHERE seq = 1")
    first = journal.read()[0]
    assert isinstance(first.at, str) and first.moment is None and first.day is None
    assert journal.faults() == ["entry 1 (a) was altered after it was written"]


@pytest.mark.parametrize(
    ("at", "moment"),
    [
        ("2026-11-25T14:30:00.000+01:00", "2026-11-25T13:30:00+00:00"),
        ("2026-11-25 14:30", "2026-11-25T14:30:00+00:00"),
        ("202v-11-25", None),
        ("", None),
    ],
)
def test_the_moment_of_an_entry_is_known_or_it_is_none(at, moment):
    found = Entry("a", "1", at=at).moment
    assert (found.astimezone(UTC).isoformat() if found else None) == moment


# --- what is said to be saved ---------------------------------------------------------------------


def _added(journal: Journal, *statements: str) -> None:
    with closing(sqlite3.connect(journal.path)) as db:
        for statement in statements:
            db.execute(statement)
        db.commit()


def _swallow(verb: str, name: str = "entries_keep") -> str:
    return f"CREATE TRIGGER {name} {verb} ON entries BEGIN SELECT RAISE(IGNORE); END"


def test_every_connection_that_writes_flushes_the_folder_too(journal: Journal) -> None:
    with journal._connect() as db:
        assert db.execute("PRAGMA synchronous").fetchone() == (3,)  # 3 is EXTRA
        assert db.execute("PRAGMA journal_mode").fetchone() == ("delete",)


@pytest.mark.parametrize(
    ("statements", "named"),
    [
        ([_swallow("BEFORE INSERT")], "entries_keep"),
        (["DROP TRIGGER entries_no_update"], "entries_no_update"),
        (
            ["DROP TRIGGER entries_no_update", _swallow("BEFORE UPDATE", "entries_no_update")],
            "entries_no_update",
        ),
        (["CREATE TABLE remark (text TEXT)"], "remark"),
        (["CREATE VIEW v AS SELECT 1"], "'v'"),
        (["CREATE INDEX i ON entries (what)"], "'i'"),
    ],
)
def test_nothing_is_written_into_a_file_that_holds_more_or_less_than_a_journal(
    journal: Journal, statements: list[str], named: str
) -> None:
    journal.append([Entry("a", "1")])
    _added(journal, *statements)
    with pytest.raises(JournalError, match=named):
        journal.append([Entry("b", "2")])
    assert [e.what for e in journal.read()] == ["a"]


def test_a_foreign_trigger_does_not_run_when_entries_are_adopted(tmp_path: Path) -> None:
    given = Journal.create(tmp_path / "a.db").append([Entry("a", "1")])
    journal = Journal.create(tmp_path / "b.db")
    _added(journal, _swallow("BEFORE INSERT"))
    with pytest.raises(JournalError, match="entries_keep"):
        journal.adopt(given)


@pytest.mark.parametrize("write", ["append", "adopt"])
def test_a_row_that_the_storage_swallows_is_not_saved(
    journal: Journal, monkeypatch: pytest.MonkeyPatch, write: str, tmp_path: Path
) -> None:
    entries = Journal.create(tmp_path / "other.db").append([Entry("a", "1"), Entry("b", "2")])
    _added(journal, _swallow("BEFORE INSERT"))
    monkeypatch.setattr(journal_, "_foreign", lambda db: "")
    with pytest.raises(JournalError, match="not in the journal"):
        getattr(journal, write)(entries)


def test_a_row_that_is_changed_on_its_way_is_not_saved(
    journal: Journal, monkeypatch: pytest.MonkeyPatch
) -> None:
    _added(
        journal,
        "DROP TRIGGER entries_no_update",
        "CREATE TRIGGER other AFTER INSERT ON entries"
        " BEGIN UPDATE entries SET value = '9' WHERE seq = new.seq; END",
    )
    monkeypatch.setattr(journal_, "_foreign", lambda db: "")
    with pytest.raises(JournalError, match="not in the journal"):
        journal.append([Entry("a", "1")])


@pytest.mark.parametrize("value", ["a\0b", "\x1b[31m", "Żółć \U0001f600", "", " x ", "9" * 100_000])
def test_every_text_is_read_back_as_it_was_written(journal: Journal, value: str) -> None:
    assert journal.append([Entry("a", value)]) == journal.read()


def test_the_last_number_that_can_be_counted_is_one_sentence(journal: Journal) -> None:
    _added(
        journal,
        f"INSERT INTO entries VALUES ({2**63 - 1}, 'a', '1', '', '', '', '', '', '', 'x')",
    )
    with pytest.raises(JournalError, match="numbers"):
        journal.append([Entry("b", "2")])


@pytest.mark.parametrize("read_only", [True, False])
def test_a_journal_without_its_version_number_is_one_sentence(
    journal: Journal, read_only: bool
) -> None:
    _added(journal, "PRAGMA user_version = 0")
    with pytest.raises(JournalError, match="version number"):
        Journal.open(journal.path, read_only)


def test_a_journal_whose_making_was_interrupted_is_made_on_opening(tmp_path: Path) -> None:
    path = tmp_path / "job.db"
    with closing(sqlite3.connect(path)) as db:
        db.execute(f"PRAGMA application_id = {journal_.APPLICATION_ID}")
    assert Journal.open(path).append([Entry("a", "1")])


@pytest.mark.parametrize(
    ("part", "number"),
    [
        ("1", 1),
        ("0", 0),
        ("9999", 9999),
        ("10000", None),
        ("9" * 5000, None),
        ("²", None),
        ("٣", None),
        ("01", None),
        ("-1", None),
        ("1 ", None),
        ("", None),
        ("row", None),
    ],
)
def test_a_row_has_a_plain_number_below_a_ceiling(part: str, number: int | None) -> None:
    assert row_number(part) == number
