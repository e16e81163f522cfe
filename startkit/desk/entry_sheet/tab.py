"""One stage's tab of an entry sheet."""

# `Any` here: openpyxl has no types.
from __future__ import annotations

from typing import Any

from startkit.desk.entry_sheet import look
from startkit.desk.entry_sheet.book import Book
from startkit.desk.entry_sheet.cells import (
    WHY_COLUMN,
    Mark,
    Place,
    fingerprint,
    mark,
    put,
    series_text,
    shown,
    text_of,
)
from startkit.desk.fieldset import highest_row, last_time
from startkit.facts.instruments import can_read
from startkit.procedure.entries import Entries
from startkit.procedure.stage import SERIES, TABLE, Column, Field, Stage
from startkit.units import KINDS, SYSTEMS, label

SPARE_ROWS, LOADS = (
    10,
    6,
)  # blank rows below what a table holds; columns of a table whose rows are side by side
SERIES_ROWS, LONGEST_SERIES = 40, 300
ELSEWHERE = ("photo", "signature")  # kinds that a spreadsheet's cell cannot hold


class Tab:
    """One stage's tab, written from top to bottom."""

    def __init__(self, book: Book, stage: Stage) -> None:
        self.book, self.stage = book, stage
        self.sheet = book.workbook.create_sheet(book.title(stage.title))
        self.written: dict[str, tuple[str, str, str]] = {}
        self.row = 0

    @property
    def entries(self) -> Entries:
        """The stage's entries."""
        return self.book.assessment.stage_entries(self.stage.name)

    @property
    def system(self) -> str:
        """Units of the job."""
        return self.book.assessment.system

    def fill(self) -> None:
        """Write the whole tab."""
        self._head()
        group = ""
        for field in self.entries.asked:
            if field.group != group:
                look.group(self.sheet, self._next(), field.group, Place.WHY)
            group = field.group
            {TABLE: self._table, SERIES: self._series}.get(field.kind, self._field)(field)
        machine = self.book.job.machine
        look.finish(
            self.sheet, f"{machine.machine.tag} · {self.stage.title}", self.book.paper, "C5", 4
        )

    def _next(self, *parts: str | int) -> int:
        """Number of the next row, with its mark in the hidden column."""
        self.row += 1
        if parts:
            self.sheet.cell(self.row, Place.KEY).value = mark(*parts)
        return self.row

    def _head(self) -> None:
        look.title(self.sheet, self._next(Mark.STAGE, self.stage.name), self.stage.title, Place.WHY)
        look.line(self.sheet, self._next(), self.stage.purpose, Place.WHY)
        row = self._next(Mark.BY)
        look.label(self.sheet.cell(row, Place.QUESTION), "Read by")
        look.entry(self.sheet.cell(row, Place.READ_BY))
        self.book.person(self.sheet, self.sheet.cell(row, Place.READ_BY))
        look.label(self.sheet.cell(row, Place.READ_AT - 1), "Read at")
        put(self.sheet.cell(row, Place.READ_AT), "", "moment")
        look.entry(self.sheet.cell(row, Place.READ_AT))
        look.dates(
            self.sheet,
            self.sheet.cell(row, Place.READ_AT),
            "moment",
            empty="Empty: when it is entered.",
        )
        head = self._next()
        for column, text in (
            (Place.QUESTION, "Question"),
            (Place.VALUE, "Value"),
            (Place.UNIT, "Unit"),
            (Place.INSTRUMENT, "Instrument"),
            (Place.WHY, "Why changed"),
        ):
            look.column_head(self.sheet.cell(head, column), text)
        for caution in self.stage.cautions:
            look.caution(self.sheet, self._next(), f"Caution: {caution}", Place.WHY)

    # --- one field a row --------------------------------------------------------------------

    def _field(self, field: Field) -> None:
        row = self._next(*(() if field.kind in ELSEWHERE else (Mark.FIELD, field.name)))
        self._question(row, field, end=Place.QUESTION)
        if field.kind in ELSEWHERE:
            look.label(self.sheet.cell(row, Place.VALUE), "in the notebook")
            return
        entry = self.entries.entry(field.name)
        cell = self.sheet.cell(row, Place.VALUE)
        self._value(cell, field, entry.value if entry else "")
        unit = instrument = ""
        if field.kind in KINDS:
            unit = self._unit(
                self.sheet.cell(row, Place.UNIT), field.kind, entry.unit if entry else ""
            )
            instrument = self._instrument(
                self.sheet.cell(row, Place.INSTRUMENT),
                field.kind,
                entry.instrument if entry else self.book.chosen.get(field.kind, ""),
            )
        self._entry_text(self.sheet.cell(row, Place.WHY))
        self.written[f"{self.stage.name}.{field.name}"] = (
            text_of(cell, field.kind),
            unit,
            instrument,
        )
        look.height(self.sheet, row, (str(cell.value or ""), Place.VALUE))

    def _question(self, row: int, field: Field, end: int) -> None:
        words = f"{field.question}{'' if field.required else ' (optional)'}"
        said = last_time(field, f"{self.stage.name}.{field.name}", self.entries)
        help = "\n".join(
            text for text in (field.help, f"Last time: {said}" if said else "") if text
        )
        look.wrapped(self.sheet, row, end)
        look.asked(self.sheet.cell(row, Place.QUESTION), words, help, field.required)
        look.height(
            self.sheet,
            row,
            (f"{words}\n{help}".strip(), Place.QUESTION if end == Place.QUESTION else 0),
        )

    def _value(self, cell: Any, declared: Field | Column, text: str) -> None:
        put(cell, text, declared.kind)
        look.entry(cell)
        sheet = self.sheet
        if declared.kind == "yes_no":
            look.offer(sheet, cell, self.book.choices(("yes", "no")))
        elif declared.kind == "choice" and declared.choices:
            look.offer(sheet, cell, self.book.choices(declared.labels))
        elif declared.kind in ("date", "moment"):
            look.dates(sheet, cell, declared.kind)
        elif declared.kind == "person":
            self.book.person(sheet, cell)

    def _entry_text(self, cell: Any, text: str = "") -> str:
        put(cell, text)
        look.entry(cell)
        return text_of(cell)

    def _unit(self, cell: Any, kind: str, unit: str) -> str:
        written = self._entry_text(cell, unit or label(kind, self.system))
        units = [u for u in dict.fromkeys((written, *(label(kind, s) for s in SYSTEMS))) if u]
        if units:
            look.offer(self.sheet, cell, self.book.choices(units), strict=False)
        return written

    def _instrument(self, cell: Any, kind: str, tag: str) -> str:
        written = self._entry_text(cell, tag)
        fitting = [
            i.tag
            for i in self.book.assessment.entries.instruments.values()
            if can_read(i.kind, kind)
        ]
        if fitting:
            look.offer(self.sheet, cell, self.book.choices(fitting), strict=False)
        return written

    # --- tables -----------------------------------------------------------------------------

    def _indexes(self, field: Field, blanks: int) -> list[int]:
        """Numbers of the rows that hold something, then of blank ones that were never used."""
        highest = highest_row(f"{self.stage.name}.{field.name}.", self.entries)
        return [row.index for row in self.entries.rows(field.name)] + list(
            range(highest + 1, highest + 1 + blanks)
        )

    def _table(self, field: Field) -> None:
        row = self._next()
        self._question(row, field, end=Place.WHY)
        (self._across if field.across else self._down)(field)

    def _down(self, field: Field) -> None:
        """Rows below each other, one reading a column."""
        places = {column.name: Place.VALUE + i for i, column in enumerate(field.columns)}
        why = Place.VALUE + len(field.columns)
        self._hidden_row(
            mark(Mark.COLUMNS, field.name), {**{p: n for n, p in places.items()}, why: WHY_COLUMN}
        )
        head = self._next()
        for column in field.columns:
            self._column_head(head, places[column.name], column)
        look.column_head(self.sheet.cell(head, why), "Why changed")
        units = self._units_row(field, places)
        self._instruments_row(field, places)
        for number, index in enumerate(self._indexes(field, max(SPARE_ROWS, field.rows)), start=1):
            row = self._next(Mark.ROW, field.name, index)
            look.label(self.sheet.cell(row, Place.QUESTION), str(number), right=True)
            for column in field.columns:
                self._cell(
                    self.sheet.cell(row, places[column.name]),
                    field,
                    index,
                    column,
                    units.get(column.name, ""),
                )
            self._entry_text(self.sheet.cell(row, why))
            look.height(self.sheet, row, ("", why))

    def _hidden_row(self, name: str, cells: dict[int, str | int]) -> None:
        row = self._next(name)
        for column, text in cells.items():
            self.sheet.cell(row, column).value = str(text)
        self.sheet.row_dimensions[row].hidden = True

    def _column_head(self, row: int, place: int, column: Column) -> None:
        words = f"{column.label}{' (required)' if column.required else ''}"
        look.column_head(self.sheet.cell(row, place), words, column.help)
        look.height(self.sheet, row, (f"{words}\n{column.help}".strip(), place))

    def _units_row(self, field: Field, places: dict[str, int]) -> dict[str, str]:
        units = {c.name: label(c.kind, self.system) for c in field.columns if c.kind in KINDS}
        if not any(units.values()):
            return units
        row = self._next(Mark.UNITS, field.name)
        look.label(self.sheet.cell(row, Place.QUESTION), "unit", right=True)
        for name, unit in units.items():
            look.label(self.sheet.cell(row, places[name]), unit)
        return units

    def _instruments_row(self, field: Field, places: dict[str, int]) -> None:
        readings = [c for c in field.columns if c.kind in KINDS and c.kind != "count"]
        if not readings:
            return
        row = self._next(Mark.INSTRUMENTS, field.name)
        look.label(self.sheet.cell(row, Place.QUESTION), "instrument", right=True)
        for column in readings:
            self._instrument(
                self.sheet.cell(row, places[column.name]),
                column.kind,
                self._column_instrument(field, column),
            )

    def _column_instrument(self, field: Field, column: Column) -> str:
        """The instrument of the column's newest reading, else the one chosen for its kind."""
        used = [
            e
            for row in self.entries.rows(field.name)
            if (e := self.entries.entry(field.name, row.index, column.name)) is not None
        ]
        return (
            max(used, key=lambda e: e.seq).instrument
            if used
            else self.book.chosen.get(column.kind, "")
        )

    def _cell(self, cell: Any, field: Field, index: int, column: Column, unit: str) -> None:
        entry = self.entries.entry(field.name, index, column.name)
        self._value(cell, column, shown(entry.value, entry.unit, unit) if entry else "")
        self.written[f"{self.stage.name}.{field.name}.{index}.{column.name}"] = (
            text_of(cell, column.kind),
            "",
            "",
        )

    def _across(self, field: Field) -> None:
        """One reading a row, the table's rows side by side."""
        filled = len(self.entries.rows(field.name))
        indexes = self._indexes(field, max(LOADS - filled, field.rows - filled, 2))
        places = {index: Place.ACROSS_FIRST + i for i, index in enumerate(indexes)}
        self._hidden_row(
            mark(Mark.INDEXES, field.name), {place: index for index, place in places.items()}
        )
        head = self._next()
        for place, text in (
            (Place.ACROSS_UNIT, "Unit"),
            (Place.ACROSS_INSTRUMENT, "Instrument"),
            *((p, str(n)) for n, p in enumerate(places.values(), start=1)),
        ):
            look.column_head(self.sheet.cell(head, place), text)
        for column in field.columns:
            self._across_row(field, column, places)
        row = self._next(Mark.WHYS, field.name)
        look.label(self.sheet.cell(row, Place.QUESTION), "Why changed")
        for place in places.values():
            self._entry_text(self.sheet.cell(row, place))

    def _across_row(self, field: Field, column: Column, places: dict[int, int]) -> None:
        row = self._next(Mark.CELL, field.name, column.name)
        words = f"{column.label}{' (required)' if column.required else ''}"
        look.asked(self.sheet.cell(row, Place.QUESTION), words, column.help, column.required)
        unit = label(column.kind, self.system) if column.kind in KINDS else ""
        look.label(self.sheet.cell(row, Place.ACROSS_UNIT), unit)
        if column.kind in KINDS and column.kind != "count":
            self._instrument(
                self.sheet.cell(row, Place.ACROSS_INSTRUMENT),
                column.kind,
                self._column_instrument(field, column),
            )
        for index, place in places.items():
            self._cell(self.sheet.cell(row, place), field, index, column, unit)
        look.height(self.sheet, row, (f"{words}\n{column.help}".strip(), Place.QUESTION))

    # --- pasted series ----------------------------------------------------------------------

    def _series(self, field: Field) -> None:
        """A block of columns; longer recordings come from a file."""
        block = self.entries.block(field.name)
        item = f"{self.stage.name}.{field.name}"
        row = self._next(Mark.SERIES, field.name)
        self._question(row, field, end=Place.QUESTION)
        if len(block) > LONGEST_SERIES:
            self.sheet.cell(row, Place.KEY).value = None
            look.label(
                self.sheet.cell(row, Place.VALUE),
                f"{len(block)} rows in the job. Correct them with:  startkit enter JOB FILE.csv"
                f" --series {item}",
            )
            return
        look.label(self.sheet.cell(row, Place.INSTRUMENT), "Why changed")
        self._entry_text(self.sheet.cell(row, Place.WHY))
        places = {column.name: Place.VALUE + i for i, column in enumerate(field.columns)}
        self._hidden_row(mark(Mark.COLUMNS, field.name), {p: n for n, p in places.items()})
        head = self._next()
        for column in field.columns:
            self._column_head(head, places[column.name], column)
        units = self._series_units(field, places)
        lines = self._lines(field, places, max(SERIES_ROWS, len(block) + SPARE_ROWS))
        heads = [(column.label, units.get(column.name, "")) for column in field.columns]
        self.written[item] = (fingerprint(series_text(heads, lines)), "", "")

    def _series_units(self, field: Field, places: dict[str, int]) -> dict[str, str]:
        row = self._next(Mark.UNITS, field.name)
        look.label(self.sheet.cell(row, Place.QUESTION), "unit", right=True)
        units = self.entries.block(field.name).units
        return {
            c.name: self._unit(self.sheet.cell(row, places[c.name]), c.kind, units.get(c.name, ""))
            for c in field.columns
            if c.kind in KINDS
        }

    def _lines(self, field: Field, places: dict[str, int], rows: int) -> list[list[str]]:
        texts = self.entries.block(field.name).texts
        lines = []
        for number in range(rows):
            row = self._next(Mark.LINE, field.name)
            look.label(self.sheet.cell(row, Place.QUESTION), str(number + 1), right=True)
            found = {name: texts.get(name, ())[number : number + 1] for name in places}
            lines.append(
                [
                    self._entry_text(self.sheet.cell(row, place), "".join(found[name]))
                    for name, place in places.items()
                ]
            )
        return lines
