"""What is shown of the trips: the story in order, candidate causes with their readings, the last
minutes.
"""

from __future__ import annotations

from datetime import datetime

import numpy as np

from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.stage import Heading, Line, Plot, Rule, Table
from startkit.procedure.starts import clock, moment
from startkit.science.trip_causes import Candidate
from startkit.stages.trips.readings import Minutes, Story, Trip
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
    return Table("The story in order", (Heading("When"), Heading("What"), Heading("Detail")), rows)


def _told(trip: Trip) -> list[tuple[datetime, int, str, str]]:
    event, at = trip.event, trip.at or datetime.max
    lines = [
        (
            at,
            1,
            f"Trip {trip.number}",
            f"“{trip.message}”; latched: {event.text('latched') or 'not said'}",
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
        "As typed; where nothing was typed, the last row of the minutes before the trip.",
    )


def _candidates(entries: Entries, trip: Trip) -> Table:
    head = (
        Heading("Candidate"),
        Heading("What the readings say"),
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
        "A ranking of where to look, not a finding. Percent of full-load current; enough by itself:"
        " it reaches from the current limit (without one: full-load current) to the trip.",
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


# --- plots -------------------------------------------------------------------------------------


def plots(machine: Machine, story: Story) -> tuple[Plot, ...]:
    """Current, vanes and water over the last minutes of each trip."""
    return tuple(
        plot
        for trip in story.trips
        if trip.minutes is not None
        for plot in _of(machine, trip, trip.minutes)
    )


def _of(machine: Machine, trip: Trip, minutes: Minutes) -> tuple[Plot, ...]:
    full = float(machine.motor.full_load_current.to("ampere").magnitude)
    level = float(machine.motor.overcurrent_trip.to("dimensionless").magnitude) * full
    current = (("current", "current", "main"),)
    water = (
        ("entering", "entering chilled water", "main"),
        ("leaving", "leaving chilled water", "second"),
    )
    found = (
        _plot(
            trip,
            minutes,
            "Current",
            "current",
            current,
            (Rule("full-load current", full), Rule("overcurrent trip", level)),
        ),
        _plot(trip, minutes, "Vane position", "percent", (("vanes", "vane position", "main"),), ()),
        _plot(trip, minutes, "Chilled water", "temperature", water, ()),
        _plot(
            trip,
            minutes,
            "Oil differential",
            "pressure_difference",
            (("oil", "oil differential", "main"),),
            (Rule("low-oil trip", float(machine.oil.low_trip.to("pascal").magnitude)),),
        ),
    )
    return tuple(plot for plot in found if plot is not None)


def _plot(
    trip: Trip,
    minutes: Minutes,
    label: str,
    kind: str,
    names: tuple[tuple[str, str, str], ...],
    rules: tuple[Rule, ...],
) -> Plot | None:
    lines = tuple(
        Line(
            line,
            [float(t) for t in minutes.time],
            [float(v) for v in minutes.columns[name]],
            "line",
            emphasis=emphasis,
        )
        for name, line, emphasis in names
        if not np.isnan(minutes.columns[name]).all()
    )
    title = f"{label} before trip {trip.number}"
    return (
        Plot(
            title,
            "Time to the trip",
            "time",
            label,
            kind,
            lines,
            rules,
            f"{title}, from {-minutes.time[0]:.0f} s before it.",
        )
        if lines
        else None
    )
