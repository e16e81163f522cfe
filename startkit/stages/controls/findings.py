"""Tables of the stage Controls: sensors against references."""

from __future__ import annotations

from collections.abc import Mapping

from startkit.procedure.stage import Heading, Table
from startkit.science.sensors import SOURCE as AGREEMENT
from startkit.stages.controls.fields import SENSORS
from startkit.stages.controls.readings import Checked
from startkit.units import difference_kind


def tables(checked: Mapping[str, tuple[Checked, ...]]) -> tuple[Table, ...]:
    """Of each kind of sensor: as found, tolerance, En, offset and as left."""
    return tuple(t for table, rows in checked.items() for t in _sensors(table, rows))


def _sensors(table: str, checked: tuple[Checked, ...]) -> tuple[Table, ...]:
    compared = [(c, c.found) for c in checked if c.found is not None]
    if not compared:
        return ()
    kind, title, _ = SENSORS[table]
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
            found.deviation,
            found.tolerance,
            f"{found.en:.2f}",
            c.offset,
            c.left.deviation if c.left else None,
            f"{c.left.en:.2f}" if c.left else None,
        )
        for c, found in compared
    )
    return (
        Table(
            f"{title}: controls less reference",
            head,
            rows,
            f"Between −1 and 1 both agree within their accuracies ({AGREEMENT}).",
        ),
    )
