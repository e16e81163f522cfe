"""Symptoms of a running machine: what approaches, superheat and subcooling together point to.

A table of causes with the signs they leave. A sign counts only where it is outside its usual band
by its own uncertainty; an undetermined sign leaves open every cause that depends on it. The result
is a list of candidates to check, never a finding.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from startkit.errors import ScienceError
from startkit.formula import Number
from startkit.units import quantities

GUARD = 2.0  # standard uncertainties by which a sign must leave its usual band
HIGH, USUAL, LOW = 1, 0, -1
SIGNS = ("condenser approach", "subcooling", "evaporator approach", "suction superheat")


@dataclass(frozen=True)
class Cause:
    """A cause and the signs it leaves: allowed values by sign, those that make it likely, and the
    check that distinguishes it from the others.
    """

    name: str
    needs: Mapping[str, int]
    allows: Mapping[str, tuple[int, ...]]
    tells: str


# Common practice, no source. Air adds its partial pressure to the condenser's: the saturation
# temperature read off the gauge is too high, so that approach and subcooling seem to grow together.
# A deposit or too little water raises the approach alone. A liquid level that is too high covers
# condenser tubes, which cool the liquid.
CAUSES: tuple[Cause, ...] = (
    Cause(
        "air or nitrogen in the condenser",
        {"condenser approach": HIGH, "subcooling": HIGH},
        {"evaporator approach": (LOW, USUAL)},
        "stop, keep the condenser water running, and compare the saturation temperature with the"
        " water's",
    ),
    Cause(
        "too much refrigerant, condenser tubes under liquid",
        {"condenser approach": HIGH, "subcooling": HIGH},
        {"suction superheat": (LOW, USUAL)},
        "at standstill, compare condenser saturation with the water temperature: if they agree"
        " there is no air; then weigh the charge",
    ),
    Cause(
        "condenser tubes fouled, or too little condenser water",
        {"condenser approach": HIGH},
        {"subcooling": (USUAL, LOW)},
        "measure the flow, then inspect the tubes",
    ),
    Cause(
        "too little refrigerant",
        {"evaporator approach": HIGH, "suction superheat": HIGH},
        {"subcooling": (LOW, USUAL), "condenser approach": (LOW, USUAL)},
        "check the evaporator level, leak-test, weigh the charge",
    ),
    Cause(
        "evaporator tubes fouled, oil in the evaporator, or too little chilled water",
        {"evaporator approach": HIGH},
        {"suction superheat": (USUAL, LOW)},
        "measure the flow; sample the evaporator for oil",
    ),
    Cause(
        "liquid carry-over to the compressor",
        {"suction superheat": LOW},
        {"evaporator approach": (LOW, USUAL, HIGH)},
        "check discharge superheat and the evaporator level",
    ),
    Cause(
        "gas leaving the condenser with the liquid",
        {"subcooling": LOW},
        {"evaporator approach": (LOW, USUAL, HIGH)},
        "check the condenser level and the float or valve downstream",
    ),
)


@dataclass(frozen=True)
class Candidate:
    """One cause that the signs point to, or cannot rule out.

    Parameters
    ----------
    name : str
    likely : bool
        True if every sign it needs is there; False if one of them is undetermined.
    because : tuple of str
        The signs that point to it.
    untold : tuple of str
        Signs that are undetermined.
    tells : str
        The check that would decide.
    """

    name: str
    likely: bool
    because: tuple[str, ...]
    untold: tuple[str, ...]
    tells: str


@quantities(None, value="delta_degC", u="delta_degC", low="delta_degC", high="delta_degC")
def sign(
    value: Number, u: Number = 0.0, low: Number | None = None, high: Number | None = None
) -> int | None:
    """Where a reading is relative to its usual band: 1 above, -1 below, 0 inside, None if its
    uncertainty leaves that open.

    above if value - 2 u > high;  below if value + 2 u < low;  inside if low + 2 u <= value <= high
    - 2 u, or if the band is too narrow for that, low <= value <= high

    Parameters
    ----------
    value : pint.Quantity
        [temperature difference]
    u : pint.Quantity
        Standard uncertainty [temperature difference].
    low, high : pint.Quantity or None
        Usual band [temperature difference]; None does not bind.

    Raises
    ------
    ScienceError
        The band has no end, or its ends are the wrong way round.

    Source: guard band as in `startkit.verdict`, ILAC-G8:09/2019.
    """
    if (low is None and high is None) or (low is not None and high is not None and low > high):
        raise ScienceError(
            "a usual band needs an end, the lower below the higher",
            "symptoms.sign",
            "correct it in the sheet",
        )
    guard = GUARD * u
    if high is not None and value - guard > high:
        return HIGH
    if low is not None and value + guard < low:
        return LOW
    narrow = low is not None and high is not None and high - low < 2 * guard
    inside = (low is None or value >= low + guard) and (high is None or value <= high - guard)
    between = (low is None or value >= low) and (high is None or value <= high)
    return USUAL if inside or (narrow and between) else None


def candidates(signs: Mapping[str, int | None]) -> tuple[Candidate, ...]:
    """Causes that these signs speak for or leave open, the likely ones first.

    Parameters
    ----------
    signs : mapping
        From `SIGNS` to what `sign` returned; a missing one is undetermined.

    Raises
    ------
    ScienceError
        A sign has another name.

    Source: common practice, no source.
    """
    unknown = [name for name in signs if name not in SIGNS]
    if unknown:
        raise ScienceError(
            f"{unknown[0]!r} is not a sign", "symptoms.candidates", f"use {', '.join(SIGNS)}"
        )
    found = [each for cause in CAUSES if (each := _weighed(cause, signs)) is not None]
    return tuple(sorted(found, key=lambda each: not each.likely))


_WORDS = {HIGH: "high", LOW: "low", USUAL: "usual"}


def _weighed(cause: Cause, signs: Mapping[str, int | None]) -> Candidate | None:
    """The cause as a candidate; None if a sign contradicts it, or none points to it."""
    there = [name for name, due in cause.needs.items() if signs.get(name) == due]
    against = [name for name, due in cause.needs.items() if signs.get(name) not in (due, None)]
    against += [
        name
        for name, allowed in cause.allows.items()
        if signs.get(name) is not None and signs[name] not in allowed
    ]
    if against or not there:
        return None
    untold = tuple(name for name in cause.needs if signs.get(name) is None)
    because = tuple(
        f"{name} {_WORDS[side]}"
        for name in (*cause.needs, *cause.allows)
        if (side := signs.get(name)) is not None
    )
    return Candidate(cause.name, not untold, because, untold, cause.tells)
