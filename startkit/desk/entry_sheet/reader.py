"""An entry sheet read back: what differs from what was written becomes an entry; all of it or
nothing.
"""

# `Any` here: openpyxl has no types.
from __future__ import annotations

import re
import zipfile
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any, cast

from startkit.desk.entry_sheet.cells import (
    FORMAT,
    MOST_COLUMNS,
    MOST_ROWS,
    WHY_COLUMN,
    WRITTEN,
    CellRefused,
    Mark,
    Place,
    fingerprint,
    series_text,
    text_of,
)
from startkit.errors import ReadingError
from startkit.facts import given_files
from startkit.facts.job import Job
from startkit.procedure.stage import SERIES, TABLE, Column, Field, Stage

LARGEST, UNPACKED = 20_000_000, 40_000_000  # bytes; the sheet of a whole job holds half a million
_DECLARES = re.compile(rb"<!(DOCTYPE|ENTITY)", re.IGNORECASE)
AGAIN = "write a new one with `startkit spreadsheet`"


@dataclass(frozen=True)
class Written:
    """The content of one entry cell when the sheet was made."""

    value: str = ""
    unit: str = ""
    instrument: str = ""


@dataclass(frozen=True)
class Typed:
    """The content of one entry cell now.

    Parameters
    ----------
    what : str
        Name of the item in the journal.
    declared : Field or Column
    address, why_address : str
        Sheet and cell of the value, and of its reason.
    value, unit, instrument, why : str
    as_written : bool
        True if it was not touched since the sheet was made.
    was_blank : bool
        True if it was blank then.
    row : str
        Name of the table's row; empty for a field.
    """

    what: str
    declared: Field | Column
    address: str
    value: str
    unit: str = ""
    instrument: str = ""
    why: str = ""
    why_address: str = ""
    as_written: bool = True
    was_blank: bool = True
    row: str = ""


@dataclass
class Sheet:
    """A whole entry sheet as it was read.

    Parameters
    ----------
    typed : list of Typed
    readers : dict of stage -> (who, when)
    refused : list of str
        Cells that cannot be taken, each with its address, the reason and the remedy.
    """

    typed: list[Typed] = field(default_factory=list)
    readers: dict[str, tuple[str, str]] = field(default_factory=dict)
    refused: list[str] = field(default_factory=list)


def read(path: Path, job: Job, stages: Mapping[str, Stage]) -> Sheet:
    """Every entry cell of a sheet that was written for this job.

    Raises
    ------
    ReadingError
        Not an entry sheet, of another job, damaged, or far too large.
    """
    _refuse_bomb(path)
    try:
        return _read(path, job, stages)
    except ReadingError:
        raise
    except Exception as error:  # openpyxl lets many kinds of error of a damaged file through
        raise ReadingError(
            f"the workbook cannot be read ({type(error).__name__})",
            path.name,
            "open it in a spreadsheet and save it again as XLSX",
        ) from None


def _read(path: Path, job: Job, stages: Mapping[str, Stage]) -> Sheet:
    import openpyxl

    book = openpyxl.load_workbook(path, read_only=True, keep_links=False)
    try:
        written = _as_written(book, job, path)
        sheet = Sheet()
        seen: set[str] = set()
        for tab in book.worksheets:
            if tab.title != WRITTEN:
                _Reader(tab, stages, job, written, sheet, seen).read()
        return sheet
    finally:
        book.close()


def _refuse_bomb(path: Path) -> None:
    """Refuse by the sizes in the archive's own directory; unpacking then stops at these sizes."""
    given_files.refuse_other(path, ReadingError)
    try:
        with zipfile.ZipFile(path) as archive:
            parts = archive.infolist()
            if (
                path.stat().st_size > LARGEST
                or sum(part.file_size for part in parts) > UNPACKED
                or len(parts) > 500
            ):
                raise ReadingError(
                    "the workbook is far larger than an entry sheet", path.name, AGAIN
                )
            if any(
                _DECLARES.search(archive.read(part))
                for part in parts
                if part.filename.endswith((".xml", ".rels"))
            ):
                raise ReadingError(
                    "the workbook declares its own entities, which no spreadsheet does",
                    path.name,
                    AGAIN,
                )
    except FileNotFoundError:
        raise ReadingError("there is no such file", str(path), "check the name") from None
    except (zipfile.BadZipFile, OSError, RuntimeError, NotImplementedError, ValueError, EOFError):
        raise ReadingError(
            "this is not a workbook",
            path.name,
            "save it again as XLSX; a protected one must be unlocked first",
        ) from None


def _as_written(book: Any, job: Job, path: Path) -> dict[str, Written]:
    rows = list(_rows(book[WRITTEN], 20_000)) if WRITTEN in book.sheetnames else []
    head = [str(cell.value) for cell in rows[0][:2]] if rows else []
    if head[:1] != [FORMAT]:
        raise ReadingError("this is not an entry sheet", path.name, f"{AGAIN} and fill that")
    if head[1:] != [job.state().entries[0].digest]:
        raise ReadingError(
            "this entry sheet was written for another job",
            path.name,
            "give the job it belongs to",
        )
    texts = ([str(cell.value or "") for cell in row[:4]] for row in rows[2:])
    return {
        what: Written(*rest) for what, *rest in (cells + [""] * (4 - len(cells)) for cells in texts)
    }


def _rows(tab: Any, most: int) -> Iterator[tuple[Any, ...]]:
    for number, row in enumerate(tab.iter_rows(max_row=most + 1, max_col=MOST_COLUMNS), start=1):
        if number > most:
            raise ReadingError(
                f"the tab {tab.title!r} has more rows than an entry sheet", "", AGAIN
            )
        yield row


class _Reader:
    """Reads one tab from top to bottom by the marks in its hidden column."""

    def __init__(
        self,
        tab: Any,
        stages: Mapping[str, Stage],
        job: Job,
        written: Mapping[str, Written],
        sheet: Sheet,
        seen: set[str],
    ) -> None:
        self.tab, self.stages, self.machine, self.written, self.sheet, self.seen = (
            tab,
            stages,
            job.machine,
            written,
            sheet,
            seen,
        )
        self.name = ""
        self.fields: dict[str, Field] = {}
        self.columns: dict[int, str] = {}  # the hidden row above a table: what each column is
        self.units: dict[int, str] = {}
        self.instruments: dict[int, str] = {}
        self.across: list[tuple[Typed, int]] = []
        self.series: Typed | None = None
        self.lines: list[list[str]] = []

    def read(self) -> None:
        steps: dict[str, Callable[[tuple[Any, ...], list[str]], None]] = {
            Mark.STAGE: self._stage,
            Mark.BY: self._by,
            Mark.FIELD: self._field,
            Mark.COLUMNS: self._columns,
            Mark.UNITS: self._units,
            Mark.INSTRUMENTS: self._instruments,
            Mark.ROW: self._row,
            Mark.INDEXES: self._columns,
            Mark.CELL: self._cell,
            Mark.WHYS: self._whys,
            Mark.SERIES: self._begin_series,
            Mark.LINE: self._line,
        }
        for number, row in enumerate(_rows(self.tab, MOST_ROWS)):
            verb, *parts = str(row[0].value or "").split("/") if row else [""]
            if number == 0 and verb != Mark.STAGE:
                return  # a tab that was added for notes
            if verb in steps:
                steps[verb](row, [*parts, "", ""])
        self._finish()

    # --- cells ------------------------------------------------------------------------------

    def text(self, row: tuple[Any, ...], column: int, kind: str = "text") -> str:
        """The content of a cell; one that cannot be accepted is listed and counts as empty."""
        cell = row[column - 1]
        if cell.value is None:
            return ""
        try:
            return text_of(cell, kind)
        except CellRefused as refusal:
            self._refuse(row, column, str(refusal))
            return ""

    def place(self, row: tuple[Any, ...], column: int) -> str:
        from openpyxl.utils import get_column_letter

        return f"{self.tab.title}!{get_column_letter(column)}{row[0].row}"

    def _refuse(self, row: tuple[Any, ...], column: int, why: str) -> None:
        self.sheet.refused.append(f"{self.place(row, column)}: {why}.")

    def _was(self, what: str) -> Written:
        return self.written.get(what, Written())

    # --- the head ---------------------------------------------------------------------------

    def _stage(self, row: tuple[Any, ...], parts: list[str]) -> None:
        self.name = parts[0]
        stage = self.stages.get(self.name)
        self.fields = {f.name: f for f in stage.fields_for(self.machine)} if stage else {}

    def _by(self, row: tuple[Any, ...], parts: list[str]) -> None:
        when = self.text(row, Place.READ_AT, "moment") if self.name else ""
        fault = _moment_fault(when)
        if fault:
            self._refuse(row, Place.READ_AT, fault)
        self.sheet.readers[self.name] = (self.text(row, Place.READ_BY), "" if fault else when)

    # --- what a row is for ------------------------------------------------------------------

    def _known(
        self, row: tuple[Any, ...], name: str, kinds: Iterable[str], items: Mapping[int, str]
    ) -> Field | None:
        """The field that a row is for, or None, and then what was written in vain is refused.

        `items` gives the item of each column.
        """
        declared = self.fields.get(name)
        if (
            declared is not None
            and (declared.kind if declared.kind in (TABLE, SERIES) else Mark.FIELD) in kinds
        ):
            return declared
        for column, what in items.items():
            value = row[column - 1].value
            if (
                value is not None
                and not isinstance(value, date)
                and str(value) != self._was(what).value
            ):
                self._refuse(
                    row,
                    column,
                    f"the stage does not ask for this on this machine; clear the cell, or {AGAIN}",
                )
        return None

    def _twice(self, row: tuple[Any, ...], name: str) -> bool:
        known = name in self.seen
        if known:
            self._refuse(row, Place.VALUE, "the row is in the workbook twice; delete one of them")
        self.seen.add(name)
        return known

    # --- fields -----------------------------------------------------------------------------

    def _field(self, row: tuple[Any, ...], parts: list[str]) -> None:
        what = f"{self.name}.{parts[0]}"
        declared = self._known(row, parts[0], (Mark.FIELD,), {Place.VALUE: what})
        if declared is None or self._twice(row, what):
            return
        value, unit, instrument = (
            self.text(row, Place.VALUE, declared.kind),
            self.text(row, Place.UNIT),
            self.text(row, Place.INSTRUMENT),
        )
        was = self._was(what)
        untouched = Written(value, unit, instrument) == was or value == was.value == ""
        self.sheet.typed.append(
            Typed(
                what,
                declared,
                self.place(row, Place.VALUE),
                value,
                unit,
                instrument,
                self.text(row, Place.WHY),
                self.place(row, Place.WHY),
                untouched,
            )
        )

    # --- tables -----------------------------------------------------------------------------

    def _columns(self, row: tuple[Any, ...], parts: list[str]) -> None:
        if self.series is None or self.series.what != f"{self.name}.{parts[0]}":
            self._finish()
        self.columns = {
            n: str(cell.value)
            for n, cell in enumerate(row, start=1)
            if n > Place.QUESTION and cell.value is not None
        }
        self.units, self.instruments = {}, {}

    def _units(self, row: tuple[Any, ...], parts: list[str]) -> None:
        self.units = {n: self.text(row, n) for n in self.columns}

    def _instruments(self, row: tuple[Any, ...], parts: list[str]) -> None:
        self.instruments = {n: self.text(row, n) for n in self.columns}

    def _row(self, row: tuple[Any, ...], parts: list[str]) -> None:
        base = f"{self.name}.{parts[0]}.{parts[1]}"
        declared = self._known(
            row, parts[0], (TABLE,), {n: f"{base}.{name}" for n, name in self.columns.items()}
        )
        if declared is None or self._twice(row, base):
            return
        columns = {c.name: c for c in declared.columns}
        cells = [
            self._table_cell(
                row, n, columns[name], base, self.units.get(n, ""), self.instruments.get(n, "")
            )
            for n, name in self.columns.items()
            if name in columns
        ]
        why = next((n for n, name in self.columns.items() if name == WHY_COLUMN), Place.WHY)
        reason = self.text(row, why)
        self.sheet.typed += [
            replace(typed, why=reason, why_address=self.place(row, why)) for typed in cells
        ]

    def _table_cell(
        self, row: tuple[Any, ...], n: int, column: Column, base: str, unit: str, instrument: str
    ) -> Typed:
        value, what = self.text(row, n, column.kind), f"{base}.{column.name}"
        return Typed(
            what,
            column,
            self.place(row, n),
            value,
            unit,
            instrument,
            as_written=value == self._was(what).value,
            was_blank=not self._was(what).value,
            row=base,
        )

    def _cell(self, row: tuple[Any, ...], parts: list[str]) -> None:
        """One reading of a table whose rows are side by side."""
        bases = {
            n: f"{self.name}.{parts[0]}.{index}"
            for n, index in self.columns.items()
            if n >= Place.ACROSS_FIRST
        }
        declared = self._known(
            row, parts[0], (TABLE,), {n: f"{base}.{parts[1]}" for n, base in bases.items()}
        )
        column = (
            next((c for c in declared.columns if c.name == parts[1]), None) if declared else None
        )
        if column is None or self._twice(row, f"{self.name}.{parts[0]}/{parts[1]}"):
            return
        unit, instrument = (
            self.text(row, Place.ACROSS_UNIT),
            self.text(row, Place.ACROSS_INSTRUMENT),
        )
        self.across += [
            (self._table_cell(row, n, column, base, unit, instrument), n)
            for n, base in bases.items()
        ]

    def _whys(self, row: tuple[Any, ...], parts: list[str]) -> None:
        self.sheet.typed += [
            replace(typed, why=self.text(row, n), why_address=self.place(row, n))
            for typed, n in self.across
        ]
        self.across = []

    # --- series -----------------------------------------------------------------------------

    def _begin_series(self, row: tuple[Any, ...], parts: list[str]) -> None:
        self._finish()
        what = f"{self.name}.{parts[0]}"
        declared = self._known(row, parts[0], (SERIES,), {})
        if declared is not None and not self._twice(row, what):
            self.series = Typed(
                what,
                declared,
                "",
                "",
                why=self.text(row, Place.WHY),
                why_address=self.place(row, Place.WHY),
            )

    def _line(self, row: tuple[Any, ...], parts: list[str]) -> None:
        if (
            self._known(row, parts[0], (SERIES,), dict.fromkeys(self.columns, "")) is None
            or self.series is None
        ):
            return
        if not self.lines:
            self.series = replace(self.series, address=self.place(row, Place.VALUE))
        places = {name: n for n, name in self.columns.items()}
        self.lines.append(
            [
                self.text(row, places[c.name], c.kind) if c.name in places else ""
                for c in cast("Field", self.series.declared).columns
            ]
        )

    def _finish(self) -> None:
        """Close what is still open: a series is one entry, its rows together."""
        self.sheet.typed += [typed for typed, _ in self.across]
        if self.series is not None:
            units = {name: self.units.get(n, "") for n, name in self.columns.items()}
            text = series_text(
                [
                    (c.label, units.get(c.name, ""))
                    for c in cast("Field", self.series.declared).columns
                ],
                self.lines,
            )
            self.sheet.typed.append(
                replace(
                    self.series,
                    value=text,
                    as_written=fingerprint(text) == self._was(self.series.what).value,
                )
            )
        self.across, self.series, self.lines = [], None, []


def _moment_fault(text: str) -> str:
    """What is wrong with a moment of reading; empty if nothing is."""
    try:
        moment = datetime.fromisoformat(text).astimezone() if text else None
    except ValueError:
        return f"{text!r} is not a date; write it as 2026-11-25 14:30"
    to_come = moment is not None and moment > datetime.now().astimezone() + timedelta(minutes=5)
    return f"{text} is in the future; correct when it was read" if to_come else ""


__all__ = ["Sheet", "Typed", "Written", "read"]
