"""Steadiness: when a running machine was steady enough to be measured, and whether it hunts.

Over a moving window the standard deviation and the slope of every point that matters must both be
within tolerance: a ramp can hide in a small deviation, hunting in a small slope. Series carry any
unit; bare arrays are taken as SI, time as seconds.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pint

from startkit.errors import ScienceError
from startkit.formula import Number, Value

GUARD = 2.0  # standard uncertainties of the slope that must fit inside its tolerance
LEAST, GAP = 30, 0.1  # readings in a window; longest gap between them as a share of it
PERIODS = 2.0  # hunting periods a window must span


def _plain(values: Number) -> Number:
    return values.to_base_units().magnitude if isinstance(values, pint.Quantity) else values


def _seconds(time: Number) -> np.ndarray:
    seconds = np.asarray(_plain(time), float)
    if seconds.ndim != 1 or seconds.size < 2 or not (np.diff(seconds) > 0).all():
        raise ScienceError(
            "the time stamps do not rise from row to row",
            "steadiness",
            "sort the trend and mark duplicate stamps first",
        )
    return seconds


# --- the moving window ----------------------------------------------------------------------------


@dataclass(frozen=True)
class Moving:
    """Statistics of the window that ends at each row; not a number where it is not filled.

    Parameters
    ----------
    first : numpy.ndarray
        Index of the window's first row.
    mean, sd : numpy.ndarray
        [unit of the series]
    slope, slope_u : numpy.ndarray
        Slope of the straight line through the window, and its standard uncertainty [unit/s].
    lag_one : numpy.ndarray
        Correlation of neighbouring residuals.
    """

    first: np.ndarray
    mean: np.ndarray
    sd: np.ndarray
    slope: np.ndarray
    slope_u: np.ndarray
    lag_one: np.ndarray


def moving(time: Number, values: Number, window: Number, least: int = LEAST) -> Moving:
    """Mean, standard deviation and slope over a moving window.

    b = Sxy / Sxx;  u(b) = s / sqrt(Sxx) sqrt((1 + r1) / (1 - r1)),  s^2 = SSE / (n - 2)

    For readings at one interval dt this is b = 12 sum((i - i_mean) x) / (n (n^2 - 1) dt). The
    correlation r1 of
    neighbouring residuals is taken from von Neumann's ratio, 1 - sum(de^2) / (2 SSE), and never
    narrows u(b).

    Parameters
    ----------
    time : array or pint.Quantity
        Rising [time], seconds if bare; need not be even.
    values : array or pint.Quantity
        One series; not-a-number marks a reading that is lacking.
    window : float or pint.Quantity
        Length [time].
    least : int
        Readings that a window must hold.

    Returns
    -------
    Moving
        Windows with fewer readings, or with a gap of more than a tenth of their length, are not a
        number.

    Raises
    ------
    ScienceError
        Time does not rise, or the series has another length.

    Source: straight-line regression (textbook); J. von Neumann, Ann. Math. Stat. 12 (1941) 367;
    widening for
    autocorrelation n_eff = n (1 - r1)/(1 + r1) (Box, Jenkins & Reinsel, Time Series Analysis).
    """
    seconds, series = _seconds(time), np.asarray(_plain(values), float)
    if series.shape != seconds.shape:
        raise ScienceError(
            f"{series.size} readings for {seconds.size} time stamps",
            "steadiness.moving",
            "give one reading for each stamp",
        )
    length = float(_plain(window))
    first = np.searchsorted(seconds, seconds - length * (1 + 1e-9))
    enough = _filled(seconds, length) & (
        _span(np.isfinite(series).astype(float), first) >= max(least, 3)
    )
    return _statistics(seconds, series, first, enough & ~_gapped(seconds, series, first, length))


def _filled(seconds: np.ndarray, length: float) -> np.ndarray:
    """True where the record reaches back over a whole window."""
    return seconds - seconds[0] >= length * (1 - 1e-9)


def _gapped(
    seconds: np.ndarray, series: np.ndarray, first: np.ndarray, length: float
) -> np.ndarray:
    """True where a window holds the end of a gap between readings that is too long."""
    known = np.flatnonzero(np.isfinite(series))
    ends = known[1:][np.diff(seconds[known]) > GAP * length]
    marks = np.zeros(seconds.size)
    marks[ends] = 1.0
    return _span(marks, first) > 0.5


def _span(values: np.ndarray, first: np.ndarray) -> np.ndarray:
    """Sum over each window."""
    total = np.concatenate(([0.0], np.cumsum(values)))
    return total[1:] - total[first]


def _statistics(
    seconds: np.ndarray, series: np.ndarray, first: np.ndarray, enough: np.ndarray
) -> Moving:
    """The sums of a straight line in every window, by running totals: no loop over rows."""
    known = np.isfinite(series)
    # Centred and scaled, so that the running totals keep their digits.
    shift, scale = _centre(series[known])
    x = np.where(known, (series - shift) / scale, 0.0)
    t = np.where(known, seconds - seconds[seconds.size // 2], 0.0)
    n, sum_x, sum_t = (_span(each, first) for each in (known.astype(float), x, t))
    with np.errstate(divide="ignore", invalid="ignore"):
        n = np.where(enough, n, np.nan)
        s_xx = np.maximum(_span(x * x, first) - sum_x**2 / n, 0.0)
        s_tt = _span(t * t, first) - sum_t**2 / n
        slope = (_span(t * x, first) - sum_t * sum_x / n) / s_tt
        residual = np.maximum(s_xx - slope**2 * s_tt, 0.0)
        lag_one = _lag_one(seconds, x, known, first, slope, residual)
        widening = np.sqrt((1 + lag_one) / (1 - lag_one))
        slope_u = np.sqrt(residual / (n - 2) / s_tt) * widening
        return Moving(
            first,
            shift + scale * sum_x / n,
            scale * np.sqrt(s_xx / (n - 1)),
            scale * slope,
            scale * slope_u,
            lag_one,
        )


def _centre(values: np.ndarray) -> tuple[float, float]:
    if not values.size:
        return 0.0, 1.0
    spread = float(values.std())
    return float(values.mean()), spread if spread > 0 else 1.0


def _lag_one(
    seconds: np.ndarray,
    x: np.ndarray,
    known: np.ndarray,
    first: np.ndarray,
    slope: np.ndarray,
    residual: np.ndarray,
) -> np.ndarray:
    """Correlation of neighbouring residuals, between 0 and 0.999, from the squared steps between
    them.
    """
    pair = np.concatenate(([False], known[1:] & known[:-1]))
    dx = np.where(pair, np.diff(x, prepend=x[0]), 0.0)
    dt = np.where(pair, np.diff(seconds, prepend=seconds[0]), 0.0)
    # The step into a window's first row belongs to the window before it.
    inner = np.minimum(first + 1, np.arange(first.size))
    steps = (
        _span(dx * dx, inner) - 2 * slope * _span(dx * dt, inner) + slope**2 * _span(dt * dt, inner)
    )
    # A line without residuals has nothing to correlate.
    ratio = np.where(residual > 1e-12, steps / (2 * np.where(residual > 1e-12, residual, 1.0)), 1.0)
    return np.clip(1 - ratio, 0.0, 0.999)


# --- steady or not --------------------------------------------------------------------------------


@dataclass(frozen=True)
class Tolerance:
    """What a series may do in a window and still be called steady; None does not bind.

    Parameters
    ----------
    sd : pint.Quantity or float, optional
        Standard deviation [unit of the series, differences].
    relative_sd : float, optional
        Standard deviation over the mean.
    slope : pint.Quantity or float, optional
        [unit/time]; the slope's own uncertainty must fit inside as well (two standard
        uncertainties).
    target, band : pint.Quantity or float, optional
        The mean may be this far (`band`) from `target`.
    """

    sd: Value = None
    relative_sd: float | None = None
    slope: Value = None
    target: Value = None
    band: Value = None


@dataclass(frozen=True)
class Window:
    """Rows ``first`` to ``last`` (inclusive) over which everything was steady, and how long that is
    [s].
    """

    first: int
    last: int
    seconds: float


@dataclass(frozen=True)
class Steadiness:
    """Which windows were steady, and what spoiled the others.

    Parameters
    ----------
    windows : tuple of Window
        Steady stretches, none shorter than the window asked for.
    steady : numpy.ndarray
        True where the window that ends at the row is steady in all series.
    spoiled : dict
        For each series the share of windows in which it was not steady.
    moving : dict
        `Moving` statistics by series.
    """

    windows: tuple[Window, ...]
    steady: np.ndarray
    spoiled: dict[str, float]
    moving: dict[str, Moving]


def steady(
    time: Number,
    series: Mapping[str, Number],
    tolerances: Mapping[str, Tolerance],
    window: Number,
    least: int = LEAST,
) -> Steadiness:
    """Stretches in which every series with a tolerance was steady.

    Parameters
    ----------
    time : array or pint.Quantity
        Rising [time].
    series : dict
        Readings by name.
    tolerances : dict
        `Tolerance` by name; series without one do not count.
    window : float or pint.Quantity
        Length over which to judge [time]; at least two periods of any hunting.
    least : int
        Readings that a window must hold.

    Raises
    ------
    ScienceError
        A tolerance without its series, or none at all.
    """
    lacking = [name for name in tolerances if name not in series]
    if lacking or not tolerances:
        what = f"no readings of {', '.join(lacking)}" if lacking else "no tolerance"
        raise ScienceError(
            f"{what} to judge steadiness by",
            "steadiness.steady",
            "name the series that matter and give each a tolerance",
        )
    seconds = _seconds(time)
    found = {name: moving(seconds, series[name], window, least) for name in tolerances}
    holds = {name: _holds(found[name], tolerances[name]) for name in tolerances}
    filled = _filled(seconds, float(_plain(window)))
    all_hold = np.logical_and.reduce(list(holds.values())) & filled
    spoiled = {
        name: float((~each[filled]).mean()) if filled.any() else 1.0 for name, each in holds.items()
    }
    first = next(iter(found.values())).first
    return Steadiness(_stretches(seconds, first, all_hold), all_hold, spoiled, found)


def _holds(found: Moving, tolerance: Tolerance) -> np.ndarray:
    holds = np.isfinite(found.sd)
    # A constant series keeps a residue of rounding.
    slack = 1e-12 * np.abs(found.mean)
    if tolerance.sd is not None:
        holds &= found.sd <= _plain(tolerance.sd) + slack
    if tolerance.relative_sd is not None:
        holds &= found.sd <= tolerance.relative_sd * np.abs(found.mean) + slack
    if tolerance.slope is not None:
        holds &= np.abs(found.slope) + GUARD * found.slope_u <= _plain(tolerance.slope) + slack
    if tolerance.target is not None and tolerance.band is not None:
        holds &= np.abs(found.mean - _plain(tolerance.target)) <= _plain(tolerance.band)
    return holds


def _stretches(seconds: np.ndarray, first: np.ndarray, holds: np.ndarray) -> tuple[Window, ...]:
    """Runs of steady windows as row ranges; runs whose rows overlap are one."""
    edges = np.diff(np.concatenate(([0], holds.astype(np.int8), [0])))
    ranges: list[list[int]] = []
    for begin, end in zip(np.flatnonzero(edges == 1), np.flatnonzero(edges == -1) - 1, strict=True):
        if ranges and first[begin] <= ranges[-1][1]:
            ranges[-1][1] = int(end)
        else:
            ranges.append([int(first[begin]), int(end)])
    return tuple(Window(low, high, float(seconds[high] - seconds[low])) for low, high in ranges)


# --- hunting --------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Hunting:
    """A regular swing.

    Parameters
    ----------
    period : float
        [s]
    amplitude : float
        Half of the swing's height [unit of the series].
    correlation : float
        Autocorrelation at one period: 1 is a pure oscillation.
    """

    period: float
    amplitude: float
    correlation: float


def hunting(time: Number, values: Number, least: float = 0.3) -> Hunting | None:
    """Period and amplitude of hunting, from the first peak of the autocorrelation after it has been
    negative.

    Amplitude of the regular part: sqrt(2 r) s, with s the standard deviation about the straight
    line.

    Parameters
    ----------
    time : array or pint.Quantity
        Rising, even [time].
    values : array or pint.Quantity
        One series; gaps are bridged by straight lines.
    least : float
        Autocorrelation below which a swing is not called regular.

    Returns
    -------
    Hunting or None
        None if nothing regular repeats at least twice in the record.

    Source: Box, Jenkins & Reinsel, Time Series Analysis (autocorrelation by Wiener-Khinchin).
    """
    seconds, series = _seconds(time), np.asarray(_plain(values), float)
    known = np.isfinite(series)
    if known.sum() < LEAST:
        return None
    even = np.linspace(seconds[0], seconds[-1], seconds.size)
    level = np.interp(even, seconds[known], series[known])
    centred = even - even.mean()
    level = level - level.mean() - centred * (centred @ level) / (centred @ centred)
    correlation = _autocorrelation(level)
    peak = _first_peak(correlation[: seconds.size // 2 + 1])
    if (
        peak is None
        or correlation[peak] < max(least, 3 / np.sqrt(seconds.size))
        or not _repeats(correlation, peak)
    ):
        return None
    lag, height = _vertex(correlation, peak)
    height = float(np.clip(height, 0.0, 1.0))
    return Hunting(lag * (even[1] - even[0]), float(np.sqrt(2 * height) * level.std()), height)


def _autocorrelation(level: np.ndarray) -> np.ndarray:
    """Autocorrelation at each lag, corrected for the shrinking overlap."""
    n = level.size
    power = float(level @ level)
    if power <= 1e-24 * n:
        return np.zeros(n)
    spectrum = np.fft.rfft(level, 2 * n)
    return np.fft.irfft(spectrum * spectrum.conj())[:n] / power * n / np.arange(n, 0, -1)


def _first_peak(correlation: np.ndarray) -> int | None:
    """Lag of the highest point of the first positive stretch after the autocorrelation has been
    negative.
    """
    negative = np.flatnonzero(correlation < 0)
    if not negative.size:
        return None
    later = correlation[negative[0] :]
    rising = np.flatnonzero(later > 0.5 * later.max()) if later.max() > 0 else np.array([], int)
    if not rising.size:
        return None
    begin = rising[0]
    falls = np.flatnonzero(later[begin:] < 0)
    end = begin + falls[0] if falls.size else later.size
    return int(negative[0] + begin + np.argmax(later[begin:end]))


def _repeats(correlation: np.ndarray, peak: int) -> bool:
    """Half of the peak is left two periods apart: a level that wanders shows a first peak but no
    second.
    """
    around = (
        correlation[2 * peak - 1 : 2 * peak + 2]
        if 2 * peak < 0.9 * correlation.size
        else np.array([])
    )
    return bool(around.size and around.max() >= correlation[peak] / 2)


def _vertex(correlation: np.ndarray, peak: int) -> tuple[float, float]:
    """Lag and height of the parabola through a peak and its neighbours."""
    if peak + 1 >= correlation.size:
        return float(peak), float(correlation[peak])
    left, middle, right = correlation[peak - 1 : peak + 2]
    bend = left - 2 * middle + right
    offset = 0.0 if bend == 0 else 0.5 * (left - right) / bend
    return peak + float(offset), float(middle - 0.25 * (left - right) * offset)
