"""Lubrication: oil superheat, dissolved refrigerant and foaming, transducer zero, filter drop.

Saturation temperatures and pressures come in as arguments; limits do as well.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from startkit.errors import ScienceError
from startkit.formula import Number, Value
from startkit.science.uncertainty import NORMAL_95, coverage_factor
from startkit.units import quantities

# --- oil superheat and dissolved refrigerant -------------------------------------------------


@quantities("delta_degC", sump_temperature="kelvin", saturation_temperature="kelvin")
def oil_superheat(sump_temperature: Number, saturation_temperature: Number) -> Number:
    """How far the oil is warmer than refrigerant saturation at sump pressure.

    superheat = T_sump - T_sat(p_sump)

    Parameters
    ----------
    sump_temperature, saturation_temperature : pint.Quantity
        [temperature]; saturation (dew) at the pressure in the sump.

    Returns
    -------
    pint.Quantity
        [temperature difference]. Zero or less: refrigerant condenses into the oil.

    Source: definition; common practice, no source.
    """
    return sump_temperature - saturation_temperature


@quantities(
    "delta_degC",
    u_temperature="delta_degC",
    u_pressure="pascal",
    saturation_slope="delta_degC/pascal",
)
def oil_superheat_uncertainty(
    u_temperature: Number, u_pressure: Number, saturation_slope: Number
) -> Number:
    """Standard uncertainty of the oil superheat.

    u = sqrt(u(T)^2 + (dT_sat/dp u(p))^2)

    Parameters
    ----------
    u_temperature : pint.Quantity
        [temperature difference] of the sump thermometer.
    u_pressure : pint.Quantity
        [pressure] of the sump pressure.
    saturation_slope : pint.Quantity
        [temperature difference/pressure] of the saturation line there.

    Source: JCGM 100:2008, 5.1.2, independent inputs.
    """
    return np.hypot(u_temperature, saturation_slope * u_pressure)


@quantities("dimensionless", pressure="pascal", saturation_pressure="pascal")
def dissolved_mole_fraction(pressure: Number, saturation_pressure: Number) -> Number:
    """Mole fraction of refrigerant dissolved in the oil at rest, taken as an ideal solution.

    x = p / p_sat(T_oil), at most 1

    Parameters
    ----------
    pressure : pint.Quantity
        [pressure] of refrigerant vapour over the oil.
    saturation_pressure : pint.Quantity
        [pressure] of the refrigerant at the temperature of the oil.

    Returns
    -------
    pint.Quantity
        [dimensionless]; 1 means liquid refrigerant is in the sump.

    Notes
    -----
    An indicator, not a solubility: real oils depart from it both ways, and a sump just warmed is
    not yet at rest.

    Source: Raoult's law (closed form).
    """
    return np.minimum(1.0, pressure / saturation_pressure)


@dataclass(frozen=True)
class FoamingRisk:
    """What the fall of pressure at start will do to the oil in the sump.

    Parameters
    ----------
    superheat_now, superheat_after : pint.Quantity
        [temperature difference] over saturation at the pressure before and after the start.
    dissolved_now, dissolved_after, released : pint.Quantity
        [dimensionless] mole fractions at rest before and after, and the difference that leaves as
        gas.
    boils : bool
        Liquid refrigerant is in the sump now and will be warmer than saturation after the start.
    """

    superheat_now: Value
    superheat_after: Value
    dissolved_now: Value
    dissolved_after: Value
    released: Value
    boils: bool


@quantities(
    {
        "superheat_now": "delta_degC",
        "superheat_after": "delta_degC",
        "dissolved_now": "dimensionless",
        "dissolved_after": "dimensionless",
        "released": "dimensionless",
    },
    sump_temperature="kelvin",
    saturation_now="kelvin",
    saturation_after="kelvin",
    pressure_now="pascal",
    pressure_after="pascal",
    saturation_pressure="pascal",
)
def foaming_risk(
    sump_temperature: Number,
    saturation_now: Number,
    saturation_after: Number,
    pressure_now: Number,
    pressure_after: Number,
    saturation_pressure: Number,
) -> FoamingRisk:
    """Refrigerant that will leave the oil when the pressure falls at start.

    released = p_now/p_sat(T_oil) - p_after/p_sat(T_oil), each at most 1

    Parameters
    ----------
    sump_temperature : pint.Quantity
        [temperature] of the oil.
    saturation_now, saturation_after : pint.Quantity
        [temperature] of saturation at the sump pressure before the start and at the pressure to
        come.
    pressure_now, pressure_after : pint.Quantity
        [pressure] before and after.
    saturation_pressure : pint.Quantity
        [pressure] of the refrigerant at the oil's temperature.

    Raises
    ------
    ScienceError
        A pressure that is not positive.

    Source: Raoult's law as `dissolved_mole_fraction`; common practice, no source, that a fall of
    pressure foams the oil.
    """
    if min(pressure_now, pressure_after, saturation_pressure) <= 0:
        raise ScienceError(
            "a pressure is not above zero", "foaming_risk", "give absolute pressures"
        )
    now = dissolved_mole_fraction.si(pressure_now, saturation_pressure)
    after = dissolved_mole_fraction.si(pressure_after, saturation_pressure)
    superheat_now, superheat_after = (
        sump_temperature - saturation_now,
        sump_temperature - saturation_after,
    )
    return FoamingRisk(
        superheat_now,
        superheat_after,
        now,
        after,
        max(0.0, now - after),
        bool(superheat_now <= 0 < superheat_after),
    )


# --- transducers -----------------------------------------------------------------------------


@quantities(("pascal", "pascal"), discharge_off="pascal", sump_off="pascal")
def transducer_zero(discharge_off: Number, sump_off: Number) -> tuple[float, float]:
    """What two transducers say of a differential that is nil: with the pump off both see the same
    pressure.

    zero = mean(p_discharge - p_sump); u = t s / (1.96 sqrt(n)), with Student's t of n - 1 degrees
    of freedom, so that 1.96 u holds 95 %

    Parameters
    ----------
    discharge_off, sump_off : pint.Quantity
        [pressure] with the pump at rest, one reading or several.

    Returns
    -------
    tuple of pint.Quantity
        Zero and its standard uncertainty [pressure]; the uncertainty of one reading is nan.

    Source: definition; mean JCGM 100:2008, 4.2, and G.3 for few readings. Common practice, no
    source, to take the zero with the pump off.
    """
    gap = np.atleast_1d(np.asarray(discharge_off, float) - np.asarray(sump_off, float))
    if gap.size < 2:
        return float(gap.mean()), float("nan")
    widened = coverage_factor(gap.size - 1) / NORMAL_95
    return float(gap.mean()), float(widened * gap.std(ddof=1) / np.sqrt(gap.size))


@quantities("pascal", discharge="pascal", sump="pascal", zero="pascal")
def oil_differential(discharge: Number, sump: Number, zero: Number) -> Number:
    """Oil differential from two transducers, their zero subtracted.

    dp = p_discharge - p_sump - zero

    Parameters
    ----------
    discharge, sump : pint.Quantity
        [pressure] with the pump running, scalar or array.
    zero : pint.Quantity
        [pressure] from `transducer_zero`; it must be given, if only as nil.

    Source: definition; common practice, no source.
    """
    return discharge - sump - zero


@quantities("dimensionless", drop="pascal", change_at="pascal")
def filter_fraction(drop: Number, change_at: Number) -> Number:
    """Filter drop as a fraction of the drop at which it is to be changed.

    fraction = drop / change_at

    Parameters
    ----------
    drop, change_at : pint.Quantity
        [pressure].

    Raises
    ------
    ScienceError
        The changing drop is not above zero.

    Source: definition; common practice, no source.
    """
    if np.any(np.asarray(change_at) <= 0):
        raise ScienceError(
            "the drop at which the filter is changed is not above zero",
            "filter_fraction",
            "enter it from the maker's sheet",
        )
    return drop / change_at
