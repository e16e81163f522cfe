"""The trips of a job brought together: event, readings, last minutes, cause; by trip number."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime

import numpy as np
import pint

from startkit.errors import StartkitError
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.hunting_readings import swings
from startkit.procedure.reading import Row
from startkit.procedure.series import clock, dead_sensors
from startkit.procedure.starts import Run, moment, runs
from startkit.science.hunting import Swing
from startkit.science.supply import voltage_unbalance
from startkit.science.trip_causes import Candidate, Evidence, rank
from startkit.stages.trips.fields import OVERCURRENT
from startkit.units import Q

_LABELS = {
    "current": "current",
    "vanes": "vane position",
    "entering": "entering chilled water",
    "leaving": "leaving chilled water",
    "oil": "oil differential",
}


@dataclass(frozen=True)
class Minutes:
    """The last minutes before a trip [s before it, SI]."""

    time: np.ndarray
    columns: dict[str, np.ndarray]


@dataclass(frozen=True)
class Trip:
    """One trip with everything entered about it."""

    number: int
    at: datetime | None
    event: Row
    values: Row | None
    minutes: Minutes | None
    causes: tuple[Row, ...]
    candidates: tuple[Candidate, ...]
    swings: Mapping[str, Swing] = field(default_factory=dict)

    @property
    def message(self) -> str:
        return self.event.text("message")

    def read(self, column: str) -> pint.Quantity | None:
        """A reading at the trip: as typed, else the last row of the minutes before it."""
        typed = None if self.values is None else self.values.quantity(column)
        if typed is not None or self.minutes is None or column not in self.minutes.columns:
            return typed
        last = self.minutes.columns[column][-1]
        units = {"current": "ampere", "vanes": "dimensionless", "oil": "pascal"}
        return None if np.isnan(last) else Q(float(last), units.get(column, "kelvin"))


@dataclass(frozen=True)
class Story:
    """All trips in order, with the starts before and after them."""

    trips: tuple[Trip, ...]
    runs: tuple[Run, ...]
    problems: tuple[str, ...]


def collect(machine: Machine, entries: Entries) -> Story:
    """Every trip by its number; a row that belongs to no trip is reported."""
    problems: list[str] = []
    events = _numbered(entries, "events", problems)
    values, causes = _numbered(entries, "values", problems), _causes(entries, problems)
    minutes = _minutes(entries, problems)
    for name, numbers in (
        ("Readings at the trip", values),
        ("Cause and change", causes),
        ("Last minutes before the trip", minutes),
    ):
        problems += [
            f"{name}: there is no trip {n} in the table of trips; enter it there."
            for n in numbers
            if n not in events
        ]
    trips = tuple(
        _trip(machine, n, events[n], values.get(n), minutes.get(n), causes.get(n, ()))
        for n in sorted(events)
    )
    return Story(trips, runs(entries.of("first_start"), []), tuple(problems))


def _number(row: Row) -> int | None:
    found = row.quantity("trip")
    return None if found is None else round(float(found.magnitude))


def _numbered(entries: Entries, name: str, problems: list[str]) -> dict[int, Row]:
    found: dict[int, Row] = {}
    label = entries.fields[name].question
    for row in entries.rows(name):
        number = _number(row)
        if number is None:
            problems.append(
                f"{label}, row {row.index}: the trip has no number; number the trips from 1 in the"
                " order they occurred."
            )
        elif number in found:
            problems.append(
                f"{label}, row {row.index}: trip {number} is entered twice; give each trip its own"
                " number."
            )
        else:
            found[number] = row
    return found


def _causes(entries: Entries, problems: list[str]) -> dict[int, tuple[Row, ...]]:
    """A trip may have several causes and changes."""
    found: dict[int, tuple[Row, ...]] = {}
    for row in entries.rows("causes"):
        number = _number(row)
        if number is None:
            problems.append(
                f"Cause and change, row {row.index}: no trip number; enter"
                " the number of the trip it belongs to."
            )
        else:
            found[number] = (*found.get(number, ()), row)
    return found


def _minutes(entries: Entries, problems: list[str]) -> dict[int, Minutes]:
    block = entries.block("minutes")
    if not len(block):
        return {}
    numbers, found = block.columns["trip"], {}
    for value in dict.fromkeys(numbers[np.isfinite(numbers)]):
        picked = np.flatnonzero(numbers == value)
        part = type(block)(
            {k: v[picked] for k, v in block.columns.items()},
            {k: tuple(v[i] for i in picked) for k, v in block.texts.items()},
        )
        name = f"{entries.fields['minutes'].question}, trip {value:.0f}"
        kept = clock(part, name)
        columns, dead = dead_sensors(part, kept.rows, name, _LABELS, expect_zero=("vanes",))
        problems += [*kept.problems, *dead]
        if len(kept.time):
            found[round(float(value))] = Minutes(kept.time - kept.time[-1], columns)
    return found


def _trip(
    machine: Machine,
    number: int,
    event: Row,
    values: Row | None,
    minutes: Minutes | None,
    causes: tuple[Row, ...],
) -> Trip:
    at, found = moment(event.text("at")), _swings(minutes)
    bare = Trip(number, at, event, values, minutes, causes, (), found)
    if event.code("kind") != OVERCURRENT.code:
        return bare
    try:
        ranked = rank(evidence(machine, bare))
    except StartkitError:
        ranked = ()
    return replace(bare, candidates=ranked)


def _swings(minutes: Minutes | None) -> dict[str, Swing]:
    """What swung before the trip; its last seconds are the trip itself."""
    if minutes is None:
        return {}
    held = (minutes.time >= SWING_WINDOW[0]) & (minutes.time <= SWING_WINDOW[1])
    names = ("current", "vanes", "leaving")
    return swings(minutes.time[held], {name: minutes.columns[name][held] for name in names})


def evidence(machine: Machine, trip: Trip) -> Evidence:
    """What the readings of an overcurrent trip offer, in SI."""
    design, motor = machine.design, machine.motor
    read = [trip.read(f"voltage_{pair}") for pair in ("12", "23", "31")]
    voltages = [v for v in read if v is not None]
    known = len(voltages) == len(read)
    entering, leaving = trip.read("entering"), trip.read("leaving")
    condenser = trip.read("leaving_condenser")
    designed = (
        None
        if design.leaving_condenser is None
        else _kelvin(design.leaving_condenser) - _kelvin(design.leaving_chilled)
    )
    return Evidence(
        trip=float(motor.overcurrent_trip.to("dimensionless").magnitude),
        limit=_plain(trip.read("limit")),
        since_start=_plain(trip.read("since_start")),
        run_up=_plain(motor.run_up_time),
        vanes=_plain(trip.read("vanes")),
        swing=_swing(machine, trip),
        warmer=(
            None
            if entering is None or design.entering_chilled is None
            else _kelvin(entering) - _kelvin(design.entering_chilled)
        ),
        voltage_low=(
            float(
                (sum(v.to("volt").magnitude for v in voltages) / 3)
                / motor.voltage.to("volt").magnitude
                - 1
            )
            if known
            else None
        ),
        unbalance=_plain(voltage_unbalance(*voltages)) if known else None,
        lift=(
            None if leaving is None or condenser is None else _kelvin(condenser) - _kelvin(leaving)
        ),
        design_lift=designed,
        **_hunts(machine, trip),
    )


def _hunts(machine: Machine, trip: Trip) -> dict[str, float | None]:
    """Half of a periodic swing of the current, and its period; nil if there was a record of the
    current and nothing swung.
    """
    if trip.minutes is None or not np.isfinite(trip.minutes.columns["current"]).any():
        return {}
    swing = trip.swings.get("current")
    if swing is None:
        return {"hunts": 0.0}
    full = float(machine.motor.full_load_current.to("ampere").magnitude)
    return {"hunts": swing.amplitude / full, "period": swing.period}


def _plain(quantity: pint.Quantity | None) -> float | None:
    return None if quantity is None else float(quantity.to_base_units().magnitude)


def _kelvin(quantity: pint.Quantity) -> float:
    return float(quantity.to("kelvin").magnitude)


SWING_WINDOW = (-180.0, -10.0)  # s before the trip: the last seconds are the trip itself


def _swing(machine: Machine, trip: Trip) -> float | None:
    """Standard deviation of the current about its straight line in the minutes before: a climb is
    not a swing.
    """
    if trip.minutes is None:
        return None
    time, current = trip.minutes.time, trip.minutes.columns["current"]
    held = np.isfinite(current) & (time >= SWING_WINDOW[0]) & (time <= SWING_WINDOW[1])
    if held.sum() < 10:
        return None
    line = np.polyfit(time[held], current[held], 1)
    rest = current[held] - np.polyval(line, time[held])
    return float(
        np.sqrt(rest @ rest / (held.sum() - 2))
        / machine.motor.full_load_current.to("ampere").magnitude
    )
