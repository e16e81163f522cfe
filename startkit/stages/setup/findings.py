"""The figure and the table of the stage Setup."""

from __future__ import annotations

from startkit.procedure.entries import Entries
from startkit.procedure.site import instrument_of
from startkit.procedure.stage import Figure, Heading, Table


def figures(entries: Entries) -> tuple[Figure, ...]:
    """The barometric pressure that is used, and where it is from."""
    barometer = entries.job.barometer
    how = (
        "measured on site"
        if barometer.entry is not None
        else "standard atmosphere at the sheet's elevation (ISO 2533)"
    )
    return (
        Figure(
            "Barometric pressure used",
            barometer.quantity,
            "barometer",
            barometer.u,
            how,
            "barometer",
        ),
    )


def tables(entries: Entries) -> tuple[Table, ...]:
    """The instruments, and how many readings were taken with each."""
    return (_instruments_used(entries),)


def _instruments_used(entries: Entries) -> Table:
    rows = []
    for row in entries.rows("instruments"):
        instrument = instrument_of(row)
        used = sum(
            1
            for entry in entries.job.latest.values()
            if entry.instrument and entry.instrument == row.text("tag")
        )
        due = row.text("due") or "–"
        rows.append(
            (
                row.text("tag"),
                row.text("name"),
                row.text("serial"),
                row.text("accuracy"),
                due,
                str(used) if instrument else "cannot be read",
            )
        )
    head = (
        "Tag",
        "Instrument",
        "Serial number",
        "Accuracy",
        "Calibration due",
        "Readings taken with it",
    )
    return Table(
        "Instruments used",
        tuple(Heading(label) for label in head),
        tuple(rows),
        "Stated accuracy is taken as the half-width of a rectangular distribution: u = a/√3 (JCGM"
        " 100:2008, 4.3.7).",
    )
