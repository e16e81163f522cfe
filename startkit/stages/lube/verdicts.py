"""What is judged of the lubrication before, during and after the shaft turns."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import datetime

from startkit.facts.limits import Limit, Limits
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.judging import Answer, by_choice, check
from startkit.procedure.reading import Reading
from startkit.science.lube import filter_fraction
from startkit.stages.lube.contradictions import contradictions
from startkit.stages.lube.fields import CLEAR, GAUGE, HIDDEN, NOT_PROVEN, SIGHT_GLASS, SIMULATED
from startkit.stages.lube.pre_lube import over_the_trip, pre_lube, typed
from startkit.stages.lube.readings import Oil
from startkit.units import Q
from startkit.verdict import Outcome, Verdict

# A drop below this share of a clean filter's means that oil is bypassing it. Common practice, no
# source.
LEAST_OF_CLEAN = 0.5


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
        *pre_lube(limits, entries, oil),
        _trip_proven(limits, entries, oil),
        _filter(machine, limits, entries),
        _set_point(machine, limits, entries),
        *_coast_down(limits, entries, oil),
        *contradictions(machine, limits, entries, oil),
    )


# --- before the pump runs ------------------------------------------------------------------------


def _oil_kind(machine: Machine, entries: Entries) -> Verdict:
    seen, due = entries.text("oil_kind"), f"{machine.oil.kind} {machine.oil.grade}".strip()
    blank = Verdict(
        key="lube.oil_kind",
        title="Oil as in the sheet",
        outcome=Outcome.OPEN,
        sentence="Not entered.",
        next_step="Read the label of the drum.",
        source="machine sheet",
        rests_on=("lube.oil_kind",),
    )
    if not seen:
        return blank
    if _words(machine.oil.kind) <= _words(seen) and _words(machine.oil.grade) <= _words(seen):
        return blank.passed(f"{seen}: as in the sheet.")
    return blank.failed(
        f"The label says {seen}, the sheet {due}.",
        "Do not run the pump until this is resolved: different oils must not be mixed.",
    )


def _words(text: str) -> set[str]:
    return set(re.findall(r"[a-z]+|\d+", text.lower())) - {"iso", "vg", "oil"}


def _level(entries: Entries) -> Verdict:
    return by_choice(
        entries,
        "sight_glass",
        "lube.level",
        "Oil level",
        answers={
            seen: Answer(Outcome.PASS, "Clear, level in the glass.")
            if seen is CLEAR
            else Answer(
                Outcome.UNPROVEN if seen is HIDDEN else Outcome.FAIL,
                f"Sight glass: {seen.label}.",
                "Correct the level. Foam means refrigerant in the oil: heat it for longer.",
            )
            for seen in SIGHT_GLASS
        },
        next_step="Look at the sump sight glass.",
    )


def _superheat(limits: Limits, entries: Entries, oil: Oil) -> Verdict:
    return check(
        entries,
        limits["lube.oil_superheat"],
        oil.superheat,
        next_step="Leave the heater on and wait: there is still refrigerant dissolved in the oil.",
    )


def _heater(limits: Limits, entries: Entries) -> Verdict:
    """Time from switching the heater on to reading the sump."""
    limit, since, taken = (
        limits["lube.heater_time"],
        entries.reading("heater_on_since"),
        entries.reading("sump_temperature").moment,
    )
    if since.problem or not since.taken or taken is None:
        missing = since if since.problem else Reading(items=since.items)
        return check(entries, limit, missing, next_step="")
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
            rests_on=since.items,
        )
    return check(
        entries,
        limit,
        Reading.derived(Q(hours, "hour"), None, since),
        next_step="Wait, then read the sump again.",
    )


def _foaming(limits: Limits, entries: Entries, oil: Oil) -> Verdict:
    limit = limits["lube.foaming"]
    if oil.foaming is None:
        return check(entries, limit, oil.released, next_step="")
    note = (
        "There is liquid refrigerant in the sump; it will boil at start."
        if oil.foaming.boils
        else "Share of refrigerant that leaves the oil as gas, for an ideal solution."
    )
    found = check(
        entries,
        limit,
        oil.released,
        next_step="Heat the oil further, and let the pressure fall slowly at start.",
        note=note,
    )
    return replace(found, outcome=Outcome.FAIL) if oil.foaming.boils else found


def _zero(limits: Limits, entries: Entries, oil: Oil) -> Verdict:
    limit = limits["lube.zero"]
    if not oil.zero.known:
        return Verdict(
            key=limit.key,
            title=limit.title,
            outcome=Outcome.OPEN,
            sentence="The transducers were not compared with the pump off: do not trust a"
            " differential until both have been compared.",
            next_step="Stop the pump, read both and enter the readings.",
            source=limit.origin,
            rests_on=("lube.zero", "lube.differential_off"),
        )
    found = check(
        entries,
        limit,
        oil.zero.reading,
        next_step="Calibrate or replace the faulty transducer, and read both again.",
    )
    return replace(
        found,
        sentence=f"{found.sentence} It is subtracted from every differential ({oil.zero.how}).",
    )


# --- set point, trip, filter -------------------------------------------------------------------


def _trip_proven(limits: Limits, entries: Entries, oil: Oil) -> Verdict:
    limit, seen, how = (
        limits["lube.trip"],
        entries.reading("trip_seen"),
        entries.code("trip_method"),
    )
    if how == NOT_PROVEN.code or (not seen.taken and not how):
        return Verdict(
            key=limit.key,
            title=limit.title,
            outcome=Outcome.OPEN,
            sentence="No one has seen it trip, so it is not proven.",
            next_step="Lower the differential until it trips, and read the value.",
            source=limit.origin,
            rests_on=("lube.trip_seen", "lube.trip_method"),
        )
    if seen.quantity is None:
        return check(entries, limit, seen, next_step="")
    own = entries.code("trip_read_on") != GAUGE.code
    tripped = oil.zero.subtracted_from(seen) if own else seen
    found = check(
        entries,
        limit,
        tripped.deviation_from(oil.trip),
        next_step="Adjust the trip, and prove it again.",
        note=(
            f"Tripped at {entries.show(tripped.quantity, 'pressure_difference')}"
            f"{' with the zero subtracted' if own else ''},"
            f" setting {entries.show(oil.trip, 'pressure_difference')}."
        ),
        rests_on=("lube.trip_method", *typed(entries, ("lube.trip_setting", "lube.trip_read_on"))),
    )
    if how == SIMULATED.code and found.outcome is Outcome.PASS:
        return replace(
            found,
            outcome=Outcome.UNPROVEN,
            sentence=found.sentence
            + " Simulated only: the lines to the transducer were not proven.",
            next_step="Prove it by lowering the pressure, or waive it with a reason.",
        )
    return found


def _set_point(machine: Machine, limits: Limits, entries: Entries) -> Verdict:
    return check(
        entries,
        limits["lube.set_point"],
        entries.reading("set_point_left").deviation_from(machine.oil.differential_set_point),
        next_step="Set it to the value in the sheet, or have the sheet changed.",
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
                " state the drop at which to change the filter.",
                next_step="Add filter_drop_change to the sheet, or waive.",
                source=limit.origin,
                rests_on=drop.items,
            )
        return check(entries, limit, drop, next_step="")
    share, clean = filter_fraction(drop.quantity, change), machine.oil.filter_drop_clean
    known = "" if clean is None else f", clean {entries.show(clean, 'pressure_difference')}"
    found = check(
        entries,
        limit,
        Reading.derived(share.to("percent"), drop.relative_to(change).u, drop),
        next_step="Change the filter before the shaft turns.",
        note=(
            f"{entries.show(drop.quantity, 'pressure_difference')} of"
            f" {entries.show(change, 'pressure_difference')}{known}."
        ),
    )
    if (
        clean is None
        or found.outcome is not Outcome.PASS
        or drop.quantity >= LEAST_OF_CLEAN * clean
    ):
        return found
    return replace(
        found,
        outcome=Outcome.UNPROVEN,
        sentence=f"{found.sentence} That is less than half the drop of a clean filter.",
        next_step="Check that the element is in place, the bypass is shut, and the gauge reads.",
    )


# --- the first stop, due at hand-over ------------------------------------------------------------


def _coast_down(limits: Limits, entries: Entries, oil: Oil) -> list[Verdict]:
    """Oil pressure through the run-down, and after the shaft has stopped."""
    limit = over_the_trip("lube.coast_down", "Oil pressure held through the coast-down", oil)
    down, record = oil.coast_down, oil.coast_record
    if down is None or record is None:
        return [replace(_by_hand(entries, oil, limit), gate="hand_over")]
    lowest, at_rest = record.pressure(down.minimum), entries.reading("at_rest")
    note = "The lowest while the shaft turned."
    if not down.stood:
        note += f" It was below the trip for {entries.show(down.time_below, 'time')}."
    held = check(
        entries,
        limit,
        lowest,
        next_step="The bearings ran without enough oil: stop, find the cause, inspect the"
        " bearings.",
        note=note,
        rests_on=("lube.stopped", "lube.at_rest", *typed(entries, ("lube.trip_setting",))),
    )
    after = check(
        entries,
        limits["lube.post_lube"],
        Reading.derived(
            down.post_lube_time, at_rest.u, record.figure(down.post_lube_time), at_rest
        ),
        next_step="Set the post-lube timer to the time in the sheet.",
    )
    return [replace(each, gate="hand_over") for each in (held, after)]


def _by_hand(entries: Entries, oil: Oil, limit: Limit) -> Verdict:
    """The lowest differential as typed in the stage Shut-down, where no record was pasted."""
    lowest = entries.of("shut_down").reading("oil_lowest")
    if lowest.quantity is None:
        return Verdict(
            key=limit.key,
            title=limit.title,
            outcome=Outcome.OPEN,
            sentence="No record from the first stop.",
            next_step="Record the differential from the stop until the shaft has stopped.",
            kind=limit.kind,
            low=limit.low,
            source=limit.origin,
            rests_on=("lube.coast_down", "shut_down.oil_lowest"),
        )
    return check(
        entries,
        limit,
        oil.zero.corrected(lowest),
        next_step=(
            "The bearings may have run without enough oil: find the cause, inspect the bearings and"
            " record the next stop."
        ),
        note="The lowest while the shaft turned, read by hand.",
    )
