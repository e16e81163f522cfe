"""Guide vanes: what one stroke shows.

Travel time, dead time, stalls, jumps, and where the closed-position switch made or broke. Every
width that decides (end band, stall time, jump) is an argument: this module knows no limit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from startkit.formula import Number, Value
from startkit.science.strokes import (
    CLOSING,
    OPENING,
    POINTS,
    RAMP,
    STAIRCASE,
    STEP,
    Stroke,
    read_switch,
    stroke,
)
from startkit.science.vane_motion import (
    Jump,
    Stall,
    _Course,
    _course,
    _dead_time,
    _entered,
    _jumps,
    _run_on,
    _speed,
    _stalls,
    smooth,
)
from startkit.units import quantities

__all__ = [
    "CLOSING",
    "OPENING",
    "Stroke",
    "StrokeResult",
    "analyse_stroke",
    "read_switch",
    "stroke",
]


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
    travel_time: Value
    u_travel_time: Value
    time_to_rest: Value
    dead_time: Value
    run_on: Value
    finished_without_arriving: bool | None
    feedback_at_finish: float | None
    stalls: tuple[Stall, ...]
    stalled_time: Value
    jumps: tuple[Jump, ...]
    rate: Value
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
    # there is no proof.
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
    record: Stroke, end_band: Number = 0.02, stall_time: Number | None = None, jump: Number = 0.03
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
        [time] feedback must not move to be called a stall. Default 2 s (common practice, no
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
) -> dict[str, Value]:
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
