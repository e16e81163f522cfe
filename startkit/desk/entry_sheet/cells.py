"""Cells of an entry sheet: the mark of what a row holds, and what a cell holds as text, both ways.

Every row of entries carries its own name in the hidden column A, and every table the names of its
columns in a
hidden row, so that a row or column put in by hand cannot move a value to another item.
"""

# `Any` here: openpyxl has no types.
from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from datetime import date, datetime, time, timedelta
from enum import IntEnum, StrEnum
from typing import Any

from startkit.facts.digests import sha256_of_text

FORMAT = "startkit entry sheet 1"
WRITTEN, LISTS = (
    "as written",
    "lists",
)  # hidden sheets: what each cell held at first; the choices
LONGEST = 32_000  # characters; a spreadsheet's cell holds 32 767
MOST_ROWS, MOST_COLUMNS = 4000, 200
WHY_COLUMN = "why/"  # in a hidden row of column names

_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff\ud800-\udfff]")
_STAMP = {"date": "yyyy-mm-dd", "moment": "yyyy-mm-dd hh:mm"}
TEXT = "@"


class Place(IntEnum):
    """Columns of a tab: A is hidden."""

    KEY, QUESTION, VALUE, UNIT, INSTRUMENT, WHY = 1, 2, 3, 4, 5, 6
    READ_BY, READ_AT = 3, 6  # in the row for who read, and when
    ACROSS_UNIT, ACROSS_INSTRUMENT, ACROSS_FIRST = (
        3,
        4,
        5,
    )  # in a table whose rows are side by side


class Mark(StrEnum):
    """What a row is, from the hidden column."""

    STAGE, BY, FIELD, COLUMNS, UNITS, INSTRUMENTS = (
        "stage",
        "by",
        "field",
        "columns",
        "units",
        "instruments",
    )
    ROW, INDEXES, CELL, WHYS, SERIES, LINE = "row", "indexes", "cell", "whys", "series", "line"


class CellRefused(Exception):
    """What a cell holds cannot be taken: reason and remedy in one sentence without a full stop."""


def mark(*parts: str | int) -> str:
    """The mark of a row: parts between slashes, which no name contains."""
    return "/".join(str(part) for part in parts)


def clean(text: str) -> str:
    """A text that a cell can hold: no control characters, one kind of line end, not too long."""
    return (
        _CONTROL.sub("\ufffd", text.replace("\r\n", "\n").replace("\r", "\n"))
        .strip()[:LONGEST]
        .strip()
    )


def put(cell: Any, text: str, kind: str = "text") -> None:
    """Write a text into an entry cell; whatever it begins with, it is never a formula."""
    stamp = _moment(text, kind)
    cell.number_format = _STAMP.get(kind, TEXT)
    if stamp is not None:
        cell.value = stamp
    elif text:
        put_text(cell, text)


def put_text(cell: Any, text: str) -> None:
    """Write a text as a text."""
    cell.value = clean(text)
    cell.data_type = "s"  # openpyxl takes what begins with = for a formula, and #N/A for an error
    cell.quotePrefix = text[:1] in "=+-@\t"


def _moment(text: str, kind: str) -> datetime | None:
    """A date that a spreadsheet's cell can hold without loss: to the minute, without a zone."""
    try:
        stamp = datetime.fromisoformat(text) if kind in _STAMP else None
    except ValueError:
        return None
    if (
        stamp is None
        or stamp.tzinfo
        or stamp.second
        or stamp.microsecond
        or not 1950 < stamp.year < 2200
    ):
        return None
    return stamp if kind == "moment" or (stamp.hour, stamp.minute) == (0, 0) else None


def text_of(cell: Any, kind: str = "text") -> str:
    """The content of an entry cell, as a person would have typed it.

    Raises
    ------
    CellRefused
        A formula, an error value, or something that the spreadsheet has made of what was typed.
    """
    value = cell.value
    if value is None:
        return ""
    if cell.data_type == "f":
        raise CellRefused("the cell holds a formula; type the value itself")
    if cell.data_type == "e":
        raise CellRefused(f"the cell shows the error {value}; type the value itself")
    if isinstance(value, bool):
        return _of_truth(value, kind)
    if isinstance(value, int | float):
        return _of_number(value, cell.number_format)
    if isinstance(value, date | time | timedelta):
        return _of_moment(value, kind)
    return clean(str(value))


def _of_truth(value: bool, kind: str) -> str:
    if kind != "yes_no":
        raise CellRefused(
            f"the spreadsheet turned the entry into {str(value).upper()}; format the cell as text"
            " and type it again"
        )
    return "yes" if value else "no"


def _of_number(value: float, number_format: str) -> str:
    # A cell in percent format that shows 85 % holds 0.85.
    percent = "%" in number_format
    value = value * 100 if percent else value
    text = str(int(value)) if value == int(value) and abs(value) < 1e15 else f"{value:.12g}"
    return f"{text} %" if percent else text


def _of_moment(value: date | time | timedelta, kind: str) -> str:
    if kind not in _STAMP or not isinstance(value, date):
        made = "a date" if isinstance(value, date) else "a time of day"
        raise CellRefused(
            f"the spreadsheet turned the entry into {made}; format the cell as text and type it"
            " again"
        )
    if not isinstance(value, datetime):
        return value.isoformat()
    near = value + timedelta(seconds=30)  # serial numbers of days carry a rounding
    return (
        near.date().isoformat()
        if kind == "date" or (near.hour, near.minute) == (0, 0)
        else near.isoformat(sep=" ", timespec="minutes")
    )


def shown(value: str, unit: str, beside: str) -> str:
    """A table's cell: with its unit only where that differs from the one above."""
    return f"{value} {unit}" if value and unit and unit != beside else value


def series_text(heads: Sequence[tuple[str, str]], lines: Iterable[Sequence[str]]) -> str:
    """Rows of a series as they are pasted: a first row of labels with their units, columns between
    tabs; nothing if all is empty.

    Parameters
    ----------
    heads : sequence of (str, str)
        Label and unit of each column.
    lines : iterable of sequence of str
    """
    rows = ["\t".join(_flat(cell) for cell in cells) for cells in lines if any(cells)]
    head = "\t".join(
        f"{_flat(text)} [{_flat(unit)}]" if unit else _flat(text) for text, unit in heads
    )
    return "\n".join([head, *rows]) if rows else ""


def _flat(text: str) -> str:
    return " ".join(text.split())


def fingerprint(text: str) -> str:
    """Represents a text that may be too long for a cell."""
    return f"sha256 {sha256_of_text(text)}" if text else ""
