"""Vane calibration: what a set of strokes shows of travel times, feedback against command, and
zero.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from startkit.errors import ReadingError, ScienceError
from startkit.formula import Number, Value
from startkit.science.closed_proof import SwitchResult, analyse_switch
from startkit.science.strokes import CLOSING, OPENING, POINTS, RAMP, STAIRCASE, STEP, Stroke, holds
from startkit.science.vanes import StrokeResult, analyse_stroke
from startkit.units import quantities


@dataclass(frozen=True)
class Line:
    """Least-squares line y = intercept + slope x with its standard uncertainties; `residual_sd` has
    n - 2 degrees of freedom.
    """

    slope: float
    intercept: float
    u_slope: float
    u_intercept: float
    residual_sd: float
    points: int


@dataclass(frozen=True)
class StrokesResult:
    """What a set of strokes shows. A figure that the records cannot give is None.

    Parameters
    ----------
    each : tuple of StrokeResult
        Stroke by stroke, times in plain seconds.
    opening_times, closing_times : ndarray
        [s] travel times of the strokes that arrived.
    opening_mean, opening_sd, closing_mean, closing_sd : float or None
        [s]; standard deviations need two strokes.
    command_points, feedback_points, points_opening : ndarray
        Settled points of staircases, of ramps that the drive follows, and calibration points, and
        whether each was taken opening.
    line : Line or None
        Feedback over command; from the two ends alone if only full steps were made.
    largest_deviation, deviation_at : float or None
        Largest distance of a settled point from the line, and its command; None with the two ends
        alone.
    hysteresis, hysteresis_at, hysteresis_mean : float or None
        Feedback closing less feedback opening at the same command: the largest by size, its
        command, and the mean.
    u_hysteresis : float or None
        Standard uncertainty of one such difference.
    zero, zero_sd, span, open_end : float or None
        Mean feedback at rest closed, its standard deviation, mean at rest open less zero, and mean
        at rest open.
    zeros, zero_strokes : ndarray, tuple of int
        Feedback at rest after each closing stroke, and the numbers of those strokes.
    drift : Line or None
        Zero over stroke number; needs three closing strokes.
    noise : float
        Median over the strokes.
    dead_band : float or None
        Command swallowed at the start of a ramp before the feedback moves; the delay of the drive
        is in it.
    is_reversed : bool
        Feedback falls as the command rises.
    switch : SwitchResult
    """

    each: tuple[StrokeResult, ...]
    opening_times: Value
    closing_times: Value
    opening_mean: Value
    opening_sd: Value
    closing_mean: Value
    closing_sd: Value
    command_points: np.ndarray
    feedback_points: np.ndarray
    points_opening: np.ndarray
    line: Line | None
    largest_deviation: float | None
    deviation_at: float | None
    hysteresis: float | None
    hysteresis_at: float | None
    hysteresis_mean: float | None
    u_hysteresis: float | None
    zero: float | None
    zero_sd: float | None
    span: float | None
    open_end: float | None
    zeros: np.ndarray
    zero_strokes: tuple[int, ...]
    drift: Line | None
    noise: float
    dead_band: float | None
    is_reversed: bool
    switch: SwitchResult


def fit_line(x: Sequence[float] | np.ndarray, y: Sequence[float] | np.ndarray) -> Line:
    """Least-squares line.

    slope = sum((x - xm)(y - ym)) / sum((x - xm)^2); s^2 = sum(residual^2)/(n - 2); u(slope) =
    s/sqrt(Sxx); u(intercept) = s sqrt(1/n + xm^2/Sxx)

    Parameters
    ----------
    x, y : sequence of float
        At least two points with different x. Two points leave no residual: their uncertainties are
        nan.

    Raises
    ------
    ScienceError
        Fewer than two different x.

    Source: JCGM 100:2008, H.3; compared with scipy.stats.linregress in the tests.
    """
    x, y = np.asarray(x, float), np.asarray(y, float)
    if x.size < 2 or np.ptp(x) == 0:
        raise ScienceError(
            "a line needs points at two different positions",
            "fit_line",
            "take feedback at more commands",
        )
    centred = x - x.mean()
    sxx = float(centred @ centred)
    slope = float(centred @ (y - y.mean())) / sxx
    intercept = float(y.mean() - slope * x.mean())
    residual = y - intercept - slope * x
    s = float(np.sqrt(residual @ residual / (x.size - 2))) if x.size > 2 else float("nan")
    return Line(
        slope,
        intercept,
        s / np.sqrt(sxx),
        float(s * np.sqrt(1 / x.size + x.mean() ** 2 / sxx)),
        s,
        int(x.size),
    )


def settled_points(record: Stroke, result: StrokeResult) -> tuple[np.ndarray, np.ndarray]:
    """Commands and the feedback that belongs to them.

    Staircase: the last half of each hold. Ramp that the drive follows: feedback half the largest
    possible delay later, that being the smaller of
    dead time and run-on. Step, and ramp that the drive cannot follow: the two ends. Calibration
    points: as they are.

    Parameters
    ----------
    record : Stroke
    result : StrokeResult
        Of the same stroke, in plain seconds (`analyse_stroke.si`).
    """
    if result.form == POINTS:
        return record.command, record.feedback
    if result.form == STEP or (result.form == RAMP and not _follows(record, result)):
        return record.command[[0, -1]], np.array([result.start_position, result.rest_position])
    if result.form == STAIRCASE:
        runs = holds(record)
        halves = [record.feedback[b - max(2, (b - a + 1) // 2) + 1 : b + 1] for a, b in runs]
        return np.array([record.command[b] for _, b in runs]), np.array(
            [np.median(half) for half in halves]
        )
    return _ramp_points(record, result)


def _ramp_points(record: Stroke, result: StrokeResult) -> tuple[np.ndarray, np.ndarray]:
    rows = _ramp_rows(record)
    later = np.interp(record.clock[rows] + _most_delay(result) / 2, record.clock, record.feedback)
    return record.command[rows], later


def _ramp_rows(record: Stroke) -> np.ndarray:
    moving = np.flatnonzero(np.abs(np.diff(record.command)) > 1e-3)
    return np.arange(moving[0], moving[-1] + 2)


def _ramp_speed(record: Stroke) -> float:
    """[1/s] speed of the command."""
    rows = _ramp_rows(record)
    return float(
        abs(record.command[rows[-1]] - record.command[rows[0]])
        / (record.clock[rows[-1]] - record.clock[rows[0]])
    )


def _most_delay(result: StrokeResult) -> float:
    """[s] the pure delay is somewhere between nil and this: both dead time and run-on may hold play
    as well.
    """
    return min(result.dead_time or 0.0, result.run_on or 0.0)


def _follows(record: Stroke, result: StrokeResult) -> bool:
    """A ramp faster than the drive is no better than a step."""
    return result.form == RAMP and (result.rate or 0.0) >= 0.97 * _ramp_speed(record)


@quantities(
    {
        "opening_times": "second",
        "closing_times": "second",
        "opening_mean": "second",
        "opening_sd": "second",
        "closing_mean": "second",
        "closing_sd": "second",
    },
    end_band="dimensionless",
    stall_time="second",
    jump="dimensionless",
)
def analyse_strokes(
    records: Sequence[Stroke],
    end_band: Number = 0.02,
    stall_time: Number | None = None,
    jump: Number = 0.03,
) -> StrokesResult:
    """Travel times, line, hysteresis, zero, span, drift and switch over a set of strokes.

    line: feedback = intercept + slope command, least squares over settled points; hysteresis =
    feedback closing - feedback opening;
    zero = mean feedback at rest closed; drift = slope of zero over stroke number

    Parameters
    ----------
    records : sequence of Stroke
    end_band, stall_time, jump : pint.Quantity
        [dimensionless], [time], [dimensionless]; as in `startkit.science.vanes.analyse_stroke`.

    Returns
    -------
    StrokesResult
        Times are quantities; times inside `each` are plain seconds.

    Raises
    ------
    ReadingError
        No stroke.

    Source: definitions of this project; least squares as `fit_line`; mean and standard deviation
    JCGM 100:2008, 4.2.
    """
    if not records:
        raise ReadingError(
            "no stroke has been entered",
            "strokes",
            "stroke the vanes full open and full closed and enter what was seen",
        )
    each = tuple(analyse_stroke.si(r, end_band, stall_time, jump) for r in records)
    command, feedback, opening, inner = _all_points(records, each)
    line, deviation, at = _line(command, feedback, inner)
    loop = _hysteresis(
        command[inner], feedback[inner], opening[inner], _u_difference(records, each)
    )
    opened, closed = _times(each, OPENING), _times(each, CLOSING)
    zeros, ends = _rests(each, CLOSING, records), _rests(each, OPENING, records)
    numbers = tuple(r.number for r in zeros)
    at_zero, at_open = (
        np.array([r.rest_position for r in zeros]),
        np.array([r.rest_position for r in ends]),
    )
    zero, open_end = _mean(at_zero), _mean(at_open)
    return StrokesResult(
        each,
        opened,
        closed,
        _mean(opened),
        _sd(opened),
        _mean(closed),
        _sd(closed),
        command[inner],
        feedback[inner],
        opening[inner],
        line,
        deviation,
        at,
        *loop,
        zero,
        _sd(at_zero),
        None if zero is None or open_end is None else open_end - zero,
        open_end,
        at_zero,
        numbers,
        fit_line(numbers, at_zero) if len(set(numbers)) >= 3 else None,
        float(np.median([r.noise for r in each])),
        _dead_band(records, each),
        bool(line is not None and line.slope < 0),
        analyse_switch(each),
    )


def _all_points(records: Sequence[Stroke], each: Sequence[StrokeResult]) -> tuple[np.ndarray, ...]:
    """Commands, feedbacks, whether opening, and whether the point is more than an end of a full
    step.
    """
    parts = [settled_points(r, e) for r, e in zip(records, each, strict=True)]
    sizes = [len(c) for c, _ in parts]
    return (
        np.concatenate([c for c, _ in parts]),
        np.concatenate([f for _, f in parts]),
        np.repeat([e.direction == OPENING for e in each], sizes),
        np.repeat([_has_points(r, e) for r, e in zip(records, each, strict=True)], sizes),
    )


def _has_points(record: Stroke, result: StrokeResult) -> bool:
    return result.form in (STAIRCASE, POINTS) or _follows(record, result)


def _line(
    command: np.ndarray, feedback: np.ndarray, inner: np.ndarray
) -> tuple[Line | None, float | None, float | None]:
    if np.unique(np.round(command[inner], 3)).size >= 3:
        line = fit_line(command[inner], feedback[inner])
        gap = feedback[inner] - line.intercept - line.slope * command[inner]
        worst = int(np.argmax(np.abs(gap)))
        return line, float(gap[worst]), float(command[inner][worst])
    return (fit_line(command, feedback) if np.ptp(command) > 0 else None), None, None


def _hysteresis(
    command: np.ndarray, feedback: np.ndarray, opening: np.ndarray, u: float
) -> tuple[float | None, float | None, float | None, float | None]:
    """Largest difference, its command, the mean, and the uncertainty of one difference."""
    if opening.sum() < 2 or (~opening).sum() < 2:
        return None, None, None, None
    up, down = (
        _by_command(command[opening], feedback[opening]),
        _by_command(command[~opening], feedback[~opening]),
    )
    low, high = max(up[0][0], down[0][0]), min(up[0][-1], down[0][-1])
    # At the two ends both ways rest on the same stop, so the loop is closed there and carries no
    # information.
    at = np.unique(np.concatenate([up[0], down[0]]))
    at = at[(at >= low) & (at <= high) & (at > 0.02) & (at < 0.98)]
    if not at.size:
        return None, None, None, None
    gap = np.interp(at, *down) - np.interp(at, *up)
    worst = int(np.argmax(np.abs(gap)))
    return float(gap[worst]), float(at[worst]), float(gap.mean()), u


def _by_command(command: np.ndarray, feedback: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Points in order of command, those at the same command averaged."""
    at, where = np.unique(np.round(command, 4), return_inverse=True)
    return at, np.bincount(where, feedback) / np.bincount(where)


def _u_difference(records: Sequence[Stroke], each: Sequence[StrokeResult]) -> float:
    """Noise of two settled points (half a hold is at least two samples), and on ramps the delay
    left over (rectangular: 2 delay speed/sqrt(12)).
    """
    noise = float(np.median([r.noise for r in each if r.form != STEP] or [0.0]))
    left = [
        _most_delay(e) * _ramp_speed(r) / np.sqrt(3.0)
        for r, e in zip(records, each, strict=True)
        if _follows(r, e)
    ]
    return float(np.hypot(noise, max(left, default=0.0)))


def _times(each: Sequence[StrokeResult], direction: str) -> np.ndarray:
    """Travel times of strokes made in one go; a staircase has no travel time."""
    return np.array(
        [
            r.travel_time
            for r in each
            if r.direction == direction and r.travel_time is not None and r.form in (STEP, RAMP)
        ],
        float,
    )


def _rests(
    each: Sequence[StrokeResult], direction: str, records: Sequence[Stroke]
) -> list[StrokeResult]:
    """Strokes that were commanded to the end of this direction and came to rest."""
    end = 1.0 if direction == OPENING else 0.0
    return [
        e
        for e, r in zip(each, records, strict=True)
        if e.direction == direction and e.came_to_rest and abs(r.command[-1] - end) < 0.01
    ]


def _dead_band(records: Sequence[Stroke], each: Sequence[StrokeResult]) -> float | None:
    """Median over the ramps that the drive follows of dead time times the speed of the command."""
    found = [
        e.dead_time * _ramp_speed(r)
        for r, e in zip(records, each, strict=True)
        if _follows(r, e) and e.dead_time is not None
    ]
    return float(np.median(found)) if found else None


def _mean(values: np.ndarray) -> float | None:
    return float(values.mean()) if values.size else None


def _sd(values: np.ndarray) -> float | None:
    return float(values.std(ddof=1)) if values.size > 1 else None
