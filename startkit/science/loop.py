"""Loop: the chilled-water loop as one lump of heat, its pull-down by heat balance, and what a seen
pull-down says of it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from startkit.errors import ScienceError
from startkit.units import quantities

STEEL = 490.0  # J/kg K, pipes and vessels (handbook value)
# the data alone must fix 1/C this well (relative) before heat capacity and load count as told apart
SEPARABLE = 0.2
FINEST = 1e-6  # K: no thermometer tells temperatures better apart, however smooth a series is
ROUNDING = 4 * np.finfo(float).eps

_UNSETTLED = ScienceError(
    "the readings so far do not settle the loop's heat capacity",
    "loop estimate",
    "wait for more readings, check flow and both water temperatures, or give the planned loop with"
    " its uncertainty",
)


@dataclass(frozen=True)
class Course:
    """A pull-down in time: loop, leaving water and evaporator heat; `reached` false if the target
    lay beyond the horizon.
    """

    time: Any
    loop: Any
    leaving: Any
    heat: Any
    reached: bool


@dataclass(frozen=True)
class LoopEstimate:
    """Heat capacity and load of the loop from a seen pull-down, with standard uncertainties and
    their correlation.

    `separable` is false if the data alone cannot tell the two apart: the evaporator's heat hardly
    changed, so a large
    loop with little load looks like a small one with much. Their net effect is known all the same.
    """

    heat_capacity: Any
    u_heat_capacity: Any
    load: Any
    u_load: Any
    correlation: float
    scatter: Any
    separable: bool


@quantities(
    "joule/delta_degC",
    volume="meter**3",
    density="kilogram/meter**3",
    heat_capacity="joule/kilogram/delta_degC",
    metal="kilogram",
)
def loop_heat_capacity(volume: Any, density: Any, heat_capacity: Any, metal: Any = 0.0) -> Any:
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
def heat_capacity_from_ramp(net_heat: Any, ramp: Any) -> Any:
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
    start: Any,
    target: Any,
    heat_capacity: Any,
    load: Any,
    capacity: Any,
    conductance: Any = 0.0,
    ambient: Any = 293.15,
) -> Any:
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
    loop: Any, capacity: Callable[[Any], Any], flow_capacity: float | None
) -> tuple[Any, Any]:
    """Leaving water [K] and evaporator heat [W] at a mean loop temperature [K], in bare SI.

    T_leaving = T - Q(T_leaving) / (2 m cp); the loop's mean lies half a range above the leaving
    water.
    `capacity` takes the leaving temperature [K]; `flow_capacity` is m cp [W/K], None for the loop's
    mean itself.
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
    start: Any,
    target: Any,
    heat_capacity: Any,
    load: Any,
    capacity: Callable[[float, Any], Any],
    flow_capacity: Any = None,
    conductance: Any = 0.0,
    ambient: Any = 293.15,
    horizon: Any = 6 * 3600.0,
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

    def state(time: float, loop: Any) -> tuple[Any, Any]:
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


@quantities(
    {
        "heat_capacity": "joule/delta_degC",
        "u_heat_capacity": "joule/delta_degC",
        "load": "watt",
        "u_load": "watt",
        "scatter": "delta_degC",
    },
    time="second",
    temperature="kelvin",
    heat="watt",
    conductance="watt/delta_degC",
    ambient="kelvin",
    planned_heat_capacity="joule/delta_degC",
    u_planned_heat_capacity="joule/delta_degC",
    planned_load="watt",
    u_planned_load="watt",
    longest_gap="second",
)
def estimate(
    time: Any,
    temperature: Any,
    heat: Any,
    conductance: Any = 0.0,
    ambient: Any = 293.15,
    planned_heat_capacity: Any = None,
    u_planned_heat_capacity: Any = None,
    planned_load: Any = None,
    u_planned_load: Any = None,
    longest_gap: Any = None,
) -> LoopEstimate:
    """Heat capacity and load of the loop, from the temperatures and evaporator heat seen so far.

    T(t) = T_0 + (1/C) integral(Q_load + UA (T_amb - T) - Q_evap) dt, by least squares in T_0, C and
    Q_load;
    the plan's values, if given with their uncertainty, count as two more readings

    Parameters
    ----------
    time, temperature, heat : Quantity
        Seen so far [s], mean loop temperature [K], evaporator heat [W]; readings that are not
        numbers are left out.
    conductance, ambient : Quantity, optional
        [W/K], [K].
    planned_heat_capacity, u_planned_heat_capacity : Quantity, optional
        The plan's value and its standard uncertainty [J/K].
    planned_load, u_planned_load : Quantity, optional
        The plan's value and its standard uncertainty [W].
    longest_gap : Quantity, optional
        A longer gap in time begins a new stretch with a start of its own, so that nothing is filled
        in; three usual steps [s].

    Returns
    -------
    LoopEstimate
        Standard uncertainties widened for residuals that hang together.

    Raises
    ------
    ScienceError
        Fewer than five readings, or readings that do not settle the heat capacity and no plan
        beside them.

    Source: heat balance; weighted least squares; variance of a mean of correlated readings, 1 + 2
    sum rho_k.
    """
    t, temp, q = _finite(time, temperature, heat)
    stretch = _stretches(t, longest_gap)
    taken, elapsed = _integrals(t, q - conductance * (ambient - temp), stretch)
    # T = T_0[stretch] + a elapsed - b taken, with b = 1/C and a = Q_load/C.
    starts = (stretch[:, None] == np.unique(stretch)[None, :]).astype(float)
    design = np.hstack([starts, elapsed[:, None], -taken[:, None]])
    prior = ((planned_heat_capacity, u_planned_heat_capacity), (planned_load, u_planned_load))
    return _solve(design, temp, prior)


def _finite(time: Any, temperature: Any, heat: Any) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    values = np.stack([np.asarray(part, dtype=float) for part in (time, temperature, heat)])
    values = values[:, np.all(np.isfinite(values), axis=0)]
    if values.shape[1] < 5 or np.any(np.diff(values[0]) <= 0):
        raise ScienceError(
            "fewer than five readings in the order of time",
            "loop estimate",
            "wait for more readings, or mend the times",
        )
    return values[0], values[1], values[2]


def _stretches(t: np.ndarray, longest_gap: float | None) -> np.ndarray:
    steps = np.diff(t)
    limit = 3 * np.median(steps) if longest_gap is None else longest_gap
    return np.concatenate([[0], np.cumsum(steps > limit)])


def _integrals(t: np.ndarray, q: np.ndarray, stretch: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Heat taken and time elapsed since the start of each stretch, by trapezoids."""
    from scipy.integrate import cumulative_trapezoid

    taken, elapsed = np.zeros_like(t), np.zeros_like(t)
    for number in np.unique(stretch):
        here = stretch == number
        taken[here] = cumulative_trapezoid(q[here], t[here], initial=0.0)
        elapsed[here] = t[here] - t[here][0]
    return taken, elapsed


def _solve(
    design: np.ndarray, temp: np.ndarray, prior: tuple[tuple[float | None, float | None], ...]
) -> LoopEstimate:
    from scipy.optimize import least_squares

    alone = _linear(design, temp)
    units = _sizes(alone, prior)
    anchors = [
        (place, value, u) for place, (value, u) in enumerate(prior) if value is not None and u
    ]

    def moved(x: np.ndarray) -> np.ndarray:
        return (design[:, -2] * x[-1] * units[1] + design[:, -1]) / (x[-2] * units[0])

    def misfit(x: np.ndarray) -> np.ndarray:
        by_plan = [(x[-2:][place] * units[place] - value) / u for place, value, u in anchors]
        return np.concatenate([(temp - design[:, :-2] @ x[:-2] - moved(x)) / alone.sigma, by_plan])

    def slopes(x: np.ndarray) -> np.ndarray:
        by_capacity = moved(x) / x[-2]
        by_load = -design[:, -2] * units[1] / (x[-2] * units[0])
        by_data = np.column_stack([-design[:, :-2], by_capacity, by_load]) / alone.sigma
        by_plan = np.zeros((len(anchors), x.size))
        for row, (place, _, u) in enumerate(anchors):
            by_plan[row, x.size - 2 + place] = units[place] / u
        return np.vstack([by_data, by_plan])

    first = np.concatenate([alone.coefficients[:-2], [1.0, 1.0]])
    found = least_squares(misfit, first, slopes, x_scale="jac", xtol=1e-12, ftol=1e-12)
    spread = _inverse_normal(found.jac)[0][-2:, -2:] * np.outer(units, units)
    (c, q), u = found.x[-2:] * units, np.sqrt(np.diag(spread))
    if c <= 0:
        raise _UNSETTLED
    return LoopEstimate(
        float(c),
        float(u[0]),
        float(q),
        float(u[1]),
        float(spread[0, 1] / max(u[0] * u[1], 1e-300)),
        alone.scatter,
        alone.u_inverse < SEPARABLE * abs(alone.inverse),
    )


@dataclass(frozen=True)
class _Alone:
    """What the data say without a plan: coefficients, 1/C with its standard uncertainty, scatter,
    and scatter widened for residuals that are correlated.
    """

    coefficients: np.ndarray
    u_inverse: float
    scatter: float
    sigma: float

    @property
    def inverse(self) -> float:
        return float(self.coefficients[-1])


def _linear(design: np.ndarray, temp: np.ndarray) -> _Alone:
    scale = np.linalg.norm(design, axis=0)
    scale[scale == 0] = 1.0
    coefficients = np.linalg.lstsq(design / scale, temp, rcond=None)[0]
    residual = temp - design / scale @ coefficients
    scatter = math.sqrt(residual @ residual / max(temp.size - design.shape[1], 1))
    sigma = max(scatter, FINEST) * _widening(residual)
    inverse, is_whole = _inverse_normal(design)
    # Where heat and time run in step, nothing tells 1/C from the load: any split fits as well.
    u = sigma * math.sqrt(inverse[-1, -1]) if is_whole else math.inf
    return _Alone(coefficients / scale, u, scatter, sigma)


def _inverse_normal(matrix: np.ndarray) -> tuple[np.ndarray, bool]:
    """(M' M)^-1 from the singular values of M with its columns scaled to one, and whether M has
    full rank: its smallest singular value is above the rounding of its largest.
    """
    scale = np.linalg.norm(matrix, axis=0)
    scale[scale == 0] = 1.0
    _, singular, rows = np.linalg.svd(matrix / scale, full_matrices=False)
    kept = singular > ROUNDING * max(matrix.shape) * singular[0]
    weighted = rows[kept] / singular[kept, None] / scale
    return weighted.T @ weighted, bool(kept.all())


def _widening(residual: np.ndarray) -> float:
    """Residuals that hang together say less than their number: sqrt(1 + 2 sum of correlations), up
    to the first that is none.
    """
    square, total = float(residual @ residual), 1.0
    for lag in range(1, residual.size // 3):
        r = float(residual[lag:] @ residual[:-lag]) / square if square > 0 else 0.0
        if r < 2 / math.sqrt(residual.size):
            break
        total += 2 * r
    return math.sqrt(total)


def _sizes(alone: _Alone, prior: tuple[tuple[float | None, float | None], ...]) -> np.ndarray:
    """Heat capacity and load to start from, and to measure in: the plan's, or those of the data
    alone.
    """
    capacity, load = prior[0][0], prior[1][0]
    if capacity is None:
        # A 1/C within its own uncertainty may as well be nil: no heat capacity follows from it.
        if alone.inverse <= alone.u_inverse:
            raise _UNSETTLED
        capacity = 1 / alone.inverse
    if load is None:
        load = float(alone.coefficients[-2]) * capacity
    return np.array([capacity, load if abs(load) > 1.0 else 1.0])
