"""Revisions of a record: A, then B in its place once A is signed; both stay, and B names A by its
digest.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from startkit.facts.digests import sha256

RECORDS = "records"  # folder of a job in which its records are kept
FULL_NAME, SHORT_NAME = "commissioning-record", "commissioning-record-short"
# A signature's range of bytes stands in the file as plain text (ISO 32000-1, 12.8.1): it is found
# without reading the PDF.
_SIGNED = b"/ByteRange"
_LETTERS = re.compile(r"[A-Z]+")


@dataclass(frozen=True)
class Revision:
    """One revision of a record, and the signed file in whose place it stands.

    Parameters
    ----------
    letter : str
        ``"A"`` for the first.
    replaces, file, sha256 : str
        Letter, name and digest of the signed record before it; empty for the first.
    """

    letter: str = "A"
    replaces: str = ""
    file: str = ""
    sha256: str = ""

    def line(self) -> dict[str, Any]:
        """As it stands in the record's data."""
        before = (
            {"letter": self.replaces, "file": self.file, "sha256": self.sha256}
            if self.replaces
            else None
        )
        return {"letter": self.letter, "replaces": before}


FIRST = Revision()


def of_line(line: Any) -> Revision:
    """The revision that a record's data name; the first if they name none."""
    found = line if isinstance(line, dict) else {}
    before = found.get("replaces") or {}
    return Revision(
        str(found.get("letter", "A")),
        *(str(before.get(key, "")) for key in ("letter", "file", "sha256")),
    )


def is_signed(path: Path) -> bool:
    """True if the file carries a signature, whether good or not."""
    return path.is_file() and _SIGNED in path.read_bytes()


def stem(notebook_stem: str, form: str) -> str:
    """Name of a record's first revision without its ending."""
    return f"{notebook_stem}-{SHORT_NAME if form == 'short' else FULL_NAME}"


def path_of(folder: Path, name: str, letter: str) -> Path:
    """Where a revision lies: the first under the record's plain name."""
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
    return Revision(following(letter), letter, path.name, sha256(path.read_bytes()))


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
    """Later revisions that lie beside a record."""
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
