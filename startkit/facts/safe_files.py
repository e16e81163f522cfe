"""Files and folders that appear complete or not at all: made under another name, flushed to disk,
then renamed.
"""

from __future__ import annotations

import os
import re
import shutil
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

from startkit.errors import PaperError

# Names of devices on Windows, with any ending: a stick may go from here to there.
_RESERVED = {
    "con",
    "prn",
    "aux",
    "nul",
    "conin$",
    "conout$",
    *(f"{p}{i}" for p in ("com", "lpt") for i in (*range(1, 10), "¹", "²", "³")),
}
ABANDONED = 3600.0  # s after which a half-made file was left by a process that was killed


def is_reserved(name: str) -> bool:
    """True if some computer takes a file of this name for a device."""
    return name.split(".")[0].rstrip().casefold() in _RESERVED


def file_safe(name: str, fallback: str = "machine") -> str:
    """`name` as a file name on every system: letters, digits, dots, hyphens; other runs become one
    hyphen.
    """
    safe = re.sub(r"[^\w.]+", "-", name, flags=re.ASCII).strip("-._")[:80].rstrip("-._")
    return fallback if not safe or is_reserved(safe) else safe


def write_whole(path: Path, content: bytes) -> Path:
    """As `write`; a failure is one sentence for the person.

    Raises
    ------
    PaperError
        The folder or the file cannot be written.
    """
    try:
        return write(path, content)
    except OSError as error:
        raise PaperError(
            f"the file cannot be written ({error.strerror})",
            str(path),
            "close programs that have it open, and check that the disk or stick has space and is"
            " not write-protected",
        ) from None


def write(path: Path, content: bytes, mode: int = 0o666) -> Path:
    """Write a file: a reader sees the old one or the new one.

    Parameters
    ----------
    path : pathlib.Path
    content : bytes
    mode : int
        Rights, from the first moment on, less what the person's mask takes away.

    Raises
    ------
    OSError
        The folder or the file cannot be written; what was there is there still.
    """
    return _put(path, lambda stream: stream.write(content), mode)


def copy(source: Path, target: Path) -> Path:
    """Copy a file, of whatever size: a reader sees the old one or the new one.

    Raises
    ------
    OSError
        As `write`.
    """
    with source.open("rb") as given:
        return _put(target, lambda stream: shutil.copyfileobj(given, stream, 1 << 20))


def _put(path: Path, fill: Callable[[BinaryIO], object], mode: int = 0o666) -> Path:
    _make_folder(path.parent)
    _sweep(path)
    beside = _beside(path)
    try:
        with os.fdopen(
            os.open(
                beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | getattr(os, "O_BINARY", 0), mode
            ),
            "wb",
        ) as stream:
            fill(stream)
            stream.flush()
            os.fsync(stream.fileno())
        beside.replace(path)
        _settle(path.parent)
    except BaseException:
        with suppress(OSError):
            beside.unlink(missing_ok=True)
        raise
    return path


@contextmanager
def folder(path: Path) -> Iterator[Path]:
    """Fill a folder under another name; it is renamed when the block ends well, and removed when it
    does not.

    Parameters
    ----------
    path : pathlib.Path
        It must not exist, or be empty.

    Raises
    ------
    OSError
        It cannot be made, or its place is taken.
    """
    _make_folder(path.parent)
    _sweep(path)
    beside = _beside(path)
    shutil.rmtree(beside, ignore_errors=True)
    beside.mkdir()
    try:
        yield beside
        for inner in (beside, *(each for each in beside.rglob("*") if each.is_dir())):
            _settle(inner)
        if path.is_dir():
            path.rmdir()
        beside.rename(path)
        _settle(path.parent)
    except BaseException:
        shutil.rmtree(beside, ignore_errors=True)
        raise


def _make_folder(path: Path) -> None:
    """The folder and those above it; each new one is flushed into the one that holds it."""
    if not path.is_dir():
        _make_folder(path.parent)
        path.mkdir(exist_ok=True)
        _settle(path.parent)


def _beside(path: Path) -> Path:
    return path.with_name(f".{path.name}.{os.getpid()}.part")


def _sweep(path: Path) -> None:
    """Take away what a killed process left half made in the same place."""
    begin = f".{path.name}."
    for left in path.parent.iterdir():
        if left.name.startswith(begin) and left.name.endswith(".part"):
            with suppress(OSError):
                if time.time() - left.stat().st_mtime > ABANDONED:
                    shutil.rmtree(left) if left.is_dir() else left.unlink()


def _settle(path: Path) -> None:
    """Flush a folder, where the system can: a rename in it survives a power cut only then."""
    with suppress(OSError):
        handle = os.open(path, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
