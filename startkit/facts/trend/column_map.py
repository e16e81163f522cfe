"""The map of a trend: which column is which point, in which unit; a TOML file that a person reads
and confirms.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, field
from pathlib import Path

from startkit.errors import SheetError, StartkitError
from startkit.facts import toml_file
from startkit.facts.trend import stamps
from startkit.facts.trend.points import points
from startkit.facts.trend.table import Layout
from startkit.units import label, unit_for

REFERENCES = ("", "gauge", "absolute")


@dataclass(frozen=True)
class Mapped:
    """One column of the file and the point that it is.

    Parameters
    ----------
    column : str
        Name in the file.
    point : str
        Name of a `points.Point`; empty: not used.
    unit : str
        As a technician types it.
    scale, offset : float
        Reading = scale x cell + offset, in `unit`.
    reference : str
        ``"gauge"`` or ``"absolute"`` for a pressure whose unit does not say.
    instrument : str
        Tag of the instrument behind it, as in the stage Setup; without one its readings carry no
        uncertainty of an instrument.
    confidence : float
        How sure the guess is, 0 to 1.
    why : str
        What speaks for and against the guess.
    """

    column: str
    point: str
    unit: str = ""
    scale: float = 1.0
    offset: float = 0.0
    reference: str = ""
    instrument: str = ""
    confidence: float = 1.0
    why: str = ""


@dataclass(frozen=True)
class TrendMap:
    """Everything needed to read one trend file.

    Parameters
    ----------
    layout : Layout
    stamps : tuple of str
        Column of the stamps, or those of date and time.
    format : str
        Of the stamps, see `stamps`.
    zone : str
    columns : tuple of Mapped
    confirmed : bool
        True once a person has checked it.
    remarks : tuple of str
        What a person should look at first.
    """

    layout: Layout
    stamps: tuple[str, ...]
    format: str
    zone: str
    columns: tuple[Mapped, ...]
    confirmed: bool = False
    remarks: tuple[str, ...] = field(default=())

    @property
    def used(self) -> tuple[Mapped, ...]:
        """Columns that are a point."""
        return tuple(column for column in self.columns if column.point)


# --- writing --------------------------------------------------------------------------------------


def text(made: TrendMap) -> str:
    """The map as TOML, with the guesses' reasons as comments."""
    layout = made.layout
    lines = [
        "# Map of a trend. Check every line, correct what is wrong, then set confirmed to true.",
        *(f"# Check first: {_comment(remark)}" for remark in made.remarks),
        f"confirmed = {str(made.confirmed).lower()}",
        "",
        "[file]",
        f"delimiter = {_quoted(layout.delimiter)}",
        f"decimal = {_quoted(layout.decimal)}",
        f"encoding = {_quoted(layout.encoding)}",
        f"header = {layout.header}      # line of the column names, 0: none",
        f"units = {layout.units}       # line of their units, 0: none",
        f"first = {layout.first}       # line of the first reading",
        f"sheet = {_quoted(layout.sheet)}",
        "",
        "[time]",
        f"columns = [{', '.join(map(_quoted, made.stamps))}]",
        f"format = {_quoted(made.format)}",
        (
            f"zone = {_quoted(made.zone)}   # such as America/New_York or -04:00; empty: the"
            " panel's own clock"
        ),
    ]
    ordered = [*made.used, *(column for column in made.columns if not column.point)]
    return "\n".join(
        [*lines, *(line for column in ordered for line in _column_lines(column)), "", *_names(), ""]
    )


def _names() -> list[str]:
    """What may follow ``point =``, so that a column the guess did not know can be mapped by
    hand.
    """
    width = max(map(len, points()))
    return [
        "# Names of points, each with an example of its unit; a column without one is not used:",
        *(
            f"#   {name:{width}} "
            f" {point.label}{f' [{unit}]' if (unit := label(point.kind)) else ''}"
            for name, point in points().items()
        ),
    ]


def _column_lines(column: Mapped) -> list[str]:
    lines = [
        "",
        "[[column]]",
        f"name = {_quoted(column.column)}",
        f"point = {_quoted(column.point)}",
    ]
    if column.why:
        lines.insert(
            1,
            (
                f"# {100 * column.confidence:.0f} % sure: {_comment(column.why)}"
                if column.point
                else f"# not used: {_comment(column.why)}"
            ),
        )
    if column.point:
        lines.append(f"unit = {_quoted(column.unit)}")
    lines += [
        f"{name} = {value!r}"
        for name, value, default in (("scale", column.scale, 1.0), ("offset", column.offset, 0.0))
        if value != default
    ]
    lines += [
        f"{name} = {_quoted(value)}"
        for name, value in (("reference", column.reference), ("instrument", column.instrument))
        if value
    ]
    return lines


def _quoted(value: str) -> str:
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _comment(value: str) -> str:
    return "".join(ch if ch.isprintable() else " " for ch in value)


# --- reading --------------------------------------------------------------------------------------


def load(path: Path) -> TrendMap:
    """The map in a TOML file.

    Raises
    ------
    SheetError
        A key, point or unit that means nothing: file, line, remedy.
    """
    table, body = toml_file.load(path)
    return from_table(table, path.name, body)


def from_table(table: toml_file.Table, name: str, body: str) -> TrendMap:
    """The map from its parsed table; `name` and `body` serve the error."""
    _only(table, {"confirmed", "file", "time", "column"}, name, body, ())
    time = _section(table, "time", {"columns", "format", "zone"}, name, body)
    names = time.get("columns")
    if (
        not isinstance(names, list)
        or not 1 <= len(names) <= 2
        or not all(isinstance(each, str) for each in names)
    ):
        raise SheetError(
            "the time column is not named",
            toml_file.where(name, body, ("time", "columns")),
            'write  columns = ["Timestamp"]  or those of date and time',
        )
    listed = table.get("column", [])
    if not isinstance(listed, list) or not all(isinstance(each, dict) for each in listed):
        raise SheetError(
            "the columns are not listed",
            toml_file.where(name, body, ("column",)),
            "write a [[column]] for each",
        )
    columns = tuple(_column(each, i, name, body) for i, each in enumerate(listed))
    _once(columns, name, body)
    zone = str(time.get("zone", ""))
    if zone not in ("", stamps.STAMPED):
        stamps.zone_of(zone)
    return TrendMap(
        _file(table, name, body),
        tuple(names),
        str(time.get("format", stamps.ISO)),
        zone,
        columns,
        table.get("confirmed") is True,
    )


def _section(
    table: toml_file.Table, key: str, known: set[str], name: str, body: str
) -> toml_file.Table:
    section = table.get(key, {})
    if not isinstance(section, dict):
        raise SheetError(
            f"{key!r} is not a section", toml_file.where(name, body, (key,)), f"write  [{key}]"
        )
    _only(section, known, name, body, (key,))
    return section


def _only(
    table: toml_file.Table, known: set[str], name: str, body: str, at: tuple[str | int, ...]
) -> None:
    for key in table:
        if key not in known:
            raise SheetError(
                f"{key!r} does not belong here",
                toml_file.where(name, body, (*at, key)),
                f"use {', '.join(sorted(known))}",
            )


def _file(table: toml_file.Table, name: str, body: str) -> Layout:
    section = _section(
        table,
        "file",
        {"delimiter", "decimal", "encoding", "header", "units", "first", "sheet"},
        name,
        body,
    )
    for key, kind, what in (
        *((k, str, "text in quotes") for k in ("delimiter", "decimal", "encoding", "sheet")),
        *((k, int, "a line number") for k in ("header", "units", "first")),
    ):
        if key in section and (
            not isinstance(section[key], kind) or isinstance(section[key], bool)
        ):
            raise SheetError(
                f"{key!r} is not {what}", toml_file.where(name, body, ("file", key)), "correct it"
            )
    laid = Layout(**section)
    if not _is_encoding(laid.encoding):
        raise SheetError(
            f"{laid.encoding!r} is not a text encoding",
            toml_file.where(name, body, ("file", "encoding")),
            "write utf8, utf-16 or cp1252",
        )
    if (
        len(laid.delimiter) != 1
        or laid.decimal not in (".", ",")
        or laid.first < 1
        or laid.header >= laid.first
        or min(laid.header, laid.units) < 0
    ):
        raise SheetError(
            "the layout contradicts itself",
            toml_file.where(name, body, ("file",)),
            "one character delimits, decimal is a point or a comma, the header is above the"
            " first reading",
        )
    return laid


def _is_encoding(name: str) -> bool:
    try:
        return "1".encode(name) not in (b"", None) and not re.match(
            r"(?i)idna|punycode|.*escape", name
        )
    except (LookupError, ValueError):
        return False


_COLUMN_KEYS = {"name", "point", "unit", "scale", "offset", "reference", "instrument"}


def _column(table: toml_file.Table, index: int, name: str, body: str) -> Mapped:
    at = ("column", index)
    _only(table, _COLUMN_KEYS, name, body, at)
    where = toml_file.where(name, body, at)
    if not isinstance(table.get("name"), str):
        raise SheetError("a column has no name", where, 'add  name = "as in the file"')
    point = table.get("point", "")
    if point and point not in points():
        raise SheetError(
            f"there is no point {point!r}",
            toml_file.where(name, body, (*at, "point")),
            f"use one of {', '.join(points())}, or leave it empty",
        )
    numbers = {key: table.get(key, default) for key, default in (("scale", 1.0), ("offset", 0.0))}
    if (
        not all(
            isinstance(value, int | float) and not isinstance(value, bool)
            for value in numbers.values()
        )
        or numbers["scale"] == 0
    ):
        raise SheetError(
            "scale and offset are numbers, and scale is not zero", where, "correct them"
        )
    found = Mapped(
        table["name"],
        point,
        str(table.get("unit", "")),
        float(numbers["scale"]),
        float(numbers["offset"]),
        str(table.get("reference", "")),
        str(table.get("instrument", "")),
    )
    return _checked(found, where) if point else found


def _checked(column: Mapped, where: str) -> Mapped:
    try:
        unit_for(column.unit, points()[column.point].kind, where)
    except StartkitError as error:
        raise SheetError(error.what, error.where, error.remedy) from None
    if column.reference not in REFERENCES:
        raise SheetError(
            f"{column.reference!r} is not a pressure reference", where, "write gauge or absolute"
        )
    return column


def _once(columns: tuple[Mapped, ...], name: str, body: str) -> None:
    seen: dict[str, str] = {}
    for index, column in enumerate(columns):
        if column.point in seen:
            raise SheetError(
                f"{column.point!r} is given to two columns, {seen[column.point]!r} and"
                f" {column.column!r}",
                toml_file.where(name, body, ("column", index, "point")),
                "leave the point of one of them empty",
            )
        if column.point:
            seen[column.point] = column.column
