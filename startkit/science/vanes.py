"""Guide vanes: what one stroke shows.

Travel time, dead time, stalls, jumps, and where the closed-position switch made or broke. Every
width that decides (end band, stall time, jump) is an argument: this module knows no limit.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from startkit.science.strokes import (
    CLOSING,
    OPENING,
    POINTS,
    RAMP,
    STAIRCASE,
    STEP,
    Stroke,
    command_form,
    read_switch,
    stroke,
)
from startkit.units import quantities

__all__ = [
    "CLOSING",
    "OPENING",
    "Jump",
    "Stall",
    "Stroke",
    "StrokeResult",
    "analyse_stroke",
    "noise",
    "read_switch",
    "smooth",
    "stroke",
]


@dataclass(frozen=True)
class Stall:
    """Feedback stood still while it was commanded: from `start` to `end` [s] at `position`."""

    start: float
    end: float
    position: float


@dataclass(frozen=True)
class Jump:
    """Feedback moved by `size` between two samples, more than the vanes can; `time` [s]."""

    time: float
    size: float


@dataclass(frozen=True)
class StrokeResult:
    """What one stroke shows. A figure that the record cannot give is None.

    Parameters
    ----------
    number, direction, form
        Name of the stroke, its direction, and the shape of its command: step, staircase, ramp,
        points.
    start_position, rest_position : float
        Feedback before the stroke and where it came to rest.
    came_to_rest : bool
        False if the record ends while the feedback still moves.
    arrived : bool
        Feedback came to rest within the end band of the commanded end.
    travel_time, u_travel_time : float or None
        [s] from the start of the command until feedback enters the end band for good.
    time_to_rest : float or None
        [s] from the start of the command until feedback stops, wherever that is. A staircase has
        neither.
    dead_time : float or None
        [s] from the start of the command to the first movement.
    run_on : float or None
        [s] feedback moved on after a ramped command had ended.
    finished_without_arriving : bool or None
        The drive took the stroke as finished while the feedback was outside the end band.
    feedback_at_finish : float or None
    stalls : tuple of Stall
    stalled_time : float
        [s] total.
    jumps : tuple of Jump
    rate : float or None
        [1/s] speed in the middle of the travel, positive.
    slowing : float or None
        Speed in the middle divided by speed in the last part of the travel; 1 is steady.
    noise : float
        Standard deviation of the feedback about its own course.
    make_position, break_position : float or None
        Feedback where the switch made (closing) or broke (opening).
    u_switch_position : float or None
        Standard uncertainty of that position from sampling and noise.
    make_from_rest : float or None
        make or break position less the closed rest position of the same stroke.
    switch_at_end : bool or None
    chatter : int
        Changes of the switch beyond the one due.
    seen_mismatch : float or None
        Seen position less feedback at rest.
    """

    number: int
    direction: str
    form: str
    start_position: float
    rest_position: float
    came_to_rest: bool
    arrived: bool
    travel_time: Any
    u_travel_time: Any
    time_to_rest: Any
    dead_time: Any
    run_on: Any
    finished_without_arriving: bool | None
    feedback_at_finish: float | None
    stalls: tuple[Stall, ...]
    stalled_time: Any
    jumps: tuple[Jump, ...]
    rate: Any
    slowing: float | None
    noise: float
    make_position: float | None
    break_position: float | None
    u_switch_position: float | None
    make_from_rest: float | None
    switch_at_end: bool | None
    chatter: int
    seen_mismatch: float | None


# --- the course of one stroke ----------------------------------------------------------------


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
    time, level, sigma = record.time, smooth(record.feedback), noise(record.feedback)
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
    """Runs in which feedback stood still although it was commanded and had further to go."""
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
    """Changes between two samples that lie outside those of their neighbours by more than `jump`
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


# --- the switch along one stroke -------------------------------------------------------------


def _switch_change(record: Stroke) -> int | None:
    """Row before the change that counts: the last one into the final state, if it is the state that
    this direction asks for.
    """
    made = record.switch
    if made is None or made[-1] != (record.direction == CLOSING):
        return None
    changes = np.flatnonzero(np.diff(made.astype(int)))
    if not changes.size or made[0] == made[-1]:
        return None
    # Closing counts the last make, opening the first break: both are the position beyond which the
    # proof is not to be had.
    return int(changes[-1] if record.direction == CLOSING else changes[0])


def _switch_position(
    record: Stroke, sigma: float, rate: float | None
) -> tuple[float | None, float | None]:
    """Mean of the two samples between which the switch changed: it changed anywhere between them
    (rectangular distribution).
    """
    i = _switch_change(record)
    if i is None:
        return None, None
    pair = smooth(record.feedback)[i : i + 2]
    apart = abs(float(pair[1] - pair[0]))
    if rate and record.time is not None:
        apart = max(apart, rate * float(record.time[i + 1] - record.time[i]))
    return float(pair.mean()), float(np.sqrt(apart**2 / 12.0 + sigma**2 / 2.0))


def _chatter(record: Stroke) -> int:
    made = record.switch
    if made is None:
        return 0
    return max(
        0, int(np.count_nonzero(np.diff(made.astype(int)))) - (1 if made[0] != made[-1] else 0)
    )


# --- one stroke ------------------------------------------------------------------------------


@quantities(
    {
        "travel_time": "second",
        "u_travel_time": "second",
        "time_to_rest": "second",
        "dead_time": "second",
        "run_on": "second",
        "stalled_time": "second",
        "rate": "1/second",
    },
    end_band="dimensionless",
    stall_time="second",
    jump="dimensionless",
)
def analyse_stroke(
    record: Stroke, end_band: Any = 0.02, stall_time: Any = None, jump: Any = 0.03
) -> StrokeResult:
    """Travel time, stalls, jumps, and switch positions of one stroke.

    travel time = time(feedback within `end_band` of the commanded end, for good) - time(command);
    u = sqrt(dt^2/6 + (noise/rate)^2), two instants each known to one sampling interval dt.

    Parameters
    ----------
    record : Stroke
    end_band : pint.Quantity or float
        [dimensionless] distance from the commanded end at which the stroke counts as done. Default
        2 % of travel (common practice, no source).
    stall_time : pint.Quantity, optional
        [time] feedback must stand still to be called a stall. Default 2 s (common practice, no
        source).
    jump : pint.Quantity or float
        [dimensionless] change between two samples beyond speed and noise that is called a jump.
        Default 3 % (common practice, no source).

    Returns
    -------
    StrokeResult
        Times are quantities; times inside `stalls` and `jumps` are plain seconds.

    Notes
    -----
    Without a clock only positions come back. Sampling slower than a fifth of the travel time leaves
    dead time and stalls unseen.

    Source: definitions of this project; common practice, no source.
    """
    if record.time is None:
        return _at_points(record, float(end_band))
    course = _course(record)
    return _timed(
        course, float(end_band), 2.0 if stall_time is None else float(stall_time), float(jump)
    )


def _timed(course: _Course, band: float, stall_time: float, jump: float) -> StrokeResult:
    record = course.record
    target = float(record.command[-1])
    rate = _speed(course, 0.15, 0.6)
    late = _speed(course, 0.8, 0.97) if course.form in (STEP, RAMP) else None
    arrived = bool(abs(course.rest - target) <= band and course.at_rest)
    entered = (
        _entered(course, target, band)
        if arrived and course.moved and course.form != STAIRCASE
        else None
    )
    finish = (
        None
        if record.drive_finished is None
        else float(np.interp(record.drive_finished, course.time, course.level))
    )
    stalls = _stalls(course, rate, stall_time)
    return StrokeResult(
        record.number,
        record.direction,
        course.form,
        course.begin,
        course.rest,
        course.at_rest,
        arrived,
        travel_time=None if entered is None else entered - course.start,
        u_travel_time=None if entered is None or not rate else _u_time(course, rate),
        time_to_rest=(
            float(course.time[course.rest_index] - course.start)
            if course.at_rest and course.moved and course.form != STAIRCASE
            else None
        ),
        dead_time=_dead_time(course, rate),
        run_on=_run_on(course),
        finished_without_arriving=None if finish is None else bool(abs(finish - target) > band),
        feedback_at_finish=finish,
        stalls=stalls,
        stalled_time=float(sum(s.end - s.start for s in stalls)),
        jumps=_jumps(course, rate, jump),
        rate=rate,
        slowing=rate / late if rate and late else None,
        noise=course.noise,
        **_ends(record, course.rest, course.begin, course.noise, rate),
    )


def _u_time(course: _Course, rate: float) -> float:
    step = float(np.median(np.diff(course.time)))
    return float(np.sqrt(step**2 / 6.0 + (course.noise / rate) ** 2))


def _ends(
    record: Stroke, rest: float, begin: float, sigma: float, rate: float | None
) -> dict[str, Any]:
    """Switch and visual figures, which need no clock."""
    position, u = _switch_position(record, sigma, rate)
    closed = rest if record.direction == CLOSING else begin
    return {
        "make_position": position if record.direction == CLOSING else None,
        "break_position": position if record.direction == OPENING else None,
        "u_switch_position": u,
        "make_from_rest": None if position is None else position - closed,
        "switch_at_end": None if record.switch is None else bool(record.switch[-1]),
        "chatter": _chatter(record),
        "seen_mismatch": None if record.seen_position is None else record.seen_position - rest,
    }


def _at_points(record: Stroke, band: float) -> StrokeResult:
    begin, rest = float(record.feedback[0]), float(record.feedback[-1])
    return StrokeResult(
        record.number,
        record.direction,
        POINTS,
        begin,
        rest,
        True,
        bool(abs(rest - record.command[-1]) <= band),
        None,
        None,
        None,
        None,
        None,
        None,
        None,
        (),
        0.0,
        (),
        None,
        None,
        0.0,
        **_ends(record, rest, begin, 0.0, None),
    )
