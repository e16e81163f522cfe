"""What is judged of the lubrication before, during and after the shaft turns."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import datetime

import pint

from startkit.facts.limits import PRACTICE, Limit, Limits
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.judging import check
from startkit.procedure.reading import Reading
from startkit.science.pre_lube import PreLube
from startkit.stages.lube.readings import Oil
from startkit.units import Q
from startkit.verdict import COVERAGE, Outcome, Verdict, within


def judged(machine: Machine, limits: Limits, entries: Entries, oil: Oil) -> tuple[Verdict, ...]:
    """Every verdict of the stage; what concerns the oil itself is due before the pump runs, the
    first stop at hand-over.
    """
    before_the_pump = (
        _oil_kind(machine, entries),
        _level(entries),
        _superheat(limits, entries, oil),
        _heater(limits, entries),
        _foaming(limits, entries, oil),
    )
    return (
        *(replace(v, gate="oil_pump") for v in before_the_pump),
        _zero(limits, entries, oil),
        *_pre_lube(limits, entries, oil),
        _trip_proven(limits, entries, oil),
        _filter(machine, limits, entries),
        *_set_point(machine, limits, entries),
        *_coast_down(limits, entries, oil),
    )


# --- before the pump runs ------------------------------------------------------------------------


def _oil_kind(machine: Machine, entries: Entries) -> Verdict:
    key, title = "lube.oil_kind", "Oil as in the sheet"
    seen, due = entries.text("oil_kind"), f"{machine.oil.kind} {machine.oil.grade}".strip()
    if not seen:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.OPEN,
            sentence="Not read.",
            next_step="Read the label of the drum.",
            source="machine sheet",
        )
    if _words(machine.oil.kind) <= _words(seen) and _words(machine.oil.grade) <= _words(seen):
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.PASS,
            sentence=f"{seen}: as in the sheet.",
            source="machine sheet",
        )
    return Verdict(
        key=key,
        title=title,
        outcome=Outcome.FAIL,
        sentence=f"The label says {seen}, the sheet {due}.",
        next_step="Do not run the pump until the oil is settled: oils of different kinds do not"
        " mix.",
        source="machine sheet",
    )


def _words(text: str) -> set[str]:
    return set(re.findall(r"[a-z]+|\d+", text.lower())) - {"iso", "vg", "oil"}


def _level(entries: Entries) -> Verdict:
    key, title, seen = "lube.level", "Oil level", entries.text("sight_glass")
    if not seen:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.OPEN,
            sentence="Not looked at.",
            next_step="Look at the sump sight glass.",
            source=PRACTICE,
        )
    if seen.startswith("clear"):
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.PASS,
            sentence="Clear, level in the glass.",
            source=PRACTICE,
        )
    outcome = Outcome.UNPROVEN if seen == "cannot be seen" else Outcome.FAIL
    return Verdict(
        key=key,
        title=title,
        outcome=outcome,
        sentence=f"Sight glass: {seen}.",
        next_step="Put the level right; foam means refrigerant in the oil, so warm it longer.",
        source=PRACTICE,
    )


def _superheat(limits: Limits, entries: Entries, oil: Oil) -> Verdict:
    limit = limits["lube.oil_superheat"]
    missing = next(
        (
            r
            for r in map(entries.reading, ("sump_temperature", "sump_pressure"))
            if r.problem or not r.taken
        ),
        None,
    )
    reading = (
        missing
        if missing is not None
        else Reading("", "", oil.superheat, oil.u_superheat, untrusted=_untrusted(entries))
    )
    return check(
        entries,
        limit,
        reading,
        next_step="Leave the heater on and wait: refrigerant is still dissolved in the oil.",
    )


def _untrusted(entries: Entries) -> str:
    return (
        entries.reading("sump_temperature").untrusted or entries.reading("sump_pressure").untrusted
    )


def _heater(limits: Limits, entries: Entries) -> Verdict:
    """Time from switching the heater on to reading the sump."""
    limit, since, read = (
        limits["lube.heater_time"],
        entries.reading("heater_on_since"),
        entries.entry("sump_temperature"),
    )
    taken = read.moment if read is not None else None
    if since.problem or not since.taken or taken is None:
        return check(entries, limit, since if since.problem else None, next_step="")
    began = datetime.fromisoformat(since.text)
    if began.tzinfo is None:
        began = began.replace(tzinfo=taken.tzinfo)
    hours = (taken - began).total_seconds() / 3600
    if hours < 0:
        return Verdict(
            key=limit.key,
            title=limit.title,
            outcome=Outcome.OPEN,
            sentence="The heater was switched on after the sump was read.",
            next_step="Check the date and time, or read the sump again.",
            source=limit.origin,
        )
    return check(entries, limit, Q(hours, "hour"), next_step="Wait, then read the sump again.")


def _foaming(limits: Limits, entries: Entries, oil: Oil) -> Verdict:
    limit = limits["lube.foaming"]
    if oil.foaming is None:
        return check(entries, limit, None, next_step="")
    note = (
        "Liquid refrigerant stands in the sump and will boil at start."
        if oil.foaming.boils
        else "Share of refrigerant that leaves the oil as gas, taken as an ideal solution."
    )
    found = check(
        entries,
        limit,
        oil.foaming.released.to("percent"),
        next_step="Warm the oil further, and lower the pressure slowly at start.",
        note=note,
    )
    return replace(found, outcome=Outcome.FAIL) if oil.foaming.boils else found


def _zero(limits: Limits, entries: Entries, oil: Oil) -> Verdict:
    limit = limits["lube.zero"]
    if oil.zero is None:
        return Verdict(
            key=limit.key,
            title=limit.title,
            outcome=Outcome.OPEN,
            sentence="The transducers were not compared with the pump off: a differential is never"
            " what two"
            " unproven transducers say.",
            next_step="Stop the pump, read both, and enter them.",
            source=limit.origin,
        )
    found = check(
        entries,
        limit,
        oil.zero,
        u=oil.u_zero,
        next_step="Calibrate or renew the transducer that is off, and read both again.",
    )
    return replace(
        found,
        sentence=f"{found.sentence} It is subtracted from every differential ({oil.zero_raw}).",
    )


# --- the pump running --------------------------------------------------------------------------


def _pre_lube(limits: Limits, entries: Entries, oil: Oil) -> list[Verdict]:
    pre = oil.pre_lube
    deviation = None if pre is None else (pre.mean / oil.set_point - 1).to("percent")
    u_deviation = None if pre is None else (pre.u_mean / oil.set_point).to("percent")
    spread = None if pre is None else (pre.standard_deviation / oil.set_point).to("percent")
    stands = pre is not None and _stands(pre, spread, limits["lube.steadiness"])
    return [
        _reached(limits, entries, oil),
        check(
            entries,
            limits["lube.differential"],
            deviation,
            u=u_deviation,
            steady=stands or pre is None,
            next_step="Set the regulator or the pump's speed, then take the record again.",
            note=(
                ""
                if pre is None
                else (
                    f"Mean {entries.show(pre.mean, 'pressure_difference')}, set point"
                    f" {entries.show(oil.set_point, 'pressure_difference')}."
                )
            ),
        ),
        check(
            entries,
            limits["lube.steadiness"],
            spread,
            next_step=(
                "Look for air in the oil, a hunting regulator, a filter or a passing relief valve."
            ),
            note=_hunting(entries, oil),
        ),
        _margin(limits, entries, oil),
        _stood(entries, oil),
    ]


def _stands(pre: PreLube, spread: pint.Quantity, limit: Limit) -> bool:
    """Settled at the set point, or standing still somewhere else: then it is wrong, not unsteady."""
    calm = within(spread, limit.low, limit.high) is Outcome.PASS
    return pre.settled or bool(calm and abs(pre.slope) <= COVERAGE * pre.u_slope)


def _reached(limits: Limits, entries: Entries, oil: Oil) -> Verdict:
    limit, pre = limits["lube.time_to_set_point"], oil.pre_lube
    if pre is not None and pre.time_to_set_point is None:
        return Verdict(
            key=limit.key,
            title=limit.title,
            outcome=Outcome.FAIL,
            sentence=f"The set point of {entries.show(oil.set_point, 'pressure_difference')} was"
            " never"
            f" reached; highest {entries.show(pre.highest, 'pressure_difference')}.",
            next_step="Check rotation of the pump, suction strainer, oil level and regulator. Do"
            " not turn the"
            " shaft.",
            reading=pre.highest,
            uncertainty=None,
            kind="pressure_difference",
            source=limit.origin,
        )
    return check(
        entries,
        limit,
        None if pre is None else pre.time_to_set_point,
        u=None if pre is None else pre.u_time_to_set_point,
        next_step="Check pump, suction strainer, check valve and oil temperature.",
    )


def _hunting(entries: Entries, oil: Oil) -> str:
    if oil.pre_lube is None:
        return ""
    if oil.pre_lube.hunting_period is None:
        return "No repeating cycle found."
    return (
        f"It hunts with a period of {entries.show(oil.pre_lube.hunting_period, 'time')} and an"
        f" amplitude of {entries.show(oil.pre_lube.hunting_amplitude, 'pressure_difference')}."
    )


def _margin(limits: Limits, entries: Entries, oil: Oil) -> Verdict:
    limit, pre = limits["lube.margin"], oil.pre_lube
    value = (
        None if pre is None or pre.margin_in_sd is None else Q(pre.margin_in_sd, "dimensionless")
    )
    note = (
        ""
        if pre is None
        else (
            f"Mean stands {entries.show(pre.margin, 'pressure_difference')} over the trip of"
            f" {entries.show(oil.trip, 'pressure_difference')}."
        )
    )
    if pre is not None and value is None:
        return Verdict(
            key=limit.key,
            title=limit.title,
            outcome=Outcome.UNPROVEN,
            sentence="The readings do not vary at all: a stuck display or too coarse a reading."
            f" {note}",
            next_step="Take a finer record.",
            source=limit.origin,
        )
    return check(
        entries,
        limit,
        value,
        next_step="Raise the set point or calm the pressure before the shaft turns.",
        note=note,
    )


def _stood(entries: Entries, oil: Oil) -> Verdict:
    key, title = "lube.stood", "Differential never fell to the trip"
    pre = oil.pre_lube
    if pre is None:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.OPEN,
            sentence="No record of the differential.",
            next_step="Record it from pump start.",
            source="machine sheet: low-oil trip",
        )
    lowest = entries.show(pre.minimum, "pressure_difference")
    if pre.minimum > oil.trip:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.PASS,
            sentence=f"Lowest {lowest} after the set point was reached.",
            next_step="",
            reading=pre.minimum,
            uncertainty=None,
            kind="pressure_difference",
            low=oil.trip,
            high=None,
            source="machine sheet: low-oil trip",
        )
    return Verdict(
        key=key,
        title=title,
        outcome=Outcome.FAIL,
        sentence=f"It fell to {lowest}, to or below the trip.",
        next_step="Find out why before the shaft turns.",
        reading=pre.minimum,
        uncertainty=None,
        kind="pressure_difference",
        low=oil.trip,
        high=None,
        source="machine sheet: low-oil trip",
    )


# --- set point, trip, filter -------------------------------------------------------------------


def _trip_proven(limits: Limits, entries: Entries, oil: Oil) -> Verdict:
    limit, seen, how = (
        limits["lube.trip"],
        entries.reading("trip_seen"),
        entries.text("trip_method"),
    )
    if how == "not proven" or (not seen.taken and not how):
        return Verdict(
            key=limit.key,
            title=limit.title,
            outcome=Outcome.OPEN,
            sentence="The trip has not been seen: a trip that was never seen is not proven.",
            next_step="Lower the differential until it trips, and read the value.",
            source=limit.origin,
        )
    if seen.quantity is None:
        return check(entries, limit, seen, next_step="")
    own = entries.text("trip_read_on") != "an independent gauge"
    zero = oil.zero if oil.zero is not None and own else Q(0.0, "pascal")
    deviation = ((seen.quantity - zero) / oil.trip - 1).to("percent")
    u = None if seen.u is None else (seen.u / oil.trip).to("percent")
    found = check(
        entries,
        limit,
        Reading("", seen.text, deviation, u, untrusted=seen.untrusted),
        next_step="Set the trip, and prove it again.",
        note=(
            "Tripped at"
            f" {entries.show(seen.quantity - zero, 'pressure_difference')}{' with the zero taken off' if own else ''},"
            f" setting {entries.show(oil.trip, 'pressure_difference')}."
        ),
    )
    if how == "simulated at the transducer" and found.outcome is Outcome.PASS:
        return replace(
            found,
            outcome=Outcome.UNPROVEN,
            sentence=found.sentence
            + " Simulated only: the line from sump and pump to the transducer was not proven.",
            next_step="Prove it by lowering the pressure, or waive with the reason.",
        )
    return found


def _set_point(machine: Machine, limits: Limits, entries: Entries) -> tuple[Verdict, ...]:
    limit, left = limits["lube.set_point"], entries.reading("set_point_left")
    deviation = (
        None
        if left.quantity is None
        else (left.quantity / machine.oil.differential_set_point - 1).to("percent")
    )
    reading = left if left.quantity is None else Reading("", left.text, deviation)
    return (
        check(
            entries,
            limit,
            reading,
            next_step="Set it as the sheet says, or have the change written into the sheet.",
        ),
    )


def _filter(machine: Machine, limits: Limits, entries: Entries) -> Verdict:
    limit, drop = limits["lube.filter_drop"], entries.reading("filter_drop")
    change = machine.oil.filter_drop_change
    if drop.quantity is None or change is None:
        if drop.quantity is not None:
            return Verdict(
                key=limit.key,
                title=limit.title,
                outcome=Outcome.UNPROVEN,
                sentence=f"{entries.show(drop.quantity, 'pressure_difference')}; the sheet does not"
                " say at"
                " which drop to change it.",
                next_step="Add filter_drop_change to the sheet, or waive.",
                source=limit.origin,
            )
        return check(entries, limit, drop, next_step="")
    from startkit.science.lube import filter_fraction

    u = None if drop.u is None else (drop.u / change).to("percent")
    return check(
        entries,
        limit,
        Reading(
            "",
            drop.text,
            filter_fraction(drop.quantity, change).to("percent"),
            u,
            untrusted=drop.untrusted,
        ),
        next_step="Change the filter before the shaft turns.",
        note=(
            f"{entries.show(drop.quantity, 'pressure_difference')} of"
            f" {entries.show(change, 'pressure_difference')}."
        ),
    )


# --- the first stop, due at hand-over ------------------------------------------------------------


def _coast_down(limits: Limits, entries: Entries, oil: Oil) -> list[Verdict]:
    """Oil pressure through the run-down, and after the shaft stands."""
    title, key, source = (
        "Oil pressure stood through the coast-down",
        "lube.coast_down",
        "machine sheet: low-oil trip",
    )
    down = oil.coast_down
    if down is None:
        return [
            _by_hand(
                entries,
                oil,
                Verdict(
                    key=key,
                    title=title,
                    outcome=Outcome.OPEN,
                    sentence="No record from the first stop.",
                    next_step="Record the differential from the stop until the shaft stands.",
                    reading=None,
                    uncertainty=None,
                    kind="pressure_difference",
                    low=oil.trip,
                    high=None,
                    source=source,
                    gate="hand_over",
                ),
            )
        ]
    lowest = entries.show(down.minimum, "pressure_difference")
    if down.stood:
        stood = Verdict(
            key=key,
            title=title,
            outcome=Outcome.PASS,
            sentence=f"Lowest {lowest} while the shaft turned.",
            next_step="",
            reading=down.minimum,
            uncertainty=None,
            kind="pressure_difference",
            low=oil.trip,
            high=None,
            source=source,
            gate="hand_over",
        )
    else:
        stood = Verdict(
            key=key,
            title=title,
            outcome=Outcome.FAIL,
            sentence=f"It fell to {lowest} while the shaft still turned,"
            f" {entries.show(down.time_below, 'time')} below the trip.",
            next_step="The bearings ran without oil: stop, find the cause, look at the bearings.",
            reading=down.minimum,
            uncertainty=None,
            kind="pressure_difference",
            low=oil.trip,
            high=None,
            source=source,
            gate="hand_over",
        )
    after = check(
        entries,
        limits["lube.post_lube"],
        down.post_lube_time,
        next_step="Set the post-lube timer as the sheet says.",
    )
    return [stood, replace(after, gate="hand_over")]


def _by_hand(entries: Entries, oil: Oil, none: Verdict) -> Verdict:
    """The lowest differential as it was typed in the stage Shut-down, where no record was pasted."""
    typed = entries.of("shut_down").reading("oil_lowest")
    if typed.quantity is None:
        return none
    lowest = typed.quantity - (oil.zero if oil.zero is not None else Q(0.0, "pascal"))
    outcome = within(lowest, oil.trip, None, typed.u)
    said = (
        f"Lowest {entries.show(lowest, 'pressure_difference')} while the shaft turned, read by"
        " hand."
    )
    step = (
        ""
        if outcome is Outcome.PASS
        else (
            "The bearings may have run without oil: find the cause, look at the bearings, record"
            " the next stop."
        )
    )
    return replace(
        none, outcome=outcome, sentence=said, next_step=step, reading=lowest, uncertainty=typed.u
    )


def baseline(machine: Machine, entries: Entries) -> tuple[pint.Quantity, ...] | None:
    """Pump speed and oil temperature at the last visit, if both were entered."""
    speed, temperature = (
        entries.quantity("baseline_speed"),
        entries.quantity("baseline_temperature"),
    )
    return None if speed is None or temperature is None else (speed, temperature)
