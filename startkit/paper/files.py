"""Files that appear whole or not at all."""

from __future__ import annotations

import re
from pathlib import Path

from startkit.errors import PaperError
from startkit.facts import whole


def file_safe(name: str, fallback: str = "machine") -> str:
    """`name` as a file name on every system: letters, digits, dots, hyphens; other runs become one
    hyphen.
    """
    safe = re.sub(r"[^\w.]+", "-", name, flags=re.ASCII).strip("-._")[:80].rstrip("-._")
    return fallback if not safe or whole.is_reserved(safe) else safe


def write_whole(path: Path, content: bytes) -> Path:
    """Write beside, flush to disk, put in place: a reader sees the old file or the new one.

    Raises
    ------
    PaperError
        The folder or the file cannot be written.
    """
    try:
        return whole.write(path, content)
    except OSError as error:
        raise PaperError(
            f"the file cannot be written ({error.strerror})",
            str(path),
            "close programs that hold it and check the disk",
        ) from None
