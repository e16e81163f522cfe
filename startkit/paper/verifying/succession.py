"""The record that a record replaces, and those that replace it, where they are in its folder."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from startkit.errors import PaperError
from startkit.facts.digests import sha256
from startkit.facts.journal import Entry
from startkit.paper import revisions
from startkit.paper.evidence import Evidence, read
from startkit.paper.revisions import Revision
from startkit.paper.verifying.result import BAD, GOOD, OPEN, Part


def part(path: Path, evidence: Evidence) -> Part:
    """Whether a record carries on the one that it replaces, and whether another has replaced it.

    Parameters
    ----------
    path : pathlib.Path
        Of the record: others are looked for next to it.
    evidence : Evidence
    """
    revision = revisions.of_line(evidence.record.get("revision"))
    said, fault, unchecked = [f"{revision.letter}, the first."], "", ""
    if revision.replaces:
        said = [
            f"{revision.letter}, in place of revision {revision.replaces}, SHA-256"
            f" {revision.sha256}."
        ]
        there = _named(path, revision)
        told, fault, carried = _before(there, revision)
        said += [*told, *([fault] if fault else [])]
        unchecked = carried.history(_entries(evidence)).rstrip(".")
        said += [f"{unchecked}."] if unchecked else []
        if not carried.journal_digest:
            unchecked = f"whether the journal carries on that of revision {revision.replaces}"
    told = _renamed(path, revision) or _later(path, revision)
    mark = BAD if fault else OPEN if unchecked or told else GOOD
    return Part("revision", mark, (*said, *told), (unchecked,) if unchecked else ())


def _entries(evidence: Evidence) -> Sequence[Entry]:
    try:
        return evidence.entries
    except PaperError:  # another part says so
        return ()


def _before(there: Path | None, revision: Revision) -> tuple[list[str], str, Revision]:
    """What is said of the record that was replaced, what is wrong with it, and what its journal
    was: as it says itself if it is there, else as this one says.
    """
    if there is None:
        return [], "", revision
    try:
        content = read(there)
    except PaperError as error:
        return [], str(error), revision
    if sha256(content) != revision.sha256:
        return [], f"{there.name} is in its folder and is not the one that it names.", revision
    count, digest = revisions.ending(content)
    if revision.journal_digest and (count, digest) != (revision.entries, revision.journal_digest):
        return [], f"{there.name} has another journal than this one says of it.", revision
    good = f"{there.name} is in its folder and is the one that it names."
    return [good], "", replace(revision, entries=count, journal_digest=digest)


def _named(path: Path, revision: Revision) -> Path | None:
    """The file of that name next to the record; None if there is none."""
    try:
        found = path.with_name(Path(revision.file).name)
        return found if found.is_file() and found != path else None
    except (OSError, ValueError):  # no name of a file: empty, or far too long
        return None


def _renamed(path: Path, revision: Revision) -> list[str]:
    """A file that is named as another revision than it is."""
    taken = revisions.taken_apart(path)
    if taken is None or taken[1] == revision.letter:
        return []
    return [f"Its file is named as revision {taken[1]}, but it is revision {revision.letter}."]


def _later(path: Path, revision: Revision) -> list[str]:
    """Later revisions next to it: what a file is, not what it is called, says so."""
    said: list[str] = []
    for file in reversed(revisions.later(path)):
        letter = revisions.letter_of(file)
        if (len(letter), letter) > (len(revision.letter), revision.letter):
            return [*said, f"{file.name} is in its folder: this record has been replaced."]
        known = f"is revision {letter}" if letter else "cannot be read"
        said.append(f"{file.name} is in its folder and {known}.")
    return said
