"""Rating: the forms of AHRI 550/590 and ASHRAE 90.1 that a selection is written in.

The tolerances are those of a laboratory test at the factory: on site they are an option, named
*laboratory tolerance* wherever they are printed. Formulas are from memory unless another source is
named:
check them against the standard before they decide anything.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from startkit.errors import ScienceError
from startkit.formula import Number, Value
from startkit.units import quantities

LABORATORY = "laboratory tolerance, AHRI 550/590 Table 11 (from memory; check against the standard)"
WEIGHTS: Mapping[float, float] = {1.0: 0.01, 0.75: 0.42, 0.5: 0.45, 0.25: 0.12}
# Entering condenser water at each load [°C]; leaving chilled water stays at 44 °F, or 7.0 °C in SI.
IPLV_CONDENSER: Mapping[str, Mapping[float, float]] = {
    "I-P": {
        1.0: (85 - 32) / 1.8,
        0.75: (75 - 32) / 1.8,
        0.5: (65 - 32) / 1.8,
        0.25: (65 - 32) / 1.8,
    },
    "SI": {1.0: 30.0, 0.75: 24.5, 0.5: 19.0, 0.25: 19.0},
}
IPLV_LEAVING: Mapping[str, float] = {"I-P": (44 - 32) / 1.8, "SI": 7.0}
WINDOW = 0.02  # of full-load capacity: how far off its load a point may be
_FAHRENHEIT = 1.8


# --- laboratory tolerances ------------------------------------------------------------------------


def _load_and_range(load: float, design_range: float, where: str) -> tuple[float, float]:
    """Load and full-load water range [°F differences], where the tolerances are defined."""
    if not 0.1 <= load <= 1.02:
        raise ScienceError(
            f"a laboratory tolerance is not defined at {100 * load:.0f} % load",
            where,
            "give 10 to 100 %",
        )
    if not 1.0 <= design_range <= 20.0:
        raise ScienceError(
            f"a full-load water range of {design_range:.1f} K is not plausible for a chiller",
            where,
            "check the sheet",
        )
    return load, design_range * _FAHRENHEIT


@quantities("dimensionless", load="dimensionless", design_range="delta_degC")
def tolerance_performance(load: float, design_range: Value) -> float:
    """Laboratory tolerance on capacity and efficiency (Tol1): 0.105 - 0.07 L + 0.15 / (dT L), dT in
    °F.

    Capacity may be less than rated, and kW/ton more, by this share.

    Parameters
    ----------
    load : float
        Share of full load, 0.1 to 1.
    design_range : pint.Quantity
        Chilled water's entering less leaving temperature at full load [temperature difference].

    Raises
    ------
    ScienceError
        Load or range outside what the form was written for.

    Source: AHRI 550/590-2011..2023, Table 11 (from memory); 5 % at full load and 10 °F is confirmed
    by UFGS 15620A.
    """
    share, spread = _load_and_range(load, design_range, "rating.tolerance_performance")
    return 0.105 - 0.07 * share + 0.15 / (spread * share)


@quantities("dimensionless", design_range="delta_degC")
def tolerance_integrated(design_range: Value) -> float:
    """Laboratory tolerance on IPLV and NPLV (Tol2): 0.065 + 0.35 / dT, dT in °F.

    Parameters
    ----------
    design_range : pint.Quantity
        Chilled water range at full load [temperature difference].

    Source: AHRI 550/590, Table 11 (from memory).
    """
    _, spread = _load_and_range(1.0, design_range, "rating.tolerance_integrated")
    return 0.065 + 0.35 / spread


@quantities("dimensionless", load="dimensionless", design_range="delta_degC")
def tolerance_heat_balance(load: float, design_range: Value) -> float:
    """Laboratory tolerance on the heat balance, mean basis (Tol4): 0.074 - 0.049 L + 0.105 / (dT
    L), dT in °F.

    Parameters are those of `tolerance_performance`.

    Source: AHRI 550/590-2011 and later, Table 11 (from memory).
    """
    share, spread = _load_and_range(load, design_range, "rating.tolerance_heat_balance")
    return 0.074 - 0.049 * share + 0.105 / (spread * share)


# --- integrated and non-standard part-load value --------------------------------------------------


@quantities("dimensionless", load="dimensionless", full_capacity="watt", least_capacity="watt")
def degradation(load: float, full_capacity: Value, least_capacity: Value) -> float:
    """Degradation factor of a machine that cannot unload to a point: CD = 1.130 - 0.130 LF.

    LF = load x full-load capacity / least capacity at that condition. kW/ton is multiplied by CD,
    COP divided.

    Parameters
    ----------
    load : float
        The point's share of full load.
    full_capacity, least_capacity : pint.Quantity
        [power]

    Raises
    ------
    ScienceError
        The machine does unload to the point, or a capacity is not above zero.

    Source: EnergyPlus, StandardRatings (after AHRI 550/590).
    """
    if not (full_capacity > 0 and least_capacity > 0):
        raise ScienceError(
            "a capacity is not above zero", "rating.degradation", "check both capacities"
        )
    factor = load * full_capacity / least_capacity
    if not 0 < factor <= 1 + 1e-9:
        raise ScienceError(
            f"the machine unloads to {100 * load:.0f} %",
            "rating.degradation",
            "use the reading at that load; no degradation applies",
        )
    return 1.130 - 0.130 * factor


@dataclass(frozen=True)
class RatedPoint:
    """One of the four loads: its figure, and whether it was measured, interpolated or degraded."""

    load: float
    figure: float
    how: str


@dataclass(frozen=True)
class PartLoadValue:
    """IPLV or NPLV with the four points it was made of.

    Parameters
    ----------
    value : pint.Quantity
        [dimensionless], kW/kW or COP as the figures given.
    points : tuple of RatedPoint
        At 100, 75, 50 and 25 %.
    form : str
        ``"harmonic"`` (power over capacity) or ``"arithmetic"`` (COP).
    """

    value: Value
    points: tuple[RatedPoint, ...]
    form: str


@quantities(
    {"value": "dimensionless"},
    loads="dimensionless",
    figures="dimensionless",
    least_load="dimensionless",
)
def part_load_value(
    loads: Sequence[float], figures: Value, form: str, least_load: float | None = None
) -> PartLoadValue:
    """IPLV or NPLV from the points measured.

    power over capacity: 1 / (0.01/A + 0.42/B + 0.45/C + 0.12/D);  COP: 0.01 A + 0.42 B + 0.45 C +
    0.12 D

    A point within 2 % of full-load capacity of its load counts as hit; one between two measured
    loads is on the straight line between them; one below the machine's least load takes the figure
    there, degraded. Nothing is extrapolated.

    Parameters
    ----------
    loads : sequence of float
        Measured shares of full load.
    figures : pint.Quantity or sequence of float
        Power over capacity [kW/kW; kW/ton as a quantity] or COP at those loads, each at its
        entering condenser temperature.
    form : str
        ``"harmonic"`` for power over capacity, ``"arithmetic"`` for COP.
    least_load : float, optional
        Lowest load the machine can hold, measured among `loads`.

    Raises
    ------
    ScienceError
        A load that the points do not reach, or a figure that is not above zero.

    Source: AHRI 550/590 clause 5.4 (rules from memory); forms as in EnergyPlus StandardRatings and
    PNNL's chiller library.
    """
    if form not in ("harmonic", "arithmetic"):
        raise ScienceError(
            f"{form!r} is not a form of part-load value",
            "rating.part_load_value",
            "use harmonic for kW/ton, arithmetic for COP",
        )
    measured = sorted(
        zip(
            (float(each) for each in loads),
            (float(each) for each in np.atleast_1d(figures)),
            strict=True,
        )
    )
    if any(not figure > 0 or not math.isfinite(figure) for _, figure in measured):
        raise ScienceError(
            "a measured figure is not above zero",
            "rating.part_load_value",
            "leave that point out or measure it again",
        )
    points = tuple(_rated_point(target, measured, form, least_load) for target in WEIGHTS)
    if form == "arithmetic":
        value = sum(WEIGHTS[point.load] * point.figure for point in points)
    else:
        value = 1 / sum(WEIGHTS[point.load] / point.figure for point in points)
    return PartLoadValue(value, points, form)


def _rated_point(
    target: float, measured: list[tuple[float, float]], form: str, least_load: float | None
) -> RatedPoint:
    """The figure at one of the four loads: hit, on the line between two, or degraded from the least
    load.
    """
    near = min(measured, key=lambda each: abs(each[0] - target), default=(math.inf, 0.0))
    if abs(near[0] - target) <= WINDOW + 1e-9:
        return RatedPoint(target, near[1], "measured")
    below = [each for each in measured if each[0] < target]
    above = [each for each in measured if each[0] > target]
    if below and above:
        (low, first), (high, second) = below[-1], above[0]
        return RatedPoint(
            target, first + (second - first) * (target - low) / (high - low), "interpolated"
        )
    if (
        above
        and least_load is not None
        and target < least_load
        and abs(above[0][0] - least_load) <= WINDOW
    ):
        factor = degradation.si(target, 1.0, least_load)
        return RatedPoint(
            target, above[0][1] * factor if form == "harmonic" else above[0][1] / factor, "degraded"
        )
    raise ScienceError(
        f"no reading reaches {100 * target:.0f} % load, and a part-load value is never"
        " extrapolated",
        "rating.part_load_value",
        "measure a point at or beyond that load, or give the machine's least load",
    )


@quantities("kelvin", load="dimensionless", design_entering="kelvin")
def nplv_condenser_temperature(load: float, design_entering: Number) -> Number:
    """Entering condenser water for NPLV: straight from the selection's at full load to 65 °F at
    half load, then 65 °F.

    Parameters
    ----------
    load : float
        Share of full load, 0 to 1.
    design_entering : pint.Quantity
        The selection's entering condenser water at full load [temperature].

    Source: AHRI 550/590 Table 3, water-cooled (from memory).
    """
    floor = 291.48333333333335
    if not 0 <= load <= 1:
        raise ScienceError(
            f"a load of {100 * load:g} % has no rating condition",
            "rating.nplv_condenser_temperature",
            "give 0 to 100 %",
        )
    return floor + (design_entering - floor) * max(0.0, load - 0.5) / 0.5


# --- fouling, and another lift than the standard's ------------------------------------------------


_K = "delta_degC"


@quantities("dimensionless", leaving_condenser="kelvin", leaving_evaporator="kelvin")
def adjustment_factor(leaving_condenser: Value, leaving_evaporator: Value) -> float:
    """Kadj of ASHRAE 90.1 for a centrifugal machine selected away from standard conditions: Kadj =
    A B.

    A = 1.4592e-7 L^4 - 3.46496e-5 L^3 + 3.14196e-3 L^2 - 0.147199 L + 3.9302;  B = 0.0015 T_evap +
    0.934, with
    L = leaving condenser less leaving evaporator water [°F]. Required kW/ton = tabulated / Kadj.

    Parameters
    ----------
    leaving_condenser, leaving_evaporator : pint.Quantity
        [temperature], lift 20 to 80 °F, leaving evaporator from 36 °F, leaving condenser to 115 °F.

    Raises
    ------
    ScienceError
        Outside that range, where the standard sets no requirement.

    Source: ASHRAE 90.1-2010 and later, 6.4.1.2.1 (coefficients from memory; they give 1.0000 at the
    standard point).
    """
    cold, warm = (
        (each - 273.15) * _FAHRENHEIT + 32 for each in (leaving_evaporator, leaving_condenser)
    )
    rise = warm - cold
    if not (cold >= 36 - 1e-9 and warm <= 115 + 1e-9 and 20 <= rise <= 80):
        raise ScienceError(
            f"leaving {cold:.0f} and {warm:.0f} °F are outside the range of the adjustment",
            "rating.adjustment_factor",
            "the standard sets no efficiency there; compare only with the selection",
        )
    return float(np.polyval([1.4592e-7, -3.46496e-5, 3.14196e-3, -0.147199, 3.9302], rise)) * (
        0.0015 * cold + 0.934
    )
