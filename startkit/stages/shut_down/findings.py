"""What is shown of the shut-down: figures, and the rules for the next start."""

from __future__ import annotations

from startkit.procedure.entries import Entries
from startkit.procedure.stage import Figure, Heading, Table
from startkit.procedure.starts import clock
from startkit.stages.shut_down.readings import Down
from startkit.units import Q


def figures(entries: Entries, down: Down) -> tuple[Figure, ...]:
    """Figures with keys are the baseline for the next visit."""
    found = (
        Figure(
            "Coast-down time",
            down.coast_down.quantity,
            "time",
            down.coast_down.u,
            "from the oil record" if down.coast_down_by_record else "",
            "shut_down.coast_down_time",
        ),
        Figure(
            "Oil pump ran on",
            down.post_lube.quantity,
            "time",
            down.post_lube.u,
            "after the shaft had stopped",
            "shut_down.post_lube_time",
        ),
        Figure(
            "Vanes closed after",
            entries.quantity("closing_time"),
            "time",
            entries.reading("closing_time").u,
            "",
            "shut_down.closing_time",
        ),
        Figure(
            "Vane position at rest",
            entries.quantity("vane_position"),
            "percent",
            entries.reading("vane_position").u,
            "",
            "shut_down.vane_position",
        ),
        Figure(
            "Starts on this visit",
            Q(len(down.runs), "dimensionless") if down.runs else None,
            "count",
            note="including bumps",
        ),
        Figure(
            "Earliest next start",
            clock(down.next.at) if down.next.at is not None else None,
            note=down.next.rule,
        ),
    )
    return tuple(f for f in found if f.value is not None)


def tables(entries: Entries, down: Down) -> tuple[Table, ...]:
    """The rules for the next start."""
    known = (
        ("Start to start", down.rules.start_to_start),
        ("Stop to start", down.rules.stop_to_start),
    )
    rows: list[tuple[object, ...]] = [
        (name, Q(value, "second"), None) for name, value in known if value is not None
    ]
    rows += (
        [("Starts per hour", None, Q(down.rules.per_hour, "dimensionless"))]
        if down.rules.per_hour is not None
        else []
    )
    if not rows:
        return ()
    return (
        Table(
            "Rules for the next start",
            (Heading("Rule"), Heading("Time", "minutes"), Heading("Starts", "ratio", 1)),
            tuple(rows),
            f"From: {down.rules.source}.",
        ),
    )
