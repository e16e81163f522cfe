"""Verdicts of the stage Safety: ventilation and detector."""

from __future__ import annotations

import pint

from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.judging import check
from startkit.procedure.reading import Reading
from startkit.science.exposure import Exposure
from startkit.science.ventilation import (
    exhaust_margin,
)
from startkit.stages.safety.readings import charge, emergency_needed, form, normal_needed
from startkit.verdict import Outcome, Verdict


def judged(
    machine: Machine, limits: Limits, entries: Entries, known: Exposure | None
) -> tuple[Verdict, ...]:
    """Emergency and normal exhaust, detector."""
    return (
        _emergency(machine, limits, entries),
        *_normal(machine, limits, entries),
        _detector(limits, entries, known),
    )


def _emergency(machine: Machine, limits: Limits, entries: Entries) -> Verdict:
    limit, installed = limits["safety.emergency_exhaust"], entries.reading("emergency_installed")
    needed = emergency_needed(machine, entries, form(entries))
    if needed is None or needed.magnitude == 0:
        return Verdict(
            key=limit.key,
            title=limit.title,
            outcome=Outcome.OPEN,
            sentence="The refrigerant charge is not known.",
            next_step="Enter the charge of the largest system in the room.",
            source=limit.origin,
        )
    note = (
        ""
        if installed.quantity is None
        else (
            f"Installed {entries.show(installed.quantity, 'air_flow')}, needed"
            f" {entries.show(needed, 'air_flow')} for"
            f" {entries.show(charge(machine, entries), 'mass', 0)}."
        )
    )
    return check(
        entries,
        limit,
        _share(installed, needed),
        next_step=(
            "Do not handle refrigerant before the exhaust is large enough; local code decides."
        ),
        note=note,
    )


def _share(installed: Reading, needed: pint.Quantity) -> Reading:
    """What is installed in percent of what is needed, with the uncertainty of the air flow's
    instrument.
    """
    if installed.quantity is None:
        return installed
    u = None if installed.u is None else (installed.u / needed).to("percent")
    return Reading(
        installed.what,
        installed.text,
        (1 + exhaust_margin(installed.quantity, needed)).to("percent"),
        u,
        untrusted=installed.untrusted,
    )


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
            _share(installed, needed),
            next_step="Have the ventilation enlarged; local code decides.",
            note=note,
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
        )
    u = None if alarm.u is None else (alarm.u / known.oel).to("percent")
    share = Reading(
        alarm.what,
        alarm.text,
        (alarm.quantity / known.oel).to("percent"),
        u,
        untrusted=alarm.untrusted,
    )
    return check(
        entries,
        limit,
        share,
        next_step="Set the alarm lower and try it again with test gas.",
        note=(
            f"Alarm at {entries.show(alarm.quantity, 'concentration')}, exposure limit"
            f" {entries.show(known.oel, 'concentration')}."
        ),
    )
