"""Readings of the stage Controls: each sensor against its reference, as found and as left."""

from __future__ import annotations

from dataclasses import dataclass, replace

import pint

from startkit.errors import StartkitError
from startkit.procedure.entries import Entries, Row
from startkit.procedure.reading import Reading
from startkit.science.sensors import (
    Comparison,
    compare,
    uncertainty_ratio,
)
from startkit.stages.controls.fields import SENSORS
from startkit.units import Q


@dataclass(frozen=True)
class Checked:
    """One sensor's comparison as found and, if it was read again, as left; `problem` if there is
    none.
    """

    row: Row
    number: int
    found: Comparison | None
    left: Comparison | None
    offset: pint.Quantity | None
    ratio: float | None
    known: bool
    untrusted: str
    problem: str

    @property
    def name(self) -> str:
        return self.row.text("sensor") or f"row {self.number}"


def collect(entries: Entries) -> dict[str, tuple[Checked, ...]]:
    """Every row of every table of sensors compared."""
    return {
        table: tuple(_checked(row, n) for n, row in enumerate(entries.rows(table), 1))
        for table in SENSORS
    }


def _checked(row: Row, number: int) -> Checked:
    blank = Checked(row, number, None, None, row.quantity("offset"), None, False, "", "")
    problem = next((cell.problem for cell in row.cells.values() if cell.problem), "")
    lacking = [
        word
        for column, word in (
            ("panel", "what the controls show"),
            ("reference", "the reference"),
            ("accuracy", "the sensor's accuracy"),
        )
        if row.quantity(column) is None
    ]
    half_left = (row.quantity("left_panel") is None) is not (row.quantity("left_reference") is None)
    if not problem and (lacking or half_left):
        problem = f"Missing: {', '.join(lacking or ['one of the two readings as left'])}."
    if problem:
        return replace(blank, problem=problem)
    try:
        return _compared(blank)
    except StartkitError as error:
        return replace(blank, problem=str(error))


def _compared(blank: Checked) -> Checked:
    row = blank.row
    said, reference = row.quantity("accuracy"), row.reading("reference")
    accuracy = Q(abs(said.magnitude), said.units)
    own = _half_width(reference)
    sure = Q(0.0, said.units) if own is None else own
    found = compare(row.quantity("panel"), reference.quantity, accuracy, sure)
    left = None
    if row.quantity("left_panel") is not None:
        again = _half_width(row.reading("left_reference"))
        left = compare(
            row.quantity("left_panel"),
            row.quantity("left_reference"),
            accuracy,
            sure if again is None else again,
        )
    ratio = uncertainty_ratio(accuracy, own) if own is not None and own.magnitude > 0 else None
    untrusted = reference.untrusted or row.reading("left_reference").untrusted
    return replace(
        blank, found=found, left=left, ratio=ratio, known=own is not None, untrusted=untrusted
    )


def _half_width(reference: Reading) -> pint.Quantity | None:
    """The reference's stated accuracy: its standard uncertainty was taken from a rectangular
    distribution.
    """
    return None if reference.u is None else reference.u * 3**0.5
