"""What is drawn of the trips: the last minutes before each."""

from __future__ import annotations

import numpy as np

from startkit.facts.machine import Machine
from startkit.procedure.stage import Line, Plot, Rule
from startkit.stages.trips.readings import Minutes, Story, Trip


def plotted(machine: Machine, story: Story) -> tuple[Plot, ...]:
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
