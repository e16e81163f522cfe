"""What is shown of the first start: figures, the phases, the bearings, the starts, the run-up over
time.
"""

from __future__ import annotations

import re

from startkit.errors import StartkitError
from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.procedure import three_phase
from startkit.procedure.entries import Entries
from startkit.procedure.reading import Reading
from startkit.procedure.stage import Figure, Heading, Table
from startkit.procedure.starts import clock, next_start
from startkit.science.motor import percent_full_load_current
from startkit.science.vibration import machine_group, suggested_settings
from startkit.stages.first_start.phases import voltage_unbalance_of
from startkit.stages.first_start.readings import PHASES, FirstStart
from startkit.stages.first_start.vibration import Point, points
from startkit.units import Q


def _share(reading: Reading, machine: Machine) -> Reading:
    """A current in percent of full-load current."""
    full = machine.motor.full_load_current
    if reading.quantity is None:
        return reading
    share = percent_full_load_current(reading.quantity, full).to("percent")
    return Reading.derived(share, reading.share_of(full).u, reading)


def figures(
    machine: Machine, limits: Limits, entries: Entries, start: FirstStart
) -> tuple[Figure, ...]:
    """Figures with keys are the baseline for the next visit."""
    found = (
        Figure(
            "Run-up time",
            start.run_up_time.quantity,
            "time",
            start.run_up_time.u,
            f"sheet {entries.show(machine.motor.run_up_time, 'time')}",
            "first_start.run_up_time",
        ),
        *_phase_figures(machine, start),
        Figure(
            "Short peak at the change-over",
            start.run_up.change_over if start.run_up is not None else None,
            "current",
            note="not counted as inrush",
            digits=0,
        ),
        *_unbalances(entries, start),
        Figure(
            "Lowest oil differential in the run-up",
            start.oil_lowest.quantity,
            "pressure_difference",
            start.oil_lowest.u,
            "zero subtracted" if start.oil_zero.known else "zero not known",
            "first_start.oil_lowest",
        ),
        Figure(
            "Speed reached",
            entries.quantity("full_speed"),
            "speed",
            entries.reading("full_speed").u,
            "",
            "first_start.speed",
        ),
        *(_vibration_figure(point) for point in points(machine, limits, entries)),
        *(
            Figure(
                row.text("place"),
                row.quantity("temperature"),
                "temperature",
                row.reading("temperature").u,
                "",
                f"first_start.temperature.{slug(row.text('place'))}",
            )
            for row in entries.rows("temperatures")
        ),
        Figure(
            "Noise at one metre",
            entries.quantity("noise"),
            "sound",
            None,
            entries.text("noise_heard"),
            "first_start.noise",
        ),
        Figure(
            "Starts so far",
            Q(len(start.runs), "dimensionless") if start.runs else None,
            "count",
            note="including bumps",
        ),
        Figure(
            "Earliest next start",
            clock(start.next.at) if start.next.at is not None else None,
            note=start.next.rule,
        ),
    )
    return tuple(f for f in found if f.value is not None)


def _phase_figures(machine: Machine, start: FirstStart) -> tuple[Figure, ...]:
    return tuple(
        Figure(
            f"{label}, {phase.upper()}",
            _share(reading, machine).quantity,
            "percent",
            _share(reading, machine).u,
            "of full-load current",
            f"first_start.{key}_{phase}",
            0 if key == "peak" else 1,
        )
        for label, key, readings in (
            ("Highest current at the start", "peak", start.peak),
            ("Settled current", "settled", start.settled),
        )
        for phase, reading in zip(PHASES, readings, strict=True)
    )


def _unbalances(entries: Entries, start: FirstStart) -> tuple[Figure, ...]:
    current, voltage = three_phase.unbalance(start.settled), voltage_unbalance_of(entries)
    note = "largest deviation from the mean of three, over the mean (NEMA MG 1 14.36)"
    return tuple(
        Figure(label, found.quantity, "percent", found.u, note, key, 2)
        for label, found, key in (
            ("Current unbalance", current, "first_start.current_unbalance"),
            ("Voltage unbalance", voltage, "first_start.voltage_unbalance"),
        )
        if found.quantity is not None
    )


def slug(text: str) -> str:
    """A name as part of a figure's key: the next visit must find it again."""
    return re.sub(r"[^a-z0-9]+", "_", text.lower()).strip("_") or "unnamed"


def _vibration_figure(point: Point) -> Figure:
    zone = (
        f"zone {point.zone.letter}"
        if point.zone is not None and point.zone.in_scope
        else "recorded, no zone"
    )
    return Figure(
        f"Vibration, {point.name}",
        point.row.quantity("velocity"),
        "vibration",
        point.row.reading("velocity").u,
        zone,
        f"first_start.vibration.{slug(point.name)}",
    )


# --- tables ------------------------------------------------------------------------------------


def tables(
    machine: Machine, limits: Limits, entries: Entries, start: FirstStart
) -> tuple[Table, ...]:
    """Phases, bearings, starts."""
    found = [_phases(machine, entries, start), _bearings(machine, limits, entries), _starts(start)]
    return tuple(table for table in found if table is not None)


def _phases(machine: Machine, entries: Entries, start: FirstStart) -> Table | None:
    if all(reading.quantity is None for reading in (*start.peak, *start.settled)):
        return None
    head = (
        Heading("Phase"),
        Heading("Highest", "current", 0),
        Heading("of full-load current", "percent", 0),
        Heading("Settled", "current"),
        Heading("of full-load current", "percent"),
    )
    rows = tuple(
        (
            phase.upper(),
            peak.quantity,
            _share(peak, machine).quantity,
            settled.quantity,
            _share(settled, machine).quantity,
        )
        for phase, peak, settled in zip(PHASES, start.peak, start.settled, strict=True)
    )
    return Table(
        "Current, phase by phase",
        head,
        rows,
        f"Full-load current {entries.show(machine.motor.full_load_current, 'current')}."
        f" {_expected(machine, entries)}",
    )


def _expected(machine: Machine, entries: Entries) -> str:
    try:
        return (
            f"Expected inrush with {machine.motor.kind_of_starter.phrase}:"
            f" {entries.show(machine.motor.expected_starting_current(), 'current', 0)} RMS."
        )
    except StartkitError as error:
        return f"The inrush cannot be estimated: {error.what}."


def _bearings(machine: Machine, limits: Limits, entries: Entries) -> Table | None:
    found = points(machine, limits, entries)
    if not found:
        return None
    head = (
        Heading("Measuring point"),
        Heading("Band"),
        Heading("RMS velocity", "vibration"),
        Heading("Zone"),
        Heading("A/B", "vibration"),
        Heading("B/C", "vibration"),
        Heading("C/D", "vibration"),
        Heading("Alarm suggested", "vibration"),
    )
    scopes = list(
        dict.fromkeys(p.zone.reason for p in found if p.zone is not None and not p.zone.in_scope)
    )
    note = (
        "Zones by ISO 20816-3:2022, Tables A.1 and A.2 (secondary: check against the standard)."
        " Alarm: this reading plus a quarter of B/C (from memory); the maker's setting comes first."
        + "".join(f" {reason[0].upper()}{reason[1:]}." for reason in scopes)
    )
    return Table("Vibration", head, tuple(_bearing(machine, point) for point in found), note)


def _bearing(machine: Machine, point: Point) -> tuple:
    zoned, velocity = point.zone, point.row.quantity("velocity")
    if zoned is None or not zoned.in_scope:
        return (point.name, point.row.text("band"), velocity, "–", None, None, None, None)
    group = machine.motor.vibration_group or machine_group(machine.motor.rated_power)
    return (
        point.name,
        point.row.text("band"),
        velocity,
        zoned.letter,
        zoned.ab,
        zoned.bc,
        zoned.cd,
        suggested_settings(velocity, group, machine.motor.support).alarm,
    )


def _starts(start: FirstStart) -> Table | None:
    if not start.runs:
        return None
    head = (
        Heading("Start", "count"),
        Heading("Started"),
        Heading("Ran for", "minutes"),
        Heading("Next start not before"),
    )
    rows = tuple(_run(start, number) for number in range(1, len(start.runs) + 1))
    return Table(
        "When each next start was due",
        head,
        rows,
        (
            f"Rules from: {start.rules.source}."
            if start.rules.source
            else "No rule is known for the time between starts."
        ),
    )


def _run(start: FirstStart, number: int) -> tuple:
    run = start.runs[number - 1]
    ran = None if run.ended is None else Q((run.ended - run.began).total_seconds(), "second")
    try:
        due = next_start(start.rules, start.runs[:number])
    except StartkitError:
        due = None
    after = clock(due.at) if due is not None and due.at is not None else "–"
    return (
        Q(number, "dimensionless"),
        clock(run.began),
        ran,
        after,
    )
