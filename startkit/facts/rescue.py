"""Rescue: what can be read of a damaged job, in a new job, with a list of what could not."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from startkit.errors import JobError, StartkitError
from startkit.facts import machine as machine_
from startkit.facts import page_recovery, safe_files
from startkit.facts.job import DATABASE, SHEET, check_new_folder
from startkit.facts.journal import Entry, Journal, digest


@dataclass(frozen=True)
class Rescued:
    """What was saved and what was lost.

    Parameters
    ----------
    folder : pathlib.Path
        The new job.
    saved : int
        Entries whose own hash proves them whole.
    lost : tuple of int
        Numbers of entries that must have existed and could not be read; the end of a truncated
        journal cannot be known.
    files_lost : tuple of str
        Files of the job that could not be copied.
    """

    folder: Path
    saved: int
    lost: tuple[int, ...]
    files_lost: tuple[str, ...]


def whole_entries(path: Path) -> dict[int, Entry]:
    """Entries by number whose hash is right, from a journal in any state."""
    found = {}
    for entry in page_recovery.rows(path):
        if digest(entry) == entry.digest:
            found[entry.seq] = entry
    return found


def rescue(damaged: Path, folder: Path) -> Rescued:
    """Save what can be read of a damaged job into a new one; the damaged job is only read.

    Parameters
    ----------
    damaged : pathlib.Path
        The damaged job's folder.
    folder : pathlib.Path
        The new job's folder; it must not exist or be empty.

    Raises
    ------
    JobError
        There is no journal, its sheet cannot be read, nothing could be saved, or the new folder
        cannot be used.
    """
    journal = Path(damaged) / DATABASE
    check_new_folder(Path(folder))
    if not journal.is_file():
        raise JobError(
            "there is no journal to rescue", str(damaged), "give the folder of the damaged job"
        )
    try:
        machine_.load(Path(damaged) / SHEET)
    except StartkitError as error:
        raise JobError(
            f"the machine sheet cannot be read ({error.what})",
            str(damaged),
            f"put a good copy of {SHEET} in the damaged job's folder and run rescue again",
        ) from None
    entries = whole_entries(journal)
    if not entries:
        raise JobError(
            "nothing could be read",
            str(journal),
            "keep the file; use a copy from a backup, or `startkit import` with a printed record",
        )
    return _saved(Path(damaged), Path(folder), entries)


def _saved(damaged: Path, folder: Path, entries: dict[int, Entry]) -> Rescued:
    try:
        with safe_files.folder(folder) as made:
            return replace(_put(damaged, made, entries), folder=folder)
    except OSError as error:
        raise JobError(
            f"the new folder cannot be made ({error.strerror})",
            str(folder),
            "check that the disk or stick has space and is not write-protected",
        ) from None


def _put(damaged: Path, folder: Path, entries: dict[int, Entry]) -> Rescued:
    files_lost = _copied(damaged, folder)
    lost = tuple(sorted(set(range(1, max(entries) + 1)) - set(entries)))
    # The chain is broken where entries are missing: they are chained anew.
    kept = [e for _, e in sorted(entries.items())]
    said = (
        f"{len(kept)} entries saved; lost: {_ranges(lost) or 'none known'}; last hash"
        f" {kept[-1].digest}"
    )
    Journal.create(folder / DATABASE).append(
        [
            *(Entry(e.what, e.value, e.unit, e.who, e.instrument, e.note, e.at) for e in kept),
            Entry("job.rescued", said),
        ]
    )
    return Rescued(folder, len(kept), lost, tuple(files_lost))


def _copied(damaged: Path, folder: Path) -> list[str]:
    """Copy everything but the journal; names of what could not be copied."""
    lost = []
    for path in sorted(damaged.rglob("*")):
        target = folder / path.relative_to(damaged)
        if path.name.startswith(DATABASE) or path.is_symlink():
            continue
        try:
            if path.is_dir():
                target.mkdir(parents=True, exist_ok=True)
            else:
                safe_files.copy(path, target)
        except OSError:
            lost.append(str(path.relative_to(damaged)))
    return lost


def _ranges(numbers: tuple[int, ...]) -> str:
    """``(1, 2, 3, 7)`` -> ``"1 to 3, 7"``."""
    runs: list[list[int]] = []
    for n in numbers:
        if runs and n == runs[-1][1] + 1:
            runs[-1][1] = n
        else:
            runs.append([n, n])
    return ", ".join(str(a) if a == b else f"{a} to {b}" for a, b in runs)
