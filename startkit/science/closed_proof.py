"""The closed proof: what a number of strokes proves about the closed-position switch.

Where the switch makes and breaks and how repeatably, and what chance of failure per stroke the
trials leave open. Three good strokes prove little, and the bound says how little.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from startkit.errors import ScienceError
from startkit.science.vanes import CLOSING, StrokeResult
from startkit.units import quantities


@dataclass(frozen=True)
class SwitchResult:
    """The closed-position switch over the strokes; positions are fractions of travel.

    Parameters
    ----------
    trials, failures : int
        Closing strokes with a switch record, and those that ended without the switch made.
    failed_strokes, not_broken_strokes, chattering_strokes : tuple of int
        Numbers of the strokes that ended without the switch made; that opened without breaking it;
        in which it chattered.
    chatter : int
        Changes beyond those due, over all strokes.
    make_strokes, break_strokes : tuple of int
        Numbers of the strokes from which the positions come.
    make_positions, break_positions, makes_from_rest : ndarray
        Feedback at the make and at the break, and the make less the closed rest of its own stroke.
    make_mean, make_sd, make_range, break_mean, break_sd : float or None
        Standard deviation and range need two strokes.
    differential : float or None
        Break mean less make mean.
    distance_from_stop, distance_sd : float or None
        Mean and standard deviation of the make less the closed rest of its own stroke: a moved
        feedback zero drops out.
    u_position : float
        Part of the spread that sampling and noise explain (root mean square over the strokes).
    """

    trials: int
    failures: int
    failed_strokes: tuple[int, ...]
    not_broken_strokes: tuple[int, ...]
    chattering_strokes: tuple[int, ...]
    chatter: int
    make_strokes: tuple[int, ...]
    break_strokes: tuple[int, ...]
    make_positions: np.ndarray
    break_positions: np.ndarray
    makes_from_rest: np.ndarray
    make_mean: float | None
    make_sd: float | None
    make_range: float | None
    break_mean: float | None
    break_sd: float | None
    differential: float | None
    distance_from_stop: float | None
    distance_sd: float | None
    u_position: float


def analyse_switch(results: Sequence[StrokeResult]) -> SwitchResult:
    """Make, break, differential, spread and failures of the closed-position switch.

    differential = mean(break) - mean(make);  distance from stop = mean(make - closed rest of the
    same stroke)

    Parameters
    ----------
    results : sequence of StrokeResult
        From `startkit.science.vanes.analyse_stroke`, with or without units; strokes without a
        switch record do not count.

    Returns
    -------
    SwitchResult

    Source: definitions of this project; mean and standard deviation with n - 1 (JCGM 100:2008,
    4.2).
    """
    recorded = [r for r in results if r.switch_at_end is not None]
    closing = [r for r in recorded if r.direction == CLOSING]
    opening = [r for r in recorded if r.direction != CLOSING]
    failed = tuple(r.number for r in closing if not r.switch_at_end)
    makes = [r for r in closing if r.make_position is not None]
    breaks = [r for r in opening if r.break_position is not None]
    made, broke = _array(r.make_position for r in makes), _array(r.break_position for r in breaks)
    from_rest = _array(r.make_from_rest for r in makes)
    difference = None if not (made.size and broke.size) else float(broke.mean() - made.mean())
    u = _array(r.u_switch_position for r in makes)
    return SwitchResult(
        len(closing),
        len(failed),
        failed,
        tuple(r.number for r in opening if r.switch_at_end),
        tuple(r.number for r in recorded if r.chatter),
        sum(r.chatter for r in recorded),
        tuple(r.number for r in makes),
        tuple(r.number for r in breaks),
        made,
        broke,
        from_rest,
        _mean(made),
        _sd(made),
        float(np.ptp(made)) if made.size > 1 else None,
        _mean(broke),
        _sd(broke),
        difference,
        _mean(from_rest),
        _sd(from_rest),
        float(np.sqrt(np.mean(u**2))) if u.size else 0.0,
    )


def _array(values: Iterable[float | None]) -> np.ndarray:
    return np.array(list(values), float)


def _mean(values: np.ndarray) -> float | None:
    return float(values.mean()) if values.size else None


def _sd(values: np.ndarray) -> float | None:
    return float(values.std(ddof=1)) if values.size > 1 else None


# --- what the number of trials proves --------------------------------------------------------


def _trials(failures: int, trials: int, confidence: float, function: str) -> None:
    if (
        trials < 1
        or failures < 0
        or failures > trials
        or failures != int(failures)
        or trials != int(trials)
    ):
        raise ScienceError(
            f"{failures} failures in {trials} trials are impossible",
            function,
            "count the strokes again",
        )
    if not 0 < confidence < 1:
        raise ScienceError(
            f"a confidence of {confidence:g} is outside 0 to 1",
            function,
            "give it as a fraction such as 0.95",
        )


@quantities("dimensionless", confidence="dimensionless")
def failure_bound(failures: int, trials: int, confidence: float = 0.95) -> float:
    """Chance of failure per stroke that the trials do not exclude: one-sided upper Clopper-Pearson
    bound.

    sum_{i=0..k} C(n, i) p^i (1-p)^(n-i) = 1 - confidence;  p = Beta^-1(confidence; k+1, n-k);  for
    k = 0: p = 1 - (1 - confidence)^(1/n)

    Parameters
    ----------
    failures, trials : int
        k of n strokes; independent strokes with one chance of failure are assumed.
    confidence : float
        [dimensionless], 0 to 1.

    Returns
    -------
    pint.Quantity
        [dimensionless]; 1 if every trial failed.

    Raises
    ------
    ScienceError
        Counts that cannot be, or a confidence outside 0 to 1.

    Source: Clopper, C. J. and Pearson, E. S., Biometrika 26 (1934) 404-413; NIST/SEMATECH
    e-Handbook of Statistical Methods, 7.2.4.2.

    Examples
    --------
    >>> from startkit.units import Q
    >>> round(failure_bound(0, 10).to("percent").magnitude, 1)
    25.9
    """
    _trials(failures, trials, confidence, "failure_bound")
    if failures == trials:
        return 1.0
    if failures == 0:
        return float(-math.expm1(math.log1p(-confidence) / trials))
    from scipy.special import betaincinv

    return float(betaincinv(failures + 1, trials - failures, confidence))


@quantities(("dimensionless", "dimensionless"), confidence="dimensionless")
def failure_interval(failures: int, trials: int, confidence: float = 0.95) -> tuple[float, float]:
    """Two-sided Clopper-Pearson interval for the chance of failure per stroke.

    lower = Beta^-1(a/2; k, n-k+1), upper = Beta^-1(1-a/2; k+1, n-k), a = 1 - confidence

    Parameters
    ----------
    failures, trials : int
    confidence : float
        [dimensionless], 0 to 1.

    Returns
    -------
    tuple of pint.Quantity
        Lower and upper bound [dimensionless].

    Raises
    ------
    ScienceError
        Counts that cannot be, or a confidence outside 0 to 1.

    Source: as `failure_bound`.
    """
    _trials(failures, trials, confidence, "failure_interval")
    one_sided = 1.0 - (1.0 - confidence) / 2.0
    return 1.0 - failure_bound.si(trials - failures, trials, one_sided), failure_bound.si(
        failures, trials, one_sided
    )


@quantities(None, bound="dimensionless", confidence="dimensionless")
def strokes_needed(bound: float, confidence: float = 0.95, failures: int = 0) -> int:
    """Fewest strokes whose failure bound reaches `bound`, given the failures already seen.

    for no failure: n = ceil(ln(1 - confidence) / ln(1 - bound))

    Parameters
    ----------
    bound, confidence : float
        [dimensionless], 0 to 1.
    failures : int
        Failures among them.

    Returns
    -------
    int
        Strokes in all, those already made included.

    Raises
    ------
    ScienceError
        Bound or confidence outside 0 to 1.

    Source: as `failure_bound`, solved for n.

    Examples
    --------
    >>> from startkit.units import Q
    >>> strokes_needed(Q(5, "percent"))
    59
    """
    if not 0 < bound < 1:
        raise ScienceError(
            f"a bound of {bound:g} is outside 0 to 1",
            "strokes_needed",
            "give the allowed chance of failure per stroke, such as 5 %",
        )
    _trials(failures, max(failures, 1), confidence, "strokes_needed")
    high = failures + max(1, math.ceil(math.log1p(-confidence) / math.log1p(-bound)))
    while failure_bound.si(failures, high, confidence) > bound * (1 + 1e-12):
        high *= 2
    low = failures
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (
            (low, middle)
            if failure_bound.si(failures, max(middle, 1), confidence) <= bound * (1 + 1e-12)
            else (middle, high)
        )
    return high


@quantities(None, bound="dimensionless", confidence="dimensionless")
def strokes_still_needed(failures: int, trials: int, bound: float, confidence: float = 0.95) -> int:
    """Further strokes, all of them good, until the failure bound reaches `bound`.

    max(0, strokes_needed(bound, confidence, failures) - trials)

    Parameters
    ----------
    failures, trials : int
        Made so far; no stroke yet is 0 of 0.
    bound, confidence : float
        [dimensionless].

    Raises
    ------
    ScienceError
        As `strokes_needed`.

    Source: as `failure_bound`.
    """
    return max(0, strokes_needed.si(bound, confidence, failures) - trials)
