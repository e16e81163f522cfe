"""Verdicts of the stage Safety: ventilation and detector."""

from __future__ import annotations

from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.judging import check
from startkit.science.exposure import Exposure
from startkit.stages.safety.readings import charge, emergency_needed, form, normal_needed
from startkit.verdict import Outcome, Verdict


def judged(
    machine: Machine, limits: Limits, entries: Entries, known: Exposure | None
) -> tuple[Verdict, ...]:
    """Charge in the room, emergency and normal exhaust, detector."""
    return (
        *_room_charge(machine, limits, entries),
        _emergency(machine, limits, entries),
        *_normal(machine, limits, entries),
        _detector(limits, entries, known),
    )


def _room_charge(machine: Machine, limits: Limits, entries: Entries) -> tuple[Verdict, ...]:
    """The largest system in the room holds no less than this machine."""
    entered, own = entries.reading("room_charge"), machine.machine.refrigerant_charge
    if not entered.taken or own is None:
        return ()
    return (
        check(
            entries,
            limits["safety.room_charge"],
            entered.exact().share_of(own),
            next_step="Enter the charge of the largest system in the room; this machine counts.",
            note=f"The sheet gives this machine {entries.show(own, 'mass', 0)}.",
        ),
    )


def _emergency(machine: Machine, limits: Limits, entries: Entries) -> Verdict:
    limit, installed = limits["safety.emergency_exhaust"], entries.reading("emergency_installed")
    needed, mass = emergency_needed(machine, entries, form(entries)), charge(machine, entries)
    if needed is None or needed.magnitude == 0:
        return Verdict(
            key=limit.key,
            title=limit.title,
            outcome=Outcome.OPEN,
            sentence="The refrigerant charge is not known.",
            next_step="Enter the charge of the largest system in the room.",
            source=limit.origin,
            rests_on=(*installed.items, "safety.room_charge"),
        )
    return check(
        entries,
        limit,
        installed.share_of(needed),
        next_step=(
            "Do not handle refrigerant before the exhaust is large enough; local code decides."
        ),
        note=(
            ""
            if installed.quantity is None
            else f"Installed {entries.show(installed.quantity, 'air_flow')}, needed"
            f" {entries.show(needed, 'air_flow')} for {entries.show(mass, 'mass', 0)}."
        ),
        rests_on=_entered(entries, "room_charge", "exhaust_form"),
    )


def _entered(entries: Entries, *names: str) -> tuple[str, ...]:
    """Items of these fields that were filled."""
    return tuple(r.what for r in map(entries.reading, names) if r.taken)


def _normal(machine: Machine, limits: Limits, entries: Entries) -> tuple[Verdict, ...]:
    """Judged only where it was measured and the room's floor or heat is known."""
    installed, needed = entries.reading("normal_installed"), normal_needed(machine, entries)
    if not installed.taken or needed is None:
        return ()
    note = (
        ""
        if installed.quantity is None
        else (
            f"Installed {entries.show(installed.quantity, 'air_flow')}, needed"
            f" {entries.show(needed, 'air_flow')}."
        )
    )
    return (
        check(
            entries,
            limits["safety.normal_exhaust"],
            installed.share_of(needed),
            next_step="Have the ventilation enlarged; local code decides.",
            note=note,
            rests_on=_entered(entries, "room_heat", "people_in_room"),
        ),
    )


def _detector(limits: Limits, entries: Entries, known: Exposure | None) -> Verdict:
    limit, alarm = limits["safety.detector_alarm"], entries.reading("detector_alarm")
    if alarm.quantity is None:
        return check(entries, limit, alarm, next_step="")
    if known is None:
        return Verdict(
            key=limit.key,
            title=limit.title,
            outcome=Outcome.UNPROVEN,
            sentence=f"{entries.show(alarm.quantity, 'concentration')}; no exposure limit is known"
            " for this"
            " refrigerant.",
            next_step="Take it from the safety data sheet, and waive with it as the reason.",
            source=limit.origin,
            rests_on=alarm.items,
        )
    return check(
        entries,
        limit,
        alarm.share_of(known.oel),
        next_step="Set the alarm lower and try it again with test gas.",
        note=(
            f"Alarm at {entries.show(alarm.quantity, 'concentration')}, exposure limit"
            f" {entries.show(known.oel, 'concentration')}."
        ),
    )
