"""Refrigerant states: splines through the tables of a refrigerant, for one point and for whole
trends.

-1/T over ln p on the saturation line, and h, s, rho and w over (ln p, distance from that line)
beside it, of the fifth degree.
They follow the equation of state to 1e-8 K on the line (2e-6 K for R-500 and R-514A, for which the
library's solver agrees no better with itself); beside it, up to 60 °C of saturation, to 1e-8 of
density and sound
speed and 0.001 J/kg of enthalpy, and close to the hottest saturation to 3e-6 and 0.2 J/kg.
CoolProp's own tables (BICUBIC, TTSE) are not used: with (p, T) they are wrong by up to 190 kJ/kg
close to saturation.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np

from startkit.errors import ScienceError
from startkit.formula import Number, Value
from startkit.science import refrigerant_tables as tables
from startkit.science.refrigerant_data import Refrigerant, find
from startkit.science.refrigerant_tables import (
    BEYOND,
    PROPERTIES,
    SUBCOOLING_MAX,
    SUPERHEAT_MAX,
    Side,
)

DEGREE = 5


@functools.cache
def table_of(name: str) -> tables.Table:
    """The table of a refrigerant by its designation, read once. One without a file is calculated by
    the equations of state, which takes seconds.
    """
    refrigerant = find(name)
    shipped = tables.FOLDER / tables.file_of(refrigerant.name)
    if shipped.is_file():
        return tables.from_bytes(shipped.read_bytes())
    from startkit.science import refrigerant_equations  # loads CoolProp

    return refrigerant_equations.table(refrigerant)


def temperature_range(name: str) -> tuple[float, float]:
    """Coldest and hottest saturation temperature [K] for which figures are given."""
    return table_of(name).ends


def _refuse(refrigerant: Refrigerant, what: str, where: str) -> ScienceError:
    low, high = (each - 273.15 for each in temperature_range(refrigerant.name))
    return ScienceError(
        f"{what} is outside the property tables for {refrigerant.name} (saturation from {low:.0f}"
        f" to {high:.0f} °C)",
        where,
        "check the reading, its unit, the barometer and the refrigerant",
    )


def saturation_pressure(
    refrigerant: Refrigerant, temperature: float, quality: float, where: str
) -> float:
    """Pressure [Pa] at which liquid (quality 0) or vapour (1) is saturated at `temperature` [K]."""
    low, high = temperature_range(refrigerant.name)
    if not low - 1e-6 <= temperature <= high + 1e-6:
        raise _refuse(refrigerant, f"{temperature - 273.15:.1f} °C", where)
    return float(
        saturation_curve(refrigerant.name, quality).pressure(min(max(temperature, low), high))
    )


def saturation_temperature(
    refrigerant: Refrigerant, pressure: float, quality: float, where: str
) -> float:
    """Temperature [K] at which liquid (quality 0) or vapour (1) is saturated at `pressure` [Pa]."""
    curve = saturation_curve(refrigerant.name, quality)
    low, high = curve.ends
    if not low * (1 - 1e-9) <= pressure <= high * (1 + 1e-9):
        raise _refuse(refrigerant, f"{pressure / 1000:.3g} kPa abs", where)
    return float(curve.temperature(min(max(pressure, low), high)))


def single_phase(
    refrigerant: Refrigerant,
    prop: str,
    pressure: float,
    temperature: float,
    quality: float,
    where: str,
) -> float:
    """One property of vapour or liquid: h [J/kg], s [J/(kg K)], rho [kg/m3] or sound speed w [m/s].

    Up to 3 K past the saturation line the vapour or liquid is continued as metastable.

    Parameters
    ----------
    refrigerant : Refrigerant
    prop : str
        One of `PROPERTIES`.
    pressure, temperature : float
        Absolute [Pa], [K].
    quality : float
        1 for vapour, 0 for liquid.
    where : str
        For the error.
    """
    away = temperature - saturation_temperature(refrigerant, pressure, quality, where)
    away = away if quality else -away
    name, line, most = (
        ("vapour", "dew", SUPERHEAT_MAX) if quality else ("liquid", "bubble", SUBCOOLING_MAX)
    )
    if not -BEYOND <= away <= most:
        side = (
            f"{-away:.1f} K on the wrong side of its {line} point"
            if away < 0
            else f"{away:.1f} K from its {line} point"
        )
        raise ScienceError(
            f"{refrigerant.name} {name} at {pressure / 1000:.4g} kPa abs and"
            f" {temperature - 273.15:.1f} °C would be {side}",
            where,
            "check the pressure, the temperature and the sensor's location",
        )
    return surface(refrigerant.name, quality).point(prop, pressure, away)


@dataclass(frozen=True)
class SaturationCurve:
    """Saturation line of one refrigerant as splines of -1/T over ln p and back.

    A million points take about 0.05 s. Outside the range, and where the input is not a number,
    the result is not a number: a trend's drop-outs stay visible.

    Parameters
    ----------
    refrigerant : Refrigerant
    quality : float
        1 for the dew line, 0 for the bubble line.
    ends : tuple of float
        Lowest and highest pressure [Pa].
    """

    refrigerant: Refrigerant
    quality: float
    ends: tuple[float, float]
    _to_temperature: Value
    _to_log_pressure: Value

    def temperature(self, pressure: Number) -> np.ndarray:
        """Saturation temperature [K] at `pressure` [Pa]."""
        pressure = np.asarray(pressure, float)
        with np.errstate(divide="ignore", invalid="ignore"):
            return -1.0 / self._to_temperature(np.log(np.where(pressure > 0, pressure, np.nan)))

    def pressure(self, temperature: Number) -> np.ndarray:
        """Saturation pressure [Pa] at `temperature` [K]."""
        temperature = np.asarray(temperature, float)
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.exp(
                self._to_log_pressure(-1.0 / np.where(temperature > 0, temperature, np.nan))
            )


def _side(name: str, quality: float) -> Side:
    table = table_of(name)
    return table.dew if quality else table.bubble


@functools.cache
def saturation_curve(name: str, quality: float) -> SaturationCurve:
    """The `SaturationCurve` of a refrigerant, built once."""
    from scipy.interpolate import make_interp_spline

    side = _side(name, quality)
    inverse_t = -1.0 / side.line
    to_temperature, to_log_pressure = (
        make_interp_spline(side.log_p, inverse_t, DEGREE),
        make_interp_spline(inverse_t, side.log_p, DEGREE),
    )
    to_temperature.extrapolate = to_log_pressure.extrapolate = False
    return SaturationCurve(
        find(name),
        quality,
        (float(np.exp(side.log_p[0])), float(np.exp(side.log_p[-1]))),
        to_temperature,
        to_log_pressure,
    )


@dataclass(frozen=True)
class Surface:
    """h, s, rho and w beside one saturation line, over ln p and the distance from that line."""

    curve: SaturationCurve
    most: float
    side: Side

    def __post_init__(self) -> None:
        object.__setattr__(self, "_splines", {})

    def spline(self, prop: str) -> Value:
        """The spline of one property, of ln rho for density; laid when it is first asked for."""
        splines = self.__dict__["_splines"]
        if prop not in splines:
            from scipy.interpolate import RectBivariateSpline

            values = self.side.values[..., PROPERTIES.index(prop)]
            splines[prop] = RectBivariateSpline(
                self.side.surface_p,
                self.side.away,
                np.log(values) if prop == "rho" else values,
                kx=DEGREE,
                ky=DEGREE,
            )
        return splines[prop]

    def away(self, pressure: Number, temperature: Number) -> np.ndarray:
        """Superheat (vapour) or subcooling (liquid) [K]; not a number outside the surface."""
        gap = np.asarray(temperature, float) - self.curve.temperature(pressure)
        gap = gap if self.curve.quality else -gap
        return np.where((gap >= -BEYOND) & (gap <= self.most), gap, np.nan)

    def point(self, prop: str, pressure: float, away: float) -> float:
        """One property at one pressure [Pa] and distance [K], both inside the surface."""
        value = float(self.spline(prop).ev(np.log(pressure), away))
        return float(np.exp(value)) if prop == "rho" else value

    def at(self, prop: str, pressure: Value, away: Value, slope: bool = False) -> np.ndarray:
        """One property at `pressure` [Pa] and distance `away` [K], or its slope along `away`."""
        pressure, away = np.broadcast_arrays(np.asarray(pressure, float), np.asarray(away, float))
        log_p = np.log(np.where(pressure > 0, pressure, np.nan))
        known = np.isfinite(log_p) & np.isfinite(away)
        values = self.spline(prop).ev(
            np.where(known, log_p, 12.0), np.where(known, away, 0.0), dy=int(slope)
        )
        values = np.where(known, values, np.nan)
        return values if slope or prop != "rho" else np.exp(values)

    def __call__(self, prop: str, pressure: Number, temperature: Number) -> np.ndarray:
        """One property at `pressure` [Pa] and `temperature` [K]."""
        return self.at(prop, pressure, self.away(pressure, temperature))


@functools.cache
def surface(name: str, quality: float) -> Surface:
    """The `Surface` of vapour (quality 1) or liquid (0) of a refrigerant, laid once."""
    return Surface(
        saturation_curve(name, quality),
        SUPERHEAT_MAX if quality else SUBCOOLING_MAX,
        _side(name, quality),
    )
