"""Verdicts on the winding: insulation, polarisation index, and when neither may be believed."""

from __future__ import annotations

from dataclasses import replace

from startkit.errors import StartkitError
from startkit.facts.limits import Limit, Limits
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.judging import check, confirm
from startkit.procedure.reading import Reading
from startkit.science.insulation import (
    APPLIED_VOLTAGE_SOURCE,
    MINIMUMS,
    PolarisationIndex,
    applied_voltage,
    applied_voltage_row,
    minimum_insulation,
    polarisation_index,
)
from startkit.science.uncertainty import propagate
from startkit.stages.electrical.fields import is_hermetic
from startkit.stages.electrical.readings import Measured, Winding
from startkit.units import Q
from startkit.verdict import Outcome, Verdict

DISCHARGE_SOURCE = "IEEE 43 clause 6, from memory: check against the standard"
VACUUM_SOURCE = "common practice, no source: an electric field under vacuum arcs over"


def winding_verdicts(
    machine: Machine, limits: Limits, entries: Entries, winding: Winding
) -> tuple[Verdict, ...]:
    """Insulation, polarisation index, test voltage, and the conditions under which they hold."""
    return (
        *_vacuum(entries),
        _insulation(machine, limits, entries, winding),
        _polarisation(limits, entries, winding),
        _test_voltage(machine, limits, entries, winding),
        *_dew(limits, entries, winding),
        confirm(
            entries,
            "discharged",
            "electrical.discharged",
            "Winding discharged after the test",
            good="Grounded long enough.",
            bad="Not grounded long enough.",
            next_step="Ground it now, before anybody touches a terminal.",
            source=DISCHARGE_SOURCE,
        ),
    )


def _vacuum(entries: Entries) -> tuple[Verdict, ...]:
    if not entries.has("under_vacuum"):
        return ()
    return (
        confirm(
            entries,
            "under_vacuum",
            "electrical.not_under_vacuum",
            "Never under vacuum",
            good="The machine was not under vacuum.",
            bad="Tested under vacuum: the readings say nothing and the winding may be harmed.",
            next_step=(
                "Break the vacuum with dry nitrogen, look at the winding with the motor's maker,"
                " and test again."
            ),
            source=VACUUM_SOURCE,
            wanted=False,
        ),
    )


def minimum(machine: Machine, limits: Limits, kind: str) -> Limit:
    """The limit of the sheet or specification, else that of the kind of winding and its voltage."""
    base = limits["electrical.insulation"]
    if base.authority != "default" or not kind:
        return base
    row = MINIMUMS[
        "random-wound" if kind == "form-wound" and machine.motor.voltage < Q(1000, "volt") else kind
    ]
    return replace(
        base,
        low=minimum_insulation(kind, machine.motor.voltage),
        source=f"{row.source}: {row.title}",
        standing=row.standing,
    )


def _insulation(machine: Machine, limits: Limits, entries: Entries, winding: Winding) -> Verdict:
    limit, worst = minimum(machine, limits, winding.kind), winding.worst
    blank = Verdict(
        key=limit.key,
        title=limit.title,
        outcome=Outcome.OPEN,
        sentence="Not measured, or without the winding's temperature.",
        next_step="Take the reading.",
        source=limit.origin,
        rests_on=(*winding.items, "electrical.insulation"),
    )
    if winding.chosen:
        return replace(
            blank,
            sentence=f"Not chosen: {winding.chosen}.",
            next_step="Ask the motor's maker: correction to 40 °C and minimum depend on it.",
        )
    if winding.problem:
        return replace(
            blank, sentence=winding.problem, next_step="Correct the entry, or measure again."
        )
    if worst is None or any(row.at_40.quantity is None for row in winding.rows):
        return blank
    note = (
        f"{worst.place}: {entries.show(worst.one.quantity, 'insulation')} at"
        f" {entries.show(winding.temperature.quantity, 'temperature')}, {winding.system},"
        f" {winding.kind}."
    )
    found = check(
        entries,
        limit,
        Reading.smallest_of(row.at_40 for row in winding.rows),
        note=note,
        next_step="Do not energise the motor. Dry it, measure again, and ask the motor's maker.",
    )
    return _deferred(machine, limit, found)


def _deferred(machine: Machine, limit: Limit, found: Verdict) -> Verdict:
    """A motor that sits in refrigerant may follow its maker: below the general table only the maker
    can say.
    """
    if (
        not is_hermetic(machine)
        or limit.authority != "default"
        or found.outcome is not Outcome.FAIL
    ):
        return found
    return replace(
        found,
        outcome=Outcome.UNPROVEN,
        sentence=f"{found.sentence} In refrigerant the maker's own minimum decides.",
        next_step=(
            'Put the maker\'s minimum into the sheet under "electrical.insulation"; until then do'
            " not energise the motor."
        ),
    )


# Polarisation indices outside these are a misread scale; common practice, no source.
LEAST, MOST = 0.5, 15.0


def _polarisation(limits: Limits, entries: Entries, winding: Winding) -> Verdict:
    """The lowest index of the rows that have both readings; none where it is not meaningful."""
    motor_class = entries.code("thermal_class")
    limit = limits[
        "electrical.polarisation_a" if motor_class == "A" else "electrical.polarisation_b_f_h"
    ]
    blank = Verdict(
        key="electrical.polarisation",
        title="Polarisation index",
        outcome=Outcome.OPEN,
        sentence="No reading after ten minutes.",
        next_step="Hold the test voltage for ten minutes.",
        source=limit.origin,
        rests_on=(*winding.items, *(i for row in winding.rows for i in row.ten.items)),
    )
    problem = next((row.ten.problem for row in winding.rows if row.ten.problem), winding.problem)
    if problem:
        return replace(blank, sentence=problem, next_step="Correct the entry.")
    found = [(row, index) for row in winding.rows if (index := _index(row, winding)) is not None]
    if not found:
        return _without_ten_minutes(blank, winding)
    impossible = next((index for _, index in found if not LEAST <= index.value <= MOST), None)
    if impossible is not None:
        return replace(
            blank,
            outcome=Outcome.UNPROVEN,
            sentence=f"{impossible.value:.2f}: no winding has such an index. One of the two"
            " readings is a decimal or a unit off.",
            next_step="Correct the entry, or measure again.",
        )
    speaking = [(row, index) for row, index in found if index.says_something]
    if not speaking:
        shown = ", ".join(f"{index.value:.2f}" for _, index in found)
        return replace(
            blank,
            outcome=Outcome.NA,
            sentence=f"{shown}, but it is not meaningful here: {found[0][1].reason}.",
            next_step="",
        )
    if not motor_class:
        return replace(
            blank,
            sentence="The thermal class is not chosen.",
            next_step="Read it from the nameplate: the least index depends on it.",
        )
    row, index = min(speaking, key=lambda pair: pair[1].value)
    return check(
        entries,
        limit,
        _index_reading(row, index.value),
        key=blank.key,
        title=blank.title,
        note=f"{row.place}, class {motor_class}.",
        next_step="Clean and dry the winding, and measure again.",
        rests_on=("electrical.thermal_class",),
    )


def _index(row: Measured, winding: Winding) -> PolarisationIndex | None:
    """The polarisation index of a row that has both readings."""
    if row.one.quantity is None or row.ten.quantity is None:
        return None
    is_random = winding.kind == "random-wound"
    return polarisation_index(row.one.quantity, row.ten.quantity, row.at_40.quantity, is_random)


def _without_ten_minutes(blank: Verdict, winding: Winding) -> Verdict:
    """A random winding needs no index; any other has not been measured."""
    if winding.kind != "random-wound":
        return blank
    return replace(
        blank,
        outcome=Outcome.NA,
        sentence=(
            "It is not meaningful for a random winding, whose absorption current dies away after"
            " two to three minutes."
        ),
        next_step="",
    )


def _index_reading(row: Measured, index: float) -> Reading:
    """The index as a reading: one tester reads both resistances, taken as independent."""
    ratio = row.ten.relative_to(row.one)
    u = None if ratio.u is None else ratio.u.to("dimensionless")
    return ratio.with_quantity(Q(index, "dimensionless"), u)


def _test_voltage(machine: Machine, limits: Limits, entries: Entries, winding: Winding) -> Verdict:
    base = limits["electrical.test_voltage"]
    if base.authority == "default":
        row = applied_voltage_row(machine.motor.voltage.to("volt").magnitude)
        low, high = applied_voltage(machine.motor.voltage)
        base = replace(
            base,
            low=low,
            high=high,
            source=APPLIED_VOLTAGE_SOURCE.removesuffix(" (secondary)"),
            standing=row.standing,
        )
    judged = [
        check(
            entries,
            base,
            row.voltage,
            next_step="Test again at the voltage that the winding's rating asks for.",
            note=f"{row.place}.",
        )
        for row in winding.rows
    ]
    if not judged:
        missing = Reading(items=("electrical.insulation",))
        return check(entries, base, missing, next_step="")
    order = (Outcome.FAIL, Outcome.UNPROVEN, Outcome.OPEN, Outcome.PASS)
    return min(judged, key=lambda verdict: order.index(verdict.outcome))


def _dew(limits: Limits, entries: Entries, winding: Winding) -> tuple[Verdict, ...]:
    """An open motor's winding is warmer than the dew point of its air; judged where the air was
    read.
    """
    air, humidity = entries.reading("room_temperature"), entries.reading("room_humidity")
    if not air.taken and not humidity.taken:
        return ()
    dew = _dew_point(air, humidity)
    note = "" if dew.quantity is None else f"Dew point {entries.show(dew.quantity, 'temperature')}."
    return (
        check(
            entries,
            limits["electrical.dew_margin"],
            winding.temperature.less(dew),
            note=note,
            next_step="Warm the winding until it is dry, then test.",
        ),
    )


def _dew_point(air: Reading, humidity: Reading) -> Reading:
    from startkit.science.air import dew_point

    blank = Reading.derived(None, None, air, humidity)
    if air.quantity is None or humidity.quantity is None:
        return blank
    try:
        if air.u is None or humidity.u is None:
            value = dew_point(air.quantity, humidity.quantity)
            return Reading.derived(value, None, air, humidity)
        found = propagate(
            dew_point.si,
            {"temperature": air.quantity, "humidity": humidity.quantity},
            {"temperature": air.u, "humidity": humidity.u},
            method="first order",
            returns="kelvin",
        )
    except StartkitError as error:
        return blank.unreadable(str(error))
    return Reading.derived(found.value, found.u, air, humidity)
