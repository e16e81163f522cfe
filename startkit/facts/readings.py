"""Readings in a CSV file: one row an entry, read with the line of every fault."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from itertools import islice
from pathlib import Path

from startkit.errors import ReadingError, StartkitError
from startkit.facts import given_files, taken
from startkit.facts.journal import Entry, now

COLUMNS = ("item", "value", "unit", "who", "instrument", "note", "at")
LARGEST, MOST = 20_000_000, 100_000  # bytes and rows: a day's readings are a hundredth of this


def load(path: Path, known: Callable[[str], str], who: str = "") -> list[Entry]:
    """Entries from a CSV file with the columns item, value, unit, who, instrument, note, and at:
    when it was read, which goes into the journal as an entry of its own.

    Parameters
    ----------
    path : pathlib.Path
        Comma, semicolon or tab between columns; first row names them; ``item`` and ``value`` are
        needed.
    known : callable
        ``known(item)`` returns an empty text if the item can be entered, else what is wrong with
        it.
    who : str
        Used where the column ``who`` is empty.

    Raises
    ------
    ReadingError
        Names every faulty line in one sentence; nothing is returned then.
    """
    rows, head = _rows(path)
    faults: list[str] = []
    entries = []
    for line, row in rows:
        cells = dict(zip(head, row, strict=False))
        fault = _fault(cells, known, who)
        if fault:
            faults.append(f"line {line}: {fault}")
        else:
            when = taken.typed(cells["at"]) if cells.get("at") else ""
            entries += taken.dated([_entry(cells, who)], when)
    if faults:
        more = f"; and {len(faults) - 5} more" if len(faults) > 5 else ""
        raise ReadingError(
            "; ".join(faults[:5]) + more,
            path.name,
            "correct these lines and enter the file again; nothing was saved",
        )
    return entries


def _rows(path: Path) -> tuple[list[tuple[int, list[str]]], list[str]]:
    text = read_text(path)
    dialect = max(",;\t", key=lambda mark: text.split("\n", 1)[0].count(mark))
    try:
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=dialect, strict=True)
        filled = (
            (reader.line_num, [cell.strip() for cell in row])
            for row in reader
            if any(cell.strip() for cell in row)
        )
        lines = list(islice(filled, MOST + 2))
    except csv.Error as error:
        raise ReadingError(
            f"the file is not CSV ({error})", path.name, "save it again as CSV with closed quotes"
        ) from None
    if len(lines) > MOST + 1:
        raise ReadingError(
            f"the file has more than {MOST} rows",
            path.name,
            ("import long recordings as a trend file"),
        )
    head = [name.lower() for name in lines[0][1]] if lines else []
    if not {"item", "value"} <= set(head):
        raise ReadingError(
            "the first row must name the columns item and value",
            f"{path.name}, line 1",
            f"use {', '.join(COLUMNS)}",
        )
    unknown = [name for name in head if name and name not in COLUMNS]
    if unknown:
        raise ReadingError(
            f"there is no column {unknown[0]!r}",
            f"{path.name}, line 1",
            f"use {', '.join(COLUMNS)}",
        )
    return lines[1:], head


def read_text(path: Path) -> str:
    """A text file of moderate size, UTF-8.

    Raises
    ------
    ReadingError
        Missing, too large, or not UTF-8.
    """
    try:
        given_files.refuse_other(path, ReadingError)
        if path.stat().st_size > LARGEST:
            raise ReadingError(
                "the file is too large for readings",
                path.name,
                "import long recordings as a trend file",
            )
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise ReadingError(
            "the file is not UTF-8 text", path.name, "save it again as CSV UTF-8"
        ) from None
    except OSError as error:
        raise ReadingError(
            f"the file cannot be read ({error.strerror})", str(path), "check the name"
        ) from None


def _fault(cells: dict[str, str], known: Callable[[str], str], who: str) -> str:
    if not cells.get("item"):
        return "no item"
    if not (cells.get("who") or who):
        return "no person is named in the column who"
    if cells.get("at"):
        problem = taken.problem(taken.typed(cells["at"]) or cells["at"], now())
        if problem:
            return f"in the column at, {problem}"
    try:
        return known(cells["item"])
    except StartkitError as error:
        return error.what


def _entry(cells: dict[str, str], who: str) -> Entry:
    return Entry(
        cells["item"],
        cells.get("value", ""),
        cells.get("unit", ""),
        cells.get("who") or who,
        cells.get("instrument", ""),
        cells.get("note", ""),
    )
