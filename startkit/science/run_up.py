"""Run-up: what a record from standstill to speed says of current, time and oil."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from startkit.errors import ScienceError
from startkit.formula import Number, Value
from startkit.units import quantities

AT_SPEED = 0.95  # of the settled speed (own default)
SETTLED_TAIL = (
    0.3  # of the record after speed is reached: its end is taken as settled (own default)
)
SHORT, BESIDE, RISE = 0.5, 2.0, 1.5  # s, s and times: a change-over's peak (own default)
LEAST = 3  # readings without which nothing is called settled


@dataclass(frozen=True)
class RunUp:
    """What a run-up's record shows.

    Parameters
    ----------
    peak, settled : tuple
        Highest and settled current of each phase [A]; NaN where it was not read.
    time : float or None
        From start to speed [s].
    u_time : float or None
        Standard uncertainty of `time` from the spacing of the readings [s].
    found_by : str
        ``"speed"``, ``"current"`` or empty.
    oil_lowest, oil_lowest_at : float or None
        Lowest oil differential after start [Pa], and when [s after start].
    rows : int
        Readings from the start on.
    change_over : float or None
        Highest current in a short peak where the starter changed over [A].
    """

    peak: Value
    settled: Value
    time: Value
    u_time: Value
    found_by: str
    oil_lowest: Value
    oil_lowest_at: Value
    rows: int
    change_over: Value = None


@quantities(
    {
        "time": "second",
        "u_time": "second",
        "oil_lowest": "pascal",
        "oil_lowest_at": "second",
        "peak": "ampere",
        "settled": "ampere",
        "change_over": "ampere",
    },
    time="second",
    currents="ampere",
    speed="radian/second",
    oil="pascal",
    start="second",
)
def analyse_run_up(
    time: Value,
    currents: Value,
    speed: Value = None,
    oil: Value = None,
    start: Value = 0.0,
    switches_over: bool = False,
) -> RunUp:
    """Peak and settled current, time to speed and the oil's worst moment of one recorded start.

    t_run_up = first t with n(t) >= 0.95 n_settled, straight between readings; without speed: first
    t after the peak with
    I(t) <= (I_peak + I_settled) / 2

    Parameters
    ----------
    time : Quantity
        Rising [s].
    currents : Quantity
        Three rows, one a phase [A]; NaN where not read.
    speed, oil : Quantity, optional
        Shaft speed [rad/s]; oil differential [Pa]; NaN where not read.
    start : Quantity
        When the starter closed, on the clock of `time` [s].
    switches_over : bool
        True of a starter that changes over, as from wye to delta: a peak that lasts no longer than
        `SHORT` and rises by half over what comes before and after it is the change, and no inrush.

    Returns
    -------
    RunUp
        The current rule is for starts across the line or at reduced voltage, where the current
        falls as the motor comes to speed; behind a drive it does not, and `found_by` says which
        rule was used.

    Raises
    ------
    ScienceError
        Fewer than three readings after the start, or a clock that does not rise.

    Source: own definitions; checked against run-ups of known shape in the tests.
    """
    t = np.asarray(time, dtype=float)
    if np.any(np.diff(t) <= 0):
        raise ScienceError(
            "the times repeat or run backwards",
            "run-up record",
            "sort the rows and remove duplicates",
        )
    keep = t >= start
    if keep.sum() < LEAST:
        raise ScienceError(
            "fewer than three readings after the start",
            "run-up record",
            "record from before the start until the current has settled",
        )
    t, amperes = t[keep] - start, np.asarray(currents, dtype=float)[:, keep]
    turning = _picked(speed, keep)
    changing = _change_over(t, amperes) if switches_over else np.zeros(t.size, bool)
    starting = np.where(changing, np.nan, amperes)
    peak, settled = _by_phase(np.nanmax, starting), _by_phase(np.nanmean, amperes[:, _tail(t)])
    reached, by = _to_speed(t, turning, starting, peak, settled)
    pressure = _picked(oil, keep)
    worst = None if pressure is None else int(np.nanargmin(pressure))
    return RunUp(
        peak,
        settled,
        reached,
        None if reached is None else _sampling(t, reached),
        by,
        None if pressure is None or worst is None else float(pressure[worst]),
        None if worst is None else float(t[worst]),
        int(keep.sum()),
        float(np.nanmax(amperes[:, changing])) if changing.any() else None,
    )


def _change_over(t: np.ndarray, amperes: np.ndarray) -> np.ndarray:
    """Which readings belong to a short peak after the start: the starter changes over."""
    mean = amperes[np.isfinite(amperes).any(axis=1)].mean(axis=0)
    raised = np.array(
        [i > 0 and t[i] > BESIDE / 2 and _stands_out(t, mean, i) for i in range(t.size)]
    )
    edges = np.flatnonzero(np.diff(np.concatenate(([False], raised, [False])).astype(int)))
    for first, end in edges.reshape(-1, 2):
        if t[end - 1] - t[first] > SHORT:
            raised[first:end] = False
    return raised


def _stands_out(t: np.ndarray, y: np.ndarray, i: int) -> bool:
    before, after = (t >= t[i] - BESIDE) & (t < t[i]), (t > t[i]) & (t <= t[i] + BESIDE)
    sides = [np.nanmedian(y[side]) for side in (before, after) if np.isfinite(y[side]).any()]
    return len(sides) == 2 and bool(y[i] > RISE * max(sides))


def _picked(values: Number, keep: np.ndarray) -> np.ndarray | None:
    """The readings after the start; None if the column was not read at all."""
    if values is None:
        return None
    picked = np.asarray(values, dtype=float)[keep]
    return None if np.isnan(picked).all() else picked


def _by_phase(what: Value, amperes: np.ndarray) -> np.ndarray:
    return np.array([np.nan if np.isnan(row).all() else float(what(row)) for row in amperes])


def _tail(t: np.ndarray) -> np.ndarray:
    """The end of the record: its last three tenths, three readings or more."""
    tail = t >= t[-1] - SETTLED_TAIL * (t[-1] - t[0])
    tail[-LEAST:] = True
    return tail


def _to_speed(
    t: np.ndarray,
    speed: np.ndarray | None,
    amperes: np.ndarray,
    peak: np.ndarray,
    settled: np.ndarray,
) -> tuple[float | None, str]:
    if speed is not None:
        final = (
            float(np.nanmean(speed[_tail(t)])) if not np.isnan(speed[_tail(t)]).all() else np.nan
        )
        return (_crossing(t, speed / final, AT_SPEED), "speed") if final > 0 else (None, "")
    if np.isnan(peak).all():
        return None, ""
    # A start across the line or at reduced voltage shows as current well above what it settles at.
    mean = np.nanmean(amperes, axis=0)
    top, end = float(np.nanmax(mean)), float(np.nanmean(settled))
    if top < 1.5 * end:
        return None, ""
    first = int(np.nanargmax(mean))
    return _crossing(t[first:], -mean[first:], -(top + end) / 2), "current"


def _crossing(t: np.ndarray, y: np.ndarray, level: float) -> float | None:
    """First time at which y reaches the level, straight between readings."""
    known = np.isfinite(y)
    t, y = t[known], y[known]
    above = np.flatnonzero(y >= level)
    if not above.size:
        return None
    i = int(above[0])
    if i == 0:
        return float(t[0])
    return float(t[i - 1] + (level - y[i - 1]) / (y[i] - y[i - 1]) * (t[i] - t[i - 1]))


def _sampling(t: np.ndarray, at: float) -> float:
    """Half the spacing of the readings round the crossing, as a rectangular distribution (JCGM
    100:2008, 4.3.7).
    """
    i = int(np.clip(np.searchsorted(t, at), 1, len(t) - 1))
    return float((t[i] - t[i - 1]) / 2 / np.sqrt(3))


__all__ = ["RunUp", "analyse_run_up"]
