"""What is drawn of the first start: current, oil, speed and vanes over the run-up."""

from __future__ import annotations

import numpy as np

from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.stage import Line, Plot, Rule
from startkit.stages.first_start.readings import FirstStart, Record
from startkit.units import Q


def plotted(machine: Machine, entries: Entries, start: FirstStart) -> tuple[Plot, ...]:
    """Current, oil differential, and speed with vane position over the run-up."""
    record = start.record
    if record is None:
        return ()
    return tuple(
        p
        for p in (
            _current_plot(machine, entries, start, record),
            _oil_plot(entries, start, record),
            _speed_plot(start, record),
            _vane_plot(start, record),
        )
        if p is not None
    )


def _marks(start: FirstStart) -> tuple[Rule, ...]:
    if start.run_up is None or start.run_up.time is None or not start.timed_by_record:
        return ()
    return (Rule("at speed", float(start.run_up.time.to("second").magnitude), "x"),)


def _lines(record: Record, names: tuple[tuple[str, str, str], ...]) -> tuple[Line, ...]:
    """Columns with any reading as lines; a gap in the readings is a gap in the line."""
    time = [float(t) for t in record.time]
    return tuple(
        Line(label, time, [float(v) for v in record.columns[name]], "line", emphasis=emphasis)
        for name, label, emphasis in names
        if not np.isnan(record.columns[name]).all()
    )


def _current_plot(
    machine: Machine, entries: Entries, start: FirstStart, record: Record
) -> Plot | None:
    lines = _lines(record, (("l1", "L1", "main"), ("l2", "L2", "second"), ("l3", "L3", "third")))
    if not lines:
        return None
    rules = [
        Rule("full-load current", float(machine.motor.full_load_current.to("ampere").magnitude)),
        *_marks(start),
    ]
    top = max(float(np.nanmax(line.y)) for line in lines)
    return Plot(
        "Current in the run-up",
        "Time",
        "time",
        "Current",
        "current",
        lines,
        tuple(rules),
        f"Current of {len(lines)} phases from start; highest"
        f" {entries.show(Q(top, 'ampere'), 'current', 0)}, full-load current"
        f" {entries.show(machine.motor.full_load_current, 'current', 0)}.",
    )


def _oil_plot(entries: Entries, start: FirstStart, record: Record) -> Plot | None:
    if np.isnan(record.columns["oil"]).all():
        return None
    zero = start.oil_zero.pascal
    line = Line(
        ("differential, zero subtracted" if start.oil_zero.known else "differential, zero unknown"),
        [float(t) for t in record.time],
        [float(v) - zero for v in record.columns["oil"]],
    )
    trip = Rule("low-oil trip", float(start.oil_trip.to("pascal").magnitude))
    return Plot(
        "Oil differential in the run-up",
        "Time",
        "time",
        "Oil differential",
        "pressure_difference",
        (line,),
        (trip, *_marks(start)),
        "Oil differential from start; lowest"
        f" {entries.show(start.oil_lowest.quantity, 'pressure_difference')}, trip"
        f" {entries.show(start.oil_trip, 'pressure_difference')}.",
    )


def _speed_plot(start: FirstStart, record: Record) -> Plot | None:
    lines = _lines(record, (("speed", "speed", "main"),))
    return (
        Plot(
            "Speed in the run-up",
            "Time",
            "time",
            "Speed",
            "speed",
            lines,
            _marks(start),
            "Shaft speed from start.",
        )
        if lines
        else None
    )


def _vane_plot(start: FirstStart, record: Record) -> Plot | None:
    lines = _lines(record, (("vanes", "vane position", "main"),))
    return (
        Plot(
            "Vane position in the run-up",
            "Time",
            "time",
            "Vane position",
            "percent",
            lines,
            _marks(start),
            "Vane position from start: closed is 0 %.",
        )
        if lines
        else None
    )
