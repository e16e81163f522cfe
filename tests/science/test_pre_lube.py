"""Oil differential over time: set point, settling, hunting, trip, coast-down."""

from __future__ import annotations

import numpy as np
import pytest

from startkit.errors import ReadingError, ScienceError
from startkit.science.pre_lube import (
    analyse_coast_down,
    analyse_pre_lube,
    lag_one,
    mean_uncertainty,
    time_below,
    value_at_trip,
)
from startkit.units import Q

SET_POINT = Q(170, "kPa")


def _pre_lube(dp, t=None, **more):
    t = np.arange(len(dp), dtype=float) if t is None else t
    return analyse_pre_lube(
        Q(t, "s"), Q(dp, "kPa"), more.pop("pump_start", Q(0, "s")), SET_POINT, **more
    )


def _rise(t, tau=5.0):
    return 172 * (1 - np.exp(-t / tau))


def test_time_to_set_point_is_that_of_a_first_order_rise(outside):
    t = np.arange(0.0, 120.0, 0.5)
    found = _pre_lube(_rise(t), t)
    outside.check(
        "pre_lube.analyse_pre_lube",
        printed=5 * np.log(172 / (172 - 0.95 * 170)),
        ours=found.time_to_set_point.to("s").magnitude,
        source="first-order rise to 95 % of the set point, t = tau ln(a/(a - 0.95 set point))",
        standing="closed form",
        abs=0.05,
    )
    assert found.overshoot.to("kPa").magnitude == pytest.approx(2, abs=0.01) and found.settled


def test_settling_is_the_last_entry_into_the_band(outside):
    t = np.arange(0.0, 120.0, 0.5)
    found = _pre_lube(_rise(t), t, band=0.05)
    outside.check(
        "pre_lube.analyse_pre_lube",
        printed=5 * np.log(172 / (172 - 0.95 * 170)),
        ours=found.settling_time.to("s").magnitude,
        source="first-order rise to 95 % of the set point",
        standing="closed form",
        abs=0.5,
    )


def test_a_differential_that_never_reaches_the_set_point_says_so():
    found = _pre_lube(_rise(np.arange(60.0)) * 0.8)
    assert (
        found.time_to_set_point is None
        and found.settling_time is None
        and not found.settled
        and found.overshoot.magnitude == 0
    )


def test_a_set_point_that_transducers_read_a_little_low_is_reached_all_the_same():
    t = np.arange(0.0, 120.0, 0.5)
    found = _pre_lube(0.98 * 170 * (1 - np.exp(-t / 5)), t)
    assert found.time_to_set_point.to("s").magnitude < 30


def test_clock_before_pump_start_does_not_count():
    t = np.arange(-30.0, 120.0)
    dp = np.where(t < 0, 3.0, _rise(np.maximum(t, 0)))
    found = _pre_lube(dp, t + 500, pump_start=Q(500, "s"))
    due = 5 * np.log(172 / (172 - 0.95 * 170))
    assert found.time_to_set_point.to("s").magnitude == pytest.approx(due, abs=0.2)


def test_overshoot_is_a_fraction_of_the_set_point():
    t = np.arange(0.0, 90.0)
    found = _pre_lube(170 * (1 + np.where(t < 10, -np.exp(-t / 2), 0.2 * np.exp(-(t - 10) / 4))), t)
    assert found.overshoot_fraction.magnitude == pytest.approx(0.2, abs=0.01)


def test_margin_to_the_trip_is_counted_in_standard_deviations():
    rng = np.random.default_rng(1)
    dp = 170 + rng.normal(0, 2, 400)
    found = _pre_lube(dp, trip=Q(110, "kPa"))
    assert found.margin.to("kPa").magnitude == pytest.approx(
        60, abs=0.5
    ) and found.margin_in_sd == pytest.approx(30, rel=0.15)
    assert found.time_below_trip.magnitude == 0 and found.minimum.to(
        "kPa"
    ).magnitude == pytest.approx(dp.min())


def test_a_dip_below_the_trip_is_timed_even_if_it_recovers():
    t = np.arange(0.0, 60.0)
    dp = np.where((t > 30) & (t < 35), 90.0, 171.0)
    found = _pre_lube(dp, t, trip=Q(110, "kPa"))
    assert (
        found.time_below_trip.to("s").magnitude == pytest.approx(3 + 2 * 20 / 81)
        and found.minimum_at.to("s").magnitude == 31
    )


def test_time_below_interpolates_between_samples(outside):
    found = time_below(np.array([0.0, 10.0, 20.0]), np.array([2.0, -2.0, 2.0]), 0.0)
    outside.check(
        "pre_lube.time_below",
        printed=10.0,
        ours=found,
        source="two triangles by hand",
        standing="closed form",
        abs=1e-12,
    )


def test_the_uncertainty_of_the_mean_grows_with_correlation(outside):
    rng = np.random.default_rng(7)
    ratios, r = [], 0.6
    for _ in range(300):
        x = np.zeros(400)
        for i, e in enumerate(rng.normal(size=400)):
            x[i] = r * x[i - 1] + e
        ratios.append((x[100:].mean(), mean_uncertainty(x[100:])[1]))
    outside.check(
        "pre_lube.mean_uncertainty",
        printed=np.std([m for m, _ in ratios]),
        ours=np.mean([u for _, u in ratios]),
        source="spread of the means of 300 simulated autoregressive series",
        standing="closed form",
        rel=0.12,
    )


def test_lag_one_finds_the_correlation_of_a_known_series(outside):
    rng = np.random.default_rng(3)
    x = np.zeros(20_000)
    for i, e in enumerate(rng.normal(size=x.size)):
        x[i] = 0.7 * x[i - 1] + e
    outside.check(
        "pre_lube.lag_one",
        printed=0.7,
        ours=lag_one(x),
        source="autoregressive series of known coefficient",
        standing="closed form",
        abs=0.02,
    )
    assert lag_one(np.ones(10)) == 0 and lag_one(np.array([1.0, 2.0])) == 0


@pytest.mark.parametrize("period", [4.0, 9.3, 21.0])
def test_the_period_of_hunting_is_found_in_noise(outside, period):
    t = np.arange(0.0, 180.0)
    dp = 170 + 4 * np.sin(2 * np.pi * t / period) + np.random.default_rng(2).normal(0, 1.0, t.size)
    found = _pre_lube(dp, t)
    outside.check(
        "pre_lube.analyse_pre_lube",
        printed=period,
        ours=found.hunting_period.to("s").magnitude,
        source="sine of known period in noise",
        standing="closed form",
        rel=0.04,
    )
    assert found.hunting_amplitude.to("kPa").magnitude == pytest.approx(4, rel=0.15)


def test_steady_noise_is_no_hunting_and_a_slow_wander_seldom():
    rng = np.random.default_rng(5)
    white = sum(
        _pre_lube(170 + rng.normal(size=120)).hunting_period is not None for _ in range(150)
    )
    wander = 0
    for _ in range(150):
        x = np.zeros(120)
        for i, e in enumerate(rng.normal(size=120)):
            x[i] = 0.8 * x[i - 1] + e
        wander += _pre_lube(170 + x).hunting_period is not None
    assert white <= 5 and wander <= 25


def test_a_constant_differential_does_not_hunt():
    assert _pre_lube(np.full(60, 171.0)).hunting_period is None


@pytest.mark.parametrize(
    ("t", "dp", "says"),
    [
        ([0, 2, 1], [1, 2, 3], "time does not rise at row 3"),
        ([0, 1], [1, 2, 3], "different lengths"),
        ([0], [1], "fewer than two rows"),
        ([0, 1, 2], [1, np.nan, 3], "no number"),
        ([-3, -2, -1], [1, 2, 3], "after pump start"),
    ],
)
def test_bad_columns_are_refused_in_one_sentence(t, dp, says):
    with pytest.raises(ReadingError, match=says):
        _pre_lube(np.array(dp, float), np.array(t, float))


def test_a_set_point_of_nil_is_refused():
    with pytest.raises(ScienceError, match="set point"):
        analyse_pre_lube(Q([0, 1], "s"), Q([1, 2], "kPa"), Q(0, "s"), Q(0, "kPa"))


def test_two_readings_are_little_but_no_error():
    found = _pre_lube(np.array([0.0, 171.0]))
    assert (
        found.time_to_set_point.to("s").magnitude == pytest.approx(0.95 * 170 / 171)
        and found.hunting_period is None
        and not found.settled
    )


def test_the_value_at_the_trip_is_read_between_samples(outside):
    value, u = value_at_trip(Q([0, 10, 20], "s"), Q([170, 120, 70], "kPa"), Q(12, "s"))
    outside.check(
        "pre_lube.value_at_trip",
        printed=110,
        ours=value.to("kPa").magnitude,
        source="straight line by hand",
        standing="closed form",
        abs=1e-9,
    )
    outside.check(
        "pre_lube.value_at_trip",
        printed=50 / np.sqrt(12),
        ours=u.to("kPa").magnitude,
        source="rectangular distribution, JCGM 100:2008, 4.3.7",
        standing="published",
        rel=1e-9,
    )
    with pytest.raises(ReadingError, match="outside the record"):
        value_at_trip(Q([0, 10], "s"), Q([1, 2], "kPa"), Q(11, "s"))


LEAST = Q(110, "kPa")


def _coast(least=LEAST, dp=None, t=None):
    t = np.arange(0.0, 200.0) if t is None else t
    dp = np.interp(t, [0, 20, 100, 150, 160], [170, 170, 140, 140, 0]) if dp is None else dp
    return analyse_coast_down(Q(t, "s"), Q(dp, "kPa"), Q(20, "s"), Q(100, "s"), least)


def test_oil_that_stands_through_the_coast_down_is_told_with_its_lowest_value(outside):
    found = _coast()
    outside.check(
        "pre_lube.analyse_coast_down",
        printed=140,
        ours=found.minimum.to("kPa").magnitude,
        source="straight lines by hand",
        standing="closed form",
        abs=1e-9,
    )
    assert (
        found.stood
        and found.coast_down_time.to("s").magnitude == 80
        and found.minimum_at.to("s").magnitude == 80
    )
    assert (
        found.post_lube_time.to("s").magnitude == pytest.approx(50 + 10 * 30 / 140, abs=0.05)
        and found.post_lube_ended
    )


def test_oil_that_fails_before_the_shaft_stands_is_timed():
    t = np.arange(0.0, 200.0)
    found = _coast(dp=np.interp(t, [0, 60, 80], [170, 170, 0]), t=t)
    assert not found.stood and found.margin.to("kPa").magnitude == pytest.approx(-110)
    assert found.time_below.to("s").magnitude == pytest.approx(100 - 60 - 20 * 60 / 170, abs=0.1)


def test_without_a_limit_only_the_minimum_is_told():
    found = _coast(least=None)
    assert found.stood is None and found.margin is None and found.post_lube_time is None


def test_a_record_that_does_not_cover_the_coast_down_is_refused():
    with pytest.raises(ReadingError, match="does not cover"):
        _coast(t=np.arange(30.0, 200.0), dp=np.full(170, 170.0))
    with pytest.raises(ReadingError, match="before the motor"):
        analyse_coast_down(Q([0, 100], "s"), Q([1, 1], "kPa"), Q(50, "s"), Q(40, "s"))
