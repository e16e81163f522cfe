"""Quality of a trend's readings: what is marked as lost, stuck, spiked or out of time; nothing is
deleted.

Thresholds are defaults of this workbook, without a source: they mark what a person would ask about.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

LACKING, ZERO, STUCK, SPIKE, RANGE, CLOCK, DUPLICATE, GAP = (1 << n for n in range(8))
# A row after a gap is as good as any other. A reading that does not move may be true: it is used,
# and marked by name.
UNUSABLE = LACKING | ZERO | SPIKE | RANGE | CLOCK | DUPLICATE
WORDS = {
    LACKING: "no reading",
    ZERO: "zero, taken as a drop-out",
    STUCK: "does not move",
    SPIKE: "spike",
    RANGE: "physically impossible",
    CLOCK: "clock jumps",
    DUPLICATE: "duplicate time stamp",
    GAP: "after a gap",
}

STUCK_SECONDS, STUCK_ROWS, STUCK_TIMES = (
    1800.0,
    30,
    20.0,
)  # how long a live reading may stay the same, and how many times its usual stay
SHORT_ZERO = 3  # rows of zeros that a flow, power or current may not show between readings
GAP_TIMES, JUMP_TIMES = 2.5, 10.0  # of the usual step
SPIKE_TIMES = 4.0  # of the step that 99 % of rows stay under
# Least height of a spike by kind of reading [SI]; the others: a share of the usual reading.
SPIKE_LEAST = {
    "temperature": 1.5,
    "gauge_pressure": 15e3,
    "pressure_drop": 5e3,
    "pressure_difference": 10e3,
    "percent": 0.10,
}
SPIKE_SHARE = 0.15
MOST_SEGMENTS = 3000


# --- the clock ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Clock:
    """What a trend's time stamps show.

    Parameters
    ----------
    flags : numpy.ndarray
        `CLOCK`, `DUPLICATE` and `GAP` by row.
    rows : numpy.ndarray
        Rows whose stamps go forward, in order.
    step : float
        Usual time between rows [s].
    gaps : tuple of (float, float)
        Stretches without rows [s since 1970].
    """

    flags: np.ndarray
    rows: np.ndarray
    step: float
    gaps: tuple[tuple[float, float], ...]


def clock(time: np.ndarray) -> Clock:
    """Rows that together make the longest clock going forward; the others are marked.

    A stamp set far ahead by mistake costs its own row only; after a clock was set back, rows count
    again from where they are new.

    Parameters
    ----------
    time : numpy.ndarray
        [s]; not a number where a stamp cannot be read.
    """
    flags = np.zeros(time.size, np.uint8)
    known = np.flatnonzero(np.isfinite(time))
    flags[~np.isfinite(time)] = CLOCK
    if known.size < 2:
        return Clock(flags, known, 0.0, ())
    step = _usual_step(time[known])
    rows = known[_forward(time[known], step)]
    out = np.setdiff1d(known, rows, assume_unique=True)
    place = np.clip(np.searchsorted(time[rows], time[out]), 0, rows.size - 1)
    flags[out] = np.where(time[rows[place]] == time[out], DUPLICATE, CLOCK)
    wide = np.flatnonzero(np.diff(time[rows]) > GAP_TIMES * step)
    flags[rows[wide + 1]] |= GAP
    return Clock(
        flags, rows, step, tuple((float(time[rows[i]]), float(time[rows[i + 1]])) for i in wide)
    )


def _usual_step(time: np.ndarray) -> float:
    steps = np.diff(time)
    forward = steps[steps > 0]
    return float(np.median(forward)) if forward.size else 0.0


def _forward(time: np.ndarray, step: float) -> np.ndarray:
    """Indexes of the longest rising clock, found over segments between jumps."""
    steps = np.diff(time)
    if (steps > 0).all():
        return np.arange(time.size)
    # Stamps that occur twice are no jump: the first of each counts.
    first = np.concatenate(([True], steps != 0))
    kept = np.flatnonzero(first)
    breaks = (
        np.flatnonzero((np.diff(time[kept]) < 0) | (np.diff(time[kept]) > JUMP_TIMES * step)) + 1
    )
    if breaks.size >= MOST_SEGMENTS:
        return _rising(time)
    segments = np.split(kept, breaks)
    return np.concatenate(_chain(time, segments))


def _rising(time: np.ndarray) -> np.ndarray:
    before = np.concatenate(([-np.inf], np.maximum.accumulate(time)[:-1]))
    return np.flatnonzero(time > before)


def _chain(time: np.ndarray, segments: list[np.ndarray]) -> list[np.ndarray]:
    """Segments, each cut to what is later than the one before, that together hold the most rows."""
    ends = np.array([time[each[-1]] for each in segments])
    best, before = np.zeros(len(segments)), np.full(len(segments), -1)
    for j, segment in enumerate(segments):
        best[j] = segment.size
        if j:
            gained = segment.size - np.searchsorted(time[segment], ends[:j], side="right")
            total = np.where((gained > 0) & (ends[:j] < ends[j]), best[:j] + gained, -1.0)
            i = int(np.argmax(total))
            if total[i] > best[j]:
                best[j], before[j] = total[i], i
    picked, j = [], int(np.argmax(best))
    while j >= 0:
        picked.append(j)
        j = int(before[j])
    picked.reverse()
    found, last = [], -np.inf
    for j in picked:
        found.append(segments[j][np.searchsorted(time[segments[j]], last, side="right") :])
        last = ends[j]
    return found


# --- one point ------------------------------------------------------------------------------------


def marks(
    values: np.ndarray,
    time: np.ndarray,
    *,
    kind: str,
    zero: str,
    live: bool,
    usual: tuple[float, float],
    exact_zero: np.ndarray,
) -> np.ndarray:
    """Quality marks of one point over rows whose stamps go forward.

    Parameters
    ----------
    values : numpy.ndarray
        [SI]
    time : numpy.ndarray
        [s], rising.
    kind : str
        Kind of reading.
    zero : str
        ``"never"``, ``"short"`` or ``"off"``, as in `points.Point`.
    live : bool
    usual : tuple of float
        Lowest and highest possible value [SI].
    exact_zero : numpy.ndarray
        True where the file held an exact zero, whatever its unit.
    """
    found = np.where(np.isfinite(values), 0, LACKING).astype(np.uint8)
    with np.errstate(invalid="ignore"):
        found[(values < usual[0]) | (values > usual[1])] |= RANGE
        if zero != "off":
            found[_lost_zeros(values, exact_zero, zero)] |= ZERO
        found[_spikes(np.where(found & (ZERO | RANGE), np.nan, values), kind)] |= SPIKE
        if live:
            found[_stuck(values, time) & ~exact_zero] |= STUCK
    return found


def _runs(same: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """First row and length of every run; `same[i]`: row i + 1 continues row i."""
    starts = np.concatenate(([0], np.flatnonzero(~same) + 1))
    return starts, np.diff(np.concatenate((starts, [same.size + 1])))


def _lost_zeros(values: np.ndarray, exact: np.ndarray, zero: str) -> np.ndarray:
    """Exact zeros between readings that are far from zero: of any length, or short ones only."""
    if not exact.any():
        return exact
    others = values[~exact & np.isfinite(values)]
    if not others.size:
        return np.zeros_like(exact)
    starts, lengths = _runs(exact[1:] == exact[:-1])
    picked = exact[starts]
    if zero == "short":
        picked &= (lengths <= SHORT_ZERO) & _between_readings(
            values, starts, lengths, 0.2 * float(np.median(np.abs(others)))
        )
    else:
        # A temperature or pressure that passes through zero does not jump there.
        zero_value = float(values[np.flatnonzero(exact)[0]])
        picked &= ~_passes(values, starts, lengths, zero_value, others)
    return np.repeat(picked, lengths)


def _neighbours(
    values: np.ndarray, starts: np.ndarray, lengths: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    before = np.where(starts > 0, values[np.maximum(starts - 1, 0)], np.nan)
    after = starts + lengths
    return before, np.where(after < values.size, values[np.minimum(after, values.size - 1)], np.nan)


def _between_readings(
    values: np.ndarray, starts: np.ndarray, lengths: np.ndarray, least: float
) -> np.ndarray:
    before, after = _neighbours(values, starts, lengths)
    return (np.abs(before) > least) & (np.abs(after) > least)


def _passes(
    values: np.ndarray,
    starts: np.ndarray,
    lengths: np.ndarray,
    zero_value: float,
    others: np.ndarray,
) -> np.ndarray:
    before, after = _neighbours(values, starts, lengths)
    near = 5 * max(
        float(np.quantile(np.abs(np.diff(others)), 0.99)) if others.size > 1 else 0.0,
        1e-3 * float(np.ptp(others)),
        1e-9,
    )
    return (np.abs(before - zero_value) < near) | (np.abs(after - zero_value) < near)


def _spikes(values: np.ndarray, kind: str) -> np.ndarray:
    """One or two rows that jump away and come back."""
    found = np.zeros(values.size, bool)
    if values.size < 5:
        return found
    step = np.diff(values)
    known = np.abs(step[np.isfinite(step)])
    if not known.size:
        return found
    size = max(_least_spike(values, kind), SPIKE_TIMES * float(np.quantile(known, 0.99)))
    for width in (1, 2):
        into, out = step[:-width], step[width:]
        back = np.abs(values[width + 1 :] - values[: -width - 1]) < size / 2
        hit = np.flatnonzero((np.abs(into) > size) & (np.abs(out) > size) & (into * out < 0) & back)
        for place in range(width):
            found[hit + 1 + place] = True
    return found


def _least_spike(values: np.ndarray, kind: str) -> float:
    return SPIKE_LEAST.get(kind, SPIKE_SHARE * float(np.nanmedian(np.abs(values))))


def _stuck(values: np.ndarray, time: np.ndarray) -> np.ndarray:
    """Runs of one value, far longer than usual for this point."""
    if values.size < STUCK_ROWS:
        return np.zeros(values.size, bool)
    starts, lengths = _runs(values[1:] == values[:-1])
    seconds = time[starts + lengths - 1] - time[starts]
    stuck = (lengths >= STUCK_ROWS) & (seconds >= STUCK_SECONDS)
    if not stuck.any():
        return np.zeros(values.size, bool)
    stuck &= (lengths >= STUCK_TIMES * float(np.median(lengths))) | (lengths == values.size)
    return np.repeat(stuck, lengths)


def counts(flags: np.ndarray) -> dict[int, int]:
    """How many rows carry each mark."""
    return {mark: int(n) for mark in WORDS if (n := np.count_nonzero(flags & mark))}
