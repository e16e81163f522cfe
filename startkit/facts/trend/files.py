"""A trend's file: which marks separate it, where its header is, its columns, its faulty rows.

Only the layout is interpreted here; what a column means is in its map (`column_map`). Text files
are read by pyarrow on all cores, workbooks and Parquet files by `sheets`.
"""

from __future__ import annotations

import codecs
import csv
import re
from collections import Counter
from collections.abc import Collection
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from startkit.errors import ReadingError
from startkit.facts import file_types
from startkit.facts.trend import sheets
from startkit.facts.trend.cells import LACKING, are_units, is_data, is_reading, is_stamp
from startkit.facts.trend.table import (
    MOST_CELLS,
    MOST_COLUMNS,
    MOST_ROWS,
    BadRow,
    Layout,
    RawTable,
    names_of,
)

if TYPE_CHECKING:
    from pyarrow.csv import InvalidRow

    from startkit.facts.trend.arrow import Column

LARGEST = 2_000_000_000  # bytes of a text file
HEAD = 256 * 1024  # bytes from which the layout is seen
SHOWN = 20  # faulty rows shown with their text
DELIMITERS = ("\t", ";", ",", "|")


def read(path: Path, layout: Layout | None = None, only: Collection[str] | None = None) -> RawTable:
    """The columns of a CSV, TSV, XLSX or Parquet file.

    Parameters
    ----------
    path : pathlib.Path
    layout : Layout, optional
        Found by looking at the file if not given.
    only : collection of str, optional
        Names of the columns wanted; the others are not converted.

    Raises
    ------
    ReadingError
        The file is missing, too large, damaged, or no table: one sentence.
    """
    _check_size(path)
    suffix = file_types.suffix(path)
    if suffix in file_types.WORKBOOKS:
        return sheets.read_workbook(path, layout)
    if suffix in file_types.PARQUET:
        return sheets.read_parquet(path, only)
    if suffix == file_types.OLD_WORKBOOK:
        raise ReadingError(
            "this is the old workbook format", path.name, "save it again as XLSX or CSV"
        )
    return _read_text(path, layout or sniff(path), only)


def _check_size(path: Path) -> None:
    try:
        size = path.stat().st_size
    except OSError as error:
        raise ReadingError(
            f"the file cannot be read ({error.strerror})", str(path), "check the name"
        ) from None
    if not path.is_file() or size == 0:
        raise ReadingError(
            "the file is empty" if path.is_file() else "this is not a file",
            str(path),
            "export the trend again",
        )
    if size > LARGEST:
        raise ReadingError(
            f"the file is larger than {LARGEST / 1e9:g} GB",
            path.name,
            "export a shorter stretch of time",
        )


# --- looking at a text file -----------------------------------------------------------------------


def sniff(path: Path) -> Layout:
    """The layout of a text file from its first lines.

    Raises
    ------
    ReadingError
        No delimiter gives a table.
    """
    with path.open("rb") as file:
        head = file.read(HEAD)
    encoding, text = _decoded(head, path.name)
    lines = _lines(text)
    lines = lines[:-1] if len(head) == HEAD and len(lines) > 1 else lines
    if lines and len(head) == HEAD and len(lines) < 3:
        raise ReadingError(
            "a line of the file is too long for a table",
            path.name,
            f"export at most {MOST_COLUMNS} columns",
        )
    best = max(
        (_rated(lines[:400], delimiter) for delimiter in DELIMITERS), key=lambda each: each[0]
    )
    if best[0] <= 0:
        raise ReadingError(
            "no comma, semicolon, tab or bar separates this file into columns",
            path.name,
            "export it as CSV",
        )
    return replace(best[1], encoding=encoding if encoding != "utf8" or _is_utf8(path) else "cp1252")


def _is_utf8(path: Path) -> bool:
    """True if the whole file is UTF-8; its head may be plain letters only."""
    decoder = codecs.getincrementaldecoder("utf-8")("strict")
    try:
        with path.open("rb") as file:
            while piece := file.read(1 << 20):
                decoder.decode(piece)
            decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return False
    return True


def _lines(text: str) -> list[str]:
    """Lines as the reader of the whole file counts them: a form feed or a Unicode separator ends
    none.
    """
    lines = re.split(r"\r\n|\n|\r", text)
    return lines[:-1] if lines and not lines[-1] else lines


def _decoded(head: bytes, name: str) -> tuple[str, str]:
    for mark, encoding in (
        (b"\xef\xbb\xbf", "utf8"),
        (b"\xff\xfe", "utf-16"),
        (b"\xfe\xff", "utf-16"),
    ):
        if head.startswith(mark):
            return encoding, head[: len(head) // 2 * 2].decode(encoding, "replace").lstrip("\ufeff")
    if b"\x00" in head:
        raise ReadingError("the file is not text", name, "export it as CSV, XLSX or Parquet")
    cut = head[: head.rfind(b"\n") + 1] or head
    try:
        return "utf8", cut.decode("utf-8")
    except UnicodeDecodeError:
        return "cp1252", cut.decode("cp1252", "replace")


def _rated(lines: list[str], delimiter: str) -> tuple[float, Layout]:
    """How much of a table this delimiter makes: columns alike from row to row, cells that are
    readings.
    """
    rows = _split(lines, delimiter)
    counts = Counter(len(row) for row in rows[len(rows) // 4 :] if any(row))
    if not counts:
        return 0.0, Layout()
    width, alike = counts.most_common(1)[0]
    if width < 2 or width > MOST_COLUMNS:
        return 0.0, Layout()
    cells = [cell for row in rows if len(row) == width for cell in row]
    telling = sum(is_reading(cell) for cell in cells) / len(cells)
    return alike / sum(counts.values()) * (0.05 + telling), _layout(rows, width, delimiter)


def _split(lines: list[str], delimiter: str) -> list[list[str]]:
    try:
        return [[cell.strip() for cell in row] for row in csv.reader(lines, delimiter=delimiter)]
    except csv.Error:
        return [[cell.strip() for cell in line.split(delimiter)] for line in lines]


def _layout(rows: list[list[str]], width: int, delimiter: str) -> Layout:
    """Where header, units and readings begin."""
    first = next(
        (
            i
            for i, row in enumerate(rows)
            if is_data(row, width) and is_data(rows[min(i + 1, len(rows) - 1)], width)
        ),
        0,
    )
    header, units = first - 1, -1
    if (
        header > 0
        and are_units(rows[header])
        and len(rows[header - 1]) >= width - 1
        and not are_units(rows[header - 1])
    ):
        header, units = header - 1, header
    cells = [cell for row in rows[first:] for cell in row]
    commas, points = (
        sum(bool(re.fullmatch(rf"[+\-−]?[\d.,' ]*\d?{mark}\d+", cell)) for cell in cells)
        for mark in (",", r"\.")
    )
    decimal = "," if delimiter != "," and commas > points else "."
    return Layout(delimiter, decimal, "utf8", header + 1, units + 1, first + 1)


# --- reading a text file --------------------------------------------------------------------------


def _read_text(path: Path, layout: Layout, only: Collection[str] | None) -> RawTable:
    import pyarrow as pa
    from pyarrow import csv as arrow

    names, units, stamps = _head(path, layout)
    keys = [f"c{i}" for i in range(len(names))]
    wanted = [i for i, name in enumerate(names) if only is None or name in only] or [0]
    faulty: list[InvalidRow] = []

    def skip(row: InvalidRow) -> str:
        faulty.append(row)
        return "skip"

    try:
        table = arrow.read_csv(
            path,
            arrow.ReadOptions(
                skip_rows=layout.first - 1,
                column_names=keys,
                block_size=4 << 20,
                encoding=layout.encoding,
            ),
            arrow.ParseOptions(delimiter=layout.delimiter, invalid_row_handler=skip),
            arrow.ConvertOptions(
                include_columns=[keys[i] for i in wanted],
                column_types={keys[i]: pa.string() for i in stamps},
                null_values=_spelled(LACKING),
                strings_can_be_null=True,
                decimal_point=layout.decimal,
                timestamp_parsers=[],
            ),
        )
    except (pa.ArrowInvalid, pa.ArrowKeyError, UnicodeDecodeError, OSError) as error:
        raise ReadingError(
            f"the file cannot be read as a table ({_reason(error)})",
            path.name,
            "export it again as CSV, or name delimiter and first line in its map",
        ) from None
    if table.num_rows > MOST_ROWS or table.num_rows * len(names) > MOST_CELLS:
        raise ReadingError(
            f"{table.num_rows} rows are more than one trend can hold",
            path.name,
            "export a shorter stretch of time",
        )
    if not table.num_rows:
        raise ReadingError(
            "no row of the file matches its columns",
            path.name,
            "check delimiter and first line in its map",
        )
    columns: list[Column | None] = [None] * len(names)
    for i, column in zip(wanted, table.columns, strict=True):
        columns[i] = column
    return RawTable(
        layout, names, units, tuple(columns), _bad_rows(path, layout, faulty), len(faulty)
    )


def _spelled(words: tuple[str, ...]) -> list[str]:
    return list(
        dict.fromkeys(
            each for word in words for each in (word, word.upper(), word.capitalize(), word.title())
        )
    )


def _reason(error: Exception) -> str:
    return re.sub(r"\s+", " ", str(error)).strip()[:120].rstrip(".")


def _head(path: Path, layout: Layout) -> tuple[tuple[str, ...], tuple[str, ...], list[int]]:
    """Names and units of the columns, and which of them look like stamps."""
    with path.open("rb") as file:
        text = file.read(HEAD).decode(
            {"utf8": "utf-8-sig"}.get(layout.encoding, layout.encoding), "replace"
        )
    lines = _lines(text)[: layout.first + 40]
    rows = _split(lines, layout.delimiter)
    samples = rows[layout.first - 1 :]
    width = Counter(len(row) for row in samples if any(row)).most_common(1)
    if not width:
        raise ReadingError(
            f"there is no reading at or below line {layout.first}",
            path.name,
            "check the first line in its map",
        )
    count = width[0][0]
    if count > MOST_COLUMNS:
        raise ReadingError(
            f"the file has more than {MOST_COLUMNS} columns", path.name, "export fewer points"
        )
    cells = rows[layout.header - 1] if layout.header else []
    units = [cell.strip("[]() ") for cell in rows[layout.units - 1]] if layout.units else []
    alike = [row for row in samples if len(row) == count]
    stamps = [i for i in range(count) if sum(is_stamp(row[i]) for row in alike) > len(alike) / 2]
    return names_of(cells, count), tuple([*units, *[""] * count][:count]), stamps


def _bad_rows(path: Path, layout: Layout, faulty: list[InvalidRow]) -> tuple[BadRow, ...]:
    """The first faulty rows with the line of each, found again in the file."""
    if not faulty:
        return ()
    content = path.read_bytes()
    encoding = {"utf8": "utf-8"}.get(layout.encoding, layout.encoding)
    found, at, line = [], 0, 1
    for row in faulty[:SHOWN]:
        place = content.find(row.text.encode(encoding, "replace").removeprefix(b"\xff\xfe"), at)
        if place >= 0:
            line += content.count(b"\n", at, place)
            at = place
        found.append(
            BadRow(
                line if place >= 0 else 0,
                row.text[:160],
                f"{row.actual_columns} columns instead of {row.expected_columns}",
            )
        )
        at = at + 1 if place >= 0 else at
    return tuple(found)
