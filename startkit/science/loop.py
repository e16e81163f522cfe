"""Loop: the chilled-water loop as one lump of heat, its pull-down by heat balance, and what a seen
pull-down shows of it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from startkit.errors import ScienceError
from startkit.formula import Number, Value
from startkit.units import quantities

STEEL = 490.0  # J/kg K, pipes and vessels (handbook value)


@dataclass(frozen=True)
class Course:
    """A pull-down in time: loop, leaving water and evaporator heat; `reached` false if the target
    was beyond the horizon.
    """

    time: Value
    loop: Value
    leaving: Value
    heat: Value
    reached: bool


@quantities(
    "joule/delta_degC",
    volume="meter**3",
    density="kilogram/meter**3",
    heat_capacity="joule/kilogram/delta_degC",
    metal="kilogram",
)
def loop_heat_capacity(
    volume: Number, density: Number, heat_capacity: Number, metal: Number = 0.0
) -> Number:
    """Heat that the loop gives off for each kelvin.

    C = rho V cp + m_metal c_steel

    Parameters
    ----------
    volume : Quantity
        Of water in the loop [m3].
    density, heat_capacity : Quantity
        Of the water or glycol at its mean temperature [kg/m3], [J/kg K].
    metal : Quantity, optional
        Steel in contact with the water [kg].

    Returns
    -------
    Quantity
        [J/K].

    Raises
    ------
    ScienceError
        No volume.

    Source: heat balance; 490 J/kg K for steel, handbook value.
    """
    if volume <= 0:
        raise ScienceError(
            "the loop has no volume",
            "pull-down",
            "enter the loop's volume, or a temperature ramp already seen",
        )
    return density * volume * heat_capacity + metal * STEEL


@quantities("joule/delta_degC", net_heat="watt", ramp="delta_degC/second")
def heat_capacity_from_ramp(net_heat: Number, ramp: Number) -> Number:
    """Heat capacity of the loop from a temperature ramp already seen.

    C = Q_net / (dT/dt)

    Parameters
    ----------
    net_heat : Quantity
        Evaporator heat less load, in size [W]; or the load alone while the loop warms up.
    ramp : Quantity
        Change of the loop's temperature in time, in size [K/s].

    Returns
    -------
    Quantity
        [J/K].

    Raises
    ------
    ScienceError
        The temperature does not move, or no heat moves it.

    Source: heat balance.
    """
    if net_heat <= 0 or ramp <= 0:
        raise ScienceError(
            "no heat, or the temperature does not move",
            "loop from a ramp",
            "use a stretch in which the temperature moves steadily",
        )
    return net_heat / ramp


@quantities(
    "second",
    start="kelvin",
    target="kelvin",
    heat_capacity="joule/delta_degC",
    load="watt",
    capacity="watt",
    conductance="watt/delta_degC",
    ambient="kelvin",
)
def constant_capacity_time(
    start: Number,
    target: Number,
    heat_capacity: Number,
    load: Number,
    capacity: Number,
    conductance: Number = 0.0,
    ambient: Number = 293.15,
) -> Number:
    """Time to bring the loop down at constant evaporator heat: the closed form of one lump.

    C dT/dt = Q_load + UA (T_amb - T) - Q_evap;
    t = C (T_0 - T_1)/(Q_evap - Q_load) for UA = 0, else t = (C/UA) ln((T_0 - T_inf)/(T_1 - T_inf)),
    T_inf = T_amb + (Q_load - Q_evap)/UA

    Parameters
    ----------
    start, target : Quantity
        Loop temperatures [K].
    heat_capacity : Quantity
        [J/K].
    load, capacity : Quantity
        Heat into the loop, and heat that the evaporator takes [W].
    conductance, ambient : Quantity, optional
        Of pipes and tanks to the surroundings [W/K], [K].

    Returns
    -------
    Quantity
        [s]; infinite if the target is never reached.

    Raises
    ------
    ScienceError
        No heat capacity, or a target above the start.

    Source: heat balance, closed form.
    """
    if heat_capacity <= 0 or target > start:
        raise ScienceError(
            "no heat capacity, or a target above the start",
            "pull-down",
            "check loop volume, start and set point",
        )
    if conductance <= 0:
        return heat_capacity * (start - target) / (capacity - load) if capacity > load else math.inf
    rest = ambient + (load - capacity) / conductance
    return (
        heat_capacity / conductance * math.log((start - rest) / (target - rest))
        if rest < target
        else math.inf
    )


def leaving_and_heat(
    loop: Value, capacity: Callable[[Value], Value], flow_capacity: float | None
) -> tuple[Value, Value]:
    """Leaving water [K] and evaporator heat [W] at a mean loop temperature [K], in bare SI.

    T_leaving = T - Q(T_leaving) / (2 m cp); the loop's mean is half a range above the leaving
    water. `capacity` takes the leaving temperature [K]; `flow_capacity` is m cp [W/K], None for the
    loop's mean itself.
    """
    leaving = np.asarray(loop, dtype=float)
    heat = capacity(leaving)
    if flow_capacity is None:
        return leaving, heat
    # Capacity changes by a few percent a kelvin and the half range is a few kelvin: four rounds
    # settle to millikelvin.
    for _ in range(4):
        leaving = loop - heat / (2 * flow_capacity)
        heat = capacity(leaving)
    return leaving, heat


@quantities(
    {"time": "second", "loop": "kelvin", "leaving": "kelvin", "heat": "watt"},
    start="kelvin",
    target="kelvin",
    heat_capacity="joule/delta_degC",
    load="watt",
    flow_capacity="watt/delta_degC",
    conductance="watt/delta_degC",
    ambient="kelvin",
    horizon="second",
)
def pull_down(
    start: Value,
    target: Value,
    heat_capacity: Value,
    load: Value,
    capacity: Callable[[float, Value], Value],
    flow_capacity: Value = None,
    conductance: Value = 0.0,
    ambient: Value = 293.15,
    horizon: Value = 6 * 3600.0,
    points: int = 121,
) -> Course:
    """The loop's pull-down until the leaving water reaches its target, by the heat balance as an
    initial value problem.

    C dT/dt = Q_load + UA (T_amb - T) - Q_evap(t, T_leaving);  T_leaving = T - Q_evap/(2 m cp)

    Parameters
    ----------
    start : Quantity
        Mean temperature of the loop [K].
    target : Quantity
        Leaving water [K].
    heat_capacity, load : Quantity
        [J/K], [W].
    capacity : callable
        Evaporator heat [W] at elapsed time [s] and leaving temperature [K], in bare SI.
    flow_capacity : Quantity, optional
        m cp of the water through the evaporator [W/K].
    conductance, ambient, horizon : Quantity, optional
        [W/K], [K]; how far to look [s].
    points : int
        Of the course returned.

    Returns
    -------
    Course

    Raises
    ------
    ScienceError
        No heat capacity.

    Source: heat balance; integrated with scipy.integrate.solve_ivp.
    """
    from scipy.integrate import solve_ivp

    if heat_capacity <= 0:
        raise ScienceError(
            "the loop has no heat capacity",
            "pull-down",
            "enter the loop's volume, or a temperature ramp already seen",
        )

    def state(time: float, loop: Value) -> tuple[Value, Value]:
        return leaving_and_heat(loop, lambda leaving: capacity(time, leaving), flow_capacity)

    def slope(time: float, loop: np.ndarray) -> np.ndarray:
        return (load + conductance * (ambient - loop) - state(time, loop)[1]) / heat_capacity

    def arrived(time: float, loop: np.ndarray) -> float:
        return float(state(time, loop)[0][0] - target)

    # The solver reads these off the function itself.
    vars(arrived).update(terminal=True, direction=-1)
    if arrived(0.0, np.array([start])) <= 0:
        leaving, heat = state(0.0, np.array([start]))
        return Course(np.zeros(1), np.array([start]), leaving, heat, True)
    # A limit that is ramped in time must not be stepped over.
    solution = solve_ivp(
        slope,
        (0.0, horizon),
        [start],
        events=arrived,
        dense_output=True,
        rtol=1e-7,
        atol=1e-6,
        max_step=60.0,
    )
    time = np.linspace(0.0, solution.t[-1], points)
    loop = solution.sol(time)[0]
    states = [state(t, np.array([value])) for t, value in zip(time, loop, strict=True)]
    return Course(
        time,
        loop,
        np.array([s[0][0] for s in states]),
        np.array([s[1][0] for s in states]),
        bool(solution.t_events[0].size),
    )
