"""Compression: isentropic head and efficiency of a refrigerant from suction to discharge."""

from __future__ import annotations

import numpy as np

from startkit.errors import ScienceError
from startkit.formula import Number, Value
from startkit.science import refrigerant_states as states
from startkit.science.refrigerant import _DEW, canonical, dew_temperature, enthalpy, entropy
from startkit.science.refrigerant_data import find
from startkit.units import quantities


@quantities(
    "joule/kilogram",
    suction_pressure="pascal",
    suction_temperature="kelvin",
    discharge_pressure="pascal",
)
def isentropic_head(
    fluid: str, suction_pressure: Number, suction_temperature: Number, discharge_pressure: Number
) -> Number:
    """Isentropic head: h(p2, s1) - h(p1, T1).

    Where the gas would end among droplets, h(p2, s1) = h_dew - T_dew (s_dew - s1), exact for a
    refrigerant without glide.

    Parameters
    ----------
    fluid : str
    suction_pressure, suction_temperature, discharge_pressure : pint.Quantity
        Absolute [pressure], [temperature], absolute [pressure].

    Raises
    ------
    ScienceError
        Discharge pressure is not above suction pressure, or a state outside the range of
        `enthalpy`.

    Source: the equation of state that `citation` names.
    """
    _, after = _isentropic_end(fluid, suction_pressure, suction_temperature, discharge_pressure)
    return after - enthalpy.si(fluid, suction_pressure, suction_temperature)


def _isentropic_end(fluid: str, p1: Value, t1: Value, p2: Value) -> tuple[Value, Value]:
    """Temperature [K] and enthalpy [J/kg] at `p2` with the entropy of (p1, t1)."""
    trend = any(np.ndim(each) for each in (p1, t1, p2))
    if not trend and p2 <= p1:
        raise ScienceError(
            f"discharge pressure {p2 / 1000:.4g} kPa abs is not above suction pressure"
            f" {p1 / 1000:.4g} kPa abs",
            "compression.isentropic_head",
            "check both readings and their units",
        )
    target, dew = entropy.si(fluid, p1, t1), dew_temperature.si(fluid, p2)
    short = entropy.si(fluid, p2, dew) - target
    if not trend:
        if short >= 0:
            return dew, enthalpy.si(fluid, p2, dew) - dew * short
        after = dew + _superheat_of_entropy(fluid, p2, float(target))
        return after, enthalpy.si(fluid, p2, after)
    after = dew + _superheats_of_entropy(fluid, p2, np.where(short >= 0, np.nan, target))
    wet = enthalpy.si(fluid, p2, dew) - dew * short
    valid = np.where(np.asarray(p2) > np.asarray(p1), 1.0, np.nan)
    return (
        np.where(short >= 0, dew, after) * valid,
        np.where(short >= 0, wet, enthalpy.si(fluid, p2, after)) * valid,
    )


def _superheats_of_entropy(fluid: str, pressure: Number, target: Number) -> np.ndarray:
    """Superheat [K] at which vapour at `pressure` has entropy `target`, by Newton's method on the
    spline.
    """
    surface = states.surface(find(fluid).name, _DEW)
    away = np.full(np.broadcast(pressure, target).shape, 5.0)
    for _ in range(4):
        step = (target - surface.at("s", pressure, away)) / surface.at(
            "s", pressure, away, slope=True
        )
        away = np.clip(away + step, 0.0, states.SUPERHEAT_MAX)
    return np.where(np.abs(step) < 1e-3, away, np.nan)


def _superheat_of_entropy(fluid: str, pressure: float, target: float) -> float:
    """The same for one point, with two more steps."""
    away = float(_superheats_of_entropy(fluid, pressure, target))
    if np.isnan(away):
        raise ScienceError(
            f"{canonical(fluid)} compressed at constant entropy to {pressure / 1000:.4g} kPa abs"
            " would be hotter than the property tables reach",
            "compression.isentropic_head",
            "check the suction temperature and both pressures",
        )
    dew = dew_temperature.si(fluid, pressure)
    slope = float(states.surface(find(fluid).name, _DEW).at("s", pressure, away, slope=True))
    for _ in range(2):
        away += float(target - entropy.si(fluid, pressure, dew + away)) / slope
    return away


@quantities(
    "dimensionless",
    suction_pressure="pascal",
    suction_temperature="kelvin",
    discharge_pressure="pascal",
    discharge_temperature="kelvin",
)
def isentropic_efficiency(
    fluid: str,
    suction_pressure: Number,
    suction_temperature: Number,
    discharge_pressure: Number,
    discharge_temperature: Number,
) -> Number:
    """Isentropic efficiency of the compressor from its four gauges: (h(p2, s1) - h1) / (h2 - h1).

    Half a kelvin of discharge temperature moves it by about 1.6 points: give it with its
    uncertainty. A result above 1 means that a sensor is wrong (or that liquid is carried over); it
    is returned as it is.

    Parameters
    ----------
    fluid : str
    suction_pressure, suction_temperature, discharge_pressure, discharge_temperature : pint.Quantity
        Absolute [pressure] and [temperature] at suction and discharge.

    Raises
    ------
    ScienceError
        As `isentropic_head`; or the discharge gas has no more enthalpy than the suction gas.

    Source: the equation of state that `citation` names.
    """
    start = enthalpy.si(fluid, suction_pressure, suction_temperature)
    ideal = isentropic_head.si(fluid, suction_pressure, suction_temperature, discharge_pressure)
    actual = enthalpy.si(fluid, discharge_pressure, discharge_temperature) - start
    if np.ndim(actual):
        return np.where(actual > 0, ideal / np.where(actual > 0, actual, 1.0), np.nan)
    if actual <= 0:
        raise ScienceError(
            "the discharge gas has no more enthalpy than the suction gas",
            "compression.isentropic_efficiency",
            "check the discharge temperature sensor and both pressures",
        )
    return ideal / actual
