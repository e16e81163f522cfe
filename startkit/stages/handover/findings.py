"""What is judged and shown at the handover."""

from __future__ import annotations

from startkit.procedure import payload
from startkit.procedure.entries import Entries
from startkit.procedure.last_record import figures
from startkit.procedure.stage import Heading, Table
from startkit.stages.handover.readings import changed_elsewhere
from startkit.verdict import COVERAGE


def tables(entries: Entries) -> tuple[Table, ...]:
    """Settings from other stages, then the baseline."""
    return tuple(table for table in (_elsewhere(entries), _baseline(entries)) if table is not None)


def _elsewhere(entries: Entries) -> Table | None:
    rows = tuple(changed_elsewhere(entries))
    head = (
        Heading("Stage"),
        Heading("Setting"),
        Heading("As found"),
        Heading("As left"),
        Heading("By"),
    )
    return Table("As found and as left, from other stages", head, rows) if rows else None


def _baseline(entries: Entries) -> Table | None:
    """Every figure with a key: what the next visit is compared with."""
    found = [
        (stage.title, payload.figure(figure, entries)) for stage, figure in figures(entries.job)
    ]
    rows = tuple(
        (
            title,
            figure["label"],
            figure["text"],
            figure["uncertainty"] or "–",
            figure["note"] or "–",
        )
        for title, figure in found
    )
    head = (
        Heading("Stage"),
        Heading("Figure"),
        Heading("Value"),
        Heading("Plus or minus"),
        Heading("Note"),
    )
    return (
        Table(
            "Baseline for the next visit",
            head,
            rows,
            f"Plus or minus: {COVERAGE:g} standard uncertainties, where instruments were named.",
        )
        if rows
        else None
    )
