"""The entry sheet of a job written out: a start tab, one tab a stage, and hidden sheets."""

# `Any` here: openpyxl has no types.
from __future__ import annotations

import io
from pathlib import Path
from typing import Any

from openpyxl import Workbook

from startkit import __version__
from startkit.desk.entry_sheet import look
from startkit.desk.entry_sheet.book import Book
from startkit.desk.entry_sheet.cells import (
    FORMAT,
    WRITTEN,
    Mark,
    Place,
    mark,
    put_text,
)
from startkit.desk.entry_sheet.tab import Tab
from startkit.errors import SheetError
from startkit.facts.job import Job
from startkit.facts.journal import now
from startkit.procedure.assessment import of_job

HOW = (
    (
        "Fill in the white cells. A unit typed with the number overrides the one next to it: 60"
        " psig, 12,5 °C, 25 in Hg vac. Leave blank what was not read."
    ),
    (
        "Give the instrument by its tag, as on the Setup tab. Each tab names who took the"
        " readings; where it does not, the name below applies."
    ),
    (
        "To change an entry, write the new value and, under Why changed, the reason. Cells you"
        " leave alone make no entry."
    ),
    (
        "Back at the computer:  startkit enter JOB THIS-FILE.xlsx  – if any cell cannot be"
        " accepted, it is named and nothing is entered."
    ),
    (
        "Local code, the maker's manual and licensed practice come first. This sheet only records;"
        " a clear hold point is in the notebook, not here."
    ),
)


def write(folder: Path, path: Path) -> Path:
    """Write the entry sheet of a job as of now.

    Parameters
    ----------
    folder, path : pathlib.Path
        Job, and the file to be made; an existing one is never overwritten.

    Raises
    ------
    SheetError
        The file exists, its name does not end in .xlsx, or the folder cannot be written.
    """
    path = Path(path)
    if path.suffix.lower() != ".xlsx":
        raise SheetError(
            "an entry sheet is an XLSX file", str(path), "choose a name that ends in .xlsx"
        )
    job = Job(folder, read_only=True)
    assessment = of_job(job)
    content = io.BytesIO()
    _filled(Book(job, assessment)).save(content)
    try:
        with path.open("xb") as file:
            file.write(content.getvalue())
    except FileExistsError:
        raise SheetError("the file already exists", str(path), "choose another name") from None
    except OSError as error:
        raise SheetError(
            f"the file cannot be written ({error.strerror})", str(path), "choose another folder"
        ) from None
    return path


def _filled(book: Book) -> Workbook:
    start = book.workbook.active
    tabs = [Tab(book, stage) for stage in book.assessment.stages.values()]
    book.add_lists()
    for tab in tabs:
        tab.fill()
    _cover(book, tabs, start)
    _written(book, tabs)
    return book.workbook


def _cover(book: Book, tabs: list[Tab], sheet: Any) -> None:
    sheet.title = book.title("Start")
    machine = book.job.machine
    words = f"{machine.machine.tag}, {machine.site.plant}"
    sheet.cell(1, Place.KEY).value = mark(Mark.STAGE)
    look.title(sheet, 1, f"Entry sheet: {words}", Place.READ_AT)
    look.line(
        sheet,
        2,
        f"Job {book.job.folder.resolve().name}, {book.assessment.system} units, as of"
        f" {_as_of(book)}",
        Place.READ_AT,
    )
    look.head(sheet, 3)
    sheet.cell(4, Place.KEY).value = mark(Mark.BY)
    look.label(
        sheet.cell(4, Place.QUESTION),
        ("Who took the readings, where a tab does not say"),
        wrap=True,
    )
    look.entry(sheet.cell(4, Place.READ_BY))
    for row, text in enumerate(HOW, start=6):
        look.line(sheet, row, text, Place.READ_AT)
    look.line(
        sheet,
        7 + len(HOW),
        "Tabs: " + ", ".join(tab.sheet.title for tab in tabs),
        Place.READ_AT,
    )
    look.finish(sheet, words, book.paper, "B4", 3)
    book.person(sheet, sheet.cell(4, Place.READ_BY))


def _as_of(book: Book) -> str:
    last = book.assessment.state.entries[-1]
    return f"entry {last.seq} of {last.at[:16].replace('T', ' ')}"


def _written(book: Book, tabs: list[Tab]) -> None:
    sheet = book.workbook.create_sheet(WRITTEN)
    first = book.assessment.state.entries[0].digest
    for texts in ((FORMAT, first, __version__, now()), ("item", "value", "unit", "instrument")):
        sheet.append(texts)
    rows = ((what, *texts) for tab in tabs for what, texts in tab.written.items() if any(texts))
    for row, texts in enumerate(rows, start=3):
        for column, text in enumerate(texts, start=1):
            put_text(sheet.cell(row, column), text)
    sheet.sheet_state = "veryHidden"
