"""Refrigerant: saturation, superheat, subcooling, enthalpy and compression.

Superheat is counted from the dew point, subcooling from the bubble point. Values come from splines
through tables
of CoolProp's equations of state (`refrigerant_states`). A single point outside the range is
refused; in an array it
is not a number.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np

from startkit.errors import ScienceError
from startkit.formula import Number, Value
from startkit.science import refrigerant_states as states
from startkit.science.refrigerant_data import SAFETY_SOURCE, TABLE, Refrigerant, find
from startkit.science.refrigerant_states import SaturationCurve
from startkit.units import quantities

__all__ = [
    "SAFETY_SOURCE",
    "TABLE",
    "Dome",
    "Refrigerant",
    "SaturationCurve",
    "bubble_temperature",
    "canonical",
    "citation",
    "density",
    "dew_temperature",
    "dome",
    "enthalpy",
    "entropy",
    "find",
    "is_low_pressure",
    "liquid_enthalpy",
    "pressure_class",
    "safety_group",
    "saturation_pressure",
    "sound_speed",
    "subcooling",
    "superheat",
    "version",
]

_DEW, _BUBBLE = 1.0, 0.0
_QUALITY = {"dew": _DEW, "bubble": _BUBBLE}
PSIA = 6894.757293168
# Upper bound of each class: pressure of the liquid phase at 104 °F. 40 CFR 82.152 (from memory).
PRESSURE_CLASSES = (
    ("low", 45 * PSIA),
    ("medium", 170 * PSIA),
    ("high", 355 * PSIA),
    ("very high", float("inf")),
)
CLASS_TEMPERATURE = 313.15  # K, 104 °F


# --- what is known of a refrigerant ------------------------------------------------------------


def canonical(fluid: str) -> str:
    """The designation as it is printed: ``"hfo1233zd(e)"`` -> ``"R-1233zd(E)"``."""
    return find(fluid).name


def safety_group(fluid: str) -> str:
    """Safety group of ASHRAE Standard 34, e.g. ``"A1"`` (from memory: check the standard)."""
    return find(fluid).safety_group


@functools.cache
def _class_pressure(name: str) -> float:
    return states.saturation_pressure(
        find(name), CLASS_TEMPERATURE, _BUBBLE, "refrigerant.pressure_class"
    )


def pressure_class(fluid: str) -> str:
    """``"low"``, ``"medium"``, ``"high"`` or ``"very high"``, by the liquid's pressure at 104 °F.

    low up to 45 psia, medium up to 170 psia, high up to 355 psia.

    Source: 40 CFR 82.152 (bands from memory).
    """
    pressure = _class_pressure(find(fluid).name)
    return next(name for name, bound in PRESSURE_CLASSES if pressure <= bound)


def is_low_pressure(fluid: str) -> bool:
    """True for a refrigerant whose machine is below atmospheric pressure at rest or on the
    evaporator side.
    """
    return pressure_class(fluid) == "low"


def citation(fluid: str) -> str:
    """Equations used for a refrigerant, as CoolProp cites them, for the record."""
    refrigerant = find(fluid)
    shares = " / ".join(f"{100 * share:g} % {key}" for key, share in refrigerant.parts)
    made_of = f" ({shares} by mass)" if refrigerant.is_blend else ""
    note = f"; {refrigerant.note}" if refrigerant.note else ""
    return (
        f"{refrigerant.name}{made_of}:"
        f" {'; '.join(states.table_of(refrigerant.name).equations)}{note};"
        f" {version(fluid)}"
    )


def version(fluid: str) -> str:
    """Name and version of the property library that a refrigerant's figures are from, for the
    record.
    """
    return states.table_of(find(fluid).name).made_with


# --- saturation ----------------------------------------------------------------------------------


def _quality(phase: str) -> float:
    if phase not in _QUALITY:
        raise ScienceError(
            f"a saturation line is 'dew' or 'bubble', not {phase!r}",
            "refrigerant",
            "name one of them",
        )
    return _QUALITY[phase]


def _saturation_temperature(fluid: str, pressure: Value, quality: float, where: str) -> Value:
    if np.ndim(pressure):
        return states.saturation_curve(find(fluid).name, quality).temperature(pressure)
    return states.saturation_temperature(find(fluid), pressure, quality, where)


@quantities("pascal", temperature="kelvin")
def saturation_pressure(fluid: str, temperature: Value, phase: str = "dew") -> Value:
    """Saturation pressure.

    Parameters
    ----------
    fluid : str
        Any name `find` knows.
    temperature : pint.Quantity
        [temperature], from -50 °C to 0.93 of the critical temperature.
    phase : str
        ``"dew"`` or ``"bubble"``; they differ for blends.

    Returns
    -------
    pint.Quantity
        Absolute [pressure].

    Raises
    ------
    ScienceError
        Unknown refrigerant, or a temperature outside the range.

    Source: the equation of state that `citation` names.
    """
    if np.ndim(temperature):
        return states.saturation_curve(find(fluid).name, _quality(phase)).pressure(temperature)
    return states.saturation_pressure(
        find(fluid), temperature, _quality(phase), "refrigerant.saturation_pressure"
    )


@quantities("kelvin", pressure="pascal")
def dew_temperature(fluid: str, pressure: Number) -> Number:
    """Temperature at which vapour is saturated at absolute `pressure`.

    Parameters
    ----------
    fluid : str
        Any name `find` knows.
    pressure : pint.Quantity
        Absolute [pressure].

    Raises
    ------
    ScienceError
        Unknown refrigerant, or a pressure outside the range of `saturation_pressure`.

    Source: the equation of state that `citation` names.

    Examples
    --------
    >>> from startkit.units import Q
    >>> round(dew_temperature("R-134a", Q(349.7, "kPa")).to("degC").magnitude, 1)
    5.0
    """
    return _saturation_temperature(fluid, pressure, _DEW, "refrigerant.dew_temperature")


@quantities("kelvin", pressure="pascal")
def bubble_temperature(fluid: str, pressure: Number) -> Number:
    """Temperature at which liquid is saturated at absolute `pressure`.

    Parameters are those of `dew_temperature`.

    Source: the equation of state that `citation` names.
    """
    return _saturation_temperature(fluid, pressure, _BUBBLE, "refrigerant.bubble_temperature")


@quantities("delta_degC", pressure="pascal", temperature="kelvin")
def superheat(fluid: str, pressure: Number, temperature: Number) -> Number:
    """Superheat of suction or discharge gas: T - T_dew(p); negative if the reading is below the dew
    point.

    Parameters
    ----------
    fluid : str
    pressure : pint.Quantity
        Absolute [pressure] where the temperature was taken.
    temperature : pint.Quantity
        [temperature]

    Source: the equation of state that `citation` names.

    Examples
    --------
    >>> from startkit.units import Q
    >>> round(superheat("R-134a", Q(349.7, "kPa"), Q(8, "degC")).magnitude, 1)
    3.0
    """
    return temperature - dew_temperature.si(fluid, pressure)


@quantities("delta_degC", pressure="pascal", temperature="kelvin")
def subcooling(fluid: str, pressure: Number, temperature: Number) -> Number:
    """Subcooling of liquid: T_bubble(p) - T; negative if the reading is above the bubble point.

    Parameters
    ----------
    fluid : str
    pressure : pint.Quantity
        Absolute [pressure] in the condenser.
    temperature : pint.Quantity
        Liquid [temperature].

    Source: the equation of state that `citation` names.
    """
    return bubble_temperature.si(fluid, pressure) - temperature


# --- vapour and liquid ----------------------------------------------------------------------------


def _property(prop: str, fluid: str, pressure: Value, temperature: Value, quality: float) -> Value:
    if np.ndim(pressure) or np.ndim(temperature):
        return states.surface(find(fluid).name, quality)(prop, pressure, temperature)
    return states.single_phase(find(fluid), prop, pressure, temperature, quality, "refrigerant")


@quantities("joule/kilogram", pressure="pascal", temperature="kelvin")
def enthalpy(fluid: str, pressure: Number, temperature: Number) -> Number:
    """Specific enthalpy of vapour.

    Valid from 3 K below the dew point (continued as metastable vapour, so that a sensor's
    uncertainty can be carried across the line) to 100 K of superheat. The zero is the equation's
    own: use differences.

    Parameters
    ----------
    fluid : str
        Any name `find` knows.
    pressure : pint.Quantity
        Absolute [pressure].
    temperature : pint.Quantity
        [temperature]

    Returns
    -------
    pint.Quantity
        [energy/mass]

    Source: the equation of state that `citation` names.
    """
    return _property("h", fluid, pressure, temperature, _DEW)


@quantities("joule/kilogram/kelvin", pressure="pascal", temperature="kelvin")
def entropy(fluid: str, pressure: Number, temperature: Number) -> Number:
    """Specific entropy of vapour; range as for `enthalpy` [energy/mass/temperature].

    Parameters are those of `enthalpy`.

    Source: the equation of state that `citation` names.
    """
    return _property("s", fluid, pressure, temperature, _DEW)


@quantities("kilogram/meter**3", pressure="pascal", temperature="kelvin")
def density(fluid: str, pressure: Number, temperature: Number) -> Number:
    """Density of vapour; range as for `enthalpy` [mass/volume].

    Parameters are those of `enthalpy`.

    Source: the equation of state that `citation` names.
    """
    return _property("rho", fluid, pressure, temperature, _DEW)


@quantities("meter/second", pressure="pascal", temperature="kelvin")
def sound_speed(fluid: str, pressure: Number, temperature: Number) -> Number:
    """Speed of sound in vapour (the machine Mach number is tip speed over this at suction)
    [length/time].

    Parameters are those of `enthalpy`.

    Source: the equation of state that `citation` names.
    """
    return _property("w", fluid, pressure, temperature, _DEW)


@quantities("joule/kilogram", pressure="pascal", temperature="kelvin")
def liquid_enthalpy(fluid: str, pressure: Number, temperature: Number) -> Number:
    """Specific enthalpy of liquid, from 3 K above the bubble point to 40 K of subcooling
    [energy/mass].

    Parameters are those of `enthalpy`.

    Source: the equation of state that `citation` names.
    """
    return _property("h", fluid, pressure, temperature, _BUBBLE)


# --- compression ----------------------------------------------------------------------------------


# --- the pressure-enthalpy diagram ---------------------------------------------------------------


@dataclass(frozen=True)
class Dome:
    """Saturation lines for a pressure-enthalpy diagram; arrays of one length.

    Parameters
    ----------
    pressure : pint.Quantity
        [pressure]
    liquid, vapour : pint.Quantity
        Enthalpy on the bubble and on the dew line [energy/mass].
    """

    pressure: Value
    liquid: Value
    vapour: Value


@quantities(
    {"pressure": "pascal", "liquid": "joule/kilogram", "vapour": "joule/kilogram"},
    coldest="kelvin",
    hottest="kelvin",
)
def dome(fluid: str, coldest: Number = 253.15, hottest: Number = 343.15, points: int = 60) -> Dome:
    """Bubble and dew line of a refrigerant between two saturation temperatures.

    Parameters
    ----------
    fluid : str
        Any name `find` knows.
    coldest, hottest : pint.Quantity
        [temperature]; kept inside the range of `saturation_pressure`.
    points : int
        On each line.

    Source: the equation of state that `citation` names.
    """
    name = find(fluid).name
    low, high = states.temperature_range(name)
    span = np.array([max(coldest, low), min(hottest, high)])
    dew = states.saturation_curve(name, _DEW)
    first, last = dew.pressure(span)
    pressure = np.geomspace(first, last, points)[1:-1]
    bubble = states.saturation_curve(name, _BUBBLE).temperature(pressure)
    return Dome(
        pressure,
        liquid_enthalpy.si(fluid, pressure, bubble),
        enthalpy.si(fluid, pressure, dew.temperature(pressure)),
    )
