"""Verdicts on the pressure hold: gas, test pressure, duration, loss, smallest leak seen."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

import pint

from startkit.facts.limits import Limit, Limits
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.judging import check, confirm
from startkit.procedure.reading import Reading
from startkit.stages.tightness.fields import DRY, LEAK_TEST, TRACE, VACUUM, WARMED
from startkit.stages.tightness.readings import Held, hours_needed, smallest_leak, test_pressure
from startkit.units import Q
from startkit.verdict import Outcome, Verdict

# Standard uncertainties beyond which a gain is no error of the instruments; common practice, no
# source.
GAIN = 3.0
SOURCE_GAS = "ASHRAE 15-1994 interim action, 10.1.2"


def hold_verdicts(
    machine: Machine, limits: Limits, entries: Entries, held: Held
) -> tuple[Verdict, ...]:
    """Gas, test pressure, duration, loss and what the test could have seen."""
    return (
        _gas(entries),
        _regulator(entries),
        _test_pressure(machine, limits, entries),
        *_relief_isolated(machine, entries),
        _duration_verdict(limits, entries, held),
        _loss(limits, entries, held),
        _sensitivity(limits, entries, held),
    )


# What a test of its own kind does without: no gas is filled in, or no pressure is held at all.
_WITHOUT = {
    WARMED.code: ("gas", "regulator", "hold_time", "hold", "sensitivity"),
    VACUUM.code: (
        "gas",
        "regulator",
        "low_pressure_test",
        "hold_time",
        "hold",
        "sensitivity",
    ),
}


def kind_of_test(machine: Machine, entries: Entries) -> str:
    """Code of the test; that of a low-pressure machine only on one."""
    from startkit.science.refrigerant import is_low_pressure

    code = entries.code("test_kind")
    return code if code not in _WITHOUT or is_low_pressure(machine.machine.refrigerant) else ""


def low_pressure(machine: Machine, entries: Entries, found: Iterable[Verdict]) -> Iterator[Verdict]:
    """Verdicts on the hold where a low-pressure machine was tested by warming or under vacuum: what
    that does without does not apply; what was measured all the same is judged.
    """
    without = _WITHOUT.get(kind_of_test(machine, entries), ())
    for each in found:
        if each.outcome is Outcome.OPEN and each.key.removeprefix("tightness.") in without:
            yield replace(
                each,
                outcome=Outcome.NA,
                sentence=f"Test of its own kind: {entries.text('test_kind')}.",
                next_step="",
                rests_on=(*each.rests_on, "tightness.test_kind"),
            )
        else:
            yield each


def _gas(entries: Entries) -> Verdict:
    gas = entries.reading("test_gas")
    blank = Verdict(
        key="tightness.gas",
        title="Test gas",
        outcome=Outcome.OPEN,
        sentence="Not entered.",
        next_step="Enter what the machine was filled with.",
        source=SOURCE_GAS,
        rests_on=gas.items,
    )
    if not gas.code:
        return blank
    if gas.code in (DRY.code, TRACE.code):
        said = f"{entries.text('test_gas').capitalize()}."
        return replace(blank, outcome=Outcome.PASS, sentence=said, next_step="")
    return replace(
        blank,
        outcome=Outcome.FAIL,
        sentence="Neither dry nitrogen nor dry nitrogen with a trace of refrigerant.",
        next_step="Vent it and fill with dry nitrogen; oxygen and air can explode with oil.",
    )


def _regulator(entries: Entries) -> Verdict:
    return confirm(
        entries,
        "test_regulator",
        "tightness.regulator",
        "Regulator and relief device in the filling line",
        good="Both are in the line, the relief set above the test pressure.",
        bad="The line lacks one of them.",
        next_step="Stop filling until regulator and relief device are in the line.",
        source=SOURCE_GAS,
    )


def _test_pressure(machine: Machine, limits: Limits, entries: Entries) -> Verdict:
    from startkit.science.refrigerant import is_low_pressure

    pressure = test_pressure(entries)
    if is_low_pressure(machine.machine.refrigerant):
        return check(
            entries,
            limits["tightness.low_pressure_test"],
            pressure,
            next_step=(
                "If it is too high, vent gas at once: the relief device of a low-pressure machine"
                " opens a little above this. If it is too low, the hold proves nothing: raise it"
                " and hold again."
            ),
        )
    kind = entries.reading("test_kind")
    item = "leak_test_pressure" if kind.code == LEAK_TEST.code else "test_pressure"
    limit, due = limits[f"tightness.{item}"], _due_pressure(machine)
    if due is None:
        return Verdict(
            key="tightness.test_pressure",
            title=limit.title,
            outcome=Outcome.OPEN,
            sentence="The sheet gives neither design pressure nor relief setting.",
            next_step="Add design_pressure or relief_setting of the exchangers to the sheet.",
            source=limit.origin,
            rests_on=pressure.items,
        )
    note = f"Lower of design pressure and relief setting: {entries.show(due, 'relative_pressure')}."
    return check(
        entries,
        limit,
        pressure.share_of(due),
        key="tightness.test_pressure",
        note=note,
        rests_on=kind.items if kind.taken else (),
        next_step=(
            "Take the test pressure from the maker's manual and local code, and test again; or"
            " put the maker's figure into the sheet."
        ),
    )


def _relief_isolated(machine: Machine, entries: Entries) -> tuple[Verdict, ...]:
    """A test above a relief setting is right only with that device isolated or removed, by name."""
    pressure, lowest = test_pressure(entries), _lowest_relief(machine)
    if pressure.quantity is None or lowest is None or not pressure.quantity > lowest:
        return ()
    found = confirm(
        entries,
        "relief_isolated",
        "tightness.relief_isolated",
        "Relief devices isolated or removed",
        good="Isolated or removed for the test.",
        bad="They were in place.",
        next_step="Vent below the relief setting; take the test pressure from the maker's manual.",
        source="UFGS 15652A 3.2.1.2",
    )
    over = (
        f"Tested at {entries.show(pressure.quantity, 'relative_pressure')}, above the relief"
        f" setting of {entries.show(lowest, 'relative_pressure')}."
    )
    who = entries.reading("relief_isolated_by")
    rests_on = tuple(dict.fromkeys((*found.rests_on, *who.items, *pressure.items)))
    found = replace(found, sentence=f"{over} {found.sentence}", rests_on=rests_on)
    if found.outcome is Outcome.FAIL or (found.outcome is Outcome.PASS and who.text):
        return (found,)
    # Not open: on a machine that came charged, what is open does not apply, but this was measured.
    return (
        replace(
            found,
            outcome=Outcome.UNPROVEN,
            next_step="Enter whether the relief devices were isolated or removed, and by whom.",
        ),
    )


def _lowest_relief(machine: Machine) -> pint.Quantity | None:
    sides = (machine.evaporator, machine.condenser)
    return min((p for side in sides if (p := side.relief_setting) is not None), default=None)


def _due_pressure(machine: Machine) -> pint.Quantity | None:
    sides = (machine.evaporator, machine.condenser)
    known = [
        p for side in sides for p in (side.design_pressure, side.relief_setting) if p is not None
    ]
    return min(known) if known else None


def _duration_verdict(limits: Limits, entries: Entries, held: Held) -> Verdict:
    return check(
        entries,
        limits["tightness.hold_time"],
        held.duration,
        next_step="Hold it longer, and read again.",
    )


def _loss(limits: Limits, entries: Entries, held: Held) -> Verdict:
    """Loss at constant temperature as a share of the test pressure; a loss told apart from the
    uncertainty never passes.
    """
    limit = limits["tightness.hold"]
    if held.found is None or held.start is None or held.end is None:
        return check(entries, limit, _lacking_end(entries), next_step="")
    share = (held.found.residual / held.start.pressure).to("percent")
    u = (held.found.u / held.start.pressure).to("percent") if held.known else None
    note = (
        f"Expected {entries.show(held.found.expected, 'pressure')}, read"
        f" {entries.show(held.end.pressure, 'pressure')}:"
        f" {entries.show(held.found.residual, 'pressure_difference')} at constant temperature"
        " (nitrogen as a real gas)."
    )
    found = check(
        entries,
        limit,
        Reading.derived(share, u, *held.readings),
        note=note,
        next_step="Search for the leak at pressure, repair it, and hold again.",
    )
    if found.outcome is not Outcome.PASS:
        return found
    if not held.known:
        return replace(
            found,
            outcome=Outcome.UNPROVEN,
            sentence=(
                f"{note} Without the instruments' accuracy it is not known whether that is a loss."
            ),
            next_step="Name gauge and thermometer with the readings.",
        )
    if held.found.residual > GAIN * held.found.u:
        return replace(
            found,
            outcome=Outcome.UNPROVEN,
            sentence=f"{note} Nothing gains gas by itself: one of the readings is wrong, or gas was"
            " added.",
            next_step="Look for a decimal, a unit, or the two ends swapped; else hold again.",
        )
    if held.found.lost:
        return replace(
            found,
            outcome=Outcome.UNPROVEN,
            sentence=(
                f"{found.sentence} It is more than gauge and thermometer explain: it leaks a"
                " little."
            ),
            next_step="Search for the leak at pressure, or hold longer.",
        )
    return found


def _lacking_end(entries: Entries) -> Reading:
    """What is wrong or missing at the two ends."""
    names = ("start_pressure", "start_temperature", "end_pressure", "end_temperature")
    found = Reading.derived(None, None, *map(entries.reading, names))
    return replace(found, taken=bool(found.problem))


def _sensitivity(limits: Limits, entries: Entries, held: Held) -> Verdict:
    """The smallest leak that this test could have seen, against what was asked for."""
    limit = limits["tightness.sensitivity"]
    smallest, wanted = smallest_leak(entries, held), entries.quantity("wanted_leak")
    blank = _lacking_end(entries)
    if held.found is None or held.start is None or held.duration.quantity is None:
        return check(entries, limit, blank, next_step="")
    if not held.known:
        return replace(
            check(entries, limit, blank, next_step=""),
            sentence=(
                "Gauge or thermometer is not named, so there is no telling what the test would"
                " have missed."
            ),
            next_step="Name gauge and thermometer with the readings.",
        )
    read = (*held.readings, held.duration)
    missed = ""
    if smallest is not None:
        missed = (
            "What it could not have seen: a leak of up to"
            f" {entries.show(smallest.mass_rate, 'yearly_loss')} of nitrogen at test pressure."
        )
    if wanted is not None and smallest is not None:
        asked = Limit(
            limit.key,
            limit.title,
            "yearly_mass",
            high=wanted,
            source="largest leak that may stay unseen",
            authority="asked for on site",
        )
        return check(
            entries,
            asked,
            Reading.derived(smallest.mass_rate, None, *read),
            next_step=_longer(entries, held, wanted),
            note=missed,
            rests_on=("tightness.wanted_leak", "tightness.test_volume"),
        )
    daily = held.found.detectable / held.start.pressure / held.duration.quantity * Q(24, "hour")
    return check(
        entries,
        limit,
        Reading.derived(daily.to("percent"), None, *read),
        next_step="Hold longer, or use a finer gauge and thermometer.",
        note=f"Of the test pressure in a day. {missed}".strip(),
    )


def _longer(entries: Entries, held: Held, wanted: pint.Quantity) -> str:
    hours = hours_needed(entries, held, wanted)
    return (
        f"Hold for {entries.show(hours, 'hours', 0)} with these instruments, or search with a"
        " trace-gas detector."
        if hours is not None
        else ""
    )
