"""What is shown of the trips: the story in order, candidate causes with their readings, the last
minutes.
"""

from __future__ import annotations

from datetime import datetime

from startkit.procedure.entries import Entries
from startkit.procedure.stage import Heading, Table
from startkit.procedure.starts import clock, moment
from startkit.science.trip_causes import Candidate
from startkit.stages.trips.readings import Story, Trip
from startkit.units import Q, difference_kind


def tables(entries: Entries, story: Story) -> tuple[Table, ...]:
    """The story, the readings at each trip, and for overcurrent the candidates."""
    if not story.trips:
        return ()
    return (
        _story(story),
        _values(story),
        *(_candidates(entries, trip) for trip in story.trips if trip.candidates),
    )


# --- the story ---------------------------------------------------------------------------------


def _story(story: Story) -> Table:
    """Starts, trips, causes, changes and restarts as they came."""
    told = [
        (run.began, 0, f"Start{f' ({run.end})' if run.end else ''}", run.remark)
        for run in story.runs
    ]
    for trip in story.trips:
        told += _told(trip)
    rows = tuple(
        (clock(at) if at != datetime.max else "–", what, detail or "–")
        for at, _, what, detail in sorted(told, key=lambda row: row[:2])
    )
    return Table("Sequence of events", (Heading("When"), Heading("What"), Heading("Detail")), rows)


def _told(trip: Trip) -> list[tuple[datetime, int, str, str]]:
    event, at = trip.event, trip.at or datetime.max
    lines = [
        (
            at,
            1,
            f"Trip {trip.number}",
            f"“{trip.message}”; latched: {event.text('latched') or 'not entered'}",
        )
    ]
    for row in trip.causes:
        lines.append(
            (
                at,
                2,
                f"Cause of trip {trip.number}",
                row.text("cause") + _with(", shown by ", row.text("shown_by")),
            )
        )
        if row.text("changed"):
            detail = (
                f"{row.text('changed')}: {row.text('as_found') or '–'} →"
                f" {row.text('as_left') or '–'}"
            )
            lines.append(
                (at, 3, f"Changed after trip {trip.number}", detail + _with(" by ", row.text("by")))
            )
    if event.text("reset"):
        lines.append(
            (
                at,
                4,
                f"Reset of trip {trip.number}",
                event.text("reset") + _with(", ", event.text("reset_by")),
            )
        )
    if event.text("restarted") or event.text("result"):
        lines.append(
            (
                moment(event.text("restarted")) or at,
                5,
                f"Restart after trip {trip.number}",
                event.text("result"),
            )
        )
    return lines


def _with(before: str, text: str) -> str:
    return f"{before}{text}" if text else ""


def _values(story: Story) -> Table:
    names = (
        ("since_start", "Since start", "time"),
        ("limit", "Current limit", "percent"),
        ("current", "Highest phase", "current"),
        ("vanes", "Vanes", "percent"),
        ("entering", "Entering chilled", "temperature"),
        ("leaving", "Leaving chilled", "temperature"),
        ("leaving_condenser", "Leaving condenser", "temperature"),
        ("oil", "Oil differential", "pressure_difference"),
    )
    rows = tuple(
        (Q(trip.number, "dimensionless"), *(trip.read(name) for name, _, _ in names))
        for trip in story.trips
    )
    return Table(
        "Readings at the trip",
        (Heading("Trip", "count"), *(Heading(label, kind) for _, label, kind in names)),
        rows,
        "As entered; where nothing was entered, the last row of the minutes before the trip.",
    )


def _candidates(entries: Entries, trip: Trip) -> Table:
    head = (
        Heading("Candidate"),
        Heading("What the readings suggest"),
        Heading("Adds to the current", "percent", 0),
        Heading("Readings"),
    )
    rows = tuple(
        (
            c.cause,
            c.strength,
            None if c.adds is None else Q(100 * c.adds, "percent"),
            _figures(entries, c),
        )
        for c in trip.candidates
    )
    return Table(
        f"Trip {trip.number}, candidates for overcurrent, strongest first",
        head,
        rows,
        "A ranking of where to look, not a finding. In percent of full-load current. Enough by"
        " itself: it covers the gap from the current limit (without one, full-load current) to the"
        " trip.",
    )


_SI = {"percent": "dimensionless", "time": "second", "temperature_difference": "delta_degC"}


def _figures(entries: Entries, candidate: Candidate) -> str:
    return (
        "; ".join(
            f"{what} {entries.show(Q(value, _SI[kind]), difference_kind(kind))}"
            for what, value, kind in candidate.figures
        )
        or "not read"
    )
