"""Pre-lube and post-lube: what the oil differential did over time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from startkit.errors import ReadingError, ScienceError
from startkit.formula import Number, Value
from startkit.science.steadiness import hunting
from startkit.units import quantities


def _series(time: Number, values: Number, where: str) -> tuple[np.ndarray, np.ndarray]:
    """Both columns, checked."""
    clock, series = np.atleast_1d(np.asarray(time, float)), np.atleast_1d(np.asarray(values, float))
    if clock.size != series.size:
        raise ReadingError(
            "time and reading have different lengths", where, "give both in every row"
        )
    if clock.size < 2:
        raise ReadingError("fewer than two rows", where, "enter the readings over time")
    if not (np.all(np.isfinite(clock)) and np.all(np.isfinite(series))):
        raise ReadingError("a row has no number in it", where, "fill it in or leave the row out")
    if np.any(np.diff(clock) <= 0):
        raise ReadingError(
            f"time does not rise at row {int(np.flatnonzero(np.diff(clock) <= 0)[0]) + 2}",
            where,
            "put the rows in order of time",
        )
    return clock, series


def lag_one(values: np.ndarray) -> float:
    """Correlation between neighbouring samples of a series, its straight line taken out; 0 to 0.99.

    r1 = sum(e(i) e(i+1)) / sum(e(i)^2)

    Source: Box, Jenkins, Reinsel, Time Series Analysis (estimator, from memory).
    """
    if values.size < 4:
        return 0.0
    steps = np.arange(values.size)
    rest = values - np.polyval(np.polyfit(steps, values, 1), steps)
    power = float(rest @ rest)
    # A constant series leaves only rounding.
    return (
        float(np.clip(rest[:-1] @ rest[1:] / power, 0.0, 0.99))
        if power > 1e-20 * float(values @ values)
        else 0.0
    )


def mean_uncertainty(values: np.ndarray) -> tuple[float, float, float]:
    """Mean, its standard uncertainty, and how many independent readings the correlated samples are
    worth.

    n_eff = n (1 - r1)/(1 + r1); u = s / sqrt(n_eff)

    Source: variance of the mean of a first-order autoregressive series, large n (closed form).
    """
    r1 = lag_one(values)
    effective = max(1.0, values.size * (1 - r1) / (1 + r1))
    s = float(values.std(ddof=1)) if values.size > 1 else float("nan")
    return float(values.mean()), s / np.sqrt(effective), effective


@dataclass(frozen=True)
class PreLube:
    """What the differential did from pump start on. A figure that the record cannot give is None.

    Parameters
    ----------
    time_to_set_point, u_time_to_set_point, settling_time : pint.Quantity or None
        [time] from pump start to first reaching the set point, its standard uncertainty (sampling),
        and until it stays within the band.
    highest, overshoot : pint.Quantity
        [pressure] and how far above the set point.
    overshoot_fraction : pint.Quantity
        [dimensionless] of the set point.
    mean, u_mean, standard_deviation : pint.Quantity
        [pressure] of the steady part; the uncertainty of the mean allows for correlation between
        samples.
    samples, effective_samples : int, float
        Of the steady part.
    slope, u_slope : pint.Quantity
        [pressure/time] of the steady part.
    steady_from : pint.Quantity
        [time] after pump start at which the steady part begins.
    settled : bool
        False: the steady part is only the last half of the record.
    hunting_period, hunting_amplitude : pint.Quantity or None
        [time], [pressure].
    minimum, minimum_at : pint.Quantity
        [pressure] lowest after the set point was reached (or in the whole record), and [time] after
        pump start.
    margin, margin_in_sd : pint.Quantity, float or None
        [pressure] mean less trip, and the same in standard deviations.
    time_below_trip : pint.Quantity or None
        [time] spent below the trip after the set point was first reached.
    """

    time_to_set_point: Value
    u_time_to_set_point: Value
    settling_time: Value
    highest: Value
    overshoot: Value
    overshoot_fraction: Value
    mean: Value
    u_mean: Value
    standard_deviation: Value
    samples: int
    effective_samples: float
    slope: Value
    u_slope: Value
    steady_from: Value
    settled: bool
    hunting_period: Value
    hunting_amplitude: Value
    minimum: Value
    minimum_at: Value
    margin: Value
    margin_in_sd: float | None
    time_below_trip: Value


_PRE_LUBE_UNITS = {
    "time_to_set_point": "second",
    "u_time_to_set_point": "second",
    "settling_time": "second",
    "highest": "pascal",
    "overshoot": "pascal",
    "overshoot_fraction": "dimensionless",
    "mean": "pascal",
    "u_mean": "pascal",
    "standard_deviation": "pascal",
    "slope": "pascal/second",
    "u_slope": "pascal/second",
    "steady_from": "second",
    "hunting_period": "second",
    "hunting_amplitude": "pascal",
    "minimum": "pascal",
    "minimum_at": "second",
    "margin": "pascal",
    "time_below_trip": "second",
}


@quantities(
    _PRE_LUBE_UNITS,
    time="second",
    differential="pascal",
    pump_start="second",
    set_point="pascal",
    trip="pascal",
    band="dimensionless",
    hold="second",
)
def analyse_pre_lube(
    time: Value,
    differential: Value,
    pump_start: Value,
    set_point: Value,
    trip: Value = None,
    band: Value = 0.05,
    hold: Value = None,
) -> PreLube:
    """Time to set point, overshoot, settling, steadiness, hunting, and margin to the trip.

    time to set point: first within `band` of it (transducers that read low may never cross it), by
    interpolation, u = dt/sqrt(12); settling: within `band` of the set point from then on;
    margin in standard deviations = (mean - trip) / s over the steady part

    Parameters
    ----------
    time, differential : pint.Quantity
        [time], rising, and [pressure], transducer zero already subtracted.
    pump_start : pint.Quantity
        [time] on the same clock.
    set_point, trip : pint.Quantity
        [pressure]; `trip` is the low-oil trip, None if not known.
    band : pint.Quantity or float
        [dimensionless] of the set point within which it counts as settled. Default 5 % (common
        practice, no source).
    hold : pint.Quantity, optional
        [time] it must stay within the band, to the end of the record, to count as settled. Default
        10 s (common practice, no source).

    Returns
    -------
    PreLube

    Raises
    ------
    ReadingError
        Unequal columns, time that does not rise, fewer than two readings after pump start.
    ScienceError
        The set point is not above zero.

    Source: definitions of this project; statistics as `mean_uncertainty`, hunting as
    `startkit.science.steadiness.hunting`.
    """
    clock, series = _series(time, differential, "oil differential")
    if set_point <= 0:
        raise ScienceError(
            "the oil differential set point is not above zero",
            "analyse_pre_lube",
            "enter it from the machine's sheet",
        )
    running = clock >= pump_start
    if running.sum() < 2:
        raise ReadingError(
            "fewer than two readings are from after pump start",
            "oil differential",
            "check the time of pump start",
        )
    return _pre_lube(
        clock[running] - pump_start,
        series[running],
        float(set_point),
        trip,
        float(band),
        10.0 if hold is None else float(hold),
    )


def _pre_lube(
    clock: np.ndarray,
    series: np.ndarray,
    set_point: float,
    trip: float | None,
    band: float,
    hold: float,
) -> PreLube:
    reached = _first_reach(clock, series, (1 - band) * set_point)
    settling = _settled_at(clock, series, set_point, band, hold)
    risen = _first_reach(clock, series, set_point) or reached
    first = 0 if risen is None else int(np.searchsorted(clock, risen))
    begin = min(series.size // 2, series.size - 2)
    if settled := settling is not None and bool((clock >= settling).sum() >= 3):
        begin = int(np.searchsorted(clock, settling))
    steady, lowest = series[begin:], first + int(np.argmin(series[first:]))
    mean, u_mean, effective = mean_uncertainty(steady)
    s = float(steady.std(ddof=1))
    slope, u_slope = _slope(clock[begin:], steady)
    cycle = hunting(clock[begin:], steady) if s > 0 else None
    highest = float(series.max())
    return PreLube(
        reached,
        None if reached is None else _half_step(clock),
        settling,
        highest,
        max(0.0, highest - set_point),
        max(0.0, highest - set_point) / set_point,
        mean,
        u_mean,
        s,
        int(steady.size),
        effective,
        slope,
        u_slope,
        float(clock[begin]),
        settled,
        None if cycle is None else cycle.period,
        None if cycle is None else cycle.amplitude,
        float(series[lowest]),
        float(clock[lowest]),
        None if trip is None else mean - trip,
        None if trip is None or s == 0 else (mean - trip) / s,
        None if trip is None else time_below(clock[first:], series[first:], trip),
    )


def _half_step(clock: np.ndarray) -> float:
    return float(np.median(np.diff(clock)) / np.sqrt(12.0))


def _first_reach(clock: np.ndarray, series: np.ndarray, level: float) -> float | None:
    """When the series first reaches a level from below, by interpolation."""
    over = np.flatnonzero(series >= level)
    if not over.size:
        return None
    i = int(over[0])
    if i == 0:
        return float(clock[0])
    return float(
        clock[i - 1]
        + (level - series[i - 1]) / (series[i] - series[i - 1]) * (clock[i] - clock[i - 1])
    )


def _settled_at(
    clock: np.ndarray, series: np.ndarray, set_point: float, band: float, hold: float
) -> float | None:
    """First time from which the series stays within the band to the end of the record, and at least
    for `hold`.
    """
    outside = np.flatnonzero(np.abs(series - set_point) > band * set_point * (1 + 1e-9))
    begin = int(outside[-1]) + 1 if outside.size else 0
    if begin >= series.size or clock[-1] - clock[begin] < hold:
        return None
    return float(clock[begin])


def _slope(clock: np.ndarray, series: np.ndarray) -> tuple[float, float]:
    """Slope and its standard uncertainty, widened for correlated samples."""
    if series.size < 3:
        return float("nan"), float("nan")
    centred = clock - clock.mean()
    slope = float(centred @ series / (centred @ centred))
    rest = series - series.mean() - slope * centred
    r1 = lag_one(series)
    u = np.sqrt(rest @ rest / (series.size - 2) / (centred @ centred) * (1 + r1) / (1 - r1))
    return slope, float(u)


def time_below(clock: np.ndarray, series: np.ndarray, level: float) -> float:
    """[s] that a series, taken as straight between samples, spends below a level."""
    total = 0.0
    for t0, t1, a, b in zip(
        clock[:-1], clock[1:], series[:-1] - level, series[1:] - level, strict=True
    ):
        if a < 0 and b < 0:
            total += t1 - t0
        elif a < 0 or b < 0:
            total += (t1 - t0) * min(a, b) / (min(a, b) - max(a, b))
    return float(total)


# --- low-oil trip ----------------------------------------------------------------------------


@quantities(("pascal", "pascal"), time="second", differential="pascal", tripped="second")
def value_at_trip(time: Number, differential: Number, tripped: Number) -> tuple[float, float]:
    """Differential at the moment of the trip, from a trend taken while it was lowered.

    dp(t) by interpolation; u = |d(dp)/dt| dt / sqrt(12): the trip fell somewhere between two
    samples

    Parameters
    ----------
    time, differential : pint.Quantity
        [time], rising, and [pressure].
    tripped : pint.Quantity
        [time] of the trip on the same clock.

    Returns
    -------
    tuple of pint.Quantity
        Value and its standard uncertainty from sampling [pressure].

    Raises
    ------
    ReadingError
        The trip is outside the record, or the columns are bad.

    Source: rectangular distribution, JCGM 100:2008, 4.3.7.
    """
    clock, series = _series(time, differential, "oil differential")
    if not clock[0] <= tripped <= clock[-1]:
        raise ReadingError(
            "the trip is outside the record", "oil differential", "check the time of the trip"
        )
    i = int(np.clip(np.searchsorted(clock, tripped), 1, clock.size - 1))
    return float(np.interp(tripped, clock, series)), float(
        abs(series[i] - series[i - 1]) / np.sqrt(12.0)
    )


# --- coast-down and post-lube ----------------------------------------------------------------


@dataclass(frozen=True)
class CoastDown:
    """Whether oil pressure held while the shaft coasted down, and after.

    Parameters
    ----------
    coast_down_time : pint.Quantity
        [time] from stop to shaft at rest.
    minimum, minimum_at : pint.Quantity
        [pressure] lowest between stop and shaft at rest, and [time] after stop.
    margin : pint.Quantity or None
        [pressure] minimum less `least`.
    time_below : pint.Quantity or None
        [time] below `least` while the shaft turned.
    stood : bool or None
        The differential never fell below `least` while the shaft turned.
    post_lube_time : pint.Quantity or None
        [time] after the shaft came to rest until the differential first fell below `least`, or to
        the end of the record.
    post_lube_ended : bool
        False: the record ends while the differential still holds.
    """

    coast_down_time: Value
    minimum: Value
    minimum_at: Value
    margin: Value
    time_below: Value
    stood: bool | None
    post_lube_time: Value
    post_lube_ended: bool


@quantities(
    {
        "coast_down_time": "second",
        "minimum": "pascal",
        "minimum_at": "second",
        "margin": "pascal",
        "time_below": "second",
        "post_lube_time": "second",
    },
    time="second",
    differential="pascal",
    stopped="second",
    at_rest="second",
    least="pascal",
)
def analyse_coast_down(
    time: Value, differential: Value, stopped: Value, at_rest: Value, least: Value = None
) -> CoastDown:
    """Oil differential from the stop of the motor until the shaft has stopped, and after.

    minimum = min dp(t), stopped <= t <= at_rest, ends interpolated

    Parameters
    ----------
    time, differential : pint.Quantity
        [time], rising, and [pressure].
    stopped, at_rest : pint.Quantity
        [time] when the motor was stopped and when the shaft had stopped, on the same clock.
    least : pint.Quantity, optional
        [pressure] that must hold, such as the low-oil trip.

    Returns
    -------
    CoastDown

    Raises
    ------
    ReadingError
        The shaft had stopped before the motor, or the record does not cover the coast-down.

    Source: definitions of this project; common practice, no source.
    """
    clock, series = _series(time, differential, "oil differential")
    if at_rest <= stopped:
        raise ReadingError(
            "the shaft had stopped before the motor was stopped", "coast-down", "check both times"
        )
    if clock[0] > stopped or clock[-1] < at_rest:
        raise ReadingError(
            "the record does not cover the coast-down",
            "oil differential",
            "log the differential from before the stop until the shaft has stopped",
        )
    t, dp = _cut(clock, series, stopped, at_rest)
    lowest = int(np.argmin(dp))
    below = None if least is None else time_below(t, dp, least)
    after, ended = (
        _post_lube(*_cut(clock, series, at_rest, clock[-1]), least)
        if clock[-1] > at_rest
        else (None, False)
    )
    return CoastDown(
        float(at_rest - stopped),
        float(dp[lowest]),
        float(t[lowest] - stopped),
        None if least is None else float(dp[lowest] - least),
        below,
        None if least is None else bool(dp[lowest] >= least),
        after,
        ended,
    )


def _cut(
    clock: np.ndarray, series: np.ndarray, begin: float, end: float
) -> tuple[np.ndarray, np.ndarray]:
    """The series between two instants, both interpolated."""
    inside = (clock > begin) & (clock < end)
    t = np.concatenate([[begin], clock[inside], [end]])
    return t, np.interp(t, clock, series)


def _post_lube(
    clock: np.ndarray, series: np.ndarray, least: float | None
) -> tuple[float | None, bool]:
    if least is None:
        return None, False
    fell = _first_reach(clock, -series, -least)
    below = np.flatnonzero(series < least)
    return (
        (float(clock[-1] - clock[0]), False)
        if not below.size or fell is None
        else (float(fell - clock[0]), True)
    )
