"""Stroke records: the columns taken along one stroke, read and checked once.

Positions are fractions of full travel (0 closed, 1 open), times are seconds on the clock of the
record. The command is what was asked of the drive; the feedback is what the position sensor read.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from startkit.errors import ReadingError
from startkit.formula import Number, Value
from startkit.units import quantities

OPENING, CLOSING = "opening", "closing"
STEP, STAIRCASE, RAMP, POINTS = "step", "staircase", "ramp", "points"

_MADE = frozenset({"made", "make", "closed", "close", "1", "1.0", "on", "true", "yes", "y", "x"})
_NOT_MADE = frozenset(
    {
        "open",
        "opened",
        "not made",
        "broken",
        "break",
        "broke",
        "0",
        "0.0",
        "off",
        "false",
        "no",
        "n",
    }
)


@dataclass(frozen=True)
class Stroke:
    """One stroke as recorded; build it with `stroke`.

    Parameters
    ----------
    direction : str
        ``"opening"`` or ``"closing"``.
    time : ndarray or None
        [s], rising; None for calibration points taken at rest, without a clock.
    command, feedback : ndarray
        Fraction of full travel.
    switch : ndarray of bool or None
        True where the closed-position switch is made; None if it was not recorded.
    drive_finished : float or None
        [s] when the drive or its timer took the stroke as finished, on the clock of `time`.
    seen_position : float or None
        Vane position seen at the end of the stroke, as a fraction.
    number : int
        How the stroke is named in sentences: "stroke 3".
    """

    direction: str
    time: np.ndarray | None
    command: np.ndarray
    feedback: np.ndarray
    switch: np.ndarray | None = None
    drive_finished: float | None = None
    seen_position: float | None = None
    number: int = 1

    @property
    def sign(self) -> float:
        """+1 opening, -1 closing."""
        return 1.0 if self.direction == OPENING else -1.0

    @property
    def clock(self) -> np.ndarray:
        """Times of the rows [s]; calibration points taken at rest have none."""
        if self.time is None:
            raise ReadingError(
                "this stroke has no times", "strokes", "record it with a column of time"
            )
        return self.time


def read_switch(text: Number, where: str = "") -> bool:
    """Whether a typed switch state means made.

    "Closed" is the contact closed, that is made; "open" is the contact open, not made.

    Parameters
    ----------
    text : str, bool or int
        ``made``, ``closed``, ``on``, ``1``, ``yes`` or ``open``, ``not made``, ``off``, ``0``,
        ``no``; case and blanks do not matter.
    where : str
        Row or field, for the error.

    Raises
    ------
    ReadingError
        The text is neither.

    Examples
    --------
    >>> read_switch("Closed"), read_switch("0")
    (True, False)
    """
    word = " ".join(str(text).split()).casefold()
    if word in _MADE:
        return True
    if word in _NOT_MADE:
        return False
    raise ReadingError(f"{str(text).strip()!r} is not a switch state", where, "type made or open")


@quantities(
    None,
    time="second",
    command="dimensionless",
    feedback="dimensionless",
    drive_finished="second",
    seen_position="dimensionless",
)
def stroke(
    direction: str,
    time: Value,
    command: Value,
    feedback: Value,
    switch: Sequence[bool] | None = None,
    drive_finished: Value | None = None,
    seen_position: Value | None = None,
    number: int = 1,
) -> Stroke:
    """A stroke from its columns, checked once so that the analysis need not.

    Parameters
    ----------
    direction : str
        ``"opening"`` or ``"closing"``.
    time : pint.Quantity or None
        [time], rising.
    command, feedback : pint.Quantity or array
        [dimensionless], fraction or percent.
    switch : sequence of bool, optional
    drive_finished, seen_position : pint.Quantity, optional
        [time] and [dimensionless].
    number : int
        Name of the stroke.

    Raises
    ------
    ReadingError
        Too few rows, columns of unequal length, a value that is no number, time that runs back, or
        a position that cannot be a fraction of travel.

    Source: nothing is calculated.
    """
    where = f"stroke {number}"
    if direction not in (OPENING, CLOSING):
        raise ReadingError(
            f"direction {direction!r} is neither opening nor closing",
            where,
            "choose opening or closing",
        )
    moved, said = _column(command, "command", where), _column(feedback, "feedback", where)
    clock = None if time is None else _column(time, "time", where)
    made = None if switch is None else np.atleast_1d(np.asarray(switch, bool))
    lengths = {len(c) for c in (moved, said, clock, made) if c is not None}
    if len(lengths) > 1:
        raise ReadingError(
            "the columns have different lengths",
            where,
            "give a time, a command, a feedback and a switch state in every row",
        )
    if len(said) < 2:
        raise ReadingError(
            "the stroke has fewer than two rows", where, "enter at least its start and its end"
        )
    _rising(clock, where)
    finished = None if drive_finished is None else float(drive_finished)
    seen = None if seen_position is None else float(seen_position)
    return Stroke(direction, clock, moved, said, made, finished, seen, number)


def _column(values: Number, name: str, where: str) -> np.ndarray:
    column = np.atleast_1d(np.asarray(values, float))
    if column.size and not np.all(np.isfinite(column)):
        raise ReadingError(
            f"{name} has no number (row {int(np.flatnonzero(~np.isfinite(column))[0]) + 1})",
            where,
            "fill it in or leave the row out",
        )
    if name != "time" and column.size and np.max(np.abs(column)) > 2:
        raise ReadingError(
            f"{name} runs to {np.max(np.abs(column)):g} times full travel",
            where,
            "give it in percent, or as a fraction from 0 to 1",
        )
    return column


def _rising(clock: np.ndarray | None, where: str) -> None:
    if clock is not None and np.any(np.diff(clock) <= 0):
        row = int(np.flatnonzero(np.diff(clock) <= 0)[0]) + 2
        raise ReadingError(
            f"time does not rise at row {row}",
            where,
            "put the rows in order of time and leave out repeats",
        )


def command_form(record: Stroke, change: float = 1e-3) -> str:
    """Shape of the command: points (no clock), step, staircase or ramp."""
    if record.time is None:
        return POINTS
    moving = np.abs(np.diff(record.command)) > change
    if moving.sum() <= 2:
        return STEP
    return STAIRCASE if len(holds(record, change)) >= 4 else RAMP


def holds(record: Stroke, change: float = 1e-3, samples: int = 4) -> list[tuple[int, int]]:
    """First and last index of each run of at least `samples` rows with a constant command."""
    moving = np.abs(np.diff(record.command)) > change
    edges = np.concatenate([[0], np.flatnonzero(moving) + 1, [len(record.command)]])
    return [(int(a), int(b) - 1) for a, b in pairwise(edges) if b - a >= samples]
