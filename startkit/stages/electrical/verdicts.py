"""Verdicts of the stage Electrical: winding, supply, connections, control power, starter."""

from __future__ import annotations

from dataclasses import replace

import pint

from startkit.errors import StartkitError
from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.judging import Answer, by_choice, check
from startkit.procedure.reading import Reading, Row
from startkit.science.supply import derating
from startkit.stages.electrical.fields import AS_MARKED, NOT_CHECKED, REVERSED
from startkit.stages.electrical.readings import Supply, Winding
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
        _rotation(machine, entries),
        _connections(limits, entries),
        _control(limits, entries),
        _starter(machine, entries),
        *_starter_limit(machine, limits, entries),
    )


def _unbalance(limits: Limits, entries: Entries, supply: Supply) -> Verdict:
    """Above the limit the motor is derated: not proven until that is settled; above 5 % it must not
    run.
    """
    found = supply.unbalance
    if found.quantity is None:
        return check(entries, limits["electrical.unbalance"], found, next_step="")
    left = _left_of_rated(found.quantity)
    judged = check(
        entries,
        limits["electrical.unbalance"],
        found,
        next_step=(
            "Do not run the motor: above 5 % it is not to be operated. Have the supply corrected."
            if left is None
            else (
                f"Have the supply corrected, or hold the motor to {left.magnitude:.0f} % of its"
                " rated power and waive this with the reason."
            )
        ),
        note="Largest deviation from the mean of the three.",
    )
    derated = judged.outcome is Outcome.FAIL and left is not None
    return replace(judged, outcome=Outcome.UNPROVEN) if derated else judged


def _left_of_rated(share: pint.Quantity) -> pint.Quantity | None:
    """What an unbalance leaves of the motor's rated power [percent]; None if it must not run."""
    try:
        return derating(share).to("percent")
    except StartkitError:
        return None


def _bands(machine: Machine, limits: Limits, entries: Entries, supply: Supply) -> list[Verdict]:
    """Voltage, frequency, and both together against rated."""
    by_voltage = supply.mean.deviation_from(machine.motor.voltage)
    by_frequency = entries.reading("frequency").deviation_from(machine.motor.frequency)
    step = "Have the utility or the electrician put it right before the start."
    note = (
        ""
        if supply.mean.quantity is None
        else f"Mean {entries.show(supply.mean.quantity, 'voltage')}, rated"
        f" {entries.show(machine.motor.voltage, 'voltage')}."
    )
    return [
        check(entries, limits["electrical.voltage"], by_voltage, next_step=step, note=note),
        check(entries, limits["electrical.frequency"], by_frequency, next_step=step),
        check(
            entries,
            limits["electrical.voltage_and_frequency"],
            _size(by_voltage).plus(_size(by_frequency)),
            next_step=step,
        ),
    ]


def _size(deviation: Reading) -> Reading:
    """A deviation without its sign."""
    if deviation.quantity is None:
        return deviation
    return deviation.with_quantity(Q(abs(_share(deviation)), "percent"), deviation.u)


def _rotation(machine: Machine, entries: Entries) -> Verdict:
    step = "Check it with a rotation meter; a compressor that turns backwards is harmed at once."
    return by_choice(
        entries,
        "rotation",
        "electrical.rotation",
        "Phase rotation",
        answers={
            AS_MARKED: Answer(Outcome.PASS, f"{AS_MARKED.label.capitalize()}."),
            REVERSED: Answer(
                Outcome.FAIL,
                "Reversed.",
                f"{machine.motor.kind_of_starter.turned_round}; then check again.",
            ),
            NOT_CHECKED: Answer(Outcome.OPEN, "Not checked.", step),
        },
        blank="Not checked.",
        next_step=step,
    )


def _connections(limits: Limits, entries: Entries) -> Verdict:
    """The connection that is furthest from its torque; open while one lacks a figure."""
    limit, rows = limits["electrical.torque"], entries.rows("connections")
    found = {row.text("place") or f"row {n}": _tightness(row) for n, row in enumerate(rows, 1)}
    problem = next((r.problem for r in found.values() if r.problem), "")
    lacking = [place for place, reading in found.items() if reading.quantity is None]
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
            rests_on=(
                *(item for reading in found.values() for item in reading.items),
                "electrical.connections",
            ),
        )
    furthest = Reading.largest_of(_size(reading) for reading in found.values())
    place, applied = max(found.items(), key=lambda each: abs(_share(each[1])))
    return check(
        entries,
        limit,
        furthest.with_quantity(Q(_share(applied), "percent"), applied.u),
        note=f"Furthest of {len(found)}: {place}.",
        next_step="Loosen it and tighten it again with a torque wrench in calibration.",
    )


def _tightness(row: Row) -> Reading:
    """Torque applied, as a deviation from the one specified, which is exact."""
    specified, applied = row.reading("specified"), row.reading("applied")
    return applied.deviation_from(specified.exact())


def _share(deviation: Reading) -> float:
    assert deviation.quantity is not None
    return float(deviation.quantity.to("percent").magnitude)


def _control(limits: Limits, entries: Entries) -> Verdict:
    rated, seen = entries.reading("control_rated"), entries.reading("control_voltage")
    note = (
        f"{entries.show(seen.quantity, 'voltage')}, drawing"
        f" {entries.show(rated.quantity, 'voltage')}."
        if seen.quantity is not None and rated.quantity is not None
        else ""
    )
    return check(
        entries,
        limits["electrical.control_voltage"],
        seen.deviation_from(rated.exact()),
        note=note,
        next_step="Change the transformer's taps with the power locked out.",
    )


def _starter(machine: Machine, entries: Entries) -> Verdict:
    due = machine.motor.kind_of_starter.code
    return by_choice(
        entries,
        "starter_seen",
        "electrical.starter",
        "Starter as in the sheet",
        answers={
            seen: Answer(Outcome.PASS, f"{seen.label.capitalize()}.")
            if seen.code == due
            else Answer(
                Outcome.FAIL,
                f"On site: {seen.label}; the sheet says {machine.motor.starter}.",
                "Find out which is right: starting current and torque depend on it.",
            )
            for seen in entries.fields["starter_seen"].options
        },
        next_step="Look at the starter.",
        source="machine sheet",
    )


def _starter_limit(machine: Machine, limits: Limits, entries: Entries) -> tuple[Verdict, ...]:
    """The current limit set against that of the sheet, where the starter has one."""
    if not entries.has("starter_limit"):
        return ()
    limit, seen = limits["electrical.starter_limit"], entries.reading("starter_limit")
    due, key = machine.motor.current_limit, machine.motor.kind_of_starter.limit_key
    if due is not None or seen.quantity is None:
        return (
            check(
                entries,
                limit,
                seen if due is None else seen.less(due),
                next_step="Set it to the sheet, or have the sheet changed.",
                note=f"Sheet {entries.show(due, 'percent')}." if seen.quantity is not None else "",
            ),
        )
    return (
        Verdict(
            key=limit.key,
            title=limit.title,
            outcome=Outcome.UNPROVEN,
            sentence=f"{entries.show(seen.quantity, 'percent')} is set; the sheet gives no limit.",
            next_step=f"Add {key} to the sheet.",
            reading=seen.quantity,
            kind="percent",
            source=limit.origin,
            rests_on=seen.items,
        ),
    )
