"""Usual ranges of readings: fixed, about a figure of the machine's sheet, or what a kind allows."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

import pint

from startkit.errors import StartkitError
from startkit.facts.machine import Machine
from startkit.units import KINDS, Q, parse, show

Range = tuple[pint.Quantity, pint.Quantity]
OfMachine = Callable[[Machine], Range | None]
Usual = tuple[str, str] | OfMachine


class Ranged(Protocol):
    """A field or column: a kind of reading, and its usual range."""

    @property
    def kind(self) -> str: ...

    @property
    def plausible(self) -> Usual | None: ...


# What cannot be less than nothing; common practice, no source.
NEVER_NEGATIVE = frozenset(
    {
        "air_flow",
        "area",
        "barometer",
        "clearance",
        "concentration",
        "cooling",
        "count",
        "current",
        "flow",
        "frequency",
        "hours",
        "insulation",
        "length",
        "loop_volume",
        "mass",
        "minutes",
        "power",
        "pressure",
        "pressure_drop",
        "resistance",
        "speed",
        "time",
        "torque",
        "vacuum",
        "vibration",
        "voltage",
        "volume",
        "yearly_mass",
    }
)


def about(
    figure: Callable[[Machine], pint.Quantity | None], least: float, most: float
) -> OfMachine:
    """The range from `least` to `most` times a figure of the sheet; none where the sheet lacks it.

    Parameters
    ----------
    figure : callable
        ``figure(machine)``, [unit of the field's kind, no temperature].
    least, most : float
        Factors.
    """

    def usual(machine: Machine) -> Range | None:
        found = figure(machine)
        return None if found is None else (least * found, most * found)

    return usual


def near(
    figure: Callable[[Machine], pint.Quantity | None], below: float, above: float
) -> OfMachine:
    """The range about a temperature of the sheet, from so many kelvins below to so many above."""

    def usual(machine: Machine) -> Range | None:
        found = figure(machine)
        if found is None:
            return None
        kelvins = found.to("kelvin").magnitude
        return Q(kelvins - below, "kelvin"), Q(kelvins + above, "kelvin")

    return usual


def outside_usual(
    quantity: pint.Quantity,
    declared: Ranged,
    machine: Machine,
    system: str,
    barometer: pint.Quantity | None,
) -> str:
    """That a reading is outside its plausible range, in words; empty if it is not.

    Parameters
    ----------
    quantity : pint.Quantity
        The reading [unit of the field's kind].
    declared : Field or Column
        Where it was entered; its `plausible` range is the usual one.
    machine : Machine
    system : str
        Units of the text, ``"SI"`` or ``"I-P"``.
    barometer : pint.Quantity or None
        Pressure of the air [pressure], for gauge pressures.
    """
    if declared.kind in NEVER_NEGATIVE and quantity.magnitude < 0:
        return "less than nothing: check its sign"
    try:
        usual = _range(declared, machine, barometer)
    except StartkitError:  # an impossible barometer reading; its own verdict reports it
        return ""
    if usual is None or usual[0] <= quantity <= usual[1]:
        return ""
    shown = " to ".join(show(side, declared.kind, system, barometer) for side in usual)
    return f"outside the usual {shown}: check the reading and its unit"


def _range(declared: Ranged, machine: Machine, barometer: pint.Quantity | None) -> Range | None:
    usual = declared.plausible
    if usual is None or callable(usual):
        return None if usual is None else usual(machine)
    low, high = (parse(text, declared.kind, barometer=barometer) for text in usual)
    return low, high


assert set(KINDS) >= NEVER_NEGATIVE
