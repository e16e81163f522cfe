"""Performance of a running machine: capacity, heat balance, specific power, approaches, lift.

All functions take single values or whole trends. Flow is multiplied by the liquid's density at the
flow
meter and by its heat capacity at the mean of inlet and outlet.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from startkit.errors import ScienceError
from startkit.formula import Number, Value
from startkit.science import refrigerant, water
from startkit.science.water import WATER, Liquid
from startkit.units import quantities

TON = 3516.8528420667  # W in a ton of refrigeration, 12 000 Btu/h


def _positive(value: Number, what: str, where: str, remedy: str) -> Number:
    """The value; zero or below is refused for a single value and not a number in a trend."""
    if np.ndim(value):
        return np.where(np.asarray(value) > 0, value, np.nan)
    if not value > 0:
        raise ScienceError(f"{what} is not above zero", where, remedy)
    return value


# --- heat on the water side -----------------------------------------------------------------------


@quantities(
    "watt",
    flow="meter**3/second",
    entering="kelvin",
    leaving="kelvin",
    meter="kelvin",
    pressure="pascal",
)
def cooling_capacity(
    flow: Value,
    entering: Value,
    leaving: Value,
    meter: Value | None = None,
    of: Liquid = WATER,
    pressure: Value = water.ATMOSPHERE,
) -> Value:
    """Heat taken from the chilled water: Q = V rho(T_meter) cp(T_mean) (T_entering - T_leaving).

    Negative if the water leaves warmer than it enters.

    Parameters
    ----------
    flow : pint.Quantity
        [volume/time] as the meter reads it.
    entering, leaving : pint.Quantity
        [temperature]
    meter : pint.Quantity, optional
        [temperature] at the flow meter; entering water if not given.
    of : Liquid
        What flows; water if not given.
    pressure : pint.Quantity
        Absolute [pressure] of the circuit; 101.325 kPa if not given (each 100 kPa is 0.005 %).

    Returns
    -------
    pint.Quantity
        [power]

    Source: ANSI/AHRI 550/590, Appendix C (from memory), without its small term for the pressure
    drop.

    Examples
    --------
    >>> from startkit.units import Q
    >>> found = cooling_capacity(Q(1000, "gallon/minute"), Q(54, "degF"), Q(44, "degF"))
    >>> round(found.to("ton_cooling").magnitude, 1)
    418.0
    """
    density = water.density.si(entering if meter is None else meter, of, pressure)
    return (
        flow
        * density
        * water.heat_capacity.si((entering + leaving) / 2, of, pressure)
        * (entering - leaving)
    )


@quantities(
    "watt",
    flow="meter**3/second",
    entering="kelvin",
    leaving="kelvin",
    meter="kelvin",
    pressure="pascal",
)
def heat_rejected(
    flow: Value,
    entering: Value,
    leaving: Value,
    meter: Value | None = None,
    of: Liquid = WATER,
    pressure: Value = water.ATMOSPHERE,
) -> Value:
    """Heat given to the condenser water: Q = V rho(T_meter) cp(T_mean) (T_leaving - T_entering).

    Parameters are those of `cooling_capacity`.

    Returns
    -------
    pint.Quantity
        [power]

    Source: as `cooling_capacity`.
    """
    return -cooling_capacity.si(flow, entering, leaving, meter, of, pressure)


@quantities(
    "watt", input_power="watt", motor_efficiency="dimensionless", gear_efficiency="dimensionless"
)
def shaft_power(
    input_power: Number, motor_efficiency: Number = 1.0, gear_efficiency: Number = 1.0
) -> Number:
    """Power that reaches the refrigerant of an open-drive machine: W = P eta_motor eta_gear.

    A hermetic machine's motor is cooled by the refrigerant: use its input power as it is.

    Parameters
    ----------
    input_power : pint.Quantity
        Electrical [power].
    motor_efficiency, gear_efficiency : float
        0 to 1 each; the gear counts only where its heat leaves by another way than the refrigerant.

    Source: worked example of the Singapore chiller-plant heat-balance method (100 kW at 0.90 gives
    90 kW).
    """
    for share in (motor_efficiency, gear_efficiency):
        if not 0 < share <= 1:
            raise ScienceError(
                f"an efficiency of {share:g} is impossible",
                "performance.shaft_power",
                "give it above 0 and up to 100 %",
            )
    return input_power * motor_efficiency * gear_efficiency


@dataclass(frozen=True)
class HeatBalance:
    """Heat in against heat out, on both bases in use.

    Parameters
    ----------
    residual : pint.Quantity
        Q_evaporator + W - Q_condenser [power].
    condenser_basis : pint.Quantity
        Residual over Q_condenser [dimensionless]; ARI 550/590 up to 2003.
    mean_basis : pint.Quantity
        Residual over the mean of heat in and heat out [dimensionless]; AHRI 550/590 since 2011.
    """

    residual: Value
    condenser_basis: Value
    mean_basis: Value


@quantities(
    {"residual": "watt", "condenser_basis": "dimensionless", "mean_basis": "dimensionless"},
    evaporator="watt",
    condenser="watt",
    power="watt",
    other="watt",
)
def heat_balance(
    evaporator: Number, condenser: Number, power: Number, other: Number = 0.0
) -> HeatBalance:
    """Heat balance: residual = Q_evap + W + other - Q_cond; over Q_cond, and over the mean of in
    and out.

    Parameters
    ----------
    evaporator, condenser : pint.Quantity
        Heat on the water sides [power].
    power : pint.Quantity
        What the compressor puts into the refrigerant [power]: input power if hermetic, shaft power
        if open.
    other : pint.Quantity
        Further heat into the refrigerant (an oil cooler on city water counts negative) [power].

    Raises
    ------
    ScienceError
        Heat rejected is not above zero.

    Source: ARI 550/590-2003 clause C6, AHRI 550/590-2011 Appendix C (both from memory).
    """
    heat_in = evaporator + power + other
    residual = heat_in - condenser
    remedy = "check the condenser's flow and which sensor is entering and which leaving"
    out = _positive(condenser, "the heat rejected", "performance.heat_balance", remedy)
    mean = _positive(
        (heat_in + condenser) / 2, "the mean of heat in and out", "performance.heat_balance", remedy
    )
    return HeatBalance(residual, residual / out, residual / mean)


# --- power against capacity -----------------------------------------------------------------------


@quantities("dimensionless", power="watt", capacity="watt")
def specific_power(power: Number, capacity: Number) -> Number:
    """Input power per capacity [kW/kW]; `.to("kilowatt/ton_cooling")` gives kW/ton.

    Parameters
    ----------
    power, capacity : pint.Quantity
        [power]

    Raises
    ------
    ScienceError
        Capacity is not above zero.

    Source: definition, ANSI/AHRI 550/590.

    Examples
    --------
    >>> from startkit.units import Q
    >>> round(specific_power(Q(230, "kW"), Q(418,
    ...     "ton_cooling")).to("kilowatt/ton_cooling").magnitude, 3)
    0.55
    """
    return power / _positive(
        capacity,
        "the cooling capacity",
        "performance.specific_power",
        "check the flow and the water temperatures",
    )


@quantities("dimensionless", power="watt", capacity="watt")
def cop(power: Number, capacity: Number) -> Number:
    """Coefficient of performance: capacity over input power.

    Parameters
    ----------
    power, capacity : pint.Quantity
        [power]

    Raises
    ------
    ScienceError
        Input power is not above zero.

    Source: definition, ANSI/AHRI 550/590.
    """
    return capacity / _positive(
        power, "the input power", "performance.cop", "check the power meter"
    )


# --- temperatures ---------------------------------------------------------------------------------


@quantities("delta_degC", evaporator_pressure="pascal", condenser_pressure="pascal")
def lift(fluid: str, evaporator_pressure: Number, condenser_pressure: Number) -> Number:
    """Lift: saturation temperature at condenser pressure less that at evaporator pressure (dew
    points).

    Parameters
    ----------
    fluid : str
        Refrigerant.
    evaporator_pressure, condenser_pressure : pint.Quantity
        Absolute [pressure].

    Source: definition; saturation by `refrigerant.dew_temperature`.
    """
    return refrigerant.dew_temperature.si(
        fluid, condenser_pressure
    ) - refrigerant.dew_temperature.si(fluid, evaporator_pressure)


@quantities("dimensionless", evaporator_pressure="pascal", condenser_pressure="pascal")
def pressure_ratio(evaporator_pressure: Number, condenser_pressure: Number) -> Number:
    """Absolute condenser pressure over absolute evaporator pressure.

    Parameters
    ----------
    evaporator_pressure, condenser_pressure : pint.Quantity
        Absolute [pressure].

    Raises
    ------
    ScienceError
        Evaporator pressure is not above zero.

    Source: definition.
    """
    low = _positive(
        evaporator_pressure,
        "the absolute evaporator pressure",
        "performance.pressure_ratio",
        "check the reading and the barometer",
    )
    return condenser_pressure / low


# --- refrigerant side -----------------------------------------------------------------------------


@dataclass(frozen=True)
class NonCondensables:
    """What condenser pressure there is beyond that of the refrigerant alone.

    Parameters
    ----------
    excess_pressure : pint.Quantity
        p_condenser - p_sat(T) [pressure].
    equivalent : pint.Quantity
        T_sat(p_condenser) - T [temperature difference].
    """

    excess_pressure: Value
    equivalent: Value


@quantities(
    {"excess_pressure": "pascal", "equivalent": "delta_degC"},
    pressure="pascal",
    temperature="kelvin",
)
def non_condensables(fluid: str, pressure: Number, temperature: Number) -> NonCondensables:
    """Excess of condenser pressure over the refrigerant's own saturation pressure, a candidate for
    air or nitrogen.

    Best at standstill with condenser water circulating until the refrigerant has the water's
    temperature; running, the
    saturated liquid's temperature measured in the condenser does, but subcooling reads as excess.

    Parameters
    ----------
    fluid : str
        Refrigerant.
    pressure : pint.Quantity
        Absolute condenser [pressure].
    temperature : pint.Quantity
        [temperature] of the condensing refrigerant (saturated liquid).

    Source: Dalton's law; the bubble point is used, for it is over liquid that the gas collects (a
    blend with glide at its dew point would show air that is not there).
    """
    own = refrigerant.saturation_pressure.si(fluid, temperature, "bubble")
    return NonCondensables(
        pressure - own, refrigerant.bubble_temperature.si(fluid, pressure) - temperature
    )


@quantities(
    "dimensionless",
    cop="dimensionless",
    evaporator_saturation="kelvin",
    condenser_saturation="kelvin",
)
def carnot_fraction(
    cop: Number, evaporator_saturation: Number, condenser_saturation: Number
) -> Number:
    """COP over that of the reversed Carnot cycle between the two saturation temperatures: COP (T_c
    - T_e) / T_e.

    Parameters
    ----------
    cop : float
        Measured COP.
    evaporator_saturation, condenser_saturation : pint.Quantity
        [temperature]

    Source: textbook.
    """
    return cop * (condenser_saturation - evaporator_saturation) / evaporator_saturation


@quantities(
    "kilogram/second",
    capacity="watt",
    evaporator_pressure="pascal",
    suction_temperature="kelvin",
    condenser_pressure="pascal",
    liquid_temperature="kelvin",
)
def refrigerant_flow(
    fluid: str,
    capacity: Number,
    evaporator_pressure: Number,
    suction_temperature: Number,
    condenser_pressure: Number,
    liquid_temperature: Number,
) -> Number:
    """Refrigerant mass flow of a machine without economiser: m = Q_evap / (h_suction - h_liquid).

    Parameters
    ----------
    fluid : str
        Refrigerant.
    capacity : pint.Quantity
        [power]
    evaporator_pressure, suction_temperature, condenser_pressure, liquid_temperature : pint.Quantity
        Absolute [pressure] and [temperature] of suction gas and of liquid leaving the condenser.

    Source: energy balance of the evaporator (textbook).
    """
    gained = refrigerant.enthalpy.si(fluid, evaporator_pressure, suction_temperature)
    return capacity / (
        gained - refrigerant.liquid_enthalpy.si(fluid, condenser_pressure, liquid_temperature)
    )
