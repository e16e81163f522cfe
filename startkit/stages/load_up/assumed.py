"""What the figures under load take for granted, each with its uncertainty: the heat that the
liquids carry, and the share of the input power that reaches the refrigerant.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from startkit.errors import StartkitError
from startkit.facts.machine import Machine
from startkit.procedure.circuits import flowing
from startkit.procedure.entries import Entries
from startkit.procedure.reading import Reading
from startkit.procedure.selection import liquid_of
from startkit.science.water import (
    GLYCOL_CP_U,
    WATER_CP_U,
    Liquid,
    density,
    heat_capacity,
)
from startkit.units import Q

CHILLED, CONDENSER, POWER = "chilled_heat", "condenser_heat", "power_share"
SIDES = {"evaporator": CHILLED, "condenser": CONDENSER}

# Share of glycol that nobody measured: within 2 points of the sheet. Own default.
SHARE_U = 0.02 / 3**0.5
# Losses of the input power that reach neither refrigerant nor condenser water, lowest and highest,
# where the sheet gives none. Own defaults: a drive may be cooled by the machine or by the room.
DRIVE_LOSS = (0.0, 0.03)
MOTOR_EFFICIENCY, MOTOR_WITHIN, STATED_WITHIN = 0.95, 0.02, 0.005


@dataclass(frozen=True)
class Loss:
    """One loss on the way from the input power to the refrigerant: share that goes on, within."""

    name: str
    passes: float
    within: float
    source: str


def losses(machine: Machine) -> tuple[Loss, ...]:
    """Drive, motor of an open machine, gear and oil cooler, as far as the machine has them."""
    motor, found = machine.motor, []
    if motor.drive_loss is not None:
        lost = float(motor.drive_loss.to("dimensionless").magnitude)
        found.append(Loss("drive", 1 - lost, STATED_WITHIN, "sheet"))
    elif motor.kind_of_starter.code == "drive":
        low, high = DRIVE_LOSS
        found.append(Loss("drive", 1 - (low + high) / 2, (high - low) / 2, "own default"))
    if machine.machine.drive == "open":
        stated = motor.efficiency
        share = MOTOR_EFFICIENCY if stated is None else float(stated.to("").magnitude)
        within, source = (
            (MOTOR_WITHIN, "own default") if stated is None else (STATED_WITHIN, "sheet")
        )
        found.append(Loss("motor", share, within, source))
    if motor.gear_loss is not None:
        lost = float(motor.gear_loss.to("dimensionless").magnitude)
        found.append(Loss("gear and oil cooler", 1 - lost, STATED_WITHIN, "sheet"))
    return tuple(found)


def assumed(machine: Machine, water: Entries) -> dict[str, Reading]:
    """What the formulas need besides readings, by name: value and standard uncertainty."""
    share = values(machine)[POWER]
    u = share * sum((loss.within / loss.passes) ** 2 / 3 for loss in losses(machine)) ** 0.5
    return {
        **{name: _heat(machine, water, side) for side, name in SIDES.items()},
        POWER: Reading.derived(Q(share, "dimensionless"), Q(u, "dimensionless")),
    }


def values(machine: Machine) -> dict[str, float]:
    """The values alone, for a whole trend."""
    return {CHILLED: 1.0, CONDENSER: 1.0, POWER: math.prod(x.passes for x in losses(machine))}


def told(machine: Machine) -> str:
    """One sentence on the losses, for the record; empty where none is counted."""
    found = losses(machine)
    if not found:
        return ""
    parts = "; ".join(
        f"{loss.name} {100 * loss.passes:.1f} ± {100 * loss.within:.1f} % ({loss.source})"
        for loss in found
    )
    return f" Share of the input power that is taken to reach refrigerant or water: {parts}."


def measured_liquid(machine: Machine, water: Entries, side: str) -> Liquid:
    """What flows: as entered in Water, else as in the sheet.

    Raises
    ------
    ScienceError
        The sheet names a liquid that is not known.
    """
    due = liquid_of(getattr(machine, side))
    try:
        seen = flowing(water, side)
    except StartkitError:
        return due
    return due if seen is None else seen


def _heat(machine: Machine, water: Entries, side: str) -> Reading:
    """Heat carried by a volume of the liquid, over that of its tables: 1 with its uncertainty."""
    of = measured_liquid(machine, water, side)
    if of.name == "water":
        return Reading.derived(Q(1.0, "dimensionless"), Q(WATER_CP_U, "dimensionless"))
    share = water.reading(f"{side}_share")
    u_share = SHARE_U if share.u is None else float(share.u.to("dimensionless").magnitude)
    slope = (_carried(of, 0.01) / _carried(of, -0.01) - 1) / 0.02
    u = float(((slope * u_share) ** 2 + GLYCOL_CP_U**2) ** 0.5)
    return Reading.derived(Q(1.0, "dimensionless"), Q(u, "dimensionless"))


def _carried(of: Liquid, more: float) -> float:
    shifted = replace(of, fraction=of.fraction + more)
    at = 288.15
    return float(density.si(at, shifted) * heat_capacity.si(at, shifted))
