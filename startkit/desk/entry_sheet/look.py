"""How an entry sheet looks: open cells white and framed, everything else grey and locked, printed
one page wide.
"""

# `Any` here: openpyxl has no types.
from __future__ import annotations

from math import ceil
from typing import Any

from openpyxl.cell.rich_text import CellRichText, TextBlock
from openpyxl.cell.text import InlineFont
from openpyxl.styles import (
    Alignment,
    Border,
    Font,
    NamedStyle,
    PatternFill,
    Protection,
    Side,
)
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation

from startkit.desk.entry_sheet.cells import Place, clean, put_text

# Widths in characters of columns A to F; tables go on to the right.
WIDTHS = {"A": 4, "B": 46, "C": 24, "D": 15, "E": 15, "F": 30}
FURTHER, ALL = 15, 121
_INK, _SOFT, _GROUND, _LINE, _CAUTION = "14181D", "46505C", "EEF1F4", "77828E", "FFF2CF"
_FRAME = Border(*(Side("thin", color=_LINE) for _ in range(4)))
_UNDER = Border(bottom=Side("medium", color=_INK))
_TOP = Alignment(vertical="top", wrap_text=True)


def title(sheet: Any, row: int, text: str, end: int) -> None:
    """The sheet's title, across its width."""
    cell = _wide(sheet, row, text, end)
    cell.font = Font(bold=True, size=16, color=_INK)
    sheet.row_dimensions[row].height = 26


def line(sheet: Any, row: int, text: str, end: int) -> None:
    """A line of explanation, across the width."""
    _wide(sheet, row, text, end).font = Font(color=_SOFT)
    sheet.row_dimensions[row].height = 15 * _lines(text, ALL) + 3


def caution(sheet: Any, row: int, text: str, end: int) -> None:
    """A caution: filled and bold, so that it stands out in print as well."""
    cell = _wide(sheet, row, text, end)
    cell.font = Font(bold=True, color="3D2C00")
    cell.fill = PatternFill("solid", fgColor=_CAUTION)
    sheet.row_dimensions[row].height = 15 * _lines(text, ALL - 10) + 3


def group(sheet: Any, row: int, text: str, end: int) -> None:
    """A heading over a group of questions, with a line under it."""
    put_text(sheet.cell(row, Place.QUESTION), text)
    for column in range(Place.QUESTION, end + 1):
        sheet.cell(row, column).border = _UNDER
        sheet.cell(row, column).font = Font(bold=True, size=13, color=_INK)
    sheet.row_dimensions[row].height = 26


def _wide(sheet: Any, row: int, text: str, end: int) -> Any:
    cell = sheet.cell(row, Place.QUESTION)
    put_text(cell, text)
    wrapped(sheet, row, end)
    return cell


def wrapped(sheet: Any, row: int, end: int) -> None:
    """Let a text run over several lines, from column B to `end`."""
    if end > Place.QUESTION:
        sheet.merge_cells(start_row=row, start_column=Place.QUESTION, end_row=row, end_column=end)
    sheet.cell(row, Place.QUESTION).alignment = _TOP


def head(sheet: Any, row: int) -> None:
    """A row of its own between the heading and what follows."""
    sheet.row_dimensions[row].height = 8


def label(cell: Any, text: str, right: bool = False, wrap: bool = False) -> None:
    """A quiet text next to a cell."""
    if text:
        put_text(cell, text)
    cell.font = Font(color=_SOFT)
    cell.alignment = Alignment(
        vertical="top", horizontal="right" if right else None, wrap_text=wrap
    )


def asked(cell: Any, words: str, help: str, strong: bool = True) -> None:
    """A question, what has to be filled in bold, and below it how and where to measure."""
    below = [TextBlock(InlineFont(sz=9, color=_SOFT), f"\n{clean(help)}")] if help else []
    cell.value = CellRichText(
        TextBlock(InlineFont(sz=11, b=strong, color=_INK), clean(words)), *below
    )
    cell.alignment = _TOP


def column_head(cell: Any, text: str, help: str = "") -> None:
    """The head of a table's column; with its help below."""
    asked(cell, text, help)
    cell.fill = PatternFill("solid", fgColor=_GROUND)
    cell.border = _FRAME
    cell.alignment = _TOP


def entry(cell: Any) -> None:
    """A cell that is open for entry; its number format and its mark as a text stay.

    The parts come as one named style: openpyxl looks each part of a style up anew, thousands of
    times in one book.
    """
    number_format, is_text, book = cell.number_format, cell.quotePrefix, cell.parent.parent
    if ENTRY not in book.named_styles:
        book.add_named_style(_entry())
    cell.style = ENTRY
    cell.number_format = number_format
    if is_text:
        cell.quotePrefix = is_text


ENTRY = "Entry"


def _entry() -> NamedStyle:
    return NamedStyle(
        ENTRY,
        font=Font(color=_INK),
        border=_FRAME,
        alignment=_TOP,
        protection=Protection(locked=False),
    )


def height(sheet: Any, row: int, *texts: tuple[str, int]) -> None:
    """Make a row as high as its texts need, each in the columns that it has: a spreadsheet does not
    do so when a file is opened.
    """
    lines = max(_lines(text, _width(column)) for text, column in texts)
    sheet.row_dimensions[row].height = min(
        max(15 * lines + 4, sheet.row_dimensions[row].height or 0), 400
    )


def _width(column: int) -> int:
    return WIDTHS.get(get_column_letter(column), FURTHER) if column else ALL


def _lines(text: str, width: float) -> int:
    return sum(max(1, ceil(len(part) * 1.05 / width)) for part in text.split("\n"))


# --- what a cell takes --------------------------------------------------------------------------


def offer(sheet: Any, cell: Any, choices: str, strict: bool = True) -> None:
    """Offer a list of choices; strictly, nothing else is taken."""
    rule = _rule(sheet, ("list", choices, strict)) or DataValidation(
        type="list", formula1=choices, allow_blank=True, showErrorMessage=strict
    )
    if strict:
        rule.errorTitle, rule.error = (
            "Not one of the choices",
            "Choose from the list, or leave the cell empty.",
        )
    _add(sheet, ("list", choices, strict), rule, cell)


def dates(sheet: Any, cell: Any, kind: str, empty: str = "") -> None:
    """Take dates only, between 2000 and 2100."""
    name = ("date", kind, empty)
    rule = _rule(sheet, name) or DataValidation(
        type="date",
        operator="between",
        formula1="36526",
        formula2="73050",
        allow_blank=True,
        showErrorMessage=True,
    )
    rule.errorTitle, rule.error = (
        "Not a date",
        f"Write it as 2026-11-25{' 14:30' if kind == 'moment' else ''}, or leave the cell empty.",
    )
    if empty:
        rule.promptTitle, rule.prompt, rule.showInputMessage = (
            "Read at",
            f"Date and time, as 2026-11-25 14:30. {empty}",
            True,
        )
    _add(sheet, name, rule, cell)


def _rule(sheet: Any, name: tuple[Any, ...]) -> Any:
    return _rules(sheet).get(name)


def _rules(sheet: Any) -> dict[tuple[Any, ...], Any]:
    # One rule serves every cell that takes the same: a thousand rules would make a slow sheet.
    return _kept(sheet, "startkit_rules")


def _kept(owner: Any, name: str) -> dict[Any, Any]:
    """A memory that lives as long as its book or sheet."""
    if not hasattr(owner, name):
        setattr(owner, name, {})
    return getattr(owner, name)


def _add(sheet: Any, name: tuple[Any, ...], rule: Any, cell: Any) -> None:
    if name not in _rules(sheet):
        _rules(sheet)[name] = rule
        sheet.add_data_validation(rule)
    rule.add(cell)


# --- the whole tab ------------------------------------------------------------------------------


def finish(sheet: Any, words: str, paper: str, frozen: str, repeated: int) -> None:
    """Widths, locked headings, frozen panes, and how it prints.

    Parameters
    ----------
    sheet : openpyxl.worksheet.worksheet.Worksheet
    words : str
        Foot of the printed page.
    paper : str
        ``"a4"`` or ``"us-letter"``.
    frozen : str
        Cell at which the panes are frozen.
    repeated : int
        Rows that are printed on every page.
    """
    for column, width in WIDTHS.items():
        sheet.column_dimensions[column].width = width
    for number in range(len(WIDTHS) + 1, sheet.max_column + 1):
        sheet.column_dimensions[sheet.cell(1, number).column_letter].width = FURTHER
    sheet.column_dimensions[sheet.cell(1, Place.KEY).column_letter].hidden = True
    sheet.freeze_panes = frozen
    sheet.sheet_view.selection[-1].activeCell = sheet.sheet_view.selection[-1].sqref = frozen
    sheet.sheet_view.showGridLines = False
    # Without a password: it guards against a slip, not against a person.
    sheet.protection.sheet = True
    sheet.protection.formatColumns = sheet.protection.formatRows = False
    _print(sheet, words, paper, repeated)


def _print(sheet: Any, words: str, paper: str, repeated: int) -> None:
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.paperSize = sheet.PAPERSIZE_LETTER if paper == "letter" else sheet.PAPERSIZE_A4
    sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = 1, 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    sheet.print_title_rows = f"1:{repeated}"
    sheet.oddHeader.left.text = words.replace("&", "&&")
    sheet.oddFooter.right.text = "page &P of &N"
    sheet.page_margins.left = sheet.page_margins.right = 0.4
