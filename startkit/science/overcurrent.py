"""Overcurrent: how likely a rippling current is to reach its trip while a limit holds it.

The chain of readings is followed exactly on a grid of values, so that memory from reading to
reading, a periodic
swing and a trip that must last are all accounted for; what the ripple's own uncertainty leaves open
becomes the interval.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from startkit.errors import ScienceError
from startkit.formula import Number
from startkit.science.ripple import Ripple

# More readings in a row than this are evaluated in coarser steps: a current seen above the trip at
# each of them counts as above it in between, which errs on the side of a trip.
MOST_READINGS = 8
INTERVAL = (0.05, 0.95)
# Below this a chance is nothing over any pull-down; a lower floor would be a cliff that the table's
# spline rings at.
LEAST_RATE = 1e-18


@dataclass(frozen=True)
class Exceedance:
    """Probability of a trip, averaged over what the ripple leaves open, and its 90 % interval."""

    probability: float
    low: float
    high: float


@dataclass(frozen=True)
class Hazard:
    """Chance of a trip by distance of the trip from the level in standard deviations.

    `log_rate` is the logarithm of the chance a reading once the start is forgotten, `log_start`
    that of the factor by
    which the start itself changes survival.
    """

    distance: np.ndarray
    log_rate: np.ndarray
    log_start: np.ndarray


def hazard(
    distance: np.ndarray,
    correlation: float,
    ratio: float = 0.0,
    turn: float = 0.0,
    readings: int = 1,
) -> Hazard:
    """Chance that a reading completes a trip, for correlated noise with a sine on top.

    P(no trip in N readings) = exp(log_start) (1 - rate)^N

    Parameters
    ----------
    distance : array
        Trip less level, in standard deviations of the noise [1].
    correlation : float
        r of neighbouring readings, -0.95 to 0.995.
    ratio : float
        Amplitude of the sine over the noise's standard deviation [1].
    turn : float
        Angle of the sine from reading to reading [rad].
    readings : int
        In a row above the trip, needed to complete it.

    Returns
    -------
    Hazard

    Raises
    ------
    ScienceError
        A correlation outside the range.

    Source: first passage of a Markov chain by its truncated transition kernel (quasi-stationary
    decay).
    """
    if not -0.95 <= correlation <= 0.995:
        raise ScienceError(
            f"a correlation of {correlation:.3f} is outside -0.95 to 0.995",
            "overcurrent",
            "take the ripple's trend at a longer interval",
        )
    chain = _Chain(correlation)
    waving = bool(ratio and turn)
    period = 2 * math.pi / turn if waving else 1.0
    # Long enough to forget the start; then whole periods, at least 20 readings of them.
    burn = min(math.ceil(3 / (1 - abs(correlation))) + readings + math.ceil(period), 800)
    measured = max(round(math.ceil(20 / period) * period), 1) if waving else 1
    state = np.zeros((chain.centres.size, readings, distance.size))
    state[:, 0] = chain.stationary[:, None]
    log_survival = np.zeros((burn + measured, distance.size))
    above = chain.above(distance)
    for step in range(burn + measured):
        state, tripped = chain.step(
            state, chain.above(distance - ratio * math.sin(turn * step)) if waving else above
        )
        log_survival[step] = np.log1p(-np.minimum(tripped, 1 - 1e-12))
    per_reading = log_survival[burn:].mean(axis=0)
    log_rate = np.log(np.maximum(-np.expm1(per_reading), LEAST_RATE))
    return Hazard(
        distance, log_rate, np.minimum(log_survival[:burn].sum(axis=0) - burn * per_reading, 0.0)
    )


class _Chain:
    """Readings of correlated noise on a grid of values, in standard deviations."""

    LOWEST, HIGHEST = -6.0, 9.0

    def __init__(self, correlation: float) -> None:
        from scipy.sparse import csr_array
        from scipy.special import ndtr

        spread = math.sqrt(1 - correlation**2)
        # A fifth of the step from reading to reading keeps the chance within 1 % of its limit for
        # fine grids.
        cells = int(np.clip(math.ceil((self.HIGHEST - self.LOWEST) / (0.2 * spread)), 120, 640))
        edges = np.linspace(self.LOWEST, self.HIGHEST, cells + 1)
        self.above_edge = ndtr(-edges)
        self.stationary = self.above_edge[:-1] - self.above_edge[1:]
        # Within a cell the noise is not spread evenly: its mean there represents the cell.
        density = np.exp(-(edges**2) / 2) / math.sqrt(2 * math.pi)
        self.centres = (density[:-1] - density[1:]) / self.stationary
        beyond = ndtr(-(edges[:, None] - correlation * self.centres[None, :]) / spread)
        # Steps beyond a few spreads do not occur: for a long memory the kernel is a narrow band.
        kernel = beyond[:-1] - beyond[1:]
        self.kernel = csr_array(np.where(kernel > 1e-16, kernel, 0.0))

    def above(self, trip: np.ndarray) -> np.ndarray:
        """The part of each cell that is above the trip [value, distance]."""
        from scipy.special import ndtr

        return np.clip(
            (ndtr(-trip)[None, :] - self.above_edge[1:, None]) / self.stationary[:, None], 0.0, 1.0
        )

    def step(self, state: np.ndarray, above: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """The next reading: state [value, readings in a row above the trip, distance], and the part
        that trips now.
        """
        moved = (self.kernel @ state.reshape(state.shape[0], -1)).reshape(state.shape)
        after = np.empty_like(state)
        after[:, 0] = moved.sum(axis=1) * (1 - above)
        after[:, 1:] = moved[:, :-1] * above[:, None]
        tripped = (moved[:, -1] * above).sum(axis=0)
        survivors = np.maximum(after.sum(axis=(0, 1)), 1e-300)
        return after / survivors, tripped / np.maximum(survivors + tripped, 1e-300)


class TripModel:
    """Chance of a trip for one ripple and one delay, tabulated once and then read for any level and
    trip.

    Parameters
    ----------
    ripple : Ripple
        In bare SI, as its `.si` functions return it.
    delay : float
        How long the current must stay above the trip [s].
    """

    def __init__(self, ripple: Ripple, delay: float = 0.0) -> None:
        readings = math.ceil(delay / ripple.interval - 1e-9) + 1
        coarser = math.ceil((readings - 1) / (MOST_READINGS - 1)) if readings > MOST_READINGS else 1
        self.readings = math.ceil((readings - 1) / coarser) + 1
        self.interval = ripple.interval * coarser
        self.offset, self.sigma, r, amplitude = ripple.draws.T
        turn = 2 * math.pi * self.interval / ripple.period if math.isfinite(ripple.period) else 0.0
        self.memory = np.clip(np.sign(r) ** coarser * np.abs(r) ** coarser, -0.95, 0.995)
        self.ratio = amplitude / self.sigma if turn else np.zeros_like(self.sigma)
        self._tabulate(turn)

    def _tabulate(self, turn: float) -> None:
        from scipy.interpolate import CubicSpline

        self.memories, self.ratios = _nodes(np.arctanh(self.memory)), _nodes(self.ratio)
        coarse = np.arange(-2.0, 8.5 + self.ratios[-1], 0.5)
        self.distances = np.arange(-2.0, coarse[-1], 0.1)
        table = [
            [hazard(coarse, math.tanh(m), ratio, turn, self.readings) for ratio in self.ratios]
            for m in self.memories
        ]
        # The logarithm of the chance is smooth in the distance: a spline through few points reads
        # it to 0.1 %.
        self.log_rates, self.log_starts = (
            CubicSpline(
                coarse, np.array([[getattr(cell, name) for cell in row] for row in table]), axis=2
            )(self.distances)
            for name in ("log_rate", "log_start")
        )

    def survival(
        self, levels: np.ndarray, dwell: np.ndarray, trip: np.ndarray, stretch: Number = 1.0
    ) -> np.ndarray:
        """Chance of no trip for each draw: levels held for `dwell` [s] one after the other; trip
        and stretch of time by draw.
        """
        distance = (trip - self.offset)[:, None] - levels[None, :]
        distance = distance / self.sigma[:, None]
        rate = np.exp(np.minimum(self._read(self.log_rates, distance), -1e-9))
        spent = (-np.log1p(-rate) * dwell[None, :] / self.interval).sum(axis=1)
        return np.exp(self._read(self.log_starts, distance[:, :1])[:, 0] - spent * stretch)

    def _read(self, table: np.ndarray, distance: np.ndarray) -> np.ndarray:
        from scipy.ndimage import map_coordinates

        place = [_place(self.memories, np.arctanh(self.memory)), _place(self.ratios, self.ratio)]
        where = [np.broadcast_to(part[:, None], distance.shape) for part in place]
        return map_coordinates(
            table, [*where, _place(self.distances, distance)], order=1, mode="nearest"
        )


def _nodes(values: np.ndarray) -> np.ndarray:
    """Two to four places that span the draws; a straight line between places 0.3 apart is good to 1
    % in the chance.
    """
    low, high = np.quantile(values, [0.002, 0.998])
    if high - low < 1e-6:
        return np.array([float(np.mean(values))])
    return np.linspace(low, high, int(np.clip(math.ceil((high - low) / 0.3) + 1, 2, 4)))


def _place(nodes: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Values as places between evenly spaced nodes."""
    return (values - nodes[0]) / (nodes[1] - nodes[0]) if nodes.size > 1 else np.zeros_like(values)


def exceedance(
    model: TripModel,
    levels: np.ndarray,
    dwell: np.ndarray,
    trip: float,
    u_trip: float = 0.0,
    seed: int = 0,
) -> Exceedance:
    """`trip_probability` in bare SI with a model that is already tabulated.

    Parameters
    ----------
    model : TripModel
    levels, dwell : numpy.ndarray
        Parts of full-load current [1], and for how long each [s].
    trip, u_trip : float
        Trip setting and its standard uncertainty, as parts of full-load current [1].
    seed : int
        Of the trip's draws.
    """
    trips = trip + u_trip * np.random.default_rng(seed).standard_normal(model.sigma.size)
    tripped = 1 - model.survival(levels, dwell, trips)
    low, high = np.quantile(tripped, INTERVAL)
    return Exceedance(float(tripped.mean()), float(low), float(high))


def bare(ripple: Ripple) -> Ripple:
    """The same ripple in bare SI, whichever way it came."""
    if not hasattr(ripple.sigma, "magnitude"):
        return ripple
    plain = {
        name: getattr(ripple, name).to_base_units().magnitude
        for name in ("offset", "sigma", "amplitude", "period", "interval")
    }
    return replace(ripple, **plain)
