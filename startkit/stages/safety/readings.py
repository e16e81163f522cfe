"""What the stage Safety reads: charge, air flow needed, and the refrigerant's exposure limits."""

from __future__ import annotations

import pint

from startkit.errors import StartkitError
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.science.exposure import Exposure, exposure
from startkit.science.ventilation import (
    emergency_exhaust,
    heat_exhaust,
    normal_exhaust,
)
from startkit.stages.safety.fields import FORMS


def exposure_limits(machine: Machine) -> tuple[Exposure | None, tuple[str, ...]]:
    """The refrigerant's exposure limits, and a remark if none are known."""
    try:
        return exposure(machine.machine.refrigerant), ()
    except StartkitError as error:
        return None, (str(error),)


def charge(machine: Machine, entries: Entries) -> pint.Quantity | None:
    """Charge of the largest system in the room: as entered, and never less than the sheet's."""
    known = (entries.quantity("room_charge"), machine.machine.refrigerant_charge)
    return max((each for each in known if each is not None), default=None)


def emergency_needed(machine: Machine, entries: Entries, form: str) -> pint.Quantity | None:
    """Emergency exhaust that the charge calls for; None while the charge is not known."""
    mass = charge(machine, entries)
    return None if mass is None else emergency_exhaust(mass, form)


def form(entries: Entries) -> str:
    """Form of the square-root rule that was chosen, else that of the job's units."""
    return FORMS.get(entries.code("exhaust_form"), entries.job.system)


def normal_needed(machine: Machine, entries: Entries) -> pint.Quantity | None:
    """Normal exhaust that floor area, people and heat call for; None if none of them is known."""
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
