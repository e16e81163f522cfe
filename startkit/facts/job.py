"""A job: one start-up of one machine, in one folder."""

from __future__ import annotations

import re
import threading
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import cached_property
from itertools import zip_longest
from pathlib import Path
from typing import TYPE_CHECKING

from startkit import units
from startkit.errors import JobError, JournalError
from startkit.facts import baseline as baseline_
from startkit.facts import last_visit as last_visit_
from startkit.facts import limits as limits_
from startkit.facts import machine as machine_
from startkit.facts import pictures, safe_files
from startkit.facts import taken as taken_
from startkit.facts.digests import sha256_of_file
from startkit.facts.journal import OF_THE_JOB, Entry, Journal, chain_faults

if TYPE_CHECKING:
    from startkit.facts.trend.trend import Trend

DATABASE, SHEET, SPECIFICATION = "job.db", "machine.toml", "specification.toml"
ROW_REMOVED = "row removed"
PICTURE = "job.picture."  # item that holds the digest of a picture in the job's folder
RELEASES, BY_NAME = "job.releases", "by name"  # a job without this entry began before releases were
NO_SPECIFICATION = "no specification"  # in the note of ``job.sheet``
_SAFE_NAME = re.compile(r"^[A-Za-z0-9](?:[A-Za-z0-9 ._\-]*[A-Za-z0-9_\-])?$")


@dataclass(frozen=True)
class State:
    """All entries of a job up to one moment, newest value of each item first to hand.

    Parameters
    ----------
    entries : tuple of Entry
    faults : tuple of str
        One sentence for each place where the journal's chain of hashes was found broken.
    """

    entries: tuple[Entry, ...]
    faults: tuple[str, ...] = ()

    @cached_property
    def latest(self) -> Mapping[str, Entry]:
        return {entry.what: entry for entry in self.entries}

    def history(self, what: str) -> tuple[Entry, ...]:
        """Every value that an item has had, oldest first."""
        return tuple(self._by_item.get(what, ()))

    def taken(self, entry: Entry) -> str:
        """When a reading was taken, ISO 8601: as typed, else when it was entered."""
        return self._taken.get((entry.what, entry.seq), entry.at)

    @cached_property
    def _taken(self) -> Mapping[tuple[str, int], str]:
        return taken_.times(self.entries)

    @cached_property
    def _by_item(self) -> Mapping[str, list[Entry]]:
        # Every field of a form asks for its history: one pass over the journal serves them all.
        found: dict[str, list[Entry]] = {}
        for entry in self.entries:
            found.setdefault(entry.what, []).append(entry)
        return found


class Job:
    """A job's folder: sheet, journal, notebook, imported files, records.

    Safe to use from several threads: widget callbacks may not run in the kernel's main thread.
    """

    def __init__(self, folder: Path, read_only: bool = False) -> None:
        self.folder, self.read_only = Path(folder), read_only
        if not self.folder.is_dir():
            raise JobError(
                "there is no such job folder",
                str(folder),
                "check the name, or make the job with `startkit new`",
            )
        self.journal = Journal.open(self.folder / DATABASE, read_only)
        self.machine = machine_.load(self.folder / SHEET)
        self.limits = self._limits()
        self.baseline = baseline_.in_folder(self.folder)
        self.last_visit = last_visit_.in_folder(self.folder)
        self._lock = threading.RLock()
        self._entries: list[Entry] = []
        self._faults: list[str] = []

    @classmethod
    def create(
        cls,
        folder: Path,
        sheet: Path,
        template: Path,
        system: str = units.SI,
        who: str = "",
        specification: Path | None = None,
        at: str = "",
    ) -> Job:
        """Make the folder, copy sheet and template into it, write the first entries.

        Parameters
        ----------
        folder, sheet, template : pathlib.Path
        system : str
            ``"SI"`` or ``"I-P"``.
        who : str
            Who made the job.
        specification : pathlib.Path, optional
            TOML file with the job's own ``[limits]``.
        at : str
            When it was made, ISO 8601 with offset; empty: now.

        Raises
        ------
        JobError
            The folder exists and is not empty, its name cannot be used everywhere, or a file is
            missing.
        SheetError
            The sheet has a fault, or names a refrigerant that is not known.
        """
        folder = Path(folder)
        check_new_folder(folder)
        machine_.check_refrigerant(Path(sheet), machine_.load(sheet))
        for path in (template, *([specification] if specification else [])):
            if not Path(path).is_file():
                raise JobError("there is no such file", str(path), "check the name")
        if specification:
            limits_.specification(limits_.defaults(), specification)
        try:
            with safe_files.folder(folder) as made:
                given = {SHEET: sheet, template.name: template} | (
                    {SPECIFICATION: specification} if specification else {}
                )
                for name, path in given.items():
                    safe_files.copy(Path(path), made / name)
                cls.begin(made, template.name, system, who, at)
        except OSError as error:
            raise JobError(
                f"the folder cannot be made ({error.strerror})",
                str(folder),
                "check that the disk or stick has space and is not write-protected",
            ) from None
        return cls(folder)

    @classmethod
    def begin(cls, folder: Path, template: str, system: str, who: str, at: str = "") -> Job:
        """Write the first entries into a folder that has its sheet and its notebook.

        Parameters
        ----------
        folder : pathlib.Path
        template : str
            Name of the notebook in the folder.
        system, who, at : str
            As of `create`.
        """
        first = [
            Entry("job.machine", machine_.load(folder / SHEET).machine.tag),
            Entry("job.units", system),
            *_of_files(folder, template),
            Entry(RELEASES, BY_NAME),
        ]
        Journal.create(folder / DATABASE).append(replace(entry, who=who, at=at) for entry in first)
        return cls(folder)

    def _limits(self) -> limits_.Limits:
        layered = limits_.defaults()
        if (self.folder / SPECIFICATION).is_file():
            layered = limits_.specification(layered, self.folder / SPECIFICATION)
        return self.machine.limits_over(layered, SHEET)

    def state(self, until: int | None = None) -> State:
        """The entries so far, or those up to entry number `until`."""
        with self._lock:
            last = self._entries[-1] if self._entries else None
            new = self.journal.read(after=last.seq - 1 if last else 0)
            if last and (not new or new.pop(0).digest != last.digest):
                # A storage without locks let another writer overwrite it, or the file was replaced.
                self._faults.append(f"entry {last.seq} ({last.what}) was there and is now missing")
                last, self._entries, new = None, [], self.journal.read()
            # Hashing thousands of entries at every keystroke would be felt: each is checked once,
            # when it is read.
            self._faults += chain_faults(new, last)
            self._entries += new
            return State(
                tuple(e for e in self._entries if until is None or e.seq <= until),
                tuple(self._faults),
            )

    def record(self, entries: Entry | Iterable[Entry]) -> list[Entry]:
        """Write entries; they are on disk when this returns.

        Raises
        ------
        JournalError
            A correction came without its reason, or the journal cannot be written.
        """
        batch = [entries] if isinstance(entries, Entry) else list(entries)
        with self._lock:
            latest = self.state().latest
            changed = _changed(batch, latest)
            for entry in changed:
                if needs_reason(latest.get(entry.what), entry) and not entry.note.strip():
                    raise JournalError(
                        "a correction needs its reason",
                        entry.what,
                        "say in a few words why the value changes",
                    )
            asked = [replace(e, value=e.value.strip(), unit=e.unit.strip()) for e in changed]
            written = self.journal.append([*asked, *self._pictures(asked, latest)])
            return [e for e in written[: len(asked)] if not e.what.startswith(taken_.TAKEN)]

    def _pictures(self, entries: Sequence[Entry], latest: Mapping[str, Entry]) -> list[Entry]:
        """The digests of the pictures that entries name for the first time, taken when the last of
        them is written.
        """
        found: dict[str, Entry] = {}
        at = entries[-1].at if entries else ""
        for entry in entries:
            for name, digest in pictures.digests(self.folder, entry.value).items():
                what = f"{PICTURE}{name}"
                if what not in latest:
                    found.setdefault(what, Entry(what, digest, who=entry.who, at=at))
        return list(found.values())

    @cached_property
    def trends(self) -> Mapping[str, Trend]:
        """The imported trends by name, each read when it is first asked for."""
        from startkit.facts.trend.store import Trends  # numpy is imported when a trend is

        return Trends(self.folder, lambda: self.state().latest)

    @property
    def system(self) -> str:
        """Units of this job: SI or I-P."""
        entry = self.state().latest.get("job.units")
        return entry.value if entry and entry.value in units.SYSTEMS else units.SI

    @property
    def template(self) -> Path:
        """The notebook of this job; always one in its own folder, whatever a foreign journal
        claims.

        Raises
        ------
        JobError
            The journal names none.
        """
        entry = self.state().latest.get("job.template")
        name = Path(entry.value).name if entry is not None else ""
        if not name:
            raise JobError(
                "the journal does not name a notebook",
                str(self.folder),
                "take an undamaged copy, or save what can be read with `startkit rescue`",
            )
        return self.folder / name

    @property
    def last_moment(self) -> datetime:
        """Time of the last entry whose time can be read; 1980 if there is none, the earliest that
        archives can hold.
        """
        moments = (entry.moment for entry in reversed(self.state().entries))
        return next(
            (moment for moment in moments if moment is not None), datetime(1980, 1, 1, tzinfo=UTC)
        )


def _of_files(folder: Path, template: str) -> list[Entry]:
    """The first entries on the files of a new job, each with its digest."""
    given = (folder / SPECIFICATION).is_file()
    names = {"job.template": template, "job.sheet": SHEET} | (
        {"job.specification": SPECIFICATION} if given else {}
    )
    made = [
        Entry(what, name, note=f"sha256 {sha256_of_file(folder / name)}")
        for what, name in names.items()
    ]
    if not given:
        made[-1] = replace(made[-1], note=f"{made[-1].note}, {NO_SPECIFICATION}")
    return made


def _changed(batch: Sequence[Entry], latest: Mapping[str, Entry]) -> list[Entry]:
    """Those that say something new. The same value again does not, unless it is said why: "seen
    again after the adjustment"; nor does the time at which it was taken.
    """
    kept = []
    for entry, following in zip_longest(batch, batch[1:]):
        new = following if taken_.belongs_to(entry, following) else entry
        if new.note.strip() or not _same(latest.get(new.what), new):
            kept.append(entry)
    return kept


def _same(old: Entry | None, new: Entry) -> bool:
    if old is None:
        return False
    return (old.value, old.unit, old.instrument) == (
        new.value.strip(),
        new.unit.strip(),
        new.instrument,
    )


def needs_reason(old: Entry | None, new: Entry) -> bool:
    """True if `new` replaces a value that a person entered; filling a blank does not."""
    return (
        old is not None
        and old.value != ""
        and not old.what.startswith(OF_THE_JOB)
        and (old.value, old.unit) != (new.value.strip(), new.unit.strip())
    )


def check_new_folder(folder: Path) -> None:
    """Refuse a folder that exists with something in it, or whose name some computer refuses.

    Raises
    ------
    JobError
        With the remedy.
    """
    name = folder.name
    if not _SAFE_NAME.match(name) or safe_files.is_reserved(name):
        raise JobError(
            f"{name!r} is not a valid folder name on every computer",
            "job",
            "use letters, digits, spaces, dots, hyphens",
        )
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise JobError(
            "the folder is not empty",
            str(folder),
            "choose another name; a job never overwrites another",
        )
