"""The journal: every entry of a job, append-only, each sealed with the hash of the one before.

SQLite, one short connection per change; `journal_mode=DELETE` because job folders are kept in
synchronised folders and on sticks, `synchronous=EXTRA` because a power cut must not take back what
was acknowledged as saved.
"""

# `Any` here: an entry's parts by name, to be written as JSON.
from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

from startkit.errors import JournalError
from startkit.facts.digests import sha256_of_text

APPLICATION_ID = 0x53544B31  # "STK1": distinguishes our files from other SQLite files
GENESIS = "0" * 64
BUSY_SECONDS = 15.0
# The commit is the deletion of the rollback file. FULL does not flush the folder after it: a power
# cut brings that file back, and the next opening undoes the entry: see benchmarks/power_cut.py.
SYNCHRONOUS = "EXTRA"
# What is no reading: settings of the job, hold points released, and when a reading was taken.
OF_THE_JOB = ("job.", "release.", "witnessed.", "taken.")
MOST_ROWS = 9999  # of one table of a form: a longer recording is a series or a trend


@dataclass(frozen=True)
class Entry:
    """One thing that was written down.

    Parameters
    ----------
    what : str
        Dotted name: ``stage.field``, ``stage.table.row.column``, ``waiver.verdict-key``,
        ``release.hold-point``, ``taken.stage.field``, ``job.units``.
    value, unit : str
        As typed.
    who, instrument : str
        Person, and tag of the instrument read (may be empty).
    note : str
        Reason of a correction, or a remark.
    at : str
        When it was entered by the computer's clock: local time with offset, ISO 8601. When a
        reading was taken, if that was typed, is an entry of its own (`startkit.facts.taken`).
    seq, previous, digest
        Place in the chain, hash of the entry before, hash of this one.
    """

    what: str
    value: str
    unit: str = ""
    who: str = ""
    instrument: str = ""
    note: str = ""
    at: str = ""
    seq: int = 0
    previous: str = ""
    digest: str = ""

    def as_dict(self) -> dict[str, Any]:
        """Its parts by name, in order."""
        return dict(vars(self))

    @property
    def moment(self) -> datetime | None:
        """When it was made; None if its time cannot be read: the entry may come from a damaged or a
        foreign journal.
        """
        try:
            found = datetime.fromisoformat(self.at)
        except ValueError:
            return None
        return found if found.tzinfo is not None else found.replace(tzinfo=UTC)

    @property
    def day(self) -> date | None:
        """Day on which it was made, on the clock of its place; None if its time cannot be read."""
        return self.moment.date() if self.moment is not None else None


def digest(entry: Entry) -> str:
    """SHA-256 over the canonical JSON of an entry without its own hash."""
    body = {k: v for k, v in entry.as_dict().items() if k != "digest"}
    return sha256_of_text(
        json.dumps(body, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    )


def row_number(part: str) -> int | None:
    """The row in the name of a table's item, ``stage.table.row.column``; None if it is no number of
    a row: a sign that only looks like a digit, or one beyond the last row of any form.
    """
    if not (part.isascii() and part.isdecimal() and len(part) <= len(str(MOST_ROWS))):
        return None
    return int(part) if str(int(part)) == part else None


def now() -> str:
    """Local time with its offset, to the millisecond."""
    return datetime.now().astimezone().isoformat(timespec="milliseconds")


# --- migrations: named functions, applied in order ------------------------------------------


def m001_entries(db: sqlite3.Connection) -> None:
    """The table of entries, and triggers that refuse to change or delete one."""
    db.execute(
        "CREATE TABLE entries (seq INTEGER PRIMARY KEY, what TEXT NOT NULL, value TEXT NOT NULL,"
        " unit TEXT NOT NULL, who TEXT NOT NULL, instrument TEXT NOT NULL, note TEXT NOT NULL, at"
        " TEXT NOT NULL, previous TEXT NOT NULL, digest TEXT NOT NULL UNIQUE)"
    )
    for verb in ("UPDATE", "DELETE"):
        db.execute(
            f"CREATE TRIGGER entries_no_{verb.lower()} BEFORE {verb} ON entries"
            " BEGIN SELECT RAISE(ABORT, 'entries are never changed: write a correction'); END"
        )


_INSERT = (
    "INSERT INTO entries (seq, what, value, unit, who, instrument, note, at, previous, digest)"
    " VALUES (:seq, :what, :value, :unit, :who, :instrument, :note, :at, :previous, :digest)"
)
# A damaged row may hold anything: it is shown as text, and its hash shows that it was altered.
_COLUMNS = ", ".join(
    f"ifnull(CAST({name} AS TEXT), '')" if name != "seq" else name
    for name in (
        "what",
        "value",
        "unit",
        "who",
        "instrument",
        "note",
        "at",
        "seq",
        "previous",
        "digest",
    )
)
MIGRATIONS: tuple[Callable[[sqlite3.Connection], None], ...] = (m001_entries,)


class Journal:
    """The entries in one file."""

    def __init__(self, path: Path, read_only: bool = False) -> None:
        self.path, self.read_only = path, read_only

    @classmethod
    def create(cls, path: Path) -> Journal:
        """A new, empty journal; an existing file is never overwritten.

        Raises
        ------
        JournalError
            The file exists, or the folder cannot be written.
        """
        if path.exists():
            raise JournalError(
                "there is already a journal", str(path), "open the job instead of making it again"
            )
        journal = cls(path)
        with journal._connect() as db:
            db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            journal._migrate(db)
        return journal

    @classmethod
    def open(cls, path: Path, read_only: bool = False) -> Journal:
        """An existing journal, brought to the newest layout unless it is opened read-only.

        Raises
        ------
        JournalError
            No file, not a journal, or written by a newer version.
        """
        if not path.is_file():
            raise JournalError(
                "there is no journal",
                str(path),
                "give the folder of a job, or make one with `startkit new`",
            )
        journal = cls(path, read_only)
        with journal._connect() as db:
            if db.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
                raise JournalError(
                    "the file is not a job's journal", str(path), "give the folder of a job"
                )
            version = db.execute("PRAGMA user_version").fetchone()[0]
            if version > len(MIGRATIONS):
                raise JournalError(
                    "the journal was written by a newer version",
                    str(path),
                    "install the newer version and open it again",
                )
            if version < 1 and db.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]:
                raise _altered("its version number was changed", path)
            if version < len(MIGRATIONS) and not read_only:
                journal._migrate(db)
        return journal

    def _migrate(self, db: sqlite3.Connection) -> None:
        db.execute("BEGIN IMMEDIATE")
        version = db.execute("PRAGMA user_version").fetchone()[0]
        for number, migration in enumerate(MIGRATIONS[version:], start=version + 1):
            migration(db)
            db.execute(f"PRAGMA user_version = {number}")
        db.execute("COMMIT")

    @contextmanager
    def _connect(self) -> Iterator[sqlite3.Connection]:
        """One short connection; every SQLite error becomes one sentence."""
        db = None
        try:
            db = self._opened(self.read_only)
            if not self.read_only:
                db.execute("PRAGMA journal_mode = DELETE")
                db.execute(f"PRAGMA synchronous = {SYNCHRONOUS}")
            yield db
        except sqlite3.Error as error:
            raise _plain(error, self.path) from None
        except OverflowError:  # the number after the last one that SQLite can count
            raise _altered("the numbers of its entries were changed", self.path) from None
        finally:
            if db is not None:
                db.close()

    def _opened(self, read_only: bool) -> sqlite3.Connection:
        """A connection that can read: what a killed writer left half done is undone first, for
        which a moment of writing is needed.
        """
        uri = self.path.absolute().as_uri() + ("?mode=ro" if read_only else "")
        db = sqlite3.connect(uri, uri=True, timeout=BUSY_SECONDS, isolation_level=None)
        try:
            db.execute("PRAGMA schema_version").fetchone()
        except sqlite3.OperationalError as error:
            db.close()
            if not read_only or error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_READONLY:
                raise
            self._opened(read_only=False).close()
            return self._opened(read_only=True)
        return db

    def append(self, entries: Iterable[Entry]) -> list[Entry]:
        """Write entries in one transaction and return them with their places in the chain.

        On return they are on disk and have been read back from there.

        Raises
        ------
        JournalError
            Read-only, locked by another writer for too long, the disk refused, the file holds more
            than a journal does, or what was written is not there.
        """
        if self.read_only:
            raise JournalError(
                "the job is open read-only",
                str(self.path),
                "open it in form mode to enter readings",
            )
        with self._connect() as db:
            self._begin(db)
            last = db.execute(
                "SELECT seq, digest FROM entries ORDER BY seq DESC LIMIT 1"
            ).fetchone() or (0, GENESIS)
            written = chained(entries, *last)
            self._write(db, written)
        return written

    def _begin(self, db: sqlite3.Connection) -> None:
        """Lock the journal for writing, and refuse a file in which writing does more than write."""
        db.execute("BEGIN IMMEDIATE")
        if found := _foreign(db):
            raise _altered(f"it contains {found}, which no journal has", self.path)

    def _write(self, db: sqlite3.Connection, entries: list[Entry]) -> None:
        """Insert, commit, and read the rows back: a storage that grants every lock, or a trigger
        that swallows rows, loses them without an error.
        """
        db.executemany(_INSERT, [entry.as_dict() for entry in entries])
        db.execute("COMMIT")
        if not entries:
            return
        db.execute("PRAGMA shrink_memory")  # the file is to be read, not what is remembered of it
        rows = db.execute(
            f"SELECT {_COLUMNS} FROM entries WHERE seq BETWEEN ? AND ? ORDER BY seq",
            (entries[0].seq, entries[-1].seq),
        ).fetchall()
        if [Entry(*row) for row in rows] != entries:
            raise JournalError(
                "the entry is not in the journal after writing",
                str(self.path),
                "note it on paper, copy the job to another disk and enter it there",
            )

    def adopt(self, entries: Iterable[Entry]) -> None:
        """Take over the entries of another journal with their chain; this one must be
        empty.

        Raises
        ------
        JournalError
            The chain is broken, or there are already entries here.
        """
        taken = list(entries)
        faults = chain_faults(taken)
        if faults:
            raise JournalError(
                f"the chain of hashes is broken ({faults[0]})",
                str(self.path),
                "take an undamaged copy",
            )
        with self._connect() as db:
            self._begin(db)
            if db.execute("SELECT count(*) FROM entries").fetchone()[0]:
                raise JournalError(
                    "there are already entries here",
                    str(self.path),
                    "import entries only into a new journal",
                )
            self._write(db, taken)

    def read(self, after: int = 0) -> list[Entry]:
        """Entries in order, from the one after number `after`."""
        with self._connect() as db:
            rows = db.execute(
                f"SELECT {_COLUMNS} FROM entries WHERE seq > ? ORDER BY seq", (after,)
            ).fetchall()
        return [Entry(*row) for row in rows]

    def newest(self) -> Entry | None:
        """The last entry alone: its digest covers all entries before it."""
        with self._connect() as db:
            row = db.execute(
                "SELECT what, value, unit, who, instrument, note, at, seq, previous, digest FROM"
                " entries ORDER BY seq DESC LIMIT 1"
            ).fetchone()
        return Entry(*row) if row else None

    def faults(self) -> list[str]:
        """What is wrong with the chain; empty if nothing is."""
        return chain_faults(self.read())


@lru_cache(maxsize=2)
def _layout(
    migrations: tuple[Callable[[sqlite3.Connection], None], ...],
) -> frozenset[tuple[str, str, str]]:
    """Type, name and text of everything that the migrations make."""
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as db:
        for migration in migrations:
            migration(db)
        return frozenset(_made(db))


def _made(db: sqlite3.Connection) -> list[tuple[str, str, str]]:
    rows = db.execute("SELECT type, name, ifnull(sql, '') FROM sqlite_master")
    return [(kind, name, " ".join(sql.split())) for kind, name, sql in rows]


def _foreign(db: sqlite3.Connection) -> str:
    """What a file holds besides a journal's table, index and triggers, or lacks of them; empty if
    it is exactly those.
    """
    found, due = frozenset(_made(db)), _layout(MIGRATIONS)
    if extra := sorted(found - due):
        return f"the {extra[0][0]} {extra[0][1]!r}"
    return f"no {min(due - found)[1]!r}" if due - found else ""


def chained(entries: Iterable[Entry], seq: int, previous: str) -> list[Entry]:
    """Entries as they follow number `seq`, whose hash is `previous`: each numbered and sealed."""
    written = []
    for entry in entries:
        seq += 1
        clean: dict[str, Any] = {
            k: v.encode("utf-8", "replace").decode()
            for k, v in entry.as_dict().items()
            if isinstance(v, str)
        }
        placed = replace(
            entry,
            **{**clean, "at": entry.at or now(), "seq": seq, "previous": previous, "digest": ""},
        )
        placed = replace(placed, digest=digest(placed))
        previous = placed.digest
        written.append(placed)
    return written


def chain_faults(entries: Iterable[Entry], after: Entry | None = None) -> list[str]:
    """One sentence for each place where the chain of hashes is broken.

    Parameters
    ----------
    entries : iterable of Entry
    after : Entry, optional
        The entry before the first one; default: the chain begins here.
    """
    faults, previous = [], after.digest if after else GENESIS
    for expected, entry in enumerate(entries, start=after.seq + 1 if after else 1):
        if entry.seq != expected:
            faults.append(f"entry {expected} is missing before entry {entry.seq}")
        if entry.previous != previous:
            faults.append(f"entry {entry.seq} ({entry.what}) does not follow the entry before it")
        if digest(entry) != entry.digest:
            faults.append(f"entry {entry.seq} ({entry.what}) was altered after it was written")
        previous = entry.digest
    return faults


def _plain(error: sqlite3.Error, path: Path) -> JournalError:
    text = str(error)
    if "locked" in text or "busy" in text:
        return JournalError(
            "another program is writing to this job", str(path), "wait a moment and save again"
        )
    if "readonly" in text or "unable to open" in text:
        return JournalError(
            "the job's folder is not writable",
            str(path),
            "check that the folder or stick is not write-protected",
        )
    if "full" in text or "disk I/O" in text:
        return JournalError(
            "the disk is full or failing, nothing was saved",
            str(path),
            "free some space and save again",
        )
    if "never changed" in text:
        return JournalError("entries are never changed or deleted", str(path), "write a correction")
    if any(said in text for said in ("malformed", "not a database", "decode", "no such")):
        return JournalError(
            "the journal is damaged", str(path), "keep the file as it is and work on a copy"
        )
    return JournalError(
        f"the journal cannot be used ({text})",
        str(path),
        "close other programs that have the file open and try again",
    )


def _altered(what: str, path: Path) -> JournalError:
    return JournalError(
        f"the journal was changed by another program: {what}; nothing was saved",
        str(path),
        "save what can be read with `startkit rescue`",
    )
