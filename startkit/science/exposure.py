"""Exposure: what a refrigerant's safety group means, and how much of it the air may hold."""

from __future__ import annotations

from dataclasses import dataclass

from startkit.errors import ScienceError
from startkit.formula import Number, Value
from startkit.science.refrigerant_data import find
from startkit.units import quantities

CODE_SOURCE = "ASHRAE 34 as enacted in the International Mechanical Code, Table 1103.1"
MEMORY_SOURCE = "ASHRAE 34"
TOXICITY_BOUND = 400.0  # ppm; class B below it (ASHRAE 34 6.1.2, from memory)

TOXICITY = {
    "A": "lower toxicity (exposure limit of 400 ppm or more)",
    "B": "higher toxicity (exposure limit below 400 ppm)",
}
FLAMMABILITY = {
    "1": "no flame propagation",
    "2L": "flammable, burns slowly (10 cm/s or less)",
    "2": "flammable",
    "3": "highly flammable",
}


@dataclass(frozen=True)
class Exposure:
    """Limits of one refrigerant in air, and how well they are known.

    `oel` is the occupational exposure limit (8 h a day), `rcl` the refrigerant concentration limit
    that must not be exceeded
    where people are, as a volume share and as `rcl_mass`.
    """

    oel: Value
    rcl: Value
    rcl_mass: Value
    source: str
    standing: str


# Designation -> occupational exposure limit [ppm], concentration limit [ppm] and [g/m3], whether it
# was seen in the code's table.
# The others are from memory; the tests hold both columns of the concentration limit against each
# other by molar mass.
LIMITS: dict[str, tuple[float, float, float, bool]] = {
    "R-11": (1000, 1100, 6.2, True),
    "R-12": (1000, 18000, 90, True),
    "R-22": (1000, 59000, 210, True),
    "R-123": (50, 9100, 57, True),
    "R-134a": (1000, 50000, 210, True),
    "R-245fa": (300, 34000, 190, False),
    "R-1224yd(Z)": (1000, 60000, 360, False),
    "R-1233zd(E)": (800, 16000, 85, False),
    "R-1234yf": (500, 16000, 75, False),
    "R-1234ze(E)": (800, 16000, 75, False),
    "R-1336mzz(E)": (400, 7200, 48, False),
    "R-1336mzz(Z)": (500, 13000, 87, False),
    "R-450A": (880, 72000, 320, False),
    "R-500": (1000, 30000, 120, False),
    "R-513A": (650, 72000, 320, False),
    "R-514A": (320, 2400, 14, False),
    "R-515B": (810, 61000, 290, False),
}


@quantities({"oel": "ppm", "rcl": "ppm", "rcl_mass": "kilogram/meter**3"})
def exposure(refrigerant: str) -> Exposure:
    """Exposure and concentration limits of a refrigerant.

    Parameters
    ----------
    refrigerant : str
        As typed, see `refrigerant_data.find`.

    Returns
    -------
    Exposure
        `oel`, `rcl` [1, shown in ppm], `rcl_mass` [kg/m3].

    Raises
    ------
    ScienceError
        Not a refrigerant known here, or one without limits.

    Source: ASHRAE 34; standing and document are in the result.
    """
    name = find(refrigerant).name
    if name not in LIMITS:
        raise ScienceError(
            f"no exposure limits are on file for {name}",
            "exposure",
            "take them from its safety data sheet",
        )
    oel, rcl, rcl_mass, seen = LIMITS[name]
    return Exposure(
        oel,
        rcl,
        rcl_mass / 1000,
        CODE_SOURCE if seen else MEMORY_SOURCE,
        "secondary" if seen else "from memory",
    )


@quantities("dimensionless", mass="kilogram", volume="meter**3")
def share_of_limit(mass: Number, volume: Number, refrigerant: str) -> Number:
    """Concentration if a whole charge escapes into a room, as a share of the concentration limit.

    share = (m / V) / RCL

    Parameters
    ----------
    mass : Quantity
        Charge [kg].
    volume : Quantity
        Of the room [m3], unventilated.
    refrigerant : str

    Returns
    -------
    Quantity
        [1]; above 1 people must not be there, and a machinery room is asked for.

    Raises
    ------
    ScienceError
        No volume, a negative charge, or no limit known.

    Source: ASHRAE 15 and 34, concentration by even mixing.
    """
    if volume <= 0 or mass < 0:
        raise ScienceError(
            "the room has no volume, or the charge is below zero",
            "exposure",
            "enter charge and volume of the room",
        )
    return mass / volume / exposure.si(refrigerant).rcl_mass


def meaning(group: str) -> str:
    """A safety group in words: ``"A2L"`` -> ``"lower toxicity (...), flammable, burns slowly (10
    cm/s or less)"``.

    Source: ASHRAE 34 6.1 (from memory).
    """
    letter, digit = group[:1], group[1:]
    if letter not in TOXICITY or digit not in FLAMMABILITY:
        raise ScienceError(
            f"{group!r} is not a safety group", "exposure", "use A or B with 1, 2L, 2 or 3"
        )
    return f"{TOXICITY[letter]}, {FLAMMABILITY[digit]}"
