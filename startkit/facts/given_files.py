"""Files from outside: opened only if they are files, and read no further than they may be long.

A device or a pipe under a file's name, or a link to one, would never end.
"""

from __future__ import annotations

import os
import stat
from pathlib import Path

from startkit.errors import PaperError, StartkitError

CHECK = "check the name and the folder"


def refuse_other(path: Path, error: type[StartkitError] = PaperError) -> None:
    """Refuse what is there and is no file.

    Raises
    ------
    StartkitError
        Of the class `error`: a folder, device, pipe or socket, or a link to one.
    """
    path = Path(path)
    if path.exists() and not path.is_file():
        raise _no_file(path, error)


def content(path: Path, largest: int, error: type[StartkitError] = PaperError) -> bytes:
    """The bytes of a file.

    Parameters
    ----------
    path : pathlib.Path
    largest : int
        Bytes that it may have.
    error : type of StartkitError
        What is raised.

    Raises
    ------
    StartkitError
        Of the class `error`: no such file, not a file, too large, or not readable.
    """
    # Without waiting: opening a pipe without a writer would never return.
    how = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
    try:
        refuse_other(path, error)
        with os.fdopen(os.open(path, how), "rb") as file:
            if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
                raise _no_file(path, error)
            found = file.read(largest + 1)
    except (OSError, ValueError) as fault:  # a name with a zero byte is a ValueError
        reason = getattr(fault, "strerror", None) or fault
        raise error(f"the file cannot be read ({reason})", str(path), CHECK) from None
    if len(found) > largest:
        raise error("the file is too large", str(path), "check the name")
    return found


def _no_file(path: Path, error: type[StartkitError]) -> StartkitError:
    return error("this is not a file", str(path), "give the file itself")
