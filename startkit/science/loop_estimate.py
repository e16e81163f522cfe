"""Loop estimate: heat capacity and load of a water loop from what a pull-down has shown so far."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from startkit.errors import ScienceError
from startkit.formula import Number, Value
from startkit.units import quantities

# the data alone must fix 1/C this well (relative) before heat capacity and load count as separated
SEPARABLE = 0.2
FINEST = 1e-6  # K: no thermometer resolves temperatures better, however smooth a series is
ROUNDING = 4 * np.finfo(float).eps
_UNSETTLED = ScienceError(
    "the readings so far do not determine the loop's heat capacity",
    "loop estimate",
    "wait for more readings, check flow and both water temperatures, or give the planned loop with"
    " its uncertainty",
)


@dataclass(frozen=True)
class LoopEstimate:
    """Heat capacity and load of the loop from a seen pull-down, with standard uncertainties and
    their correlation.

    `separable` is false if the data alone cannot separate the two: the evaporator's heat hardly
    changed, so a large loop with little load looks like a small one with much. Their net effect is
    known all the same.
    """

    heat_capacity: Value
    u_heat_capacity: Value
    load: Value
    u_load: Value
    correlation: float
    scatter: Value
    separable: bool


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
    time: Value,
    temperature: Value,
    heat: Value,
    conductance: Value = 0.0,
    ambient: Value = 293.15,
    planned_heat_capacity: Value = None,
    u_planned_heat_capacity: Value = None,
    planned_load: Value = None,
    u_planned_load: Value = None,
    longest_gap: Value = None,
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
        Standard uncertainties widened for correlated residuals.

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


def _finite(
    time: Number, temperature: Number, heat: Number
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
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
    # Where heat and time run in step, nothing separates 1/C from the load: any split fits as well.
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
    """Correlated residuals are worth less than their number: sqrt(1 + 2 sum of correlations), up to
    the first that is none.
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
