"""The ripple of the current, from a trend and from two figures."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.signal import lfilter

from startkit.errors import ScienceError
from startkit.science import ripple
from startkit.units import Q


def trend(sigma=0.02, r=0.8, amplitude=0.0, period=40.0, count=900, seed=1, level=0.8):
    rng = np.random.default_rng(seed)
    noise = lfilter([math.sqrt(1 - r * r)], [1, -r], rng.standard_normal(count + 200))[200:]
    return (
        level
        + sigma * noise
        + amplitude * np.sin(2 * np.pi * np.arange(count) / period + rng.uniform(0, 6.28))
    )


def found(**options):
    return ripple.ripple_from_trend(Q(trend(**options), "dimensionless"), Q(1, "s"))


@pytest.mark.parametrize(
    ("count", "d2", "d3"),
    [(2, 1.128, 0.853), (5, 2.326, 0.864), (10, 3.078, 0.797), (20, 3.735, 0.729)],
)
def test_range_factors_of_the_control_chart_tables(outside, count, d2, d3):
    ours = ripple.mean_range(count)
    source = "control-chart constants d2, d3 (ASTM E2587, ISO 7870-2)"
    outside.check(
        "ripple.mean_range",
        printed=d2,
        ours=ours[0],
        source=source,
        standing="from memory",
        abs=6e-4,
    )
    outside.check(
        "ripple.mean_range",
        printed=d3,
        ours=ours[1],
        source=source,
        standing="from memory",
        abs=6e-4,
    )


@pytest.mark.parametrize("r", [0.0, 0.5, 0.8, 0.95])
def test_standard_deviation_and_correlation_come_back_without_bias(outside, r):
    many = [ripple.ripple_from_trend.si(trend(r=r, seed=seed), 1.0) for seed in range(60)]
    outside.check(
        "ripple.ripple_from_trend",
        printed=r,
        ours=np.mean([one.correlation for one in many]),
        source="known first-order autoregression, mean of 60 trends",
        standing="closed form",
        abs=0.02,
    )
    outside.check(
        "ripple.ripple_from_trend",
        printed=0.02,
        ours=np.mean([one.sigma for one in many]),
        source="known first-order autoregression, mean of 60 trends",
        standing="closed form",
        rel=0.05,
    )


def test_a_periodic_swing_is_found_with_its_size_and_period(outside):
    ours = found(r=0.6, amplitude=0.03, period=37.0)
    outside.check(
        "ripple.ripple_from_trend",
        printed=37,
        ours=ours.period.magnitude,
        source="known sine in correlated noise",
        standing="closed form",
        rel=0.01,
    )
    outside.check(
        "ripple.ripple_from_trend",
        printed=0.03,
        ours=ours.amplitude.magnitude,
        source="known sine in correlated noise",
        standing="closed form",
        rel=0.15,
    )


def test_noise_alone_shows_a_periodic_swing_no_more_often_than_its_chance():
    shown = [
        ripple.ripple_from_trend.si(trend(seed=seed), 1.0).amplitude > 0 for seed in range(100)
    ]
    assert np.mean(shown) <= 0.04


def test_correlated_readings_are_worth_fewer():
    assert found(r=0.9).effective < 0.1 * 900
    assert found(r=0.0).effective > 0.7 * 900


def test_missing_readings_stay_missing():
    current = trend()
    current[100:130] = np.nan
    ours = ripple.ripple_from_trend(Q(current, "dimensionless"), Q(1, "s"))
    assert ours.count == 899 - 31
    assert ours.sigma.magnitude == pytest.approx(0.02, rel=0.2)


def test_the_mean_against_the_limit_is_the_offset():
    ours = ripple.ripple_from_trend(
        Q(100 * trend(level=0.79), "percent"), Q(1, "s"), Q(80, "percent")
    )
    assert ours.offset.magnitude == pytest.approx(-0.01, abs=0.006)
    assert np.std(ours.draws[:, 0]) == pytest.approx(0.02 * math.sqrt(9 / 900), rel=0.4)


def test_a_dead_or_short_trend_is_refused():
    with pytest.raises(ScienceError, match="at least 60"):
        ripple.ripple_from_trend(Q(trend(count=50), "dimensionless"), Q(1, "s"))
    with pytest.raises(ScienceError, match="too few"):
        ripple.ripple_from_trend(Q(np.full(500, 0.8), "dimensionless"), Q(1, "s"))


def test_two_figures_give_a_standard_deviation(outside):
    ours = ripple.ripple_from_range(Q(78, "percent"), Q(82, "percent"), 10, Q(1, "s"))
    outside.check(
        "ripple.ripple_from_range",
        printed=0.04 / 3.078,
        ours=ours.sigma.magnitude,
        source="range over d2(10)",
        standing="from memory",
        rel=1e-3,
    )
    spread = np.std(ours.draws[:, 1]) / np.mean(ours.draws[:, 1])
    assert 0.2 < spread < 0.35


def test_more_looks_make_the_same_range_a_smaller_ripple():
    few, many = (ripple.ripple_from_range.si(0.78, 0.82, looks, 1.0) for looks in (5, 500))
    assert many.sigma < few.sigma
    assert np.std(many.draws[:, 1]) < np.std(few.draws[:, 1])


def test_high_below_low_is_refused():
    with pytest.raises(ScienceError, match="lowest and highest"):
        ripple.ripple_from_range(Q(82, "percent"), Q(78, "percent"), 10, Q(1, "s"))
