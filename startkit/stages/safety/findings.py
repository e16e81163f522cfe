"""Figures and remarks of the stage Safety."""

from __future__ import annotations

from startkit.errors import StartkitError
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.stage import Figure
from startkit.science.exposure import Exposure, meaning, share_of_limit
from startkit.stages.safety.readings import charge, emergency_needed
from startkit.units import IP, SI


def figures(machine: Machine, entries: Entries, known: Exposure | None) -> tuple[Figure, ...]:
    """Safety group, exposure limits, exhaust needed, and an escaped charge against the limit."""
    forms = ((SI, "0.07 √G, G in kg"), (IP, "100 √G cfm, G in lb"))
    exhausts = (
        (f"Emergency exhaust needed, {form} form", emergency_needed(machine, entries, form), note)
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
    memory = ", from memory: check against the standard"
    told = f"{known.source}{memory if known.standing == 'from memory' else ''}"
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


def hazards(machine: Machine) -> tuple[str, ...]:
    """What the refrigerant's safety group means for people in the room, one sentence each."""
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
