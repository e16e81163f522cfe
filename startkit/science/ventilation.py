"""Ventilation: the air that must leave a refrigerating machinery room, when all is well and when it
is not.
"""

from __future__ import annotations

import math

from startkit.errors import ScienceError
from startkit.formula import Number
from startkit.units import quantities

EMERGENCY_SOURCE = (
    "ASHRAE 15, square-root rule, as enacted in New York MC 1105.6.3.2 and Chicago 18-28-1105.8.4"
)
NORMAL_SOURCE = "ASHRAE 15 as enacted in Chicago 18-28-1105.8"

SI_FACTOR = 0.07  # m3/s from kg
IP_FACTOR = 100.0  # cfm from lb
AREA_RATE = 0.0025  # m3/s for each m2; 0.5 cfm/ft2
PERSON_RATE = 0.009  # m3/s for each person; 20 cfm
TEMPERATURE_RISE = 10.0  # K allowed over the air outside
_POUND = 0.45359237
_CFM = 0.3048**3 / 60


@quantities("meter**3/second", mass="kilogram")
def emergency_exhaust(mass: Number, form: str = "SI") -> Number:
    """Air flow that the machinery room's emergency exhaust must move.

    SI: Q = 0.07 sqrt(G);  I-P: Q = 100 sqrt(G), cfm and lb

    Parameters
    ----------
    mass : Quantity
        Design charge G of the largest system with any part in the room [kg].
    form : str
        ``"SI"`` or ``"I-P"``: they differ by 0.1 %; take the one that the local code prints.

    Returns
    -------
    Quantity
        [m3/s].

    Raises
    ------
    ScienceError
        Negative charge or unknown form.

    Source: see `EMERGENCY_SOURCE`. The rule knows neither the refrigerant nor the room: local code
    decides.

    Examples
    --------
    >>> from startkit.units import Q
    >>> round(emergency_exhaust(Q(2000, "lb"), "I-P").to("foot**3/minute").magnitude)
    4472
    """
    if mass < 0 or form not in ("SI", "I-P"):
        raise ScienceError(
            f"no exhaust follows from {mass:g} kg in form {form!r}",
            "emergency exhaust",
            "enter the charge, and SI or I-P",
        )
    return (
        SI_FACTOR * math.sqrt(mass) if form == "SI" else IP_FACTOR * math.sqrt(mass / _POUND) * _CFM
    )


@quantities("meter**3/second", area="meter**2")
def normal_exhaust(area: Number, people: int = 0) -> Number:
    """Air flow while the room is occupied, without regard to its heat.

    Q = max(0.0025 A, 0.009 N)

    Parameters
    ----------
    area : Quantity
        Floor of the machinery room [m2].
    people : int
        In the room.

    Returns
    -------
    Quantity
        [m3/s].

    Source: see `NORMAL_SOURCE` (0.5 cfm/ft2 or 20 cfm a person).
    """
    return max(AREA_RATE * area, PERSON_RATE * people)


@quantities(
    "meter**3/second",
    heat="watt",
    rise="delta_degC",
    density="kilogram/meter**3",
    heat_capacity="joule/kilogram/delta_degC",
)
def heat_exhaust(
    heat: Number,
    rise: Number = TEMPERATURE_RISE,
    density: Number = 1.2,
    heat_capacity: Number = 1006.0,
) -> Number:
    """Air flow that holds the room's temperature rise.

    Q = P / (rho cp dT)

    Parameters
    ----------
    heat : Quantity
        Given off into the room [W].
    rise : Quantity, optional
        Over the air outside [K]; 10 K by the code.
    density, heat_capacity : Quantity, optional
        Of air [kg/m3], [J/kg K]; 1.2 and 1006 near sea level.

    Returns
    -------
    Quantity
        [m3/s].

    Raises
    ------
    ScienceError
        No rise.

    Source: heat balance; the rise from `NORMAL_SOURCE`.
    """
    if rise <= 0:
        raise ScienceError(
            "no temperature rise is allowed",
            "machinery room",
            "enter the rise that the code allows",
        )
    return heat / (density * heat_capacity * rise)
