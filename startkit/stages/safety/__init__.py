"""Safety: cautions, the machinery room's ventilation and detector, and what must be confirmed by
name.
"""

from __future__ import annotations

import pint

from startkit.errors import StartkitError
from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.procedure import cautions
from startkit.procedure.entries import Entries
from startkit.procedure.judging import check
from startkit.procedure.reading import Reading
from startkit.procedure.stage import Field, Figure, Findings, Stage
from startkit.science.exposure import Exposure, exposure, meaning, share_of_limit
from startkit.science.ventilation import (
    emergency_exhaust,
    exhaust_margin,
    heat_exhaust,
    normal_exhaust,
)
from startkit.units import IP, SI
from startkit.verdict import Outcome, Verdict

FORMS = {"SI: 0.07 √kg, in m³/s": SI, "I-P: 100 √lb, in cfm": IP}

FIELDS = (
    Field(
        "room_charge",
        "Charge of the largest system in the machinery room",
        "mass",
        "Every system with any part in the room counts. Left empty, the charge in the sheet is"
        " used.",
        required=False,
        plausible=("20 kg", "10000 kg"),
        group="Machinery room",
    ),
    Field(
        "exhaust_form",
        "Form of the square-root rule that the local code prints",
        "choice",
        "They differ by a thousandth; left empty, that of the job's units is used.",
        required=False,
        choices=tuple(FORMS),
        group="Machinery room",
    ),
    Field(
        "emergency_installed",
        "Emergency exhaust as measured",
        "air_flow",
        "By the balancer, with doors shut; not the figure on the fan's plate.",
        plausible=("0.1 m³/s", "60 m³/s"),
        group="Machinery room",
    ),
    Field(
        "normal_installed",
        "Normal exhaust as measured",
        "air_flow",
        "The ventilation that runs while people are in the room.",
        required=False,
        plausible=("0.02 m³/s", "60 m³/s"),
        group="Machinery room",
    ),
    Field(
        "people_in_room",
        "People in the room at most",
        "count",
        required=False,
        plausible=("0", "50"),
        group="Machinery room",
    ),
    Field(
        "room_heat",
        "Heat given off into the room",
        "power",
        "Motors, drives, panels. Left empty, the rise of temperature is not looked at.",
        required=False,
        plausible=("0.1 kW", "500 kW"),
        group="Machinery room",
    ),
    Field(
        "room_volume",
        "Volume of the machinery room",
        "loop_volume",
        required=False,
        plausible=("20 m³", "50000 m³"),
        group="Machinery room",
    ),
    Field(
        "detector_alarm",
        "Refrigerant detector alarms at",
        "concentration",
        "The set point as read at the detector or its panel.",
        plausible=("5 ppm", "2000 ppm"),
        group="Detector",
    ),
)


def judge(machine: Machine, limits: Limits, entries: Entries) -> Findings:
    """Ventilation against the rule, detector against the refrigerant's exposure limit."""
    known, remarks = _exposure(machine)
    return Findings(
        figures=entries.if_shown(_figures, machine, entries, known),
        verdicts=(
            _emergency(machine, limits, entries),
            *_normal(machine, limits, entries),
            _detector(limits, entries, known),
        ),
        remarks=(*remarks, *_hazards(machine)),
    )


def _exposure(machine: Machine) -> tuple[Exposure | None, tuple[str, ...]]:
    try:
        return exposure(machine.machine.refrigerant), ()
    except StartkitError as error:
        return None, (str(error),)


def charge(machine: Machine, entries: Entries) -> pint.Quantity | None:
    """Charge of the largest system in the room: as entered, else the sheet's."""
    entered = entries.quantity("room_charge")
    return machine.machine.refrigerant_charge if entered is None else entered


# --- ventilation -------------------------------------------------------------------------------


def _needed(machine: Machine, entries: Entries, form: str) -> pint.Quantity | None:
    mass = charge(machine, entries)
    return None if mass is None else emergency_exhaust(mass, form)


def _form(entries: Entries) -> str:
    return FORMS.get(entries.text("exhaust_form"), entries.job.system)


def _emergency(machine: Machine, limits: Limits, entries: Entries) -> Verdict:
    limit, installed = limits["safety.emergency_exhaust"], entries.reading("emergency_installed")
    needed = _needed(machine, entries, _form(entries))
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
    installed, needed = entries.reading("normal_installed"), _normal_needed(machine, entries)
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


def _normal_needed(machine: Machine, entries: Entries) -> pint.Quantity | None:
    area, heat, people = (
        machine.site.machinery_room_area,
        entries.quantity("room_heat"),
        entries.quantity("people_in_room"),
    )
    needed = [heat_exhaust(heat)] if heat is not None else []
    if area is not None:
        needed.append(
            normal_exhaust(
                area, 0 if people is None else round(people.to("dimensionless").magnitude)
            )
        )
    return max(needed) if needed else None


# --- detector and refrigerant --------------------------------------------------------------------


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


def _figures(machine: Machine, entries: Entries, known: Exposure | None) -> tuple[Figure, ...]:
    forms = ((SI, "0.07 √G, G in kg"), (IP, "100 √G cfm, G in lb"))
    exhausts = (
        (f"Emergency exhaust needed, {form} form", _needed(machine, entries, form), note)
        for form, note in forms
    )
    return (
        *_refrigerant(machine, known),
        *(
            Figure(label, value, "air_flow", note=note, digits=3 if entries.job.system == SI else 0)
            for label, value, note in exhausts
            if value is not None
        ),
        *_in_the_room(machine, entries, known),
    )


def _refrigerant(machine: Machine, known: Exposure | None) -> tuple[Figure, ...]:
    from startkit.science.refrigerant import safety_group

    if known is None:
        return ()
    told = f"{known.source}{', from memory: check against the standard' if known.standing == 'from memory' else ''}"
    return (
        Figure(
            "Safety group",
            safety_group(machine.machine.refrigerant),
            note="ASHRAE 34, from memory: check against the standard",
        ),
        Figure("Exposure limit", known.oel, "concentration", note=told),
        Figure("Concentration limit", known.rcl, "concentration", note=told),
    )


def _in_the_room(machine: Machine, entries: Entries, known: Exposure | None) -> tuple[Figure, ...]:
    """What a whole charge would make of the room's air: a measure of the hazard, not a verdict."""
    mass, volume = charge(machine, entries), entries.quantity("room_volume")
    if known is None or mass is None or volume is None or volume.magnitude <= 0:
        return ()
    share = share_of_limit(mass, volume, machine.machine.refrigerant)
    return (
        Figure(
            "If the whole charge escaped",
            share,
            "ratio",
            note="times the concentration limit, evenly mixed and unventilated",
            digits=1,
        ),
    )


def _hazards(machine: Machine) -> tuple[str, ...]:
    from startkit.science.refrigerant import canonical, safety_group

    try:
        name, group = (
            canonical(machine.machine.refrigerant),
            safety_group(machine.machine.refrigerant),
        )
    except StartkitError:
        return ()
    told = [f"{name} is {group}: {meaning(group)}."]
    if not group.endswith("1"):
        told.append(
            "It burns: no flame, no hot surface and no unrated switch in the room; local code asks"
            " more of such a room."
        )
    if group.startswith("B"):
        told.append(
            "It is toxic at low concentrations: breathing protection within reach outside the door."
        )
    return tuple(told)


STAGE = Stage(
    "safety",
    "Safety",
    "Whether people can work on this machine without being hurt: room, detector, lock-out, and who"
    " has confirmed what.",
    FIELDS,
    judge,
    before="oil_pump",
    order=20,
    cautions=(
        cautions.STORED_ENERGY,
        cautions.LIVE_PANELS,
        cautions.ROTATING,
        cautions.REFRIGERANT,
        cautions.PRESSURE_TEST,
        cautions.LIFTING,
    ),
)
