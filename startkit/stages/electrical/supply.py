"""The feed in the stage Electrical: voltages at the terminals, phase rotation, connections, control
power, starter.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pint

from startkit.errors import StartkitError
from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.judging import check
from startkit.procedure.reading import Reading
from startkit.procedure.stage import Column, Field, Figure
from startkit.science.motor import expected_inrush, starter
from startkit.science.supply import (
    DERATING_SOURCE,
    derating,
    starting_torque_ratio,
    temperature_rise_increase,
    voltage_unbalance,
)
from startkit.science.uncertainty import propagate
from startkit.units import Q
from startkit.verdict import Outcome, Verdict

LINES = ("v12", "v23", "v31")
# One meter reads all three: nine tenths of its error are the same each time and cancel. Common
# practice, no source.
SAME_METER = 0.9
ROTATION = ("in the order that the motor's marking asks", "reversed", "not checked")
STARTERS = ("across the line", "wye-delta", "autotransformer", "soft start", "variable-speed drive")
SUPPLY, JOINTS, CONTROL, STARTER = "Supply", "Connections", "Control power", "Starter"


def _limited(machine: Machine) -> bool:
    return machine.motor.starter in ("soft start", "variable-speed drive")


FIELDS = (
    *(
        Field(
            name,
            f"Voltage {name[1]}-{name[2]}",
            "voltage",
            "Line to line at the starter's supply terminals, one after the other within a minute.",
            plausible=("180 V", "15 kV"),
            group=SUPPLY,
        )
        for name in LINES
    ),
    Field("frequency", "Frequency", "frequency", plausible=("45 Hz", "65 Hz"), group=SUPPLY),
    Field(
        "rotation",
        "Phase rotation at the motor terminals",
        "choice",
        "By a rotation meter, starter's load side; not by trying the motor.",
        choices=ROTATION,
        group=SUPPLY,
    ),
    Field(
        "connections",
        "Power connections",
        "table",
        "Every bolted power connection from the supply to the motor.",
        rows=3,
        group=JOINTS,
        columns=(
            Column("place", "Which", required=True),
            Column(
                "specified",
                "Torque specified",
                "torque",
                plausible=("1 N·m", "500 N·m"),
                required=True,
            ),
            Column(
                "applied", "Torque applied", "torque", plausible=("1 N·m", "500 N·m"), required=True
            ),
            Column("marked", "Marked", "yes_no"),
            Column("who", "By", "person"),
        ),
    ),
    Field(
        "control_rated",
        "Control voltage as on the drawing",
        "voltage",
        plausible=("10 V", "300 V"),
        group=CONTROL,
    ),
    Field(
        "control_voltage",
        "Control voltage as measured",
        "voltage",
        plausible=("10 V", "300 V"),
        group=CONTROL,
    ),
    Field("starter_seen", "Starter as it stands there", "choice", choices=STARTERS, group=STARTER),
    Field(
        "starter_limit",
        "Current limit set in the starter or drive",
        "percent",
        "Of full-load current.",
        plausible=("50 %", "600 %"),
        group=STARTER,
        applies=_limited,
    ),
)


# --- supply ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Supply:
    """The three voltages; `missing` is the reading that lacks, if one does."""

    lines: tuple[Reading, ...]
    missing: Reading | None
    untrusted: str


def collect(entries: Entries) -> Supply:
    """The three line voltages as entered."""
    lines = tuple(entries.reading(name) for name in LINES)
    missing = next(
        (r for r in lines if r.problem), next((r for r in lines if r.quantity is None), None)
    )
    return Supply(lines, missing, next((r.untrusted for r in lines if r.untrusted), ""))


def _of_lines(supply: Supply, function: Callable[..., float], returns: str) -> Reading:
    """A figure of the three voltages with its uncertainty; errors of one meter are mostly shared."""
    values = dict(zip(LINES, (r.quantity for r in supply.lines), strict=True))
    if any(r.u is None for r in supply.lines):
        return Reading(
            "",
            "",
            Q(function(**{k: v.to("volt").magnitude for k, v in values.items()}), returns),
            untrusted=supply.untrusted,
        )
    tags = {r.entry.instrument for r in supply.lines}
    shared = {(a, b): SAME_METER for a in LINES for b in LINES if a < b} if len(tags) == 1 else None
    found = propagate(
        function,
        values,
        dict(zip(LINES, (r.u for r in supply.lines), strict=True)),
        shared,
        returns=returns,
    )
    return Reading("", "", found.value, found.u, untrusted=supply.untrusted)


def unbalance(supply: Supply) -> Reading | None:
    """Voltage unbalance; None while a voltage lacks or none is there."""
    if supply.missing is not None:
        return None
    try:
        return _of_lines(supply, voltage_unbalance.si, "dimensionless")
    except StartkitError:
        return None


def mean(supply: Supply) -> Reading | None:
    """Mean of the three line voltages; None while one lacks."""
    return (
        None
        if supply.missing is not None
        else _of_lines(supply, lambda v12, v23, v31: (v12 + v23 + v31) / 3, "volt")
    )


def verdicts(
    machine: Machine, limits: Limits, entries: Entries, supply: Supply
) -> tuple[Verdict, ...]:
    """Unbalance, band of voltage and frequency, rotation, connections, control power, starter."""
    return (
        _unbalance(limits, entries, supply),
        *_bands(machine, limits, entries, supply),
        _rotation(entries),
        _connections(limits, entries),
        _control(limits, entries),
        _starter(machine, entries),
        *_starter_limit(machine, limits, entries),
    )


def _unbalance(limits: Limits, entries: Entries, supply: Supply) -> Verdict:
    limit, found = limits["electrical.unbalance"], unbalance(supply)
    if found is None:
        return check(
            entries, limit, supply.missing if supply.missing is not None else None, next_step=""
        )
    reading = Reading(
        "",
        "",
        found.quantity.to("percent"),
        None if found.u is None else found.u.to("percent"),
        untrusted=found.untrusted,
    )
    return check(
        entries,
        limit,
        reading,
        next_step=_worth(found.quantity),
        note="Largest deviation from the mean of the three.",
    )


def _worth(share: pint.Quantity) -> str:
    try:
        factor = derating(share).to("percent").magnitude
    except StartkitError:
        return (
            "Do not run the motor: above 5 % it is not to be operated. Have the supply put right."
        )
    return (
        f"Have the supply put right, or hold the motor to {factor:.0f} % of its rated power and"
        " write that down."
    )


def _bands(machine: Machine, limits: Limits, entries: Entries, supply: Supply) -> list[Verdict]:
    """Voltage, frequency, and both together against rated."""
    voltage, frequency = mean(supply), entries.reading("frequency")
    by_voltage = None if voltage is None else _relative(voltage, machine.motor.voltage)
    by_frequency = (
        None if frequency.quantity is None else _relative(frequency, machine.motor.frequency)
    )
    step = "Have the utility or the electrician put it right before the start."
    return [
        check(
            entries,
            limits["electrical.voltage"],
            supply.missing if by_voltage is None else by_voltage,
            next_step=step,
            note=(
                ""
                if voltage is None
                else (
                    f"Mean {entries.show(voltage.quantity, 'voltage')}, rated"
                    f" {entries.show(machine.motor.voltage, 'voltage')}."
                )
            ),
        ),
        check(
            entries,
            limits["electrical.frequency"],
            frequency if by_frequency is None else by_frequency,
            next_step=step,
        ),
        check(
            entries,
            limits["electrical.voltage_and_frequency"],
            _sum(by_voltage, by_frequency),
            next_step=step,
        ),
    ]


def _relative(reading: Reading, rated: pint.Quantity) -> Reading:
    u = None if reading.u is None else (reading.u / rated).to("percent")
    return Reading(
        "", "", (reading.quantity / rated - 1).to("percent"), u, untrusted=reading.untrusted
    )


def _sum(first: Reading | None, second: Reading | None) -> Reading | None:
    """Both deviations without their signs."""
    if first is None or second is None:
        return None
    us = [r.u.to("percent").magnitude for r in (first, second) if r.u is not None]
    return Reading(
        "",
        "",
        abs(first.quantity) + abs(second.quantity),
        Q(float(np.hypot(*us)), "percent") if len(us) == 2 else None,
        untrusted=first.untrusted or second.untrusted,
    )


def _rotation(entries: Entries) -> Verdict:
    key, title, source = "electrical.rotation", "Phase rotation", "common practice, no source"
    seen = entries.text("rotation")
    if not seen or seen == ROTATION[2]:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.OPEN,
            sentence="Not checked.",
            next_step="Check it with a rotation meter; a compressor that turns backwards is harmed"
            " at once.",
            source=source,
        )
    if seen == ROTATION[0]:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.PASS,
            sentence=f"{seen.capitalize()}.",
            source=source,
        )
    return Verdict(
        key=key,
        title=title,
        outcome=Outcome.FAIL,
        sentence="Reversed.",
        next_step="Lock out and exchange two lines, then check again.",
        source=source,
    )


# --- connections and control power ---------------------------------------------------------------


def _connections(limits: Limits, entries: Entries) -> Verdict:
    """The connection that is furthest from its torque; open while one lacks a figure."""
    limit, rows = limits["electrical.torque"], entries.rows("connections")
    found = [
        (row.text("place") or f"row {n}", row.reading("specified"), row.reading("applied"))
        for n, row in enumerate(rows, 1)
    ]
    problem = next((r.problem for _, *pair in found for r in pair if r.problem), "")
    lacking = [place for place, *pair in found if any(r.quantity is None for r in pair)]
    if problem or lacking or not found:
        told = problem or (
            f"No torque: {', '.join(lacking)}." if lacking else "No connection entered."
        )
        return Verdict(
            key=limit.key,
            title=limit.title,
            outcome=Outcome.OPEN,
            sentence=told,
            next_step="Tighten every power connection with a torque wrench, and enter it.",
            source=limit.origin,
        )
    place, specified, applied = max(found, key=lambda row: abs(_ratio(row[2], row[1])))
    u = None if applied.u is None else (applied.u / specified.quantity).to("percent")
    return check(
        entries,
        limit,
        Reading(
            "", "", Q(100 * _ratio(applied, specified), "percent"), u, untrusted=applied.untrusted
        ),
        note=f"Furthest of {len(found)}: {place}.",
        next_step="Loosen it and tighten it again with a torque wrench in calibration.",
    )


def _ratio(applied: Reading, specified: Reading) -> float:
    due = specified.quantity.to("newton*meter").magnitude
    return applied.quantity.to("newton*meter").magnitude / due - 1 if due > 0 else float("inf")


def _control(limits: Limits, entries: Entries) -> Verdict:
    limit, rated, seen = (
        limits["electrical.control_voltage"],
        entries.reading("control_rated"),
        entries.reading("control_voltage"),
    )
    missing = next(
        (r for r in (seen, rated) if r.problem),
        next((r for r in (seen, rated) if r.quantity is None), None),
    )
    if missing is not None or rated.quantity.magnitude <= 0:
        return check(entries, limit, missing, next_step="")
    return check(
        entries,
        limit,
        _relative(seen, rated.quantity),
        note=(
            f"{entries.show(seen.quantity, 'voltage')}, drawing"
            f" {entries.show(rated.quantity, 'voltage')}."
        ),
        next_step="Change the transformer's taps with the power locked out.",
    )


# --- starter -----------------------------------------------------------------------------------


def _starter(machine: Machine, entries: Entries) -> Verdict:
    key, title, source = "electrical.starter", "Starter as in the sheet", "machine sheet"
    seen, due = entries.text("starter_seen"), machine.motor.starter
    if not seen:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.OPEN,
            sentence="Not looked at.",
            next_step="Look at the starter.",
            source=source,
        )
    if seen == due:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.PASS,
            sentence=f"{seen.capitalize()}.",
            source=source,
        )
    return Verdict(
        key=key,
        title=title,
        outcome=Outcome.FAIL,
        sentence=f"There stands: {seen}; the sheet says {due}.",
        next_step="Find out which is right: starting current and torque hang on it.",
        source=source,
    )


def _starter_limit(machine: Machine, limits: Limits, entries: Entries) -> tuple[Verdict, ...]:
    """The current limit set, where starter and sheet have one."""
    due, seen = machine.motor.drive_current_limit, entries.reading("starter_limit")
    if due is None or not entries.has("starter_limit"):
        return ()
    limit = limits["electrical.starter_limit"]
    reading = (
        seen if seen.quantity is None else Reading("", "", (seen.quantity - due).to("percent"))
    )
    return (
        check(
            entries,
            limit,
            reading,
            next_step="Set it as the sheet says, or have the change written into the sheet.",
            note=f"Sheet {entries.show(due, 'percent')}.",
        ),
    )


_KEYS = {
    "across the line": "across-the-line",
    "wye-delta": "wye-delta",
    "soft start": "soft-start",
    "variable-speed drive": "drive",
}


def starter_key(machine: Machine) -> str:
    """The starter's key in the table of starting currents; an autotransformer by its tap."""
    if machine.motor.starter != "autotransformer":
        return _KEYS[machine.motor.starter]
    tap = machine.motor.autotransformer_tap
    return f"autotransformer-{round(tap.to('percent').magnitude)}" if tap is not None else ""


def inrush(machine: Machine, entries: Entries) -> Figure | None:
    """Starting current that this starter will draw from the line; None where the sheet does not say
    enough.
    """
    key, locked = starter_key(machine), machine.motor.locked_rotor_current
    limit = entries.quantity("starter_limit")
    if not key or locked is None:
        return None
    try:
        current = expected_inrush(
            locked,
            key,
            machine.motor.full_load_current,
            machine.motor.drive_current_limit if limit is None else limit,
        )
        row = starter(key)
    except StartkitError:
        return None
    return Figure(
        "Expected starting current",
        current,
        "current",
        note=f"{row.title}: {row.source}; symmetrical, the first half cycle peaks higher",
        digits=0,
    )


def figures(machine: Machine, entries: Entries, supply: Supply) -> tuple[Figure, ...]:
    """What unbalance and voltage cost the motor, and what it will draw at the start."""
    shown = [figure] if (figure := inrush(machine, entries)) is not None else []
    found, average = unbalance(supply), mean(supply)
    if found is not None and average is not None:
        shown = [*_costs(found), _torque(machine, average, entries.quantity("frequency")), *shown]
    return tuple(shown)


def _costs(found: Reading) -> list[Figure]:
    rows = [
        Figure(
            "Voltage unbalance",
            found.quantity.to("percent"),
            "percent",
            None if found.u is None else found.u.to("percent"),
            "NEMA MG 1: largest deviation from the mean",
            "electrical.unbalance",
            2,
        )
    ]
    try:
        rows.append(
            Figure(
                "Rated power that is left",
                derating(found.quantity).to("percent"),
                "percent",
                note=f"{DERATING_SOURCE}; good to about 2 %",
                digits=0,
            )
        )
    except StartkitError as error:
        rows.append(Figure("Rated power that is left", "none", note=str(error)))
    rise = temperature_rise_increase(found.quantity).to("percent")
    return [
        *rows,
        Figure(
            "Temperature rise grows by",
            rise,
            "percent",
            note="about twice the square of the unbalance in percent, from memory",
        ),
    ]


def _torque(machine: Machine, average: Reading, frequency: pint.Quantity | None) -> Figure:
    rated = (average.quantity, machine.motor.voltage)
    ratio = (
        starting_torque_ratio(*rated)
        if frequency is None or frequency.magnitude <= 0
        else starting_torque_ratio(*rated, frequency, machine.motor.frequency)
    )
    return Figure(
        "Starting torque against rated",
        ratio.to("percent"),
        "percent",
        note="square of the voltage over square of the frequency, NEMA MG 1",
        digits=0,
    )
