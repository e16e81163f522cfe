"""Evacuation: the rise of pressure after the pump is shut off, and what its shape shows.

A constant leak lets the pressure rise along a straight line; moisture lets it rise towards the
vapour pressure of water at the coldest wet spot and stay there. A short or noisy test can fit both:
then the test is inconclusive.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from startkit.errors import ScienceError
from startkit.formula import Number, Value
from startkit.units import quantities

TRIPLE_POINT = 611.657  # Pa; below it no liquid water is left, only ice (IAPWS)

TIGHT, LEAK, MOISTURE, BOTH, UNDECIDED = (
    "tight",
    "leak",
    "moisture",
    "leak and moisture",
    "inconclusive",
)

# A simpler shape is kept unless a richer one beats it by this much AICc: "substantial support"
# below 2
# (Burnham and Anderson 2002, 2.6).
SIMPLER = 2.0
# Leak and moisture are distinguished only if one is this much better: below 4 the other keeps
# considerable support (same).
APART = 4.0
FEWEST = 6

# The government specification's evacuation: down to, hold, and no more than (UFGS 15652A 3.2.1.2).
SPECIFIED_START = 300 * 0.133322387415  # Pa
SPECIFIED_END = 500 * 0.133322387415  # Pa
SPECIFIED_HOLD = 3600.0  # s
SPECIFIED_SOURCE = "UFGS 15652A 3.2.1.2"


@dataclass(frozen=True)
class Shape:
    """One shape fitted to the rise: p = start + rate t + gain (1 - exp(-t/tau)).

    Standard uncertainties begin with u; `misfit` is -2 ln(likelihood) but for a constant.
    """

    name: str
    start: Value
    rate: Value
    u_rate: Value
    gain: Value
    tau: Value
    u_tau: Value
    scatter: Value
    parameters: int
    misfit: float
    aicc: float


@dataclass(frozen=True)
class Rise:
    """What the rise shows.

    `kind` is one of the shapes' names or ``"inconclusive"``. `rate` and `u_rate` are the constant
    leak's: what it is, or what could have hidden (tight: by the straight line; moisture: by the
    curve with a line added; inconclusive: if all of it is a leak). `shapes` holds every fit in bare
    SI, best first, `weights` their Akaike weights.
    """

    kind: str
    rate: Value
    u_rate: Value
    plateau: Value
    tau: Value
    rise: Value
    shapes: tuple[Shape, ...]
    weights: dict[str, float]


@quantities(None, pressure="pascal")
def only_ice(pressure: Number) -> bool:
    """Whether water in the vessel can be there as ice only: it then hides, and leaves slowly.

    frozen if p < 611.657 Pa

    Parameters
    ----------
    pressure : Quantity
        Absolute [Pa].

    Returns
    -------
    bool

    Source: triple point of water, IAPWS.
    """
    return bool(np.min(pressure) < TRIPLE_POINT)


@quantities(
    {
        "rate": "pascal/second",
        "u_rate": "pascal/second",
        "plateau": "pascal",
        "tau": "second",
        "rise": "pascal",
    },
    time="second",
    pressure="pascal",
    vapour_pressure="pascal",
    noise="pascal",
)
def rise(time: Value, pressure: Value, vapour_pressure: Value, noise: Value = None) -> Rise:
    """What the rise of pressure in an isolated vessel says: tight, leak, moisture, both, or
    inconclusive.

    tight: p = p_0;  leak: p = p_0 + r t;  moisture: p = p_0 + (p_e - p_0)(1 - exp(-t/tau)), p_e <=
    p_ws;
    both: their sum. Least squares; the shape is chosen by AICc.

    Parameters
    ----------
    time, pressure : Quantity
        Readings since the pump was shut off, at least six [s], [Pa] absolute.
    vapour_pressure : Quantity
        p_ws of water at the temperature of the coldest part of the vessel [Pa].
    noise : Quantity, optional
        Standard uncertainty of one reading against the others: resolution and unrest of the gauge
        [Pa];
        left out, it is taken from the scatter about the curve.

    Returns
    -------
    Rise

    Raises
    ------
    ScienceError
        Fewer than six readings, times that do not rise, or values that are not numbers.

    Source: Burnham and Anderson, Model Selection and Multimodel Inference (2002), 2.4 and 2.6, for
    the choice;
    leak as a straight line and moisture as a levelling curve are common practice (rate-of-rise
    test).
    """
    t, p = _checked(time, pressure)
    shapes = sorted(
        (_fit(name, t, p, float(vapour_pressure), noise) for name in _SHAPES),
        key=lambda shape: shape.aicc,
    )
    kind = _choice({shape.name: shape for shape in shapes})
    by_name = {shape.name: shape for shape in shapes}
    chosen = by_name.get(kind, shapes[0])
    line = by_name[_LINE[kind]]
    plateau = chosen.start + chosen.gain if kind == MOISTURE else math.nan
    return Rise(
        kind,
        line.rate,
        line.u_rate,
        plateau,
        chosen.tau,
        float(p[-1] - p[0]),
        tuple(shapes),
        _weights(shapes),
    )


def _checked(time: Number, pressure: Number) -> tuple[np.ndarray, np.ndarray]:
    t, p = np.asarray(time, dtype=float), np.asarray(pressure, dtype=float)
    if (
        t.shape != p.shape
        or t.size < FEWEST
        or not (np.all(np.isfinite(t)) and np.all(np.isfinite(p)))
    ):
        raise ScienceError(
            f"a rise needs at least {FEWEST} readings of time and pressure",
            "rise test",
            "take a reading every five to ten minutes for an hour",
        )
    if np.any(np.diff(t) <= 0):
        raise ScienceError(
            "the times of the readings do not rise",
            "rise test",
            "enter the readings in the order in which they were taken",
        )
    return t - t[0], p


def _choice(shapes: dict[str, Shape]) -> str:
    """The simplest shape that the best does not clearly beat; inconclusive if leak and moisture
    stay level.
    """
    aicc = {name: shape.aicc for name, shape in shapes.items()}
    best = min(aicc.values())
    if aicc[TIGHT] - best < SIMPLER:
        return TIGHT
    behind = min(aicc[LEAK], aicc[MOISTURE]) - best
    if behind >= SIMPLER:
        return BOTH if behind >= APART else UNDECIDED
    if aicc[LEAK] - aicc[MOISTURE] >= APART:
        return MOISTURE
    # A flat stretch of a slow curve is a straight line: only a curve that cannot follow the
    # readings is ruled out.
    return LEAK if shapes[MOISTURE].misfit - shapes[LEAK].misfit >= APART else UNDECIDED


def _weights(shapes: list[Shape]) -> dict[str, float]:
    best = shapes[0].aicc
    raw = {shape.name: math.exp(-(shape.aicc - best) / 2) for shape in shapes}
    return {name: value / sum(raw.values()) for name, value in raw.items()}


# The shape whose straight part is reported with each finding: what the leak is, or what could have
# hidden.
_LINE = {TIGHT: LEAK, LEAK: LEAK, UNDECIDED: LEAK, MOISTURE: BOTH, BOTH: BOTH}
# Which columns each shape has besides its start: a straight line, a levelling curve.
_SHAPES = {TIGHT: (False, False), LEAK: (True, False), MOISTURE: (False, True), BOTH: (True, True)}


def _fit(name: str, t: np.ndarray, p: np.ndarray, vapour: float, noise: float | None) -> Shape:
    straight, levelling = _SHAPES[name]
    if not levelling:
        return _shape(name, _Curve(t, straight), p, noise)
    # With water left the plateau is its vapour pressure; with little water it is lower and is one
    # more parameter.
    fits = [
        _shape(name, _levelling(t, p, straight, vapour, held), p, noise) for held in (True, False)
    ]
    return min(fits, key=lambda shape: shape.aicc)


def _levelling(t: np.ndarray, p: np.ndarray, straight: bool, vapour: float, held: bool) -> _Curve:
    """The curve with the best time constant: for each of them the rest is linear."""
    from scipy.optimize import minimize_scalar

    def misfit(log_tau: float) -> float:
        residual = _Curve(t, straight, math.exp(log_tau), vapour, held).residual(p)
        return float(residual @ residual)

    # tau from a third of the first step (faster is a jump, not a curve) to thirty tests (slower is
    # a straight line).
    grid = np.linspace(math.log(t[1] / 3), math.log(30 * t[-1]), 40)
    lowest = int(np.argmin([misfit(value) for value in grid]))
    bracket = (grid[max(lowest - 1, 0)], grid[min(lowest + 1, len(grid) - 1)])
    found = minimize_scalar(misfit, bounds=bracket, method="bounded", options={"xatol": 1e-6})
    return _Curve(t, straight, math.exp(found.x), vapour, held)


@dataclass(frozen=True)
class _Curve:
    """One shape at one time constant: linear in start, rise along the line over the whole test, and
    gain.
    """

    t: np.ndarray
    straight: bool
    tau: float = math.inf
    vapour: float = 0.0
    held: bool = False

    @property
    def levelling(self) -> bool:
        return math.isfinite(self.tau)

    @property
    def parameters(self) -> int:
        return 1 + self.straight + self.levelling * (1 if self.held else 2)

    def columns(self) -> np.ndarray:
        zeros = np.zeros_like(self.t)
        level = 1 - np.exp(-self.t / self.tau) if self.levelling else zeros
        return np.stack(
            [np.ones_like(self.t), self.t / self.t[-1] if self.straight else zeros, level], axis=1
        )

    def solve(self, p: np.ndarray) -> np.ndarray:
        """Start, rise, gain: none below zero, plateau up to the vapour pressure."""
        from scipy.optimize import nnls

        columns = self.columns()
        if not self.held:
            solution = nnls(columns, p)[0]
            if not self.levelling or solution[0] + solution[2] <= self.vapour:
                return solution
        # start + gain = vapour pressure
        level = columns[:, 2]
        start, along = nnls(np.stack([1 - level, columns[:, 1]], axis=1), p - self.vapour * level)[
            0
        ]
        return np.array([start, along, max(self.vapour - start, 0.0)])

    def residual(self, p: np.ndarray) -> np.ndarray:
        return p - self.columns() @ self.solve(p)

    def jacobian(self, gain: float) -> np.ndarray:
        """Slopes of the curve in start, rate (if straight), gain (if free), tau (if levelling)."""
        decay = np.exp(-self.t / self.tau) if self.levelling else np.ones_like(self.t)
        slopes = [decay if self.held else np.ones_like(self.t)]
        slopes += [self.t] if self.straight else []
        slopes += [1 - decay] if self.levelling and not self.held else []
        slopes += [-gain * self.t / self.tau**2 * decay] if self.levelling else []
        return np.stack(slopes, axis=1)


def _shape(name: str, curve: _Curve, p: np.ndarray, noise: float | None) -> Shape:
    start, along, gain = (float(value) for value in curve.solve(p))
    residual = curve.residual(p)
    square = float(residual @ residual)
    scatter = math.sqrt(square / max(p.size - curve.parameters, 1))
    u = _uncertainties(curve.jacobian(gain), scatter if noise is None else noise)
    # Floor: readings exactly on a curve (a gauge that shows whole microns) would give minus
    # infinity.
    misfit = (
        square / noise**2 if noise is not None else p.size * math.log(max(square, 1e-12) / p.size)
    )
    return Shape(
        name,
        start,
        along / float(curve.t[-1]),
        float(u[1]) if curve.straight else 0.0,
        gain if curve.levelling else 0.0,
        curve.tau if curve.levelling else math.nan,
        float(u[-1]) if curve.levelling else math.nan,
        scatter,
        curve.parameters,
        misfit,
        misfit + _penalty(p.size, curve.parameters + (noise is None)),
    )


def _penalty(count: int, estimated: int) -> float:
    """What the corrected Akaike criterion adds for the parameters estimated, the unknown noise
    among them.
    """
    if count - estimated - 1 <= 0:
        return math.inf
    return 2 * estimated + 2 * estimated * (estimated + 1) / (count - estimated - 1)


def _uncertainties(jacobian: np.ndarray, sigma: float) -> np.ndarray:
    # Columns differ by orders of magnitude: scale them before inverting.
    scale = np.linalg.norm(jacobian, axis=0)
    scale[scale == 0] = 1.0
    covariance = (
        sigma**2
        * np.linalg.pinv((jacobian / scale).T @ (jacobian / scale))
        / np.outer(scale, scale)
    )
    return np.sqrt(np.clip(np.diag(covariance), 0, None))
