"""Water vapour: saturation over liquid water and ice, and the boiling temperature."""

from __future__ import annotations

import functools

import numpy as np

from startkit.errors import ScienceError
from startkit.formula import Number, Value
from startkit.units import quantities

TRIPLE_TEMPERATURE, TRIPLE_PRESSURE = 273.16, 611.657
_CRITICAL_TEMPERATURE, _CRITICAL_PRESSURE = 647.096, 22.064e6
_LIQUID_TERMS = (
    (-7.85951783, 1.0),
    (1.84408259, 1.5),
    (-11.7866497, 3.0),
    (22.6807411, 3.5),
    (-15.9618719, 4.0),
    (1.80122502, 7.5),
)
_ICE_TERMS = (
    (-0.212144006e2, 0.333333333e-2),
    (0.273203819e2, 0.120666667e1),
    (-0.610598130e1, 0.170333333e1),
)


@quantities("pascal", temperature="kelvin")
def vapour_pressure(temperature: Number) -> Number:
    """Vapour pressure of water: over liquid above the triple point (0.01 °C), over ice below it.

    liquid: ln(p/pc) = (Tc/T) sum a_i (1 - T/Tc)^e_i;  ice: ln(p/pt) = (Tt/T) sum a_i (T/Tt)^b_i

    Parameters
    ----------
    temperature : pint.Quantity
        [temperature], -100 to 374 °C.

    Source: IAPWS SR1-86(1992), equation 1; IAPWS R14-08(2011), equation 6.
    """
    kelvin = np.asarray(temperature, float)
    with np.errstate(invalid="ignore"):
        values = np.where(kelvin >= TRIPLE_TEMPERATURE, _over_liquid(kelvin), _over_ice(kelvin))
        values = np.where((kelvin >= 173.15) & (kelvin <= _CRITICAL_TEMPERATURE), values, np.nan)
    if values.ndim:
        return values
    if np.isnan(values):
        raise ScienceError(
            f"the vapour pressure of water is not known at {float(kelvin) - 273.15:.1f} °C",
            "water",
            "give -100 to 374 °C",
        )
    return float(values)


def _over_liquid(kelvin: Number) -> Number:
    """Vapour pressure over liquid water [Pa]."""
    rest = np.clip(1 - kelvin / _CRITICAL_TEMPERATURE, 0, None)
    return _CRITICAL_PRESSURE * np.exp(
        _CRITICAL_TEMPERATURE / kelvin * sum(a * rest**e for a, e in _LIQUID_TERMS)
    )


def _over_ice(kelvin: Number) -> Number:
    """Vapour pressure over ice [Pa]."""
    theta = np.clip(kelvin / TRIPLE_TEMPERATURE, 1e-3, None)
    return TRIPLE_PRESSURE * np.exp(sum(a * theta**b for a, b in _ICE_TERMS) / theta)


@functools.cache
def _boiling() -> Value:
    from scipy.interpolate import CubicSpline

    # Not across the triple point: the slope breaks there.
    parts = []
    for low, high, law in (
        (173.15, TRIPLE_TEMPERATURE, _over_ice),
        (TRIPLE_TEMPERATURE, 473.15, _over_liquid),
    ):
        kelvin = -1.0 / np.linspace(-1.0 / low, -1.0 / high, 401)
        parts.append(CubicSpline(np.log(law(kelvin)), -1.0 / kelvin, extrapolate=False))
    return parts


@quantities("kelvin", pressure="pascal")
def boiling_temperature(pressure: Value) -> Value:
    """Temperature at which water boils (below 611.7 Pa: ice sublimes) at absolute `pressure`;
    inverse of `vapour_pressure`.

    Parameters
    ----------
    pressure : pint.Quantity
        Absolute [pressure], 0.002 Pa to 1.5 MPa.

    Source: as `vapour_pressure`.
    """
    pascal = np.asarray(pressure, float)
    ice, water = _boiling()
    with np.errstate(divide="ignore", invalid="ignore"):
        log_p = np.log(np.where(pascal > 0, pascal, np.nan))
        values = -1.0 / np.where(pascal < TRIPLE_PRESSURE, ice(log_p), water(log_p))
    if values.ndim:
        return values
    if np.isnan(values):
        raise ScienceError(
            f"no boiling point of water is known at {float(pascal):.3g} Pa abs",
            "water",
            "check the reading and its unit",
        )
    return float(values)
