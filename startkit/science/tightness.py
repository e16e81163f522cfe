"""Tightness: a pressure hold corrected for temperature, what it lost, and the smallest leak it
could have seen.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from startkit.errors import ScienceError
from startkit.units import quantities

GAS_CONSTANT = 8.31446261815324  # J/mol K, CODATA
NITROGEN = 28.0134e-3  # kg/mol
YEAR = 365.0 * 86400.0  # s; the year of the leak-rate rules

# 5 % of false alarms and 5 % of misses, both one-sided: 1.645 and twice 1.645 standard
# uncertainties
# (Currie 1968, ISO 11929; from memory).
DECISION = 1.645
DETECTION = 3.29

# The government specification's fixed slope. It is right near 144 psig at 70 °F only, and its
# metric figure
# (2 kPa a kelvin) is not the same slope: kept as a comparison, never as the correction.
FIXED_SLOPE = 0.3 * 6894.757293168 / (5 / 9)  # Pa/K, from 0.3 psi/°F
FIXED_SLOPE_SOURCE = "UFGS 15652A 3.2.1.2"


# Low-pressure machines: above the first the relief device is at risk, the second is its usual
# setting (gauge; secondary).
@dataclass(frozen=True)
class Hold:
    """A pressure hold: what the gas law expects, what is missing, and how sure that is.

    `residual` is end pressure less expected pressure: below zero something was lost. `u` is its
    standard
    uncertainty, `threshold` the loss from which on one speaks of a leak, `detectable` the loss that
    such a test
    would miss in one case of twenty.
    """

    expected: Any
    residual: Any
    u: Any
    threshold: Any
    detectable: Any
    lost: bool


@dataclass(frozen=True)
class Leak:
    """A leak in the units in which people ask for it."""

    pressure_rate: Any
    throughput: Any
    mass_rate: Any


@quantities("pascal", pressure="pascal", temperature_start="kelvin", temperature_end="kelvin")
def expected_pressure(pressure: Any, temperature_start: Any, temperature_end: Any) -> Any:
    """Pressure that a tight vessel would show at another temperature.

    p_2 = p_1 T_2 / T_1, absolute

    Parameters
    ----------
    pressure : Quantity
        Absolute, at the start [Pa].
    temperature_start, temperature_end : Quantity
        Of the gas, most often by the metal in the shade [K].

    Returns
    -------
    Quantity
        Absolute [Pa].

    Raises
    ------
    ScienceError
        A pressure or temperature of zero or below.

    Source: gas law at constant volume. Nitrogen at 1.5 MPa departs from it by less than 0.02 % for
    10 K.

    Examples
    --------
    >>> from startkit.units import Q
    >>> round(expected_pressure(Q(164.7, "psi"), Q(95, "degF"), Q(75, "degF")).to("psi").magnitude,
    ...     1)
    158.8
    """
    if pressure <= 0 or temperature_start <= 0 or temperature_end <= 0:
        raise ScienceError(
            "an absolute pressure or temperature is zero or below",
            "pressure hold",
            "check the readings and the site's barometer",
        )
    return pressure * temperature_end / temperature_start


@quantities(
    {
        "expected": "pascal",
        "residual": "pascal",
        "u": "pascal",
        "threshold": "pascal",
        "detectable": "pascal",
    },
    pressure_start="pascal",
    temperature_start="kelvin",
    pressure_end="pascal",
    temperature_end="kelvin",
    u_pressure="pascal",
    u_temperature_start="delta_degC",
    u_temperature_end="delta_degC",
)
def hold(
    pressure_start: Any,
    temperature_start: Any,
    pressure_end: Any,
    temperature_end: Any,
    u_pressure: Any,
    u_temperature_start: Any,
    u_temperature_end: Any = None,
    correlation: float = 0.0,
) -> Hold:
    """A pressure hold against the gas law, with its uncertainty.

    r = p_2 - p_1 T_2/T_1;
    u^2 = u_p^2 (1 + k^2 - 2 rho k) + (p_1/T_1)^2 (u_T2^2 + k^2 u_T1^2), k = T_2/T_1

    Parameters
    ----------
    pressure_start, pressure_end : Quantity
        Absolute, by one and the same gauge [Pa].
    temperature_start, temperature_end : Quantity
        Of the gas [K].
    u_pressure : Quantity
        Standard uncertainty of one pressure reading, barometer included [Pa].
    u_temperature_start, u_temperature_end : Quantity
        Standard uncertainty of the gas temperature [K]; the second as the first if left out.
    correlation : float
        rho of the two pressure readings' errors: 0 is cautious, 0.9 fits one gauge left in place.

    Returns
    -------
    Hold

    Raises
    ------
    ScienceError
        Zero pressure or temperature, or a correlation outside 0 to 1.

    Source: gas law; JCGM 100:2008 5.2; threshold and detection limit by ISO 11929 (from memory).
    """
    if not 0 <= correlation <= 1:
        raise ScienceError(
            "the correlation is outside 0 to 1",
            "pressure hold",
            "give 0 for two gauges, near 1 for one gauge left in place",
        )
    expected = expected_pressure.si(pressure_start, temperature_start, temperature_end)
    u_end = u_temperature_start if u_temperature_end is None else u_temperature_end
    ratio = temperature_end / temperature_start
    by_gauge = u_pressure**2 * (1 + ratio**2 - 2 * correlation * ratio)
    by_temperature = (pressure_start / temperature_start) ** 2 * (
        u_end**2 + (ratio * u_temperature_start) ** 2
    )
    u = math.sqrt(by_gauge + by_temperature)
    residual = pressure_end - expected
    return Hold(expected, residual, u, DECISION * u, DETECTION * u, residual < -DECISION * u)


@quantities(
    {
        "pressure_rate": "pascal/second",
        "throughput": "pascal*meter**3/second",
        "mass_rate": "kilogram/second",
    },
    loss="pascal",
    duration="second",
    volume="meter**3",
    temperature="kelvin",
    molar_mass="kilogram/mole",
)
def leak(
    loss: Any, duration: Any, volume: Any, temperature: Any, molar_mass: Any = NITROGEN
) -> Leak:
    """A loss of pressure as a leak; with the detectable loss of a hold: the smallest leak that this
    test could have seen.

    dp/dt = loss / duration;  q = V dp/dt;  m = M q / (R T)

    Parameters
    ----------
    loss : Quantity
        Of pressure at constant temperature [Pa]: a residual's size, or `Hold.detectable`.
    duration : Quantity
        Of the hold [s].
    volume : Quantity
        Of everything under pressure [m3].
    temperature : Quantity
        Of the gas [K].
    molar_mass : Quantity, optional
        [kg/mol]; nitrogen.

    Returns
    -------
    Leak
        `pressure_rate` [Pa/s], `throughput` [Pa m3/s] and `mass_rate` [kg/s] of the test gas at
        test pressure:
        the refrigerant lost later is another figure.

    Raises
    ------
    ScienceError
        No duration, volume or temperature.

    Source: gas law; throughput as in EN 1330-8.
    """
    if min(duration, volume, temperature) <= 0:
        raise ScienceError(
            "duration, volume or temperature is zero or below",
            "leak",
            "enter how long the test lasted and the volume under test",
        )
    rate = loss / duration
    return Leak(rate, rate * volume, molar_mass * rate * volume / (GAS_CONSTANT * temperature))


@quantities(
    "mole",
    volume="meter**3",
    pressure_start="pascal",
    temperature_start="kelvin",
    pressure_end="pascal",
    temperature_end="kelvin",
)
def amount_lost(
    volume: Any,
    pressure_start: Any,
    temperature_start: Any,
    pressure_end: Any,
    temperature_end: Any,
) -> Any:
    """Amount of gas that left the vessel; below zero: that came in.

    n = V/R (p_1/T_1 - p_2/T_2)

    Parameters
    ----------
    volume : Quantity
        [m3].
    pressure_start, pressure_end : Quantity
        Absolute [Pa].
    temperature_start, temperature_end : Quantity
        [K].

    Returns
    -------
    Quantity
        [mol].

    Source: 40 CFR 1065.644, Eq. 1065.644-1.
    """
    return (
        volume
        / GAS_CONSTANT
        * (pressure_start / temperature_start - pressure_end / temperature_end)
    )


@quantities("second", u="pascal", wanted="pascal/second")
def needed_hold(u: Any, wanted: Any) -> Any:
    """How long a hold must last to see a leak of a wanted size.

    t = 3.29 u / (dp/dt)

    Parameters
    ----------
    u : Quantity
        Standard uncertainty of the residual, see `Hold.u` [Pa].
    wanted : Quantity
        Loss of pressure that must not stay unseen [Pa/s]; from a throughput by `pressure_rate`.

    Returns
    -------
    Quantity
        [s].

    Raises
    ------
    ScienceError
        Nothing is wanted.

    Source: detection limit by ISO 11929 (from memory).
    """
    if wanted <= 0:
        raise ScienceError(
            "no leak was named that must be seen",
            "needed hold",
            "enter the largest leak that may stay unseen",
        )
    return DETECTION * u / wanted


@quantities("pascal/second", throughput="pascal*meter**3/second", volume="meter**3")
def pressure_rate(throughput: Any, volume: Any) -> Any:
    """Loss of pressure in time that a throughput means in a volume.

    dp/dt = q / V

    Parameters
    ----------
    throughput : Quantity
        [Pa m3/s].
    volume : Quantity
        [m3].

    Returns
    -------
    Quantity
        [Pa/s].

    Raises
    ------
    ScienceError
        No volume.

    Source: definition of throughput, EN 1330-8.
    """
    if volume <= 0:
        raise ScienceError("no volume", "leak", "enter the volume under test")
    return throughput / volume


@quantities("pascal/delta_degC", pressure="pascal", temperature="kelvin")
def temperature_slope(pressure: Any, temperature: Any) -> Any:
    """By how much the pressure of a tight vessel changes with its temperature.

    dp/dT = p / T, absolute

    Parameters
    ----------
    pressure : Quantity
        Absolute [Pa].
    temperature : Quantity
        [K].

    Returns
    -------
    Quantity
        [Pa/K]; compare with `FIXED_SLOPE`, which is right near 144 psig only.

    Source: gas law at constant volume.
    """
    return pressure / temperature
