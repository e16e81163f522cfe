"""Verdicts of the stage Electrical: winding, supply, connections, control power, starter."""

from __future__ import annotations

import numpy as np
import pint

from startkit.errors import StartkitError
from startkit.facts.limits import PRACTICE, Limits
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.judging import check
from startkit.procedure.reading import Reading
from startkit.science.supply import (
    derating,
)
from startkit.stages.electrical.fields import ROTATION
from startkit.stages.electrical.readings import Supply, Winding, mean, unbalance
from startkit.stages.electrical.winding_verdicts import winding_verdicts
from startkit.units import Q
from startkit.verdict import Outcome, Verdict


def judged(
    machine: Machine, limits: Limits, entries: Entries, winding: Winding, supply: Supply
) -> tuple[Verdict, ...]:
    """The winding first, then what feeds it."""
    return (
        *winding_verdicts(machine, limits, entries, winding),
        *_supply(machine, limits, entries, supply),
    )


def _supply(
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
    key, title, source = "electrical.rotation", "Phase rotation", PRACTICE
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
