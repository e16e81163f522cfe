"""The list of machines, one row each, from a CSV file or the first sheet of a workbook (XLSX)."""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from startkit.errors import SheetError
from startkit.facts import file_types, given_files

COLUMNS = ("tag", "like", "job", "template", "units")
LARGEST, MOST_ROWS = 20_000_000, 20_000  # bytes unpacked, rows: no list of machines is longer


@dataclass(frozen=True)
class Row:
    """One machine of the list; `where` names file and row."""

    where: str
    cells: Mapping[str, str]

    def __getitem__(self, column: str) -> str:
        return self.cells.get(column, "")

    @property
    def sheet(self) -> dict[str, str]:
        """The cells that belong to the machine's sheet, by dotted key such as ``motor.voltage``."""
        return {column: cell for column, cell in self.cells.items() if "." in column and cell}


def read(path: Path) -> list[Row]:
    """The rows of a list, blank ones left out.

    Raises
    ------
    SheetError
        Not readable, no column ``tag``, a column of another name, a machine without its tag or
        there twice.
    """
    path = Path(path)
    lines = _workbook(path) if file_types.is_workbook(path) else _csv(path)
    head = [cell.strip() for cell in lines[0]] if lines else []
    _check_head(head, path.name)
    rows = [
        Row(f"{path.name}, row {n}", dict(zip(head, line, strict=False)))
        for n, line in enumerate(lines[1:], start=2)
        if any(line)
    ]
    _check_tags(rows, path.name)
    return rows


def _check_head(head: list[str], name: str) -> None:
    if "tag" not in head:
        raise SheetError(
            "the first row has no column named tag",
            name,
            f"name the columns  {', '.join(COLUMNS)}  or by a key of the sheet such as "
            " motor.voltage",
        )
    strange = [column for column in head if column and column not in COLUMNS and "." not in column]
    if strange:
        raise SheetError(
            f"the column {strange[0]!r} is not known",
            name,
            f"use {', '.join(COLUMNS)} or a key of the sheet with its part, such as "
            " machine.serial",
        )
    twice = [column for column in head if column and head.count(column) > 1]
    if twice:
        raise SheetError(f"there are two columns {twice[0]!r}", name, "keep one of them")


def _check_tags(rows: list[Row], name: str) -> None:
    if not rows:
        raise SheetError(
            "the list has no machines", name, "write one row per machine below the header"
        )
    seen: dict[str, str] = {}
    for row in rows:
        job = row["job"] or row["tag"]
        if not row["tag"]:
            raise SheetError("the machine has no tag", row.where, "fill the column tag")
        if job.lower() in seen:
            raise SheetError(
                f"{job!r} is already in {seen[job.lower()].rpartition(', ')[2]}",
                row.where,
                "give each job its own name in the column job",
            )
        seen[job.lower()] = row.where


def _csv(path: Path) -> list[list[str]]:
    try:
        text = given_files.content(path, LARGEST, SheetError).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise SheetError(
            "the file is not UTF-8 text", path.name, "save it as CSV UTF-8, or as XLSX"
        ) from None
    first = text.partition("\n")[0]
    mark = max(",;\t", key=first.count)
    try:
        return _bounded(
            (
                [cell.strip() for cell in line]
                for line in csv.reader(io.StringIO(text, newline=""), delimiter=mark)
            ),
            path.name,
        )
    except csv.Error as error:
        raise SheetError(
            f"this is not CSV ({error})", path.name, "save it again from the spreadsheet"
        ) from None


def _workbook(path: Path) -> list[list[str]]:
    import openpyxl

    given_files.refuse_other(path, SheetError)
    try:
        with zipfile.ZipFile(path) as archive:
            unpacked = sum(info.file_size for info in archive.infolist())
    except FileNotFoundError:
        raise SheetError("there is no such file", str(path), "check the name") from None
    except (zipfile.BadZipFile, OSError, ValueError):
        raise SheetError(
            "this is not a workbook", path.name, "save it again as XLSX or CSV"
        ) from None
    if unpacked > LARGEST:
        raise SheetError(
            "the workbook is too large for a list of machines",
            path.name,
            "keep only the list in it",
        )
    try:
        book = openpyxl.load_workbook(path, read_only=True, data_only=True)
        try:
            return _bounded(
                (
                    [_cell(value) for value in line]
                    for line in book.worksheets[0].iter_rows(values_only=True)
                ),
                path.name,
            )
        finally:
            book.close()
    except SheetError:
        raise
    except Exception as error:  # openpyxl raises many kinds of error for a damaged file
        raise SheetError(
            f"the workbook cannot be read ({type(error).__name__})",
            path.name,
            "open it in a spreadsheet and save it again",
        ) from None


def _cell(value: object) -> str:
    """A cell as a person types it: no ``.0`` after a whole number, no time after a plain date."""
    if value is None:
        return ""
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    text = str(value).strip()
    return text.removesuffix(" 00:00:00")


def _bounded(lines: Iterable[list[str]], name: str) -> list[list[str]]:
    found = []
    for line in lines:
        found.append(line)
        if len(found) > MOST_ROWS:
            raise SheetError(f"the list has more than {MOST_ROWS} rows", name, "split it")
    return found
