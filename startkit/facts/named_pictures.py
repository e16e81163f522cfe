"""Pictures that an entry names by their file: which of them a record can print, and give back."""

from __future__ import annotations

import re
import unicodedata
from pathlib import Path, PurePosixPath

from startkit.errors import ReadingError
from startkit.facts import file_types, pictures, safe_files

ENDINGS = (*file_types.PICTURES, ".jfif", ".jpe")
LONGEST = 200  # bytes of one part of a name: file systems take 255, and ours is longer meanwhile
_REFUSED = frozenset('<>:"|?*\\')  # no file of Windows has one of these in its name
_NOT_THERE = "There is no such file in the job's folder."
_UNREADABLE = "The file cannot be read."
_INKS = "The picture is in the four colours of a press (CMYK) and is not printed; save it as RGB."
NOT_PRINTED = "The file is not a PNG, JPEG or plain SVG picture and is not printed."
_NAME = "The file cannot be kept under this name and is not printed; rename it: "
_LARGE = "too large to be drawn and is not printed; put a smaller one there."
_UNCARRIED = re.compile(
    "|".join(
        (
            *map(re.escape, (_NOT_THERE, _UNREADABLE, _INKS, NOT_PRINTED, f"The file is {_LARGE}")),
            rf"The picture has \d+ × \d+ pixels: {re.escape(_LARGE)}",
        )
    )
)


def name_fault(name: str) -> str:
    """Why a file of that name cannot go with a record to every computer; empty if it can.

    Parameters
    ----------
    name : str
        Within the job's folder, with ``/`` between its parts.
    """
    path = PurePosixPath(name)
    if not path.parts or str(path) != name or path.is_absolute() or ".." in path.parts:
        return f"{_NAME}a plain name inside the job's folder."
    for part in path.parts:
        fault = _part_fault(part)
        if fault:
            return f"{_NAME}{fault}."
    if file_types.suffix(path) not in ENDINGS:
        return f"{_NAME}it must end in {', '.join(ENDINGS[:-1])} or {ENDINGS[-1]}."
    return ""


def _part_fault(part: str) -> str:
    odd = next((each for each in part if each in _REFUSED or not _is_a_sign(each)), "")
    if odd:
        return f"it contains the character U+{ord(odd):04X}"
    if part.startswith(".") or part.endswith((".", " ")):
        return "it begins or ends with a dot, or ends with a blank"
    if len(part.encode("utf-8")) > LONGEST:
        return "it is too long"
    return "it is the name of a device" if safe_files.is_reserved(part) else ""


def _is_a_sign(letter: str) -> bool:
    """False for control signs, halves of surrogate pairs, and signs that turn the writing round."""
    return unicodedata.category(letter) not in ("Cc", "Cs", "Zl", "Zp") and not (
        "\u202a" <= letter <= "\u202e" or "\u2066" <= letter <= "\u2069"
    )


def content(folder: Path, name: str) -> tuple[bytes, str]:
    """The bytes of a picture in a job's folder, or why it cannot be printed.

    Parameters
    ----------
    folder : pathlib.Path
        Of the job.
    name : str
        As the journal names it.
    """
    fault = name_fault(name)
    path = None if fault else pictures.within(folder, name)
    if path is None:
        return b"", fault or _NOT_THERE
    try:
        if path.stat().st_size > pictures.LARGEST:
            return b"", f"The file is {_LARGE}"
        found = path.read_bytes()
    except OSError:
        return b"", _UNREADABLE
    if flood := pictures.flood(found):
        return b"", f"{flood.partition(':')[0]}: {_LARGE}"
    return (b"", _INKS) if pictures.is_of_inks(found) else (found, "")


def is_raster(found: bytes) -> bool:
    """True if the bytes begin as a picture that a page can show as it is."""
    return found.startswith(tuple(file_types.PICTURE_STARTS))


def refuse(folder: Path, item: str, value: str) -> None:
    """Make sure that every picture an entry names is in the job's folder and can be printed.

    Raises
    ------
    ReadingError
        One is not, or cannot.
    """
    for picture in pictures.named(value):
        found, fault = content(folder, picture.file)
        drawn = file_types.suffix(picture.file) == file_types.DRAWING
        if not fault and not (is_raster(found) or drawn):
            fault = NOT_PRINTED
        if fault:
            raise ReadingError(
                fault[0].lower() + fault[1:].rstrip("."),
                f"{item}, {picture.file}",
                "add the photograph in the form, which takes other formats too, or put a JPEG or"
                " PNG file into the job's folder first",
            )


def without_uncarried(said: str) -> str:
    """A text without the sentences on pictures that a record cannot give back: anyone who has the
    record alone finds no such file, where the one who printed it may have found another kind.
    """
    return " ".join(_UNCARRIED.sub(" ", said).split())
