"""Variable-speed oil pump: the speed that the set point takes, kept to be compared at the next
visit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from startkit.errors import ScienceError
from startkit.formula import Number, Value
from startkit.units import quantities

MOVED, NOT_MOVED, CANNOT_TELL = "moved", "not moved", "inconclusive"


@dataclass(frozen=True)
class PumpComparison:
    """Pump speed now against the speed that the baseline promises at today's viscosity.

    Parameters
    ----------
    expected_low, expected_high : pint.Quantity
        [frequency] between which the speed should be if nothing changed.
    difference, u_difference : pint.Quantity
        [frequency] speed now less the middle of that range, and its standard uncertainty.
    outcome : str
        ``"moved"``, ``"not moved"`` or ``"inconclusive"``.
    candidates : tuple of str
        What may have moved it; empty unless it moved.
    """

    expected_low: Value
    expected_high: Value
    difference: Value
    u_difference: Value
    outcome: str
    candidates: tuple[str, ...]


_FASTER = (
    "pump or bearing wear",
    "refrigerant diluting the oil below its sheet viscosity",
    "a relief or regulating valve passing",
    "oil of a lighter grade than on the sheet",
    "a leak between pump and gauge",
)
_SLOWER = (
    "a restriction downstream of the pump",
    "oil of a heavier grade than on the sheet",
    "oil colder at the pump than at the thermometer",
)


@quantities(
    ("hertz", "hertz"),
    baseline_speed="hertz",
    baseline_viscosity="meter**2/second",
    viscosity="meter**2/second",
)
def expected_speed(
    baseline_speed: Value, baseline_viscosity: Value, viscosity: Value
) -> tuple[float, float]:
    """Range in which the pump's speed for the same differential should be at another viscosity.

    n = a + b/v. A positive-displacement pump delivers what leaves through bearings and its own
    clearances: laminar, so in proportion to dp/v, and through orifices and jets, about independent
    of v. One baseline cannot separate a from b, so both ends are given: all orifice, n = n0; all
    laminar, n = n0 v0/v.

    Parameters
    ----------
    baseline_speed : pint.Quantity
        [frequency] that held the set point at the baseline.
    baseline_viscosity, viscosity : pint.Quantity
        [area/time] of the oil then and now, from its sheet at the temperatures read.

    Returns
    -------
    tuple of pint.Quantity
        Lower and upper speed [frequency].

    Raises
    ------
    ScienceError
        A speed or viscosity that is not above zero.

    Source: common practice, no source; both ends are closed forms of laminar leakage (flow in
    proportion to dp/viscosity) and orifice flow.
    """
    if min(baseline_speed, baseline_viscosity, viscosity) <= 0:
        raise ScienceError(
            "a speed or viscosity is not above zero",
            "expected_speed",
            "check the baseline and the oil's sheet values",
        )
    laminar = baseline_speed * baseline_viscosity / viscosity
    return min(baseline_speed, laminar), max(baseline_speed, laminar)


@quantities(
    {
        "expected_low": "hertz",
        "expected_high": "hertz",
        "difference": "hertz",
        "u_difference": "hertz",
    },
    speed="hertz",
    baseline_speed="hertz",
    viscosity="meter**2/second",
    baseline_viscosity="meter**2/second",
    u_speed="hertz",
    u_viscosity="meter**2/second",
    tolerance="dimensionless",
)
def compare_pump_speed(
    speed: Number,
    baseline_speed: Number,
    viscosity: Number,
    baseline_viscosity: Number,
    u_speed: Number,
    u_viscosity: Number,
    tolerance: Number = 0.05,
) -> PumpComparison:
    """Whether the speed for the set point has moved since the baseline, beyond what viscosity and
    instruments explain.

    d = n - (low + high)/2; u(d)^2 = 2 u(n)^2 + ((high - low)/sqrt(12))^2 + (n0 v0/v^2 u(v))^2 / 2;
    moved if |d| - 2 u(d) > tolerance n0; not moved if |d| + 2 u(d) <= tolerance n0; otherwise
    inconclusive

    Parameters
    ----------
    speed, baseline_speed : pint.Quantity
        [frequency] at the same differential, now and then.
    viscosity, baseline_viscosity : pint.Quantity
        [area/time] of the clean oil at the temperatures now and then.
    u_speed : pint.Quantity
        [frequency] standard uncertainty of one speed reading.
    u_viscosity : pint.Quantity
        [area/time] standard uncertainty of one viscosity, from the thermometer: |dv/dT| u(T).
    tolerance : pint.Quantity or float
        [dimensionless] of the baseline speed that does not count. Default 5 % (common practice, no
        source).

    Returns
    -------
    PumpComparison

    Raises
    ------
    ScienceError
        As `expected_speed`.

    Notes
    -----
    The half on the viscosity term is (1/2)^2 for the middle of the range, twice for two visits.

    Source: range as `expected_speed`; rectangular distribution JCGM 100:2008, 4.3.7; k = 2, 6.2.1.
    """
    low, high = expected_speed.si(baseline_speed, baseline_viscosity, viscosity)
    difference = float(speed - (low + high) / 2)
    by_viscosity = baseline_speed * baseline_viscosity / viscosity**2 * u_viscosity
    u = float(np.sqrt(2 * u_speed**2 + (high - low) ** 2 / 12 + by_viscosity**2 / 2))
    outcome = _outcome(abs(difference), 2 * u, float(tolerance * baseline_speed))
    return PumpComparison(
        low,
        high,
        difference,
        u,
        outcome,
        () if outcome != MOVED else _FASTER if difference > 0 else _SLOWER,
    )


def _outcome(size: float, expanded: float, allowed: float) -> str:
    if size - expanded > allowed:
        return MOVED
    return NOT_MOVED if size + expanded <= allowed else CANNOT_TELL
