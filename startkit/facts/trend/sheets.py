"""Trends in workbooks (XLSX) and in Parquet files, bounded before anything is unpacked."""

from __future__ import annotations

import zipfile
from collections.abc import Collection
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

from startkit.errors import ReadingError
from startkit.facts.trend.cells import are_units, is_data
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
    import pyarrow as pa
    from openpyxl import Workbook
    from openpyxl.worksheet.worksheet import Worksheet
    from pyarrow.parquet import ParquetFile

_Cell: TypeAlias = str | float | datetime | date | time | timedelta | None
_Row: TypeAlias = tuple[_Cell, ...]

UNPACKED = 1_500_000_000  # bytes that a workbook may hold unpacked
MOST_SHEET_CELLS = (
    6_000_000  # of a workbook: cells are read one by one, some hundred thousand a second
)
TIMES_PACKED = 200  # and how many times its own size: real sheets shrink ten- to fortyfold
MOST_SHEET_ROWS = 1_048_576  # ECMA-376: a sheet has no more; a damaged one may claim any number
# bytes of a Parquet file in memory; repeated values take next to nothing in the file
COLUMNAR = 800_000_000
BATCH = 16_384  # rows


def read_parquet(path: Path, only: Collection[str] | None = None) -> RawTable:
    """The columns of a Parquet file, or those asked for.

    Raises
    ------
    ReadingError
        Damaged, nested, or more than a trend holds.
    """
    import pyarrow as pa
    from pyarrow import parquet

    try:
        file = parquet.ParquetFile(path)
        meta = file.metadata
        if (
            meta.num_columns > MOST_COLUMNS
            or meta.num_rows > MOST_ROWS
            or meta.num_rows * meta.num_columns > MOST_CELLS
        ):
            raise ReadingError(
                f"{meta.num_rows} rows of {meta.num_columns} columns are more than one trend can"
                " hold",
                path.name,
                "export fewer columns or a shorter stretch of time",
            )
        names = [name for name in file.schema_arrow.names if only is None or name in only]
        table = _bounded(file, names, path)
    except (
        pa.ArrowException,
        OSError,
        ValueError,
    ) as error:  # names that are not UTF-8 are a ValueError
        raise ReadingError(
            f"the Parquet file cannot be read ({' '.join(str(error).split())[:100].rstrip('.')})",
            path.name,
            "export it again",
        ) from None
    flat = [
        (name, column)
        for name, column in zip(table.column_names, table.columns, strict=True)
        if not pa.types.is_nested(column.type)
    ]
    heads = names_of([name for name, _ in flat], len(flat))
    return RawTable(
        Layout(header=0, first=1),
        heads,
        tuple("" for _ in heads),
        tuple(column for _, column in flat),
    )


def _bounded(file: ParquetFile, names: list[str], path: Path) -> pa.Table:
    """The file's table, read piece by piece where texts make its size unknown beforehand."""
    import pyarrow as pa

    fields = [
        file.schema_arrow.field(i)
        for i, name in enumerate(file.schema_arrow.names)
        if name in names
    ]
    if all(pa.types.is_primitive(field.type) for field in fields):
        size, pieces = (
            sum(field.type.bit_width for field in fields) / 8 * file.metadata.num_rows,
            None,
        )
    else:
        size, pieces = 0, []
        for piece in file.iter_batches(BATCH, columns=names):
            pieces.append(piece)
            size += piece.nbytes
            if size > COLUMNAR:
                break
    if size > COLUMNAR:
        raise ReadingError(
            "the file is larger than a trend can be",
            path.name,
            "export fewer columns or a shorter stretch of time",
        )
    return (
        file.read(columns=names)
        if pieces is None
        else pa.Table.from_batches(pieces, pa.schema(fields))
    )


def read_workbook(path: Path, layout: Layout | None = None) -> RawTable:
    """The columns of one sheet of a workbook: the one named, else the one with the most rows of
    readings.

    Raises
    ------
    ReadingError
        Damaged, encrypted, or unpacking to more than a trend holds.
    """
    import openpyxl

    _check_bomb(path)
    try:
        book = openpyxl.load_workbook(path, read_only=True, data_only=True)
    except Exception as error:  # openpyxl lets many kinds of error of a damaged file through
        raise ReadingError(
            f"the workbook cannot be read ({type(error).__name__})",
            path.name,
            "open it in a spreadsheet and save it again",
        ) from None
    try:
        rows, sheet = _rows(book, layout.sheet if layout else "", path)
    except ReadingError:
        raise
    except Exception as error:
        raise ReadingError(
            f"the sheet cannot be read ({type(error).__name__})",
            path.name,
            "open it in a spreadsheet and save it again",
        ) from None
    finally:
        book.close()
    return _table(rows, sheet, layout, path)


def _check_bomb(path: Path) -> None:
    """Refuse by the sizes in the archive's own directory; unpacking then stops at these sizes."""
    try:
        with zipfile.ZipFile(path) as archive:
            unpacked = sum(info.file_size for info in archive.infolist())
    except (zipfile.BadZipFile, OSError, NotImplementedError, ValueError):
        raise ReadingError(
            "this is not a workbook",
            path.name,
            "save it again as XLSX or CSV; a protected one must be unlocked first",
        ) from None
    if unpacked > UNPACKED or unpacked > max(50_000_000, TIMES_PACKED * path.stat().st_size):
        raise ReadingError(
            "the workbook unpacks to more than a trend can hold",
            path.name,
            "export the trend as CSV",
        )


def _rows(book: Workbook, wanted: str, path: Path) -> tuple[list[_Row], str]:
    sheets = {sheet.title: sheet for sheet in book.worksheets}
    if wanted and wanted not in sheets:
        raise ReadingError(
            f"the workbook has no sheet {wanted!r}",
            path.name,
            f"it has {', '.join(list(sheets)[:8])}",
        )
    if not sheets:
        raise ReadingError(
            "the workbook has no sheet of cells", path.name, "export the trend as CSV"
        )
    best: tuple[list[_Row], str] = ([], "")
    for title in [wanted] if wanted else list(sheets)[:20]:
        found = _cells(sheets[title], path)
        best = (found, title) if len(found) > len(best[0]) else best
    return best


def _cells(sheet: Worksheet, path: Path) -> list[_Row]:
    rows: list[_Row] = []
    cells = empty = 0
    # Every row comes as wide as is asked for. A sheet that does not say its width gives rows as
    # wide as they are, at most three letters of columns.
    widest = None if sheet.max_column is None else min(sheet.max_column, MOST_COLUMNS + 1)
    for row in sheet.iter_rows(values_only=True, max_col=widest):
        if row.count(None) == len(row):  # one number in the file can mean a million of them
            empty += 1
            if len(rows) + empty <= MOST_SHEET_ROWS:
                continue
        row = row[: _filled(row)]  # rows come as wide as was asked for, most of them empty
        cells += len(row)
        if len(row) > MOST_COLUMNS:
            raise ReadingError(
                f"the sheet has more than {MOST_COLUMNS} columns", path.name, "export fewer points"
            )
        if len(rows) + empty > MOST_SHEET_ROWS or cells > MOST_SHEET_CELLS:
            raise ReadingError(
                "the sheet has more cells than a trend can hold",
                path.name,
                "export the trend as CSV or Parquet, which are read a hundred times faster",
            )
        rows += [()] * empty
        empty = 0
        rows.append(row)
    return rows


def _table(rows: list[_Row], sheet: str, layout: Layout | None, path: Path) -> RawTable:
    width = max(map(len, rows), default=0)
    texts = [[_text(value) for value in row] + [""] * (width - len(row)) for row in rows[:200]]
    laid = layout or _layout(texts, width, sheet)
    data = [
        row + (None,) * (width - len(row))
        for row in rows[laid.first - 1 :]
        if any(value is not None for value in row)
    ]
    if width < 2 or not data:
        raise ReadingError(
            "the sheet has no table of readings",
            f"{path.name}, {sheet}",
            "name the sheet in its map, or export the trend as CSV",
        )
    head = texts[laid.header - 1] if laid.header else []
    units = [cell.strip("[]() ") for cell in texts[laid.units - 1]] if laid.units else []
    columns = tuple(_column([row[i] for row in data]) for i in range(width))
    return RawTable(
        laid,
        names_of(head, width),
        tuple([*units, *[""] * width][:width]),
        columns,
        _short(data, laid),
    )


def _filled(row: _Row) -> int:
    return max((place for place, value in enumerate(row, start=1) if value is not None), default=0)


def _layout(texts: list[list[str]], width: int, sheet: str) -> Layout:
    rows = texts
    first = next((i for i, row in enumerate(rows) if is_data(row, width)), 0)
    header, units = first - 1, -1
    if header > 0 and are_units(rows[header]) and not are_units(rows[header - 1]):
        header, units = header - 1, header
    return Layout(header=header + 1, units=units + 1, first=first + 1, sheet=sheet)


def _text(value: _Cell) -> str:
    if value is None:
        return ""
    return value.isoformat(sep=" ") if isinstance(value, datetime) else str(value).strip()


def _column(values: list[_Cell]) -> pa.ChunkedArray:
    """One column as an arrow array: numbers, stamps as ISO text, else text."""
    import pyarrow as pa

    numbers = [float(value) if isinstance(value, bool | int | float) else None for value in values]
    if numbers.count(None) == values.count(None):
        return pa.chunked_array([pa.array(numbers, pa.float64())])
    return pa.chunked_array(
        [pa.array([None if value is None else _stamp(value) for value in values], pa.string())]
    )


def _stamp(value: _Cell) -> str:
    if isinstance(value, datetime):
        # Serial numbers of days carry a rounding of some microseconds.
        return (
            (value + timedelta(microseconds=500))
            .replace(tzinfo=None)
            .isoformat(sep=" ", timespec="milliseconds")
        )
    return value.isoformat() if isinstance(value, date | time) else str(value)


def _short(data: list[_Row], layout: Layout) -> tuple[BadRow, ...]:
    """Rows in which only one cell is filled: titles and sums below a table."""
    found = [
        (line, row)
        for line, row in enumerate(data, start=layout.first)
        if sum(value is not None for value in row) == 1
    ]
    return tuple(
        BadRow(line, " ".join(_text(v) for v in row if v is not None)[:160], "one cell only")
        for line, row in found[:20]
    )
