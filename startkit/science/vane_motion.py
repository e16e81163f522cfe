"""Vane motion: dead time, stalls, jumps and rest of one stroke's feedback."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from startkit.science.strokes import (
    RAMP,
    STAIRCASE,
    Stroke,
    command_form,
)


@dataclass(frozen=True)
class Stall:
    """Feedback did not move while commanded to: from `start` to `end` [s] at `position`."""

    start: float
    end: float
    position: float


@dataclass(frozen=True)
class Jump:
    """Feedback moved by `size` between two samples, more than the vanes can; `time` [s]."""

    time: float
    size: float


def smooth(values: np.ndarray, width: int = 5) -> np.ndarray:
    """Running median: takes out single bad samples and does not lag on a ramp."""
    if len(values) < 2 * width:
        return values
    half = width // 2
    padded = np.concatenate([np.repeat(values[0], half), values, np.repeat(values[-1], half)])
    return np.median(np.lib.stride_tricks.sliding_window_view(padded, width), axis=1)


def noise(feedback: np.ndarray) -> float:
    """Standard deviation of the feedback about its own course, as a fraction of travel.

    s = 1.4826 median|x(i-1) - 2 x(i) + x(i+1)| / sqrt(6)

    Second differences take out position and speed, the median takes out jumps. Zero if fewer than
    five samples.

    Parameters
    ----------
    feedback : ndarray
        Equally spaced samples.

    Source: variance of a second difference of white noise is 6 s^2 (closed form); 1.4826 =
    1/0.67449, median absolute deviation
    to standard deviation of a normal distribution.
    """
    if len(feedback) < 5:
        return 0.0
    return float(1.4826 * np.median(np.abs(np.diff(feedback, 2))) / np.sqrt(6.0))


@dataclass(frozen=True)
class _Course:
    """A stroke with the figures that every part of its analysis needs."""

    record: Stroke
    time: np.ndarray
    level: np.ndarray  # smoothed feedback
    noise: float
    form: str
    first: int  # first row with the new command
    start: float  # [s] start of the command
    begin: float  # feedback before it
    rest: float  # feedback at the end
    at_rest: bool
    rest_index: int

    @property
    def settle(self) -> float:
        """Distance that noise alone does not reach."""
        return max(4.0 * self.noise, 0.005)

    @property
    def moved(self) -> bool:
        return abs(self.rest - self.begin) > 2 * self.settle

    @property
    def gone(self) -> np.ndarray:
        """Part of this stroke's own travel that was done at each sample."""
        return (self.level - self.begin) / (self.rest - self.begin)


def _course(record: Stroke) -> _Course:
    time, level, sigma = record.clock, smooth(record.feedback), noise(record.feedback)
    form = command_form(record)
    changed = np.flatnonzero(np.abs(record.command - record.command[0]) > 1e-3)
    first = int(changed[0]) if changed.size else 0
    start = float(time[max(first - 1, 0)] if form == RAMP else time[first])
    begin = float(np.median(record.feedback[: max(first, 1)]))
    last_hold = (
        len(level) - 1 - int(np.flatnonzero(np.abs(np.diff(record.command)) > 1e-3)[-1])
        if changed.size
        else len(level)
    )
    tail = max(3, min(len(level) // 10, last_hold // 2, 20))
    rest = float(np.median(record.feedback[-tail:])) if len(level) >= 10 else float(level[-1])
    away = np.flatnonzero(np.abs(level - rest) > max(4.0 * sigma, 0.005))
    rest_index = int(away[-1]) + 1 if away.size else 0
    at_rest = rest_index <= len(level) - tail if len(level) >= 10 else True
    return _Course(
        record,
        time,
        level,
        sigma,
        form,
        first,
        start,
        begin,
        rest,
        at_rest,
        min(rest_index, len(level) - 1),
    )


def _crossing(course: _Course, part: float) -> float | None:
    """[s] when the given part of this stroke's own travel was first done, by interpolation."""
    done = course.gone
    over = np.flatnonzero(done >= part)
    if not over.size or over[0] == 0:
        return None
    i = int(over[0])
    share = (part - done[i - 1]) / (done[i] - done[i - 1])
    return float(course.time[i - 1] + share * (course.time[i] - course.time[i - 1]))


def _speed(course: _Course, low: float, high: float) -> float | None:
    """[1/s] mean speed between two parts of the travel."""
    if not course.moved:
        return None
    a, b = _crossing(course, low), _crossing(course, high)
    if a is None or b is None or b <= a:
        return None
    return abs(course.rest - course.begin) * (high - low) / (b - a)


def _dead_time(course: _Course, rate: float | None) -> float | None:
    """[s] from the command to the first movement, run back from the crossing at the speed of the
    first part of the travel.
    """
    if not course.moved or course.form == STAIRCASE:
        return None
    part = min(0.5, 2 * course.settle / abs(course.rest - course.begin))
    crossed = _crossing(course, part)
    early = _speed(course, part, min(0.95, part + 0.2)) or rate
    if crossed is None or early is None:
        return None
    return max(0.0, crossed - part * abs(course.rest - course.begin) / early - course.start)


def _entered(course: _Course, target: float, band: float) -> float | None:
    """[s] when feedback entered the band about its target for good, by interpolation."""
    gap = np.abs(course.level - target)
    outside = np.flatnonzero(gap > band)
    if not outside.size:
        return float(course.time[0])
    i = int(outside[-1])
    if i + 1 >= len(gap):
        return None
    share = (gap[i] - band) / (gap[i] - gap[i + 1])
    return float(course.time[i] + share * (course.time[i + 1] - course.time[i]))


def _run_on(course: _Course) -> float | None:
    if course.form != RAMP:
        return None
    moving = np.flatnonzero(np.abs(np.diff(course.record.command)) > 1e-3)
    ended = course.time[moving[-1] + 1]
    return max(0.0, float(course.time[course.rest_index] - ended))


def _stalls(course: _Course, rate: float | None, stall_time: float) -> tuple[Stall, ...]:
    """Runs in which feedback did not move although it was commanded and had further to go."""
    if rate is None or not course.moved:
        return ()
    standing = _standing(course, rate, stall_time)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], standing.astype(int), [0]])))
    runs = [(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    return tuple(
        Stall(float(course.time[a]), float(course.time[b]), float(course.level[a]))
        for a, b in runs
        if b > a and _was_commanded(course, a, b)
    )


def _standing(course: _Course, rate: float, stall_time: float) -> np.ndarray:
    """True at samples inside a window of at least `stall_time` without the movement that its speed
    promises.
    """
    n, step = len(course.level), float(np.median(np.diff(course.time)))
    width = max(3, int(np.ceil(stall_time / step)))
    standing = np.zeros(n, bool)
    if n <= width or rate * width * step < 6 * course.settle / 4:
        return standing
    went = course.record.sign * (course.level[width:] - course.level[:-width])
    slow = went < 0.1 * rate * (course.time[width:] - course.time[:-width])
    for i in np.flatnonzero(slow):
        standing[i : i + width + 1] = True
    done = course.gone
    return standing & (done > 0.03) & (np.arange(n) < course.rest_index)


def _was_commanded(course: _Course, a: int, b: int) -> bool:
    """A pause is a stall if the command moved on meanwhile, or feedback moved on later without a
    new command.
    """
    change = np.abs(np.diff(course.record.command[a : b + 1])) > 1e-3
    if change.mean() > 0.5:
        return True
    later = np.flatnonzero(np.abs(np.diff(course.record.command[a:])) > 1e-3)
    until = a + int(later[0]) + 1 if later.size else len(course.level)
    went_on = np.max(course.record.sign * (course.level[b:until] - course.level[a]), initial=0.0)
    return bool(went_on > max(0.02, 2 * course.settle))


def _jumps(course: _Course, rate: float | None, jump: float) -> tuple[Jump, ...]:
    """Changes between two samples that are outside those of their neighbours by more than `jump`
    and noise.
    """
    steps = np.diff(course.record.feedback)
    if len(steps) < 10 or (rate or 0.0) * np.median(np.diff(course.time)) > 0.25:
        return ()
    around = np.stack([np.roll(steps, k) for k in (-2, -1, 1, 2)])[:, 2:-2]
    excess = np.maximum(steps[2:-2] - around.max(axis=0), around.min(axis=0) - steps[2:-2])
    allowed = jump + 4 * np.sqrt(2.0) * course.noise + _step_of_staircase(course)[2:-2]
    found = np.flatnonzero(excess > allowed) + 2
    return tuple(Jump(float(course.time[i + 1]), float(steps[i])) for i in found)


def _step_of_staircase(course: _Course) -> np.ndarray:
    """Movement between two samples that a step of the command explains, however fast the drive."""
    steps = np.abs(np.diff(course.record.command))
    if course.form != STAIRCASE:
        return np.zeros(len(steps))
    interval = np.diff(course.time)
    width = max(1, int(np.ceil(3.0 / np.median(interval))))
    return np.array([steps[max(0, i - width) : i + 1].max() for i in range(len(steps))])
