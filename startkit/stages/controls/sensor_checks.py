"""Sensors in the stage Controls: each against a reference instrument, as found, with its offset, as
left.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import pint

from startkit.errors import StartkitError
from startkit.facts.limits import Limit
from startkit.procedure.entries import Entries, Row
from startkit.procedure.judging import check
from startkit.procedure.reading import Reading
from startkit.procedure.stage import Column, Field, Heading, Table
from startkit.science.sensors import (
    REFERENCE_RATIO,
    SOURCE,
    Comparison,
    after_offset,
    compare,
    uncertainty_ratio,
)
from startkit.units import Q, difference_kind
from startkit.verdict import Outcome, Verdict

GROUP = "Sensors"
SUSPICIOUS = (
    3.0  # an offset this many times the sensor's accuracy is worth a remark; own default, no source
)
# Table of each kind of sensor: its field, its title, whether every machine has some.
TABLES = {
    "temperature_sensors": ("temperature", "Temperature sensors", True),
    "pressure_sensors": ("gauge_pressure", "Pressure sensors", True),
    "flow_sensors": ("flow", "Flow meters", False),
    "current_sensors": ("current", "Current sensors", False),
}


def _field(name: str) -> Field:
    kind, title, required = TABLES[name]
    difference = difference_kind(kind)
    return Field(
        name,
        f"{title} against a reference",
        "table",
        "Reference within a hand's breadth of the sensor, both settled. The reference's accuracy is"
        " that of the instrument that you pick for it.",
        required,
        rows=4 if required else 1,
        group=GROUP,
        columns=(
            Column("sensor", "Sensor", required=True),
            Column("panel", "Shown by the controls", kind, required=True),
            Column("reference", "Reference", kind, required=True),
            Column(
                "accuracy",
                "Accuracy of the sensor",
                difference,
                "From its data sheet, plus and minus",
                required=True,
            ),
            Column(
                "offset",
                "Offset set",
                difference,
                "What was added in the controls; leave empty if nothing was set",
            ),
            Column("left_panel", "As left: controls", kind),
            Column("left_reference", "As left: reference", kind),
        ),
    )


FIELDS = tuple(_field(name) for name in TABLES)


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


def collect(entries: Entries, table: str) -> tuple[Checked, ...]:
    """Every row of a table compared."""
    return tuple(_checked(row, n) for n, row in enumerate(entries.rows(table), 1))


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


# --- verdicts ----------------------------------------------------------------------------------


def verdicts(entries: Entries, table: str, checked: tuple[Checked, ...]) -> tuple[Verdict, ...]:
    """One verdict a sensor; one for a table that no machine does without."""
    kind, title, required = TABLES[table]
    if not checked and required:
        return (
            Verdict(
                key=f"controls.{table}",
                title=title,
                outcome=Outcome.OPEN,
                sentence="No sensor entered.",
                next_step="Compare every sensor that the controls act on with a reference.",
                source=SOURCE,
            ),
        )
    return tuple(_verdict(entries, f"controls.{table}.{c.row.index}", kind, c) for c in checked)


def _verdict(entries: Entries, key: str, kind: str, c: Checked) -> Verdict:
    blank = Verdict(
        key=key, title=f"Sensor: {c.name}", outcome=Outcome.OPEN, sentence="", source=SOURCE
    )
    if c.problem:
        return replace(
            blank, sentence=c.problem, next_step="Take the reading, or correct the entry."
        )
    if c.offset is not None and c.offset.magnitude != 0 and c.left is None:
        return replace(
            blank,
            sentence=(
                f"An offset of {entries.show(c.offset, difference_kind(kind))} was set and nothing"
                " was read afterwards."
            ),
            next_step="Read sensor and reference again.",
        )
    judged = c.left if c.left is not None else c.found
    limit = Limit(
        key,
        blank.title,
        difference_kind(kind),
        Q(-judged.tolerance.magnitude, judged.tolerance.units),
        judged.tolerance,
        f"both accuracies combined, {SOURCE}",
        "published",
    )
    found = check(
        entries,
        limit,
        Reading("", "", judged.deviation, untrusted=c.untrusted),
        note=_note(entries, kind, c),
        next_step=(
            "Set an offset and read both again; renew the sensor if it does not hold."
            if c.left is None
            else "Renew the sensor, and compare it again."
        ),
    )
    if not c.known and found.outcome is Outcome.PASS:
        return replace(
            found,
            outcome=Outcome.UNPROVEN,
            sentence=f"{found.sentence} No reference instrument is named.",
            next_step="Name the reference instrument beside its reading.",
        )
    return found


def _note(entries: Entries, kind: str, c: Checked) -> str:
    difference = difference_kind(kind)
    told = []
    if c.left is not None:
        told.append(
            f"As found {entries.show(c.found.deviation, difference)}, offset"
            f" {entries.show(c.offset, difference) if c.offset is not None else 'none'}, as left as"
            " read."
        )
        told += _follows(entries, difference, c)
    if (
        c.offset is not None
        and c.row.quantity("accuracy").magnitude
        and abs(c.offset / c.row.quantity("accuracy")).to("dimensionless").magnitude > SUSPICIOUS
    ):
        told.append(
            "The offset is more than three times the sensor's accuracy: think of renewing it."
        )
    if c.ratio is not None and c.ratio < REFERENCE_RATIO:
        told.append(
            f"The reference is {c.ratio:.1f} times as good as the sensor; four times is customary."
        )
    return " ".join(told)


def _follows(entries: Entries, difference: str, c: Checked) -> list[str]:
    """Whether the readings as left are what the offset should have made of those as found."""
    if c.offset is None:
        return []
    due = after_offset(c.found, c.offset).deviation
    if abs(c.left.deviation - due) <= c.left.tolerance:
        return []
    return [
        f"The offset should have left {entries.show(due, difference)}: check its sign, or whether"
        " the sensor wanders."
    ]


# --- shown -------------------------------------------------------------------------------------


def tables(entries: Entries, table: str, checked: tuple[Checked, ...]) -> tuple[Table, ...]:
    """Deviation as found, tolerance, En, offset and deviation as left."""
    compared = [c for c in checked if c.found is not None]
    if not compared:
        return ()
    kind, title, _ = TABLES[table]
    difference = difference_kind(kind)
    head = (
        Heading("Sensor"),
        Heading("As found", difference),
        Heading("Tolerance ±", difference),
        Heading("En"),
        Heading("Offset", difference),
        Heading("As left", difference),
        Heading("En as left"),
    )
    rows = tuple(
        (
            c.name,
            c.found.deviation,
            c.found.tolerance,
            f"{c.found.en:.2f}",
            c.offset,
            c.left.deviation if c.left else None,
            f"{c.left.en:.2f}" if c.left else None,
        )
        for c in compared
    )
    return (
        Table(
            f"{title}: controls less reference",
            head,
            rows,
            f"Between −1 and 1 both agree within their accuracies ({SOURCE}).",
        ),
    )
