"""The workbook of an entry sheet: the names of its tabs and the choices that its cells offer."""

# `Any` here: openpyxl has no types.
from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from openpyxl import Workbook

from startkit.desk.entry_sheet import look
from startkit.desk.entry_sheet.cells import (
    LISTS,
    clean,
    put_text,
)
from startkit.desk.fieldset import people
from startkit.facts.job import Job
from startkit.procedure.assessment import Assessment
from startkit.units import IP


class Book:
    """The workbook, its tabs' names, and the choices that its cells offer."""

    def __init__(self, job: Job, assessment: Assessment) -> None:
        self.job, self.assessment = job, assessment
        self.chosen = {
            w.removeprefix("job.instrument."): e.value
            for w, e in assessment.state.latest.items()
            if w.startswith("job.instrument.")
        }
        self.paper = "letter" if assessment.system == IP else "a4"
        self.workbook = Workbook()
        self._ranges: dict[tuple[str, ...], str] = {}

    def add_lists(self) -> None:
        """Add the hidden sheet of choices, behind the tabs that exist by now."""
        self._lists = self.workbook.create_sheet(LISTS)
        self._lists.sheet_state = "veryHidden"

    def title(self, text: str) -> str:
        """A tab's name that a spreadsheet takes and that no other tab has."""
        plain = re.sub(r"[\[\]:*?/\\']", " ", clean(text)).strip()[:28] or "Stage"
        taken = {name.casefold() for name in self.workbook.sheetnames}
        return next(
            t for t in (plain, *(f"{plain} {n}" for n in range(2, 99))) if t.casefold() not in taken
        )

    def choices(self, texts: Sequence[str]) -> str:
        """The range of a hidden sheet that holds some choices: written into the cell's rule, a
        comma would split one in two.
        """
        key = tuple(dict.fromkeys(clean(t) for t in texts))
        if key not in self._ranges:
            column = len(self._ranges) + 1
            for row, text in enumerate(key, start=1):
                put_text(self._lists.cell(row, column), text)
            letter = self._lists.cell(1, column).column_letter
            self._ranges[key] = f"{LISTS}!${letter}$1:${letter}${len(key)}"
        return self._ranges[key]

    def person(self, sheet: Any, cell: Any) -> None:
        """Offer the names of the stage Setup; another one may be typed."""
        names = people(self.assessment)
        if names:
            look.offer(sheet, cell, self.choices(names), strict=False)
