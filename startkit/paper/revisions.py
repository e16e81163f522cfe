"""Revisions of a record: A, then B in its place once A is signed; both stay, and B names A by its
digest.
"""

# `Any` here: a part is JSON, in the schema of `startkit.procedure.payload`.
from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from startkit.errors import PaperError
from startkit.facts.digests import sha256
from startkit.facts.journal import Entry

RECORDS = "records"  # folder of a job in which its records are kept
FULL_NAME, SHORT_NAME = "commissioning-record", "commissioning-record-short"
# A signature's range of bytes is in the file as plain text (ISO 32000-1, 12.8.1): it is found
# without reading the PDF.
_SIGNED = b"/ByteRange"
_LETTERS = re.compile(r"[A-Z]+")


@dataclass(frozen=True)
class Revision:
    """One revision of a record, and the signed file it replaces.

    Parameters
    ----------
    letter : str
        ``"A"`` for the first.
    replaces, file, sha256 : str
        Letter, name and digest of the signed record before it; empty for the first.
    entries : int
        How many entries that one has.
    journal_digest : str
        Hash of the last of them; empty if it was not recorded, or could not be read.
    """

    letter: str = "A"
    replaces: str = ""
    file: str = ""
    sha256: str = ""
    entries: int = 0
    journal_digest: str = ""

    def line(self, entries: Sequence[Entry] = ()) -> dict[str, Any]:
        """As it stands in the data of a record with these entries."""
        if not self.replaces:
            return {"letter": self.letter, "replaces": None}
        before: dict[str, Any] = {
            "letter": self.replaces,
            "file": self.file,
            "sha256": self.sha256,
        }
        if self.journal_digest:
            before |= {
                "entries": self.entries,
                "journal_digest": self.journal_digest,
                "history": self.history(entries),
            }
        return {"letter": self.letter, "replaces": before}

    def history(self, entries: Sequence[Entry]) -> str:
        """Why the journal is not that of the record before it, carried on; empty if it is."""
        if not self.journal_digest:
            return ""
        if len(entries) < self.entries:
            return (
                f"The journal has {len(entries)} entries, revision {self.replaces} had"
                f" {self.entries}: it was cut short."
            )
        if entries[self.entries - 1].digest != self.journal_digest:
            return (
                f"The journal does not begin with the {self.entries} entries of revision"
                f" {self.replaces}: it was rewritten, or is of another job."
            )
        return ""


FIRST = Revision()


def of_line(line: Any) -> Revision:
    """The revision that a record's data name; the first if they name none."""
    found = line if isinstance(line, dict) else {}
    before = found.get("replaces") or {}
    count = before.get("entries")
    letter, replaces, file, digest, last = (
        str(line.get(key, default))
        for line, key, default in (
            (found, "letter", "A"),
            *((before, key, "") for key in ("letter", "file", "sha256", "journal_digest")),
        )
    )
    if type(count) is not int or count < 1:
        return Revision(letter, replaces, file, digest)
    return Revision(letter, replaces, file, digest, count, last)


def is_signed(path: Path) -> bool:
    """True if the file carries a signature, whether good or not."""
    return path.is_file() and _SIGNED in path.read_bytes()


def stem(notebook_stem: str, form: str) -> str:
    """Name of a record's first revision without its ending."""
    return f"{notebook_stem}-{SHORT_NAME if form == 'short' else FULL_NAME}"


def path_of(folder: Path, name: str, letter: str) -> Path:
    """Where a revision is saved: the first under the record's plain name."""
    return folder / (f"{name}.pdf" if letter == "A" else f"{name}-{letter}.pdf")


def existing(folder: Path, name: str) -> list[tuple[str, Path]]:
    """Letters and files of the revisions that are there, oldest first."""
    letters = [path.stem[len(name) + 1 :] for path in folder.glob(f"{name}-*.pdf")]
    letters = [
        "A",
        *sorted(
            (each for each in letters if _LETTERS.fullmatch(each)),
            key=lambda each: (len(each), each),
        ),
    ]
    return [
        (letter, path) for letter in letters if (path := path_of(folder, name, letter)).is_file()
    ]


def due(folder: Path, name: str) -> Revision:
    """The revision that a print makes now: a new one if the newest is signed, else the newest."""
    there = existing(folder, name)
    signed = [pair for pair in there if is_signed(pair[1])]
    if not signed:
        return FIRST
    letter, path = signed[-1]
    content = path.read_bytes()
    return Revision(following(letter), letter, path.name, sha256(content), *ending(content))


def ending(content: bytes) -> tuple[int, str]:
    """How many entries a record's journal has, and the hash of the last; 0 and empty if it cannot
    be read.
    """
    from startkit.paper import evidence  # reads PDFs: loaded where one is read

    try:
        entries = evidence.of_pdf(content).entries
    except PaperError:
        return 0, ""
    return len(entries), entries[-1].digest


def letter_of(path: Path) -> str:
    """The letter in a record's data, whatever its file is called; empty if it cannot be read."""
    from startkit.paper import evidence

    try:
        return of_line(evidence.of_pdf(evidence.read(path)).record.get("revision")).letter
    except PaperError:
        return ""


def following(letter: str) -> str:
    """``A`` -> ``B``, ``Z`` -> ``AA``."""
    number = 0
    for sign in letter:
        number = number * 26 + ord(sign) - 64
    number += 1
    made = ""
    while number:
        number, rest = divmod(number - 1, 26)
        made = chr(65 + rest) + made
    return made


def newest(records: Path) -> Path | None:
    """The record that was printed last in a job's folder of records: the full form's newest
    revision, else the short form's.
    """
    for kind in (FULL_NAME, SHORT_NAME):
        found = [
            path
            for path in records.glob(f"*-{kind}*.pdf")
            if (taken := taken_apart(path)) and taken[0].endswith(f"-{kind}")
        ]
        if found:
            return max(found, key=lambda path: (path.stat().st_mtime_ns, len(path.stem), path.stem))
    return None


def later(path: Path) -> list[Path]:
    """Later revisions next to a record."""
    taken = taken_apart(path)
    if taken is None:
        return []
    name, letter = taken
    return [
        file
        for other, file in existing(path.parent, name)
        if (len(other), other) > (len(letter), letter)
    ]


def taken_apart(path: Path) -> tuple[str, str] | None:
    """Plain name and letter of a record's file; None if it is not named as a record."""
    found = re.fullmatch(rf"(.*-(?:{SHORT_NAME}|{FULL_NAME}))(?:-([A-Z]+))?", path.stem)
    return (found.group(1), found.group(2) or "A") if found else None
