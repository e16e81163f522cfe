"""Faults of a recorded series, in words: missing readings, a stopped clock, a sensor at zero or
frozen.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from startkit.procedure.block import Block
from startkit.units import split

GAP = 2.5  # times the median spacing (own default)
ZERO_RUN = 3  # zeros in a row between readings that are none (own default)
FROZEN_ROWS = 10  # rows in which a live reading does not move in its last place (own default)


@dataclass(frozen=True)
class Clock:
    """The usable rows of a series in order of time, with what was found on the way.

    `gaps` are (from, until) [s]: between them nothing is known, and nothing is interpolated.
    """

    rows: np.ndarray
    time: np.ndarray
    gaps: tuple[tuple[float, float], ...]
    problems: tuple[str, ...]


def clock(block: Block, name: str, column: str = "time") -> Clock:
    """Rows with a time that moves forward; the others are left out and counted."""
    time = block.columns.get(column, np.array([]))
    problems = []
    known = np.flatnonzero(np.isfinite(time))
    if len(known) < len(time):
        problems.append(
            f"{name}: {len(time) - len(known)} of {len(time)} rows have no time and are left out."
        )
    rows, stood, back = _forward(time, known)
    if stood:
        problems.append(
            f"{name}: the time repeats in {stood} rows; only the first of each is used."
        )
    if back:
        problems.append(f"{name}: the time runs backwards in {back} rows; they are left out.")
    gaps = _gaps(time[rows])
    problems += [
        f"{name}: no readings from {a:.0f} s to {b:.0f} s; nothing is filled in."
        for a, b in gaps[:5]
    ]
    return Clock(rows, time[rows], gaps, tuple(problems))


def _forward(time: np.ndarray, known: np.ndarray) -> tuple[np.ndarray, int, int]:
    rows, stood, back, last = [], 0, 0, -np.inf
    for i in known:
        if time[i] > last:
            rows.append(int(i))
            last = time[i]
        elif time[i] == last:
            stood += 1
        else:
            back += 1
    return np.array(rows, dtype=int), stood, back


def _gaps(time: np.ndarray) -> tuple[tuple[float, float], ...]:
    if len(time) < 3:
        return ()
    steps = np.diff(time)
    wide = np.flatnonzero(steps > GAP * np.median(steps))
    return tuple((float(time[i]), float(time[i + 1])) for i in wide)


def dead_sensors(
    block: Block,
    rows: np.ndarray,
    name: str,
    labels: dict[str, str],
    expect_zero: Iterable[str] = (),
    expect_still: Iterable[str] = (),
) -> tuple[dict[str, np.ndarray], tuple[str, ...]]:
    """Columns with readings of a sensor at zero taken out, and a sentence for each fault.

    A run of zeros counts as a fault only between readings that are none; a column that never moves
    is reported but kept, since it may be true.

    Parameters
    ----------
    block : Block
    rows : numpy.ndarray
        Rows of the block to look at.
    name : str
        Of the series, for the sentence.
    labels : dict of str -> str
        Columns to look at and their printed names.
    expect_zero, expect_still : iterable of str
        Columns that may be zero or constant.
    """
    columns, problems = {}, []
    for key, label in labels.items():
        if key not in block.columns:
            continue
        values = block.columns[key][rows].copy()
        if key not in expect_zero:
            # A dead sensor reads zero in the unit it shows: 0 °C is a warm number in kelvin.
            dead = _zero_runs(
                np.array([_reads_zero(block.texts[key][row]) for row in rows], dtype=bool),
                np.isfinite(values),
            )
            if dead.any():
                values[dead] = np.nan
                problems.append(
                    f"{name}: {label} is zero in {int(dead.sum())} rows between non-zero readings;"
                    " these are left out."
                )
        if key not in expect_still and _frozen(values):
            problems.append(
                f"{name}: {label} does not move in {np.isfinite(values).sum()} rows; check that"
                " the reading is live."
            )
        columns[key] = values
    return columns, tuple(problems)


def _reads_zero(text: str) -> bool:
    digits, _ = split(text)
    return bool(digits) and not digits.strip("+-−0.,")


def _zero_runs(zero: np.ndarray, known: np.ndarray) -> np.ndarray:
    """Zeros in runs of three or more that have readings other than zero on both sides."""
    dead = np.zeros(len(zero), dtype=bool)
    others = np.flatnonzero(known & ~zero)
    edges = np.diff(np.concatenate(([0], zero.astype(np.int8), [0])))
    for first, after in zip(np.flatnonzero(edges == 1), np.flatnonzero(edges == -1), strict=True):
        if after - first >= ZERO_RUN and others.size and others[0] < first and others[-1] >= after:
            dead[first:after] = True
    return dead


def _frozen(values: np.ndarray) -> bool:
    known = values[np.isfinite(values)]
    return len(known) >= FROZEN_ROWS and bool(np.all(known == known[0])) and known[0] != 0


def on_even_clock(time: np.ndarray, values: np.ndarray) -> tuple[float, np.ndarray]:
    """Readings on an even clock: a step without a reading stays empty, nothing is filled in."""
    interval = float(np.median(np.diff(time)))
    place = np.round((time - time[0]) / interval).astype(int)
    even = np.full(place[-1] + 1, np.nan)
    even[place] = values
    return interval, even
