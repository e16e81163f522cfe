"""What is judged of the first start."""

from __future__ import annotations

from dataclasses import dataclass, replace

import pint

from startkit.errors import StartkitError
from startkit.facts.limits import PRACTICE, Limit, Limits
from startkit.facts.machine import Machine
from startkit.procedure import three_phase
from startkit.procedure.entries import Entries, Row
from startkit.procedure.judging import check
from startkit.procedure.reading import Reading
from startkit.procedure.starts import clock, overlapping, shortfalls
from startkit.science.motor import acceleration_excess
from startkit.science.supply import (
    derating,
    explained_current_unbalance,
)
from startkit.science.vibration import Zone, frequency_band, machine_group, zone
from startkit.stages.first_start.fields import BANDS, PEAK_BY, ROTATION, SLOW
from startkit.stages.first_start.readings import (
    FirstStart,
)
from startkit.verdict import Outcome, Verdict, worst

VOLTAGES = ("voltage_12", "voltage_23", "voltage_31")


def judged(
    machine: Machine, limits: Limits, entries: Entries, start: FirstStart
) -> tuple[Verdict, ...]:
    """Every verdict of the stage, in the order in which the start goes."""
    return (
        *_closed_proof(machine, entries),
        check(
            entries,
            limits["first_start.vane_position"],
            entries.reading("vane_position"),
            next_step="Stop. Close the vanes, and find why the start was let through.",
        ),
        _rotation(entries),
        _run_up(machine, limits, entries, start),
        inrush(machine, limits, entries, start),
        settled(machine, limits, entries, start),
        supply(limits, entries),
        unbalance(machine, limits, entries, start),
        _oil(limits, entries, start),
        vibration(machine, limits, entries),
        *_temperatures(limits, entries),
        *_noise(limits, entries),
        kept_apart(entries, start),
    )


# --- at the start --------------------------------------------------------------------------------


def _closed_proof(machine: Machine, entries: Entries) -> tuple[Verdict, ...]:
    if machine.vanes.switch == "none":
        return ()
    key, title, seen = (
        "first_start.closed_proof",
        "Vanes proven closed at start",
        entries.reading("closed_proof"),
    )
    if seen.problem or not seen.taken:
        return (
            Verdict(
                key=key,
                title=title,
                outcome=Outcome.OPEN,
                sentence=seen.problem or "Not read.",
                next_step="Enter whether the closed-position switch was made when the start was"
                " given.",
                source=PRACTICE,
            ),
        )
    if seen.text == "made":
        return (
            Verdict(
                key=key,
                title=title,
                outcome=Outcome.PASS,
                sentence="The closed-position switch was made.",
                source=PRACTICE,
            ),
        )
    return (
        Verdict(
            key=key,
            title=title,
            outcome=Outcome.FAIL,
            sentence="The start was given with the closed-position switch open.",
            next_step="Do not start again before the starter's interlock refuses an open switch.",
            source=PRACTICE,
        ),
    )


def _rotation(entries: Entries) -> Verdict:
    key, title, seen = "first_start.rotation", "Rotation", entries.reading("rotation")
    if seen.problem or not seen.taken:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.OPEN,
            sentence=seen.problem or "Not entered.",
            next_step="Bump the motor and see which way it turns.",
            source=PRACTICE,
        )
    if seen.text in ROTATION[:2]:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.PASS,
            sentence=f"{seen.text.capitalize()}.",
            source=PRACTICE,
        )
    if seen.text == "wrong":
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.FAIL,
            sentence="It turned the wrong way.",
            next_step="Lock out, exchange two phases at the starter's supply, and bump again.",
            source=PRACTICE,
        )
    return Verdict(
        key=key,
        title=title,
        outcome=Outcome.UNPROVEN,
        sentence="Nobody saw which way it turned.",
        next_step="Prove rotation by phase meter and pressure rise, or bump again when a start is"
        " due.",
        source=PRACTICE,
    )


# --- run-up and inrush ---------------------------------------------------------------------------


def _run_up(machine: Machine, limits: Limits, entries: Entries, start: FirstStart) -> Verdict:
    limit, measured, due = (
        limits["first_start.run_up_time"],
        start.run_up_time,
        machine.motor.run_up_time,
    )
    if measured.quantity is None:
        return check(entries, limit, measured, next_step="")
    excess = acceleration_excess(measured.quantity, due).to("percent")
    u = None if measured.u is None else (measured.u / due).to("percent")
    how = (
        f" Found from the record's {start.run_up.found_by}."
        if start.run_up is not None and measured.text == "record"
        else ""
    )
    return check(
        entries,
        limit,
        replace(measured, quantity=excess, u=u),
        next_step=(
            "Look for low voltage at start, open vanes, liquid, or a dragging bearing before the"
            " next start."
        ),
        note=(
            f"Measured {entries.show(measured.quantity, 'time')}, sheet"
            f" {entries.show(due, 'time')}.{how}"
        ),
    )


def highest(readings: tuple[Reading, ...]) -> Reading | None:
    """The highest of three phases."""
    taken = [reading for reading in readings if reading.quantity is not None]
    return (
        max(taken, key=lambda reading: reading.quantity.to("ampere").magnitude) if taken else None
    )


def inrush(machine: Machine, limits: Limits, entries: Entries, start: FirstStart) -> Verdict:
    """Highest current of the start against what this kind of starter should draw."""
    limit, peak = limits["first_start.inrush"], highest(start.peak)
    lacking = next(
        (reading for reading in start.peak if reading.problem or reading.quantity is None), None
    )
    if lacking is not None:
        return check(entries, limit, lacking, next_step="")
    try:
        due = machine.motor.expected_starting_current()
    except StartkitError as error:
        return Verdict(
            key=limit.key,
            title=limit.title,
            outcome=Outcome.UNPROVEN,
            sentence=f"{entries.show(peak.quantity, 'current', 0)}, but there is nothing to compare"
            " it with:"
            f" {error.what}.",
            next_step=f"{(error.remedy or 'complete the sheet').capitalize()}.",
            source=limit.origin,
        )
    deviation = (peak.quantity / due - 1).to("percent")
    u = None if peak.u is None else (peak.u / due).to("percent")
    # A soft starter's or drive's limit is a ceiling: less current is no fault there.
    applies = replace(limit, low=None) if machine.motor.kind_of_starter.limits_current else limit
    found = check(
        entries,
        applies,
        replace(peak, quantity=deviation, u=u),
        next_step=_inrush_step(machine, deviation, applies),
        note=(
            f"Highest {entries.show(peak.quantity, 'current', 0)}, expected"
            f" {'at most ' if applies.low is None else ''}{entries.show(due, 'current', 0)} with"
            f" {machine.motor.kind_of_starter.phrase}."
        ),
    )
    if applies.low is not None and deviation < applies.low and found.outcome is Outcome.FAIL:
        return replace(found, outcome=Outcome.UNPROVEN)
    return _slow(found, entries.text("peak_by"), peak)


def _inrush_step(machine: Machine, deviation: pint.Quantity, limit: Limit) -> str:
    if limit.low is not None and deviation < limit.low:
        return "The peak was not caught: read it with a recorder at the next start that is due."
    wye = (
        " A wye-delta motor that draws three times its share starts in delta: check its transition"
        " contactors."
        if machine.motor.kind_of_starter.in_delta
        else ""
    )
    return "Compare the starter's connection, tap or current limit with the sheet." + wye


def _slow(found: Verdict, by: str, peak: Reading) -> Verdict:
    """A slow display can prove that the inrush was too high, never that it was not."""
    if found.outcome is not Outcome.PASS or peak.text == "record" or by in PEAK_BY[:2]:
        return found
    said = (
        "A panel display is too slow to catch the peak."
        if by == SLOW
        else "It is not said how the peak was read."
    )
    return replace(
        found,
        outcome=Outcome.UNPROVEN,
        sentence=f"{found.sentence} {said}",
        next_step=(
            "Read it with a recorder at the next start that is due, or waive with the reason."
        ),
    )


# --- settled current and its balance --------------------------------------------------------------


def settled(machine: Machine, limits: Limits, entries: Entries, start: FirstStart) -> Verdict:
    """Highest settled phase as percent of full-load current."""
    limit, full = limits["first_start.settled_current"], machine.motor.full_load_current
    lacking = next((reading for reading in start.settled if reading.quantity is None), None)
    if lacking is not None:
        return check(entries, limit, lacking, next_step="")
    top = highest(start.settled)
    u = None if top.u is None else (top.u / full).to("percent")
    return check(
        entries,
        limit,
        replace(top, quantity=(top.quantity / full).to("percent"), u=u),
        next_step="Stop and find what loads the motor: vanes, liquid, voltage, lift.",
        note=(
            f"Highest phase {entries.show(top.quantity, 'current')} of"
            f" {entries.show(full, 'current')}."
        ),
    )


def current_unbalance_of(start: FirstStart) -> Reading:
    """Unbalance of the three settled currents."""
    return three_phase.unbalance(start.settled)


def voltage_unbalance_of(entries: Entries) -> Reading:
    """Unbalance of the three line voltages while it runs."""
    return three_phase.unbalance([entries.reading(name) for name in VOLTAGES])


def supply(limits: Limits, entries: Entries) -> Verdict:
    """Voltage unbalance under load, with what it costs the motor."""
    limit, found = limits["first_start.voltage_unbalance"], voltage_unbalance_of(entries)
    if found.quantity is None:
        return check(entries, limit, found, next_step="")
    try:
        cost = (
            "It leaves the motor"
            f" {entries.show(derating(found.quantity).to('percent'), 'percent', 0)}"
            " of its rated power."
        )
    except StartkitError:
        cost = "The motor is not to be operated on it."
    return check(
        entries,
        limit,
        found,
        next_step=f"Have the supply put in balance. {cost}",
    )


def explained(machine: Machine, entries: Entries) -> tuple[pint.Quantity, pint.Quantity] | None:
    """The current unbalance that the supply explains by itself, from and to [percent]; None if the
    rule does not hold or voltages are missing.
    """
    found = voltage_unbalance_of(entries)
    if found.quantity is None or machine.variable_speed:
        return None
    low, high = explained_current_unbalance(found.quantity)
    return low.to("percent"), high.to("percent")


def unbalance(machine: Machine, limits: Limits, entries: Entries, start: FirstStart) -> Verdict:
    """Current unbalance, and whether the supply explains it."""
    limit, found = limits["first_start.current_unbalance"], current_unbalance_of(start)
    if found.quantity is None:
        return check(entries, limit, found, next_step="")
    said, step = explanation(machine, entries, found)
    return check(
        entries,
        limit,
        found,
        next_step=step,
        note=said,
    )


def explanation(machine: Machine, entries: Entries, found: Reading) -> tuple[str, str]:
    """Whether the supply explains a current unbalance, and where to look."""
    if machine.variable_speed:
        return (
            (
                "The rule of six to ten times the voltage unbalance is for a motor on the line;"
                " behind a drive it says nothing."
            ),
            "Exchange nothing yet: compare the drive's phases on motor and supply side.",
        )
    span = explained(machine, entries)
    if span is None:
        return (
            "Without the three voltages nobody can say whether the supply explains it.",
            "Read the three voltages while it runs.",
        )
    shown = " to ".join(entries.show(part, "percent", 0) for part in span)
    if found.quantity > span[1]:
        return (
            (
                f"The voltages would explain {shown} (six to ten times their unbalance): more than"
                " that points at motor or connections."
            ),
            (
                "Check terminals, contactors and windings; then roll the three supply leads and see"
                " whether the high phase goes with them."
            ),
        )
    return (
        (
            f"The voltages explain {shown} (six to ten times their unbalance): the supply alone can"
            " cause it."
        ),
        "Have the supply put in balance first.",
    )


# --- oil, vibration, temperatures -----------------------------------------------------------------


def _oil(limits: Limits, entries: Entries, start: FirstStart) -> Verdict:
    limit, lowest = limits["first_start.oil_margin"], start.oil_lowest
    if lowest.quantity is None:
        return check(entries, limit, lowest, next_step="")
    margin = (lowest.quantity / start.oil_trip - 1).to("percent")
    u = None if lowest.u is None else (lowest.u / start.oil_trip).to("percent")
    when = (
        f", {entries.show(start.oil_at, 'time')} after the start"
        if start.oil_at is not None
        else ""
    )
    zero = "zero taken off" if start.oil_zero is not None else "zero of the transducers not known"
    return check(
        entries,
        limit,
        replace(lowest, quantity=margin, u=u),
        next_step=(
            "Stop. Find why the oil pressure sinks while the shaft comes to speed: foaming, pump,"
            " filter, set point."
        ),
        note=(
            f"Lowest {entries.show(lowest.quantity, 'pressure_difference')} ({zero}){when}; trip at"
            f" {entries.show(start.oil_trip, 'pressure_difference')}."
        ),
    )


@dataclass(frozen=True)
class Point:
    """One measuring point with its zone; `limit` is what applied, None if nothing did."""

    row: Row
    name: str
    zone: Zone | None
    limit: Limit | None
    outcome: Outcome
    why: str = ""


def points(machine: Machine, limits: Limits, entries: Entries) -> tuple[Point, ...]:
    """Every row of the vibration table, zoned and judged."""
    return tuple(
        _point(machine, limits["first_start.vibration"], entries, row)
        for row in entries.rows("vibration")
    )


def _point(machine: Machine, limit: Limit, entries: Entries, row: Row) -> Point:
    reading, name = (
        row.reading("velocity"),
        f"{row.text('bearing')} {row.text('direction')}".strip() or f"row {row.index}",
    )
    if reading.quantity is None:
        return Point(row, name, None, None, Outcome.OPEN, reading.problem or "no velocity")
    speed = row.quantity("speed") if row.quantity("speed") is not None else machine.motor.speed
    if speed is None:
        return Point(
            row, name, None, None, Outcome.OPEN, "no shaft speed: enter it here or in the sheet"
        )
    group = machine.motor.vibration_group or machine_group(machine.motor.rated_power)
    found = zone(reading.quantity, group, machine.motor.support, speed, machine.motor.rated_power)
    own = (
        limit
        if limit.high is not None
        else replace(limit, high=found.bc)
        if found.in_scope
        else None
    )
    if own is None:
        return Point(row, name, found, None, Outcome.NA, found.reason)
    judged = check(entries, own, reading, next_step="")
    wrong_band = limit.high is None and row.text("band") not in _bands(speed)
    if wrong_band and judged.outcome is Outcome.PASS:
        return Point(
            row, name, found, own, Outcome.UNPROVEN, "not measured in the band of the standard"
        )
    return Point(row, name, found, own, judged.outcome, reading.untrusted)


def _bands(speed: pint.Quantity) -> tuple[str, ...]:
    low, _ = frequency_band(speed)
    return BANDS[:1] if low.to("hertz").magnitude == 10 else BANDS[1:2]


def vibration(machine: Machine, limits: Limits, entries: Entries) -> Verdict:
    """All bearings in one verdict, the worst first."""
    limit, found = limits["first_start.vibration"], points(machine, limits, entries)
    if not found:
        return (
            check(entries, limit, None, next_step="")
            if limit.high is not None
            else Verdict(
                key=limit.key,
                title=limit.title,
                outcome=Outcome.OPEN,
                sentence="Not taken.",
                next_step="Measure every bearing housing in two directions or more.",
                source=limit.origin,
            )
        )
    judged = [point for point in found if point.limit is not None or point.outcome is Outcome.OPEN]
    if not judged:
        return Verdict(
            key=limit.key,
            title=limit.title,
            outcome=Outcome.UNPROVEN,
            sentence=f"{len(found)} points recorded, not zoned: {found[0].why}.",
            next_step="Put the maker's limit under [limits] in the sheet, or waive with the"
            " reason.",
            source=limit.origin,
        )
    outcome = worst([point.outcome for point in judged])
    top = max(
        (p for p in judged if p.outcome is outcome),
        key=lambda p: (
            p.row.quantity("velocity").to("m/s").magnitude
            if p.row.quantity("velocity") is not None
            else 0.0
        ),
    )
    return Verdict(
        key=limit.key,
        title=limit.title,
        outcome=outcome,
        sentence=_said(entries, top, len(judged), len(found) - len(judged)),
        next_step="" if outcome is Outcome.PASS else _vibration_step(outcome),
        reading=top.row.quantity("velocity"),
        uncertainty=top.row.reading("velocity").u,
        kind="vibration",
        low=None,
        high=top.limit.high if top.limit is not None else None,
        source=limit.origin,
    )


def _said(entries: Entries, top: Point, judged: int, recorded: int) -> str:
    aside = f" {recorded} more recorded, not zoned." if recorded else ""
    if top.outcome is Outcome.OPEN:
        return f"{top.name}: {top.why}.{aside}"
    letter = (
        f"zone {top.zone.letter}, {top.zone.reason}"
        if top.zone is not None and top.zone.in_scope
        else "judged by the sheet's own limit"
    )
    why = f"; {top.why}" if top.why else ""
    lead = f"All {judged} points are inside; highest at" if top.outcome is Outcome.PASS else "At"
    return (
        f"{lead} {top.name}: {entries.show(top.row.quantity('velocity'), 'vibration')},"
        f" {letter}{why}.{aside}"
    )


def _vibration_step(outcome: Outcome) -> str:
    if outcome is Outcome.OPEN:
        return "Complete the row."
    if outcome is Outcome.UNPROVEN:
        return "Measure again in the standard's band with a meter in calibration."
    return "Do not load. Check foot, alignment, coupling and pipe strain; look at the spectrum."


def _temperatures(limits: Limits, entries: Entries) -> tuple[Verdict, ...]:
    """Bearing temperatures where sheet or specification gives a limit."""
    limit = limits["first_start.bearing_temperature"]
    rows = [row for row in entries.rows("temperatures") if "bearing" in row.text("place").lower()]
    if limit.high is None and limit.low is None:
        return ()
    readings = [row.reading("temperature") for row in rows]
    lacking = next((reading for reading in readings if reading.quantity is None), None)
    hottest = lacking or max(
        readings, key=lambda reading: reading.quantity.to("kelvin").magnitude, default=None
    )
    return (
        check(
            entries,
            limit,
            hottest,
            next_step="Stop, and look at oil flow, oil temperature and alignment.",
        ),
    )


def _noise(limits: Limits, entries: Entries) -> tuple[Verdict, ...]:
    limit = limits["first_start.noise"]
    return (
        ()
        if limit.high is None
        else (
            check(
                entries,
                limit,
                entries.reading("noise"),
                next_step="Look for the source: surge, rubbing, loose panels, pipework.",
            ),
        )
    )


# --- starts ---------------------------------------------------------------------------------------


def kept_apart(entries: Entries, start: FirstStart) -> Verdict:
    """Every start against the restart timers and starts per hour, and when the next one may come."""
    key, title, source = (
        "first_start.starts",
        "Time between starts kept",
        start.rules.source or PRACTICE,
    )
    made = start.runs
    if not made:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.OPEN,
            sentence="No start is entered.",
            next_step="Enter every start with date and time, bumps included.",
            source=source,
        )
    if not start.rules.known:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.UNPROVEN,
            sentence=f"{len(made)} starts, but neither the sheet nor the table of NEMA MG 10 says"
            " how far"
            " apart they must be.",
            next_step="Put start_to_start, stop_to_start or starts_per_hour into the sheet.",
            source=source,
        )
    muddled = overlapping(made)
    if muddled:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.OPEN,
            sentence=f"Start {muddled[0]} has no stop before start {muddled[0] + 1}.",
            next_step="Enter when it stopped.",
            source=source,
        )
    early = shortfalls(start.rules, made)
    if early:
        return _early(key, title, source, early, made)
    return Verdict(
        key=key,
        title=title,
        outcome=Outcome.PASS,
        sentence=f"{len(made)} start{'s' if len(made) > 1 else ''}, each with its time."
        f" {next_said(start)}",
        source=source,
    )


def _early(key: str, title: str, source: str, early, made) -> Verdict:
    number, seconds, due = max(early, key=lambda found: found[1])
    said = f"Start {number} came {seconds / 60:.1f} min before {clock(due.at)} ({due.rule})"
    if seconds <= 60 and any(run.coarse for run in made[:number]):
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.UNPROVEN,
            sentence=f"{said}, but the moments are written to the minute.",
            next_step="Enter them with seconds, or waive with the reason.",
            source=source,
        )
    return Verdict(
        key=key,
        title=title,
        outcome=Outcome.FAIL,
        sentence=f"{said}.",
        next_step="Let the motor cool as the maker asks, and find why the timer let it through.",
        source=source,
    )


def next_said(start: FirstStart) -> str:
    """The earliest next start in words."""
    if start.next.at is not None:
        return f"Earliest next start: {clock(start.next.at)} ({start.next.rule})."
    return (
        "It still runs: the time to the next start counts from its stop."
        if start.runs and start.runs[-1].ended is None
        else ""
    )
