"""Readings of the stage Controls: each sensor against its reference, as found and as left."""

from __future__ import annotations

from dataclasses import dataclass, replace

import pint

from startkit.errors import StartkitError
from startkit.procedure.entries import Entries
from startkit.procedure.reading import Reading, Row
from startkit.science.sensors import (
    Comparison,
    compare,
    uncertainty_ratio,
)
from startkit.stages.controls.fields import SENSORS
from startkit.units import Q

AS_FOUND = ("panel", "reference", "accuracy")
AS_LEFT = ("left_panel", "left_reference")


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
    problem: str

    @property
    def name(self) -> str:
        return self.row.text("sensor") or f"row {self.number}"

    @property
    def readings(self) -> tuple[Reading, ...]:
        """What the comparison rests on: as left where it was read again, else as found."""
        columns = AS_FOUND if self.left is None else (*AS_FOUND, *AS_LEFT)
        return tuple(self.row.reading(column) for column in columns)

    @property
    def items(self) -> tuple[str, ...]:
        """Names of the items that the comparison rests on."""
        return tuple(dict.fromkeys(item for read in self.readings for item in read.items))


def collect(entries: Entries) -> dict[str, tuple[Checked, ...]]:
    """Every row of every table of sensors compared."""
    return {
        table: tuple(_checked(row, n) for n, row in enumerate(entries.rows(table), 1))
        for table in SENSORS
    }


def _checked(row: Row, number: int) -> Checked:
    blank = Checked(row, number, None, None, row.quantity("offset"), None, False, "")
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
    assert said is not None  # what is missing was handled before
    accuracy = Q(abs(said.magnitude), said.units)
    own = _half_width(reference)
    sure = Q(0.0, said.units) if own is None else own
    left = None
    if row.quantity("left_panel") is not None:
        again = _half_width(row.reading("left_reference"))
        left = _comparison(row, AS_LEFT, accuracy, sure if again is None else again)
    return replace(
        blank,
        found=_comparison(row, AS_FOUND[:2], accuracy, sure),
        left=left,
        ratio=uncertainty_ratio(accuracy, own) if own is not None and own.magnitude > 0 else None,
        known=own is not None,
    )


def _comparison(
    row: Row, columns: tuple[str, ...], accuracy: pint.Quantity, sure: pint.Quantity
) -> Comparison | None:
    """A sensor's column against its reference's; None if one of the two lacks."""
    panel, reference = (row.quantity(column) for column in columns)
    if panel is None or reference is None:
        return None
    return compare(panel, reference, accuracy, sure)


def _half_width(reference: Reading) -> pint.Quantity | None:
    """The reference's stated accuracy: its standard uncertainty was taken from a rectangular
    distribution.
    """
    return None if reference.u is None else reference.u * 3**0.5
