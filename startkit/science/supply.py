"""Supply: the three line voltages, how far they are from rated and from each other, and what that
costs the motor.
"""

from __future__ import annotations

import numpy as np

from startkit.errors import ScienceError
from startkit.formula import Number, Value
from startkit.units import quantities

# (voltage unbalance, factor on rated power). ANSI C84.1 Figure D1 as restated, the curve of NEMA MG
# 1 Figures 14-1
# and 20-2; another reading of the same curve gives 0.90 at 3 %, so a factor is good to about 0.02.
# 0 % -> 1: from memory.
UNBALANCE_DERATING = (
    (0.00, 1.00),
    (0.01, 0.98),
    (0.02, 0.95),
    (0.03, 0.88),
    (0.04, 0.82),
    (0.05, 0.75),
)
DERATING_SOURCE = "NEMA MG 1 Fig. 14-1/20-2 by the points of ANSI C84.1 Fig. D1 (secondary)"

BAND_SOURCE = "NEMA MG 1-2011 condensed, 9.9.1 [12.44.1]"

UNBALANCE_GOOD = 0.01  # above this a motor is derated (NEMA MG 1 14.36, secondary)
UNBALANCE_REFUSED = 0.05  # above this a motor is not operated (NEMA MG 1 14.36, secondary)
UNBALANCE_SOURCE = "NEMA MG 1 14.36 (secondary)"
SERVICE_UNBALANCE = 0.03  # ANSI C84.1, at the meter without load (secondary)

# Current unbalance is about six to ten times the voltage unbalance that causes it (secondary).
CURRENT_PER_VOLTAGE = (6.0, 10.0)


def _unbalance(name: str, *phases: Number) -> Number:
    values = np.stack(np.broadcast_arrays(*[np.asarray(phase, dtype=float) for phase in phases]))
    mean = values.mean(axis=0)
    if np.any(values < 0) or np.any(mean <= 0):
        raise ScienceError(
            "a phase reads below zero or all three read zero", name, "take the three readings again"
        )
    return _bare(np.abs(values - mean).max(axis=0) / mean)


def _bare(value: Number) -> Number:
    return float(value) if np.ndim(value) == 0 else value


@quantities("dimensionless", v12="volt", v23="volt", v31="volt")
def voltage_unbalance(v12: Number, v23: Number, v31: Number) -> Number:
    """Voltage unbalance by its definition in NEMA MG 1.

    unbalance = max |V - V_mean| / V_mean

    Parameters
    ----------
    v12, v23, v31 : Quantity
        Line-to-line voltages [V], taken together at the motor's terminals.

    Returns
    -------
    Quantity
        Fraction [1]; not the spread between the highest and lowest phase.

    Raises
    ------
    ScienceError
        A voltage below zero, or none at all.

    Source: NEMA MG 1 14.36 (secondary: worked examples in the tests).

    Examples
    --------
    >>> from startkit.units import Q
    >>> round(voltage_unbalance(Q(462, "V"), Q(463, "V"), Q(455, "V")).to("percent").magnitude, 1)
    1.1
    """
    return _unbalance("voltage unbalance", v12, v23, v31)


@quantities("dimensionless", i1="ampere", i2="ampere", i3="ampere")
def current_unbalance(i1: Number, i2: Number, i3: Number) -> Number:
    """Current unbalance, formed in the same way as the voltage unbalance.

    unbalance = max |I - I_mean| / I_mean

    Parameters
    ----------
    i1, i2, i3 : Quantity
        Line currents [A], taken together.

    Returns
    -------
    Quantity
        Fraction [1].

    Raises
    ------
    ScienceError
        A current below zero, or none at all.

    Source: NEMA MG 1 14.36 by analogy (secondary).
    """
    return _unbalance("current unbalance", i1, i2, i3)


@quantities(("dimensionless", "dimensionless"), voltage_unbalance="dimensionless")
def explained_current_unbalance(voltage_unbalance: Number) -> tuple[Number, Number]:
    """The current unbalance that this voltage unbalance would explain by itself, from and to.

    Parameters
    ----------
    voltage_unbalance : Quantity
        [1].

    Returns
    -------
    (Quantity, Quantity)
        Six and ten times the voltage unbalance [1]; more than the second points at the motor or its
        connections.

    Source: secondary; one field case of 1.7 % in voltage and 17 % in current.
    """
    low, high = CURRENT_PER_VOLTAGE
    return voltage_unbalance * low, voltage_unbalance * high


@quantities("dimensionless", unbalance="dimensionless")
def derating(unbalance: Number) -> Number:
    """Factor on rated power at a voltage unbalance, straight between the printed points.

    Parameters
    ----------
    unbalance : Quantity
        Voltage unbalance [1], 0 to 5 %.

    Returns
    -------
    Quantity
        Factor [1], good to about 0.02.

    Raises
    ------
    ScienceError
        Above 5 %: the motor is not to be operated.

    Source: ANSI C84.1 Fig. D1 (secondary); NEMA MG 1 Fig. 14-1 and 20-2 show the same curve.

    Examples
    --------
    >>> from startkit.units import Q
    >>> round(float(derating(Q(3, "percent")).magnitude), 2)
    0.88
    """
    # 5 % typed as a percentage must not fail by the last place of its conversion.
    if np.any(np.asarray(unbalance) > UNBALANCE_REFUSED * (1 + 1e-9)):
        worst = float(np.max(unbalance))
        raise ScienceError(
            f"a voltage unbalance of {100 * worst:.1f} % is above 5 %",
            "derating",
            "do not operate the motor; correct the supply",
        )
    if np.any(np.asarray(unbalance) < 0):
        raise ScienceError(
            "the unbalance is negative", "derating", "calculate it from the three line voltages"
        )
    points, factors = zip(*UNBALANCE_DERATING, strict=True)
    return _bare(np.interp(unbalance, points, factors))


@quantities("dimensionless", unbalance="dimensionless")
def temperature_rise_increase(unbalance: Number) -> Number:
    """By how much the winding's temperature rise grows with voltage unbalance.

    increase [%] = 2 unbalance[%]^2

    Parameters
    ----------
    unbalance : Quantity
        Voltage unbalance [1].

    Returns
    -------
    Quantity
        Fraction of the temperature rise [1]: 0.18 at 3 %.

    Source: NEMA MG 1 14.36, as taught with it (from memory).
    """
    return 2 * (100 * unbalance) ** 2 / 100


def _relative(value: float, rated: float | None, name: str) -> float:
    if rated is None or rated <= 0:
        raise ScienceError(
            f"no {name} to compare with", "supply", f"enter the {name} of the nameplate"
        )
    return value / rated - 1


@quantities(
    "dimensionless",
    voltage="volt",
    rated_voltage="volt",
    frequency="hertz",
    rated_frequency="hertz",
)
def starting_torque_ratio(
    voltage: Value, rated_voltage: Value, frequency: Value = None, rated_frequency: Value = None
) -> Value:
    """Starting torque against that at rated voltage and frequency.

    ratio = (V / V_rated)^2 / (f / f_rated)^2

    Parameters
    ----------
    voltage, rated_voltage : Quantity
        Line-to-line voltage while starting, and nameplate voltage [V].
    frequency, rated_frequency : Quantity, optional
        [Hz]; left out, the frequency is taken as rated.

    Returns
    -------
    Quantity
        Ratio [1].

    Raises
    ------
    ScienceError
        A rated value of zero or below.

    Source: condensed NEMA MG 1-2011, 9.9.2 [MG 1-12.44.2].
    """
    by_frequency = (
        1.0 if frequency is None else 1 + _relative(frequency, rated_frequency, "rated frequency")
    )
    return ((1 + _relative(voltage, rated_voltage, "rated voltage")) / by_frequency) ** 2
