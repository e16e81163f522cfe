"""Uncertainty: what an instrument's accuracy means, and how it travels through a formula.

First order by differences over plus and minus one standard uncertainty (JCGM 100), correlated
sensors
allowed; Monte Carlo (JCGM 101) where the formula bends within that span. Both name what dominates.
"""

# `Any` here: the arguments of a formula, whichever it is.
from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np
import pint

from startkit.errors import ScienceError
from startkit.formula import Number, Value
from startkit.unit_registry import base, is_temperature
from startkit.units import Q

NORMAL_95 = 1.959964  # standard deviations that hold 95 % of a normal distribution
# second-order term over combined uncertainty, above which `propagate` turns to Monte Carlo
BENDS = 0.02
TRIALS, SLOW_TRIALS, SEED = 100_000, 4_000, 20_008
MOST_LOST = 0.05  # share of trials that may fall outside a formula's range

Values = Mapping[str, Any]
Correlation = Mapping[tuple[str, str], float]


# --- from what is printed on an instrument to a standard uncertainty ------------------------------


def rectangular(half_width: Value) -> Value:
    """Standard uncertainty of an accuracy given as plus or minus `half_width`: a / sqrt(3).

    Parameters
    ----------
    half_width : pint.Quantity or float
        Largest deviation [any unit, differences].

    Returns
    -------
    pint.Quantity or float
        In the same unit.

    Source: JCGM 100:2008, 4.3.7.
    """
    return abs(half_width) / math.sqrt(3)


def resolution(step: Value) -> Value:
    """Standard uncertainty of a display that shows steps of `step`: step / sqrt(12).

    Source: JCGM 100:2008, F.2.2.1.
    """
    return abs(step) / math.sqrt(12)


def from_certificate(expanded: Value, k: float = 2.0) -> Value:
    """Standard uncertainty of a calibration certificate's expanded uncertainty: U / k.

    Source: JCGM 100:2008, 4.3.3.
    """
    if not k > 0:
        raise ScienceError(
            f"a coverage factor of {k:g} is impossible",
            "uncertainty.from_certificate",
            "read k on the certificate, mostly 2",
        )
    return abs(expanded) / k


def correlation_of_shared(shared: float, own: float) -> float:
    """Correlation of two sensors whose errors are a shared part and a part of their own.

    r = u_shared^2 / (u_shared^2 + u_own^2); a matched pair calibrated in one bath has mostly shared
    error.

    Source: JCGM 100:2008, F.1.2.3.
    """
    total = shared**2 + own**2
    return 0.0 if total == 0 else shared**2 / total


def coverage_factor(freedom: float, probability: float = 0.95) -> float:
    """Coverage factor k of Student's distribution with `freedom` degrees of freedom.

    Source: JCGM 100:2008, G.3 and Table G.2.
    """
    if not freedom >= 1 or not 0 < probability < 1:
        raise ScienceError(
            "a coverage factor needs one degree of freedom or more",
            "uncertainty.coverage_factor",
            "take more readings",
        )
    from scipy.special import stdtrit  # scipy.stats has the same and takes half a second to import

    return float(stdtrit(freedom, 0.5 + probability / 2))


def effective_freedom(parts: list[float], freedom: list[float]) -> float:
    """Effective degrees of freedom of a combined uncertainty: u_c^4 / sum(u_i^4 / v_i).

    Source: JCGM 100:2008, G.4.1 (Welch-Satterthwaite).
    """
    below = sum(part**4 / each for part, each in zip(parts, freedom, strict=True))
    return math.inf if below == 0 else sum(part**2 for part in parts) ** 2 / below


# --- propagation ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Share:
    """What one input does to the result.

    Parameters
    ----------
    name : str
        The formula's argument.
    u : pint.Quantity or float
        Standard uncertainty of the input, as given.
    contribution : pint.Quantity or float
        Change of the result for one standard uncertainty of the input, with its sign [unit of the
        result].
    share : float
        Part of the result's variance; the shares add up to 1. One that is negative
        takes away from the uncertainty through its correlation with another.
    """

    name: str
    u: Value
    contribution: Value
    share: float


@dataclass(frozen=True)
class Propagated:
    """A result with its uncertainty and what dominates it.

    Parameters
    ----------
    value : pint.Quantity or float
    u : pint.Quantity or float
        Standard uncertainty.
    low, high : pint.Quantity or float
        95 % coverage interval.
    method : str
        ``"first order"`` or ``"Monte Carlo"``.
    budget : tuple of Share
        Largest first; by first order in either method.
    bend : float
        Second-order terms over u: how far from straight the formula is within one standard
        uncertainty.
    lost : float
        Share of Monte Carlo trials outside the formula's range.
    """

    value: Value
    u: Value
    low: Value
    high: Value
    method: str
    budget: tuple[Share, ...]
    bend: float = 0.0
    lost: float = 0.0


def propagate(
    function: Callable[..., Number],
    values: Values,
    u: Values,
    correlation: Correlation | None = None,
    method: str = "auto",
    returns: str | None = None,
    distributions: Mapping[str, str] | None = None,
    trials: int = TRIALS,
    seed: int = SEED,
) -> Propagated:
    """Uncertainty of `function(**values)`.

    first order: u^2 = sum_i sum_j z_i z_j r_ij,  z_i = (f(x_i + u_i) - f(x_i - u_i)) / 2

    Parameters
    ----------
    function : callable
        Takes `values` by name as bare SI numbers, as a science function's ``.si`` does. For Monte
        Carlo it should take arrays.
    values : dict
        Arguments by name, pint quantities or bare SI numbers; those without an entry in `u` are
        taken as exact and
        need not be numbers. Arrays are allowed in first order.
    u : dict
        Standard uncertainty by name, pint quantities (differences) or bare SI numbers.
    correlation : dict, optional
        ``{("entering", "leaving"): 0.8}``.
    method : str
        ``"first order"``, ``"Monte Carlo"``, or ``"auto"``: Monte Carlo where the formula bends, in
        one input or in two together, by more than 2 % of u.
    returns : str, optional
        SI unit of the function's result; the figures then come as quantities.
    distributions : dict, optional
        ``"rectangular"`` for inputs known by limits only, for Monte Carlo; normal otherwise.
    trials, seed : int
        Monte Carlo trials and the seed of the random generator: the same job gives the same
        figures.

    Returns
    -------
    Propagated

    Raises
    ------
    ScienceError
        An uncertainty without its value, a negative one, correlations that contradict each other,
        or more than
        5 % of the trials outside the formula's range.

    Source: JCGM 100:2008, 5.1.3 note 2 and 5.2.2; JCGM 101:2008, clause 7.
    """
    if method not in ("auto", "first order", "Monte Carlo"):
        raise ScienceError(
            f"{method!r} is not a method",
            "uncertainty.propagate",
            "use auto, first order or Monte Carlo",
        )
    plain = {name: _magnitude(value) for name, value in values.items()}
    spread = {name: _spread(name, each, plain) for name, each in u.items()}
    names = [name for name, each in spread.items() if np.any(each)]
    matrix = _correlations(names, correlation or {})
    value = function(**plain)
    moves, bend = _differences(function, plain, spread, names, value)
    variance, shares = _variance(moves, matrix)
    standard = np.sqrt(variance)
    if method == "auto" and not np.ndim(value) and standard > 0:
        # It adds to the variance, so half of its square over u is what u grows by.
        bend += float(_together(function, plain, spread, names) ** 2 / (2 * standard))
    budget = _budget(names, u, moves, shares, returns)
    bend = float(bend / standard) if not np.ndim(standard) and standard > 0 else 0.0
    if (
        np.ndim(value)
        or method == "first order"
        or (method == "auto" and bend <= BENDS)
        or not names
    ):
        low, high = value - NORMAL_95 * standard, value + NORMAL_95 * standard
        return _wrapped(
            Propagated(value, standard, low, high, "first order", budget, bend), returns
        )
    draws, lost = _trials(function, plain, spread, names, matrix, distributions or {}, trials, seed)
    low, high = np.quantile(draws, (0.025, 0.975))
    found = Propagated(
        value,
        float(np.std(draws, ddof=1)),
        float(low),
        float(high),
        "Monte Carlo",
        budget,
        bend,
        lost,
    )
    return _wrapped(found, returns)


def _magnitude(value: Number) -> Number:
    return base(value) if isinstance(value, pint.Quantity) else value


def _spread(name: str, u: Number, values: Values) -> Number:
    """Bare SI standard uncertainty of one input."""
    if name not in values:
        raise ScienceError(
            f"an uncertainty was given for {name!r}, which is not an argument here",
            "uncertainty.propagate",
            "name one of the values",
        )
    if isinstance(u, pint.Quantity) and is_temperature(u.units):
        raise ScienceError(
            f"the uncertainty of {name!r} was given as a temperature",
            "uncertainty.propagate",
            "give it in delta_degC or delta_degF",
        )
    plain = _magnitude(u)
    if not np.all(np.asarray(plain) >= 0):
        raise ScienceError(
            f"the uncertainty of {name!r} is negative or not a number",
            "uncertainty.propagate",
            "check the instrument's accuracy",
        )
    return plain


def _correlations(names: list[str], given: Correlation) -> np.ndarray:
    matrix = np.eye(len(names))
    for (first, second), r in given.items():
        if first in names and second in names and first != second:
            i, j = names.index(first), names.index(second)
            matrix[i, j] = matrix[j, i] = r
    if given and names and (np.abs(matrix).max() > 1 or np.linalg.eigvalsh(matrix).min() < -1e-9):
        raise ScienceError(
            "the correlations between the sensors contradict each other",
            "uncertainty.propagate",
            "give each between -1 and 1 and consistent",
        )
    return matrix


def _differences(
    function: Callable[..., Value],
    values: dict[str, Value],
    spread: Values,
    names: list[str],
    value: Value,
) -> tuple[list[Value], float]:
    """Half the change of the result over x +/- u for each input, and the second-order sum."""
    moves, bend = [], 0.0
    for name in names:
        above = _shifted(function, values, name, spread[name])
        below = _shifted(function, values, name, -spread[name])
        if above is None and below is None:
            raise ScienceError(
                f"the result is not known within the uncertainty of {name!r}",
                "uncertainty.propagate",
                "check that reading",
            )
        # At the edge of a formula's range one side has to do.
        above = 2 * value - below if above is None else above
        below = 2 * value - above if below is None else below
        moves.append((above - below) / 2)
        bend += 0.0 if np.ndim(value) else abs(above + below - 2 * value) / 2
    return moves, bend


def _together(
    function: Callable[..., Value], values: dict[str, Value], spread: Values, names: list[str]
) -> float:
    """Second-order part of the uncertainty that two inputs make only together, as a product of two
    values near nil does; where the formula's range ends, that pair is left to the single moves.

    Source: JCGM 100:2008, 5.1.2, note.
    """
    squares = 0.0
    for first, second in combinations(names, 2):
        corners = [
            _shifted(function, {**values, first: values[first] + sign * spread[first]}, second, by)
            for sign in (1, -1)
            for by in (spread[second], -spread[second])
        ]
        if None not in corners:
            squares += ((corners[0] - corners[1] - corners[2] + corners[3]) / 4) ** 2
    return float(squares**0.5)


def _shifted(
    function: Callable[..., Value], values: dict[str, Value], name: str, by: Value
) -> Value:
    try:
        return function(**{**values, name: values[name] + by})
    except ScienceError:
        return None


def _variance(moves: list[Number], matrix: np.ndarray) -> tuple[Number, list[float]]:
    """Variance of the result and each input's share of it (means over a trend)."""
    parts = [
        sum(move * other * matrix[i, j] for j, other in enumerate(moves))
        for i, move in enumerate(moves)
    ]
    variance = np.maximum(sum(parts), 0.0) if parts else 0.0
    total = _mean(variance)
    return variance, [_mean(part) / total if total > 0 else 0.0 for part in parts]


def _mean(values: Number) -> float:
    return float(np.nanmean(values)) if np.ndim(values) else float(values)


def _budget(
    names: list[str], u: Values, moves: list[Number], shares: list[float], returns: str | None
) -> tuple[Share, ...]:
    unit = _difference_unit(returns)
    rows = [
        Share(name, u[name], move if unit is None else Q(move, unit), share)
        for name, move, share in zip(names, moves, shares, strict=True)
    ]
    return tuple(sorted(rows, key=lambda row: -abs(row.share)))


def _difference_unit(returns: str | None) -> str | None:
    return "delta_degC" if returns in ("kelvin", "degC") else returns


def _wrapped(found: Propagated, returns: str | None) -> Propagated:
    if returns is None:
        return found
    value, low, high = (Q(each, returns) for each in (found.value, found.low, found.high))
    return Propagated(
        value,
        Q(found.u, _difference_unit(returns)),
        low,
        high,
        found.method,
        found.budget,
        found.bend,
        found.lost,
    )


def _trials(
    function: Callable[..., Number],
    values: dict[str, Number],
    spread: Values,
    names: list[str],
    matrix: np.ndarray,
    distributions: Mapping[str, str],
    trials: int,
    seed: int,
) -> tuple[np.ndarray, float]:
    """Results of the Monte Carlo trials inside the formula's range, and the share outside it."""
    generator = np.random.default_rng(seed)
    draws = _draws(generator, values, spread, names, matrix, distributions, trials)
    results = _evaluated(function, values, draws, trials)
    known = np.isfinite(results)
    lost = 1.0 - float(known.mean())
    if lost > MOST_LOST:
        raise ScienceError(
            f"{100 * lost:.0f} % of what these readings could mean is outside the formula's range",
            "uncertainty.propagate",
            "use better instruments or a larger temperature range",
        )
    return results[known], lost


def _draws(
    generator: np.random.Generator,
    values: dict[str, Number],
    spread: Values,
    names: list[str],
    matrix: np.ndarray,
    distributions: Mapping[str, str],
    trials: int,
) -> dict[str, np.ndarray]:
    """Random inputs: correlated normal numbers, some turned rectangular with the same standard
    deviation.
    """
    from scipy.special import ndtr

    # Square root by eigenvalues: full correlation leaves the matrix singular, which Cholesky
    # refuses.
    weights, vectors = np.linalg.eigh(matrix)
    normal = (
        generator.standard_normal((trials, len(names)))
        @ (vectors * np.sqrt(np.clip(weights, 0, None))).T
    )
    for i, name in enumerate(names):
        if distributions.get(name, "normal") == "rectangular":
            normal[:, i] = math.sqrt(3) * (2 * ndtr(normal[:, i]) - 1)
    return {name: values[name] + spread[name] * normal[:, i] for i, name in enumerate(names)}


def _evaluated(
    function: Callable[..., Number],
    values: dict[str, Number],
    draws: dict[str, np.ndarray],
    trials: int,
) -> np.ndarray:
    """All trials at once if the function takes arrays, else one by one and fewer of them."""
    try:
        results = np.asarray(function(**{**values, **draws}), float)
        if results.shape == (trials,):
            return results
    except (ScienceError, ValueError, TypeError):
        pass
    return np.array(
        [
            _one(function, {**values, **{name: float(draw[i]) for name, draw in draws.items()}})
            for i in range(min(trials, SLOW_TRIALS))
        ]
    )


def _one(function: Callable[..., Number], values: dict[str, Number]) -> float:
    try:
        return float(function(**values))
    except ScienceError:
        return math.nan
