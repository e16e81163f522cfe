"""Tightness: a pressure hold corrected for temperature, what it lost, and the smallest leak it
could have seen.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from startkit.errors import ScienceError
from startkit.formula import Number, Value
from startkit.science.nitrogen import MOLAR_MASS, Gas, molar_density
from startkit.units import quantities

YEAR = 365.0 * 86400.0  # s; the year of the leak-rate rules

# 5 % of false alarms and 5 % of misses, both one-sided: 1.645 and twice 1.645 standard
# uncertainties
# (Currie 1968, ISO 11929; from memory).
DECISION = 1.645
DETECTION = 3.29

# The government specification's fixed slope. It is right near one pressure only, and its metric
# figure (2 kPa a kelvin) is not the same slope: kept as a comparison, never as the correction.
FIXED_SLOPE = 0.3 * 6894.757293168 / (5 / 9)  # Pa/K, from 0.3 psi/°F
FIXED_SLOPE_SOURCE = "UFGS 15652A 3.2.1.2"


@dataclass(frozen=True)
class Hold:
    """A pressure hold: what a tight vessel would show, what is missing, and how sure that is.

    `residual` is end pressure less expected pressure: below zero something was lost. `u` is its
    standard uncertainty, `threshold` the loss above which it counts as a leak, `detectable` the
    loss that such a test would miss in one case of twenty.
    """

    expected: Value
    residual: Value
    u: Value
    threshold: Value
    detectable: Value
    lost: bool


@dataclass(frozen=True)
class Leak:
    """A leak in the units in which people ask for it."""

    pressure_rate: Value
    throughput: Value
    mass_rate: Value


@quantities("pascal", pressure="pascal", temperature_start="kelvin", temperature_end="kelvin")
def expected_pressure(
    pressure: Value, temperature_start: Value, temperature_end: Value, trace: float = 0.0
) -> Value:
    """Pressure that a tight vessel full of nitrogen would show at another temperature.

    p_2 = p(rho, T_2) with rho from p_1 = p(rho, T_1); p = rho R T (1 + B rho + C rho^2), absolute

    Parameters
    ----------
    pressure : Quantity
        Absolute, at the start [Pa].
    temperature_start, temperature_end : Quantity
        Of the gas, most often by the metal in the shade [K].
    trace : float
        Share of refrigerant by volume.

    Returns
    -------
    Quantity
        Absolute [Pa].

    Raises
    ------
    ScienceError
        Outside -23 to 62 °C or 5 MPa.

    Source: `nitrogen.molar_density`, within 0.006 % of the equation of Span et al. over all of its
    range. The gas law alone is 0.12 % off for 10 K at 1.5 MPa, 0.28 % at 3.55 MPa.

    Examples
    --------
    >>> from startkit.units import Q
    >>> round(expected_pressure(Q(164.7, "psi"), Q(95, "degF"), Q(75, "degF")).to("psi").magnitude,
    ...     1)
    158.6
    """
    gas = Gas(trace)
    return gas.pressure(gas.density(pressure, temperature_start), temperature_end)


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
    pressure_start: Value,
    temperature_start: Value,
    pressure_end: Value,
    temperature_end: Value,
    u_pressure: Value,
    u_temperature_start: Value,
    u_temperature_end: Value = None,
    correlation: float = 0.0,
    trace: float = 0.0,
    u_trace: float = 0.0,
) -> Hold:
    """A pressure hold against what nitrogen would do in a tight vessel, with its uncertainty.

    r = p_2 - e(p_1, T_1, T_2);
    u^2 = u_p^2 (1 + k^2 - 2 c k) + (e_T2 u_T2)^2 + (e_T1 u_T1)^2 + (e_y u_y)^2, k = e_p

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
        c of the two pressure readings' errors: 0 is cautious, 0.9 fits one gauge left in place.
    trace, u_trace : float
        y, the share of refrigerant by volume, and its standard uncertainty.

    Returns
    -------
    Hold

    Raises
    ------
    ScienceError
        Zero pressure or temperature, or a correlation outside 0 to 1.

    Source: `expected_pressure`; JCGM 100:2008 5.2; threshold and detection limit by ISO 11929 (from
    memory).
    """
    if not 0 <= correlation <= 1:
        raise ScienceError(
            "the correlation is outside 0 to 1",
            "pressure hold",
            "give 0 for two gauges, near 1 for one gauge left in place",
        )
    gas = Gas(trace)
    density = gas.density(pressure_start, temperature_start)
    expected = gas.pressure(density, temperature_end)
    follows = gas.stiffness(density, temperature_end) / gas.stiffness(density, temperature_start)
    u_end = u_temperature_start if u_temperature_end is None else u_temperature_end
    by_gauge = u_pressure**2 * (1 + follows**2 - 2 * correlation * follows)
    by_temperature = (gas.slope(density, temperature_end) * u_end) ** 2 + (
        follows * gas.slope(density, temperature_start) * u_temperature_start
    ) ** 2
    by_trace = 0.0
    if u_trace:
        args = (pressure_start, temperature_start, temperature_end)
        by_trace = (expected_pressure.si(*args, trace + u_trace) - expected) ** 2
    u = math.sqrt(by_gauge + by_temperature + by_trace)
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
    pressure="pascal",
)
def leak(loss: Value, duration: Value, volume: Value, temperature: Value, pressure: Value) -> Leak:
    """A loss of pressure as a leak; with the detectable loss of a hold: the smallest leak that this
    test could have seen.

    dp/dt = loss / duration;  q = V dp/dt;  m = M q / (dp/drho)

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
    pressure : Quantity
        Absolute test pressure [Pa].

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

    Source: `nitrogen.molar_density`; throughput as in EN 1330-8.
    """
    if min(duration, volume, temperature) <= 0:
        raise ScienceError(
            "duration, volume or temperature is zero or below",
            "leak",
            "enter how long the test lasted and the volume under test",
        )
    rate = loss / duration
    gas = Gas()
    stiffness = gas.stiffness(gas.density(pressure, temperature), temperature)
    return Leak(rate, rate * volume, MOLAR_MASS * rate * volume / stiffness)


@quantities(
    "mole",
    volume="meter**3",
    pressure_start="pascal",
    temperature_start="kelvin",
    pressure_end="pascal",
    temperature_end="kelvin",
)
def amount_lost(
    volume: Number,
    pressure_start: Number,
    temperature_start: Number,
    pressure_end: Number,
    temperature_end: Number,
) -> Number:
    """Amount of gas that left the vessel; below zero: that came in.

    n = V (rho(p_1, T_1) - rho(p_2, T_2))

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

    Source: 40 CFR 1065.644, Eq. 1065.644-1, with the density of nitrogen in place of the gas law's.
    """
    return volume * (
        molar_density.si(pressure_start, temperature_start)
        - molar_density.si(pressure_end, temperature_end)
    )


@quantities("second", u="pascal", wanted="pascal/second")
def needed_hold(u: Number, wanted: Number) -> Number:
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
def pressure_rate(throughput: Number, volume: Number) -> Number:
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
def temperature_slope(pressure: Value, temperature: Value) -> Value:
    """By how much the pressure of a tight vessel changes with its temperature.

    dp/dT at constant density; p/T by the gas law

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

    Source: `nitrogen.molar_density`.
    """
    gas = Gas()
    return gas.slope(gas.density(pressure, temperature), temperature)
