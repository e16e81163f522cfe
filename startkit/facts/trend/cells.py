"""Cells of a trend's table: what is a number, a stamp, a unit, and columns of cells as numbers."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from startkit.errors import StartkitError
from startkit.facts.trend import arrow
from startkit.units import KINDS, unit_for

if TYPE_CHECKING:
    from startkit.facts.trend.arrow import Column

# What systems write where they have no reading; compared without case.
LACKING = (
    "",
    "-",
    "--",
    "---",
    "----",
    "*",
    "**",
    "***",
    "nan",
    "null",
    "none",
    "n/a",
    "na",
    "#n/a",
    "no data",
    "nodata",
    "bad",
    "?",
    "????",
    "offline",
    "<null>",
)
_NUMBER = re.compile(
    r"^[+\-−]?(?:\d{1,3}(?:[,.' ]\d{3})+|\d+)?(?:[.,]\d*)?(?:[eE][+\-]?\d+)?\s*%?$"
)
_STAMP = re.compile(
    r"^\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}|^\d{1,2}:\d{2}|^\d{1,2}[ \-][A-Za-z]{3}["
    r" \-]\d{2,4}|^[A-Za-z]{3,9} \d{1,2},? \d{4}"
)
_SWITCH = {
    "on": 1.0,
    "true": 1.0,
    "yes": 1.0,
    "running": 1.0,
    "run": 1.0,
    "active": 1.0,
    "open": 1.0,
    "off": 0.0,
    "false": 0.0,
    "no": 0.0,
    "stopped": 0.0,
    "stop": 0.0,
    "inactive": 0.0,
    "closed": 0.0,
}


def is_number(cell: str) -> bool:
    """True for a number with either decimal mark."""
    return bool(cell) and any(ch.isdigit() for ch in cell) and bool(_NUMBER.match(cell))


def is_stamp(cell: str) -> bool:
    """True for what looks like a date or a time."""
    return bool(_STAMP.match(cell)) and not is_number(cell)


def is_reading(cell: str) -> bool:
    """True for a number, a stamp, or a sign for a missing reading."""
    return cell.casefold() in LACKING or is_number(cell) or is_stamp(cell)


def is_data(row: list[str], width: int) -> bool:
    """True if a row looks like readings: as wide as the others, and half of its cells numbers or
    stamps.
    """
    filled = [cell for cell in row if cell.casefold() not in LACKING]
    return (
        abs(len(row) - width) <= 1
        and bool(filled)
        and sum(is_number(c) or is_stamp(c) for c in filled) >= len(filled) / 2
    )


def are_units(row: list[str]) -> bool:
    """True if at least half of a row's cells are units."""
    filled = [cell.strip("[]() ") for cell in row if cell]
    return bool(filled) and sum(is_unit(cell) for cell in filled) >= max(1, len(filled) / 2)


@lru_cache(maxsize=4096)
def is_unit(text: str) -> bool:
    """True if the text is the spelling of a unit of any kind of reading."""
    return bool(text) and not text.isdigit() and any(_reads(text, kind) for kind in KINDS)


def _reads(text: str, kind: str) -> bool:
    try:
        unit_for(text, kind)
    except StartkitError:
        return False
    return True


def split_unit(name: str) -> tuple[str, str]:
    """A column's name and the unit in it: ``"CHWS Temp (°F)"`` -> ``("CHWS Temp",
    "°F")``.
    """
    match = re.match(r"^(.*?)\s*[\[({<]\s*([^\[\](){}<>]+?)\s*[\])}>]\s*$", name)
    if match and is_unit(match.group(2)):
        return match.group(1), match.group(2)
    parts = re.match(r"^(.*?)([\s_,/]*)([^\s_,/]*)$", name)
    head, mark, tail = parts.groups() if parts else (name, "", "")
    # A single letter may be the unit of a temperature, or a name's own last part.
    if head and mark and is_unit(tail) and (len(tail) > 1 or tail in "CF%A"):
        return head, tail
    return name, ""


# --- columns as numbers ---------------------------------------------------------------------------


@dataclass(frozen=True)
class Numbers:
    """A column as numbers: not a number where a cell is empty or unreadable.

    Parameters
    ----------
    values : numpy.ndarray
    unreadable : int
        Cells that hold something that is no number.
    examples : tuple of str
        Some of them.
    """

    values: np.ndarray
    unreadable: int = 0
    examples: tuple[str, ...] = ()


def numbers(column: Column, decimal: str = ".") -> Numbers:
    """A column of a `RawTable` as numbers.

    Parameters
    ----------
    column : pyarrow.ChunkedArray
    decimal : str
        Decimal mark of texts.
    """
    import pyarrow as pa
    import pyarrow.compute as pc

    kind = column.type
    if pa.types.is_null(kind):
        return Numbers(np.full(len(column), np.nan))
    if (
        pa.types.is_boolean(kind)
        or pa.types.is_integer(kind)
        or pa.types.is_floating(kind)
        or pa.types.is_decimal(kind)
    ):
        return Numbers(arrow.floats(column))
    return _from_texts(pc.cast(column, pa.string()), decimal)


def _from_texts(column: Column, decimal: str) -> Numbers:
    import pyarrow as pa
    import pyarrow.compute as pc

    text = pc.utf8_trim_whitespace(column)
    plain = pc.replace_substring_regex(text, r"[\s'’%]|(?:\s*[A-Za-z°]+$)", "")
    thousands = "." if decimal == "," else ","
    plain = pc.replace_substring(plain, thousands, "")
    plain = pc.replace_substring(pc.replace_substring(plain, decimal, "."), "−", "-")
    good = pc.match_substring_regex(plain, r"^[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?$")
    values = pc.cast(
        pc.if_else(good, pc.replace_substring_regex(plain, r"^\+", ""), arrow.scalar(None)),
        pa.float64(),
    )
    return _with_words(arrow.floats(values), text)


def _with_words(found: np.ndarray, text: Column) -> Numbers:
    """On and off are numbers; what is left unreadable is counted."""
    import pyarrow.compute as pc

    odd = np.isnan(found) & ~arrow.marks(pc.is_null(text))
    rows = np.flatnonzero(odd)
    if not rows.size:
        return Numbers(found)
    kinds = pc.value_counts(text.take(arrow.places(rows))).to_pylist()
    words = {each["values"]: each["values"].casefold() for each in kinds}
    switch = {word: _SWITCH[folded] for word, folded in words.items() if folded in _SWITCH}
    for word, value in switch.items():
        found[arrow.marks(pc.equal(text, arrow.scalar(word)))] = value
    rest = [
        each
        for each in kinds
        if each["values"] not in switch and each["values"].casefold() not in LACKING
    ]
    return Numbers(
        found, sum(each["counts"] for each in rest), tuple(each["values"][:40] for each in rest[:3])
    )
