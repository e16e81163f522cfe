"""SHA-256 of bytes, texts and files: what a journal, a record or a run is compared by."""

from __future__ import annotations

import hashlib
from pathlib import Path

PIECE = 1 << 20  # bytes of a file read at a time


def sha256(content: bytes) -> str:
    """SHA-256 of bytes, as 64 hexadecimal digits."""
    return hashlib.sha256(content).hexdigest()


def sha256_of_text(text: str) -> str:
    """SHA-256 of a text in UTF-8; half a surrogate pair, which a damaged file may hold, counts."""
    return sha256(text.encode("utf-8", "surrogatepass"))


def sha256_of_file(path: Path) -> str:
    """SHA-256 of a file of any size, read piece by piece.

    Raises
    ------
    OSError
        It cannot be read.
    """
    with path.open("rb") as file:
        found = hashlib.sha256()
        while piece := file.read(PIECE):
            found.update(piece)
    return found.hexdigest()
