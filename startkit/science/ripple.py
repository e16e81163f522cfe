"""Ripple: how the motor's current swings about its limit, from a trend or from the highest and
lowest value seen.

The swing is taken as correlated noise (each reading remembers a part r of the one before) with one
periodic swing
on top, if the trend shows one. What the trend's own interval hides, the calculation cannot know
either.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np

from startkit.errors import ScienceError
from startkit.formula import Number, Value
from startkit.units import quantities

FEWEST = 60  # readings in a trend before its correlation can be estimated
# a periodic swing counts if noise alone would show one in fewer than one trend in a hundred
CHANCE = 0.01
STRONGEST = 0.995  # correlation above which the steps are too fine for the grid
DRAWS = 1000


@dataclass(frozen=True)
class Ripple:
    """The swing of the current, as parts of full-load current.

    `offset` is the mean less the level it should hold, `sigma` the noise's standard deviation,
    `correlation` that of
    neighbouring readings, `amplitude` and `period` the periodic swing's (zero and infinite without
    one), `interval`
    the time between readings, `effective` how many independent readings the trend is worth. `draws`
    holds what the
    data leave open: one row for each possible ripple with offset, sigma, correlation, amplitude.
    """

    offset: Value
    sigma: Value
    correlation: float
    amplitude: Value
    period: Value
    interval: Value
    count: int
    effective: float
    draws: np.ndarray


_FIELDS = {
    "offset": "dimensionless",
    "sigma": "dimensionless",
    "amplitude": "dimensionless",
    "period": "second",
    "interval": "second",
}


@quantities(_FIELDS, current="dimensionless", interval="second", level="dimensionless")
def ripple_from_trend(
    current: Number, interval: Number, level: Number | None = None, seed: int = 0
) -> Ripple:
    """The ripple of a current that is held at one level, from its trend.

    x_t = c + r x_(t-1) + a cos(w t) + b sin(w t) + e;  sigma = s_e / sqrt(1 - r^2);
    amplitude = |a - i b| / |1 - r exp(-i w)|

    Parameters
    ----------
    current : Quantity
        Readings at a constant interval, as parts of full-load current [1]; a missing one is not a
        number and stays missing.
    interval : Quantity
        [s].
    level : Quantity, optional
        The current limit then in force [1]: the offset is the mean against it. Left out, the mean
        is taken as the level.
    seed : int
        Of the draws.

    Returns
    -------
    Ripple

    Raises
    ------
    ScienceError
        Fewer than 60 pairs of neighbouring readings, or a current that does not move.

    Source: least squares for a first-order autoregression with a sine; bias of r by Kendall (1954),
    (1 + 3 r)/n;
    F test of the sine over all frequencies (Bonferroni); draws from the normal and chi-square laws
    of the regression.
    """
    x = np.asarray(current, dtype=float)
    pairs = np.isfinite(x[1:]) & np.isfinite(x[:-1])
    if pairs.sum() < FEWEST or np.nanstd(x) == 0:
        raise ScienceError(
            f"{int(pairs.sum())} pairs of changing readings are too few to estimate the ripple",
            "ripple",
            f"take at least {FEWEST} readings in a row at a steady limit",
        )
    turn = _periodic(x, pairs)
    fit = _Regression(x, pairs, turn)
    draws = fit.draws(DRAWS, np.random.default_rng(seed))
    draws[:, 0] -= draws[:, 0] if level is None else level
    offset, sigma, r, amplitude = fit.best()
    effective = pairs.sum() * (1 - r) / (1 + r)
    period = interval * 2 * math.pi / turn if turn else math.inf
    return Ripple(
        0.0 if level is None else offset - level,
        sigma,
        r,
        amplitude,
        period,
        interval,
        int(pairs.sum()),
        float(effective),
        draws,
    )


@quantities(_FIELDS, low="dimensionless", high="dimensionless", interval="second")
def ripple_from_range(
    low: Number,
    high: Number,
    looks: int,
    interval: Number,
    level: Number | None = None,
    seed: int = 0,
) -> Ripple:
    """The ripple from the lowest and highest current seen, if there is no trend.

    sigma = (high - low) / d_2(n)

    Parameters
    ----------
    low, high : Quantity
        Seen while the limit was held, as parts of full-load current [1].
    looks : int
        n, the number of independent readings: time watched over the display's own interval, at
        least 2.
    interval : Quantity
        Between them [s].
    level : float, optional
        The current limit then in force [1]: the offset is the middle against it.
    seed : int
        Of the draws.

    Returns
    -------
    Ripple
        Taken as noise without memory: two figures cannot show hunting.

    Raises
    ------
    ScienceError
        High is not above low, or fewer than two looks.

    Source: range of a normal sample, d_2 and d_3 as in tables of control charts (ASTM E2587).
    """
    if high <= low or looks < 2:
        raise ScienceError(
            "high is not above low, or they come from fewer than two readings",
            "ripple",
            "enter the lowest and highest current seen and how long it was watched",
        )
    rng = np.random.default_rng(seed)
    samples = rng.standard_normal((DRAWS, min(looks, 2000)))
    ranges = np.ptp(samples, axis=1)
    middles = (samples.max(axis=1) + samples.min(axis=1)) / 2
    sigmas = (high - low) / ranges
    offset = 0.0 if level is None else (high + low) / 2 - level
    # The middle of the range is off the mean by as much as the sample's own middle was.
    offsets = np.zeros(DRAWS) if level is None else offset - middles * sigmas
    draws = np.stack([offsets, sigmas, np.zeros(DRAWS), np.zeros(DRAWS)], axis=1)
    return Ripple(
        offset,
        (high - low) / mean_range(looks)[0],
        0.0,
        0.0,
        math.inf,
        interval,
        looks,
        float(looks),
        draws,
    )


@functools.lru_cache(maxsize=64)
def mean_range(count: int) -> tuple[float, float]:
    """Mean and standard deviation of the range of `count` standard normal values: d_2 and d_3 of
    the control-chart tables.
    """
    from scipy.integrate import quad
    from scipy.special import ndtr

    d2 = quad(lambda x: 1 - ndtr(x) ** count - ndtr(-x) ** count, -9, 9, limit=200)[0]
    x = np.linspace(-8, 8, 801)
    lower, upper = np.meshgrid(x, x, indexing="ij")
    # E[W^2] = 2 x integral over lowest < highest of P(all outside that they enclose), David and
    # Nagaraja, Order Statistics.
    both = (
        1
        - ndtr(upper) ** count
        - ndtr(-lower) ** count
        + np.clip(ndtr(upper) - ndtr(lower), 0, 1) ** count
    )
    weight = np.where(upper > lower, 1.0, 0.0) + 0.5 * np.eye(x.size)
    second = 2 * float(np.sum(both * weight)) * (x[1] - x[0]) ** 2
    return float(d2), math.sqrt(max(second - d2**2, 0.0))


class _Regression:
    """Least squares of each reading on the one before, a constant, and a sine."""

    def __init__(self, x: np.ndarray, pairs: np.ndarray, turn: float) -> None:
        self.turn = turn
        t = np.flatnonzero(pairs) + 1
        columns = [np.ones(t.size), x[:-1][pairs]]
        columns += [np.cos(turn * t), np.sin(turn * t)] if turn else []
        self.design, self.y = np.stack(columns, axis=1), x[1:][pairs]
        self.inverse = np.linalg.inv(self.design.T @ self.design)
        self.coefficients = self.inverse @ self.design.T @ self.y
        residual = self.y - self.design @ self.coefficients
        self.square, self.degrees = float(residual @ residual), self.y.size - len(columns)

    def best(self) -> tuple[float, float, float, float]:
        first, second, third, fourth = (
            float(value)
            for value in self._parts(
                self.coefficients[None, :], np.array([self.square / self.degrees])
            )[0]
        )
        return first, second, third, fourth

    def draws(self, count: int, rng: np.random.Generator) -> np.ndarray:
        """What the data leave open: variance by chi-square, coefficients by the normal law given
        it.
        """
        variance = self.square / rng.chisquare(self.degrees, count)
        root = np.linalg.cholesky(self.inverse)
        spread = rng.standard_normal((count, self.coefficients.size)) @ root.T
        return self._parts(self.coefficients + np.sqrt(variance)[:, None] * spread, variance)

    def _parts(self, coefficients: np.ndarray, variance: np.ndarray) -> np.ndarray:
        c, r = coefficients[:, 0], coefficients[:, 1]
        mean = c / np.clip(1 - r, 1e-3, None)
        # Kendall: the regression's own r is too low by (1 + 3 r)/n.
        r = np.clip(r + (1 + 3 * r) / self.y.size, -0.95, STRONGEST)
        sigma = np.sqrt(variance / (1 - r**2))
        amplitude = np.zeros_like(c)
        if self.turn:
            amplitude = np.hypot(coefficients[:, 2], coefficients[:, 3]) / np.abs(
                1 - r * np.exp(-1j * self.turn)
            )
        return np.stack([mean, sigma, r, amplitude], axis=1)


def _periodic(x: np.ndarray, pairs: np.ndarray) -> float:
    """Angle by which a periodic swing turns from reading to reading; zero if noise alone would show
    as much.
    """
    from scipy.optimize import minimize_scalar
    from scipy.special import fdtrc

    without = _Regression(x, pairs, 0.0)
    # From three whole periods in the trend to four readings a period.
    orders = np.arange(3, max(x.size // 4, 4))
    turns = 2 * np.pi * orders / x.size
    squares = _squares(x, pairs, turns)
    best = int(np.argmin(squares))
    width = 2 * np.pi / x.size
    found = minimize_scalar(
        lambda turn: _squares(x, pairs, np.array([turn]))[0],
        bounds=(turns[best] - width, turns[best] + width),
        method="bounded",
    )
    square, turn = min(
        (float(found.fun), float(found.x)), (float(squares[best]), float(turns[best]))
    )
    degrees = without.y.size - 4
    ratio = (without.square - square) / 2 / (square / degrees)
    # Between the whole orders there are about as many again that the search has tried.
    return turn if 2 * turns.size * fdtrc(2, degrees, ratio) < CHANCE else 0.0


def _squares(x: np.ndarray, pairs: np.ndarray, turns: np.ndarray) -> np.ndarray:
    """Residual sum of squares with a sine of each turn added to the autoregression."""
    t = np.flatnonzero(pairs) + 1
    base, y = np.stack([np.ones(t.size), x[:-1][pairs]], axis=1), x[1:][pairs]
    q, _ = np.linalg.qr(base)
    rest = y - q @ (q.T @ y)
    wave = np.exp(1j * np.outer(t, turns))
    both = np.stack([wave.real, wave.imag], axis=0)
    both = np.stack([part - q @ (q.T @ part) for part in both])
    cc, ss, cs = (
        np.sum(a * b, axis=0)
        for a, b in ((both[0], both[0]), (both[1], both[1]), (both[0], both[1]))
    )
    cy, sy = both[0].T @ rest, both[1].T @ rest
    det = np.maximum(cc * ss - cs**2, 1e-12)
    return float(rest @ rest) - (ss * cy**2 + cc * sy**2 - 2 * cs * cy * sy) / det
