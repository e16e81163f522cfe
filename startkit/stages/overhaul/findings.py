"""Tables of the stage Overhaul."""

from __future__ import annotations

from startkit.procedure import last_record
from startkit.procedure.entries import Entries
from startkit.procedure.stage import Heading, Table
from startkit.stages.overhaul.fields import MEASURED


def tables(entries: Entries, compared: last_record.Comparison) -> tuple[Table, ...]:
    """What was measured, and what has moved since the last record."""
    return (
        *(t for name in MEASURED for t in _measurements(entries, name)),
        *last_record.tables(entries, compared),
    )


def _measurements(entries: Entries, name: str) -> tuple[Table, ...]:
    rows = tuple(
        (
            row.text("place"),
            row.quantity("as_found"),
            row.quantity("as_left"),
            row.quantity("low"),
            row.quantity("high"),
            row.text("source"),
        )
        for row in entries.rows(name)
    )
    head = (
        Heading("Where"),
        Heading("As found", "clearance"),
        Heading("As left", "clearance"),
        Heading("At least", "clearance"),
        Heading("At most", "clearance"),
        Heading("Limit from"),
    )
    return (Table(f"{MEASURED[name][0]}s", head, rows),) if rows else ()
