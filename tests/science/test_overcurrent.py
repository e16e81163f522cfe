"""How likely a rippling current is to reach its trip."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from scipy.signal import lfilter
from scipy.stats import multivariate_normal, norm

from startkit.errors import ScienceError
from startkit.science import overcurrent, ripple
from startkit.units import Q


def survival(distance, readings, count, **options):
    found = overcurrent.hazard(np.array([distance]), **options, readings=readings)
    return math.exp(found.log_start[0]) * (1 - math.exp(found.log_rate[0])) ** count


@pytest.mark.parametrize("distance", [0.0, 1.0, 2.5, 4.0, 6.0])
def test_white_ripple_trips_by_the_normal_tail(outside, distance):
    ours = math.exp(overcurrent.hazard(np.array([distance]), 0.0).log_rate[0])
    outside.check(
        "overcurrent.hazard",
        printed=norm.sf(distance),
        ours=ours,
        source="scipy.stats.norm.sf",
        standing="library",
        rel=1e-9,
    )


def test_white_ripple_on_a_sine_trips_by_the_mean_tail(outside):
    phase = 2 * np.pi * np.arange(40) / 40
    printed = -np.expm1(np.mean(np.log1p(-norm.sf(4.5 - 1.5 * np.sin(phase)))))
    ours = math.exp(overcurrent.hazard(np.array([4.5]), 0.0, 1.5, 2 * np.pi / 40).log_rate[0])
    outside.check(
        "overcurrent.hazard",
        printed=printed,
        ours=ours,
        source="normal tail averaged over the sine's readings",
        standing="closed form",
        rel=1e-3,
    )


@pytest.mark.parametrize(("r", "distance"), [(0.5, 1.5), (0.8, 1.5), (0.9, 2.0)])
def test_correlated_ripple_meets_the_multivariate_normal(outside, r, distance):
    count = 12
    covariance = r ** np.abs(np.subtract.outer(np.arange(count), np.arange(count)))
    printed = multivariate_normal(
        np.zeros(count), covariance, seed=np.random.default_rng(3), abseps=2e-4, releps=2e-4
    ).cdf(np.full(count, distance))
    outside.check(
        "overcurrent.hazard",
        printed=printed,
        ours=survival(distance, 1, count, correlation=r),
        source="scipy.stats.multivariate_normal (Genz), 12 readings",
        standing="library",
        rel=0.01,
    )


def test_two_readings_in_a_row_of_white_ripple(outside):
    # Mean wait for two successes in a row with chance p each: (1 + p)/p^2; the hazard is near its
    # inverse for small p.
    p = norm.sf(2.0)
    ours = math.exp(overcurrent.hazard(np.array([2.0]), 0.0, readings=2).log_rate[0])
    outside.check(
        "overcurrent.hazard",
        printed=p**2 / (1 + p),
        ours=ours,
        source="Feller, runs of successes: mean wait (1 + p)/p^2",
        standing="closed form",
        rel=2e-3,
    )


def test_memory_makes_trips_rarer_and_longer():
    rates = [overcurrent.hazard(np.array([3.0]), r).log_rate[0] for r in (0.0, 0.5, 0.8, 0.95)]
    assert all(first > second for first, second in itertools.pairwise(rates))
    lasting = [
        overcurrent.hazard(np.array([2.0]), r, readings=5).log_rate[0]
        for r in (0.0, 0.5, 0.8, 0.95)
    ]
    assert all(first < second for first, second in itertools.pairwise(lasting))


@pytest.mark.parametrize(
    ("r", "amplitude", "period", "readings", "distance"),
    [
        (0.8, 0.0, 40, 1, 3.3),
        (0.9, 0.0, 40, 4, 2.3),
        (0.8, 1.5, 60, 1, 4.3),
        (0.7, 2.0, 50, 3, 3.7),
    ],
)
def test_the_chance_agrees_with_simulation(outside, r, amplitude, period, readings, distance):
    rng, runs, count = np.random.default_rng(5), 4000, 1000
    noise = lfilter(
        [math.sqrt(1 - r * r)], [1, -r], rng.standard_normal((runs, count + 100)), axis=1
    )[:, 100:]
    above = (
        noise
        + amplitude
        * np.sin(2 * np.pi * np.arange(count) / period + rng.uniform(0, 6.28, (runs, 1)))
        > distance
    )
    row, tripped = np.zeros(runs), np.zeros(runs, dtype=bool)
    for step in range(count):
        row = np.where(above[:, step], row + 1, 0)
        tripped |= row >= readings
    printed = tripped.mean()
    ours = 1 - survival(
        distance, readings, count, correlation=r, ratio=amplitude, turn=2 * np.pi / period
    )
    outside.check(
        "overcurrent.hazard",
        printed=printed,
        ours=ours,
        source="4000 simulated stretches of 1000 readings",
        standing="closed form",
        abs=3.3 * math.sqrt(printed * (1 - printed) / runs),
    )


def test_a_memory_too_long_for_the_grid_is_refused():
    with pytest.raises(ScienceError, match="longer interval"):
        overcurrent.hazard(np.array([3.0]), 0.999)


def white(sigma=0.02, seed=1):
    return ripple.ripple_from_trend(
        Q(0.8 + sigma * np.random.default_rng(seed).standard_normal(900), "dimensionless"),
        Q(1, "s"),
    )


def chance(level=80, minutes=30, trip=88, delay=0.0, u_trip=0.0, ripples=None):
    """Chance of a trip at one level held for some minutes; levels in percent, delay in seconds."""
    model = overcurrent.TripModel(overcurrent.bare(ripples or white()), delay)
    return overcurrent.exceedance(
        model, np.array([level / 100]), np.array([minutes * 60.0]), trip / 100, u_trip / 100
    )


def test_the_interval_holds_the_chance_and_the_chance_grows_with_level_and_time():
    base = chance()
    assert base.low <= base.probability <= base.high
    assert chance(level=81).probability > base.probability
    assert chance(minutes=60).probability > base.probability
    assert chance(trip=90).probability < base.probability


def test_a_trip_that_must_last_is_rarer():
    assert chance(trip=86, delay=2.0).probability < 0.05 * chance(trip=86).probability


def test_a_doubtful_trip_setting_widens_the_interval():
    sure, doubtful = chance(), chance(u_trip=1.0)
    assert doubtful.high - doubtful.low > sure.high - sure.low


def test_the_chance_over_half_an_hour_of_a_ripple_known_without_doubt(outside):
    known = ripple.Ripple(
        0.0, 0.02, 0.0, 0.0, math.inf, 1.0, 10**6, 10**6, np.tile([0.0, 0.02, 0.0, 0.0], (3, 1))
    )
    ours = chance(trip=87, ripples=known)
    printed = 1 - (1 - norm.sf(3.5)) ** 1800
    outside.check(
        "overcurrent.exceedance",
        printed=printed,
        ours=ours.probability,
        source="1 - (1 - p)^1800 with scipy.stats.norm.sf(3.5)",
        standing="library",
        rel=1e-3,
    )


def test_no_time_at_a_level_is_no_risk():
    assert chance(minutes=0).probability == pytest.approx(0, abs=1e-8)


def test_a_level_above_the_trip_trips():
    assert chance(level=95).probability == pytest.approx(1)


def test_a_coarser_look_at_a_long_delay_errs_towards_a_trip():
    long = ripple.ripple_from_trend.si(
        0.8 + 0.02 * lfilter([0.312], [1, -0.95], np.random.default_rng(2).standard_normal(1200)),
        1.0,
    )
    coarse = overcurrent.TripModel(long, 14.0)
    assert coarse.interval == 2.0
    fine = overcurrent.hazard(np.array([1.5]), 0.95, readings=15).log_rate[0]
    assert (
        overcurrent.hazard(np.array([1.5]), 0.95**2, readings=coarse.readings).log_rate[0]
        - math.log(2)
        > fine
    )


@pytest.mark.parametrize("amplitude", [0.0, 0.05, 0.14])
def test_the_chance_never_rises_as_the_level_falls_far_below_the_trip(amplitude):
    rng, t = np.random.default_rng(8), np.arange(780)
    x = lfilter(
        [0.026 * math.sqrt(1 - 0.8**2)], [1, -0.8], rng.standard_normal(780)
    ) + amplitude * np.sin(2 * np.pi * t / 12)
    swing = ripple.ripple_from_trend.si(0.6 + x, 2.0, 0.6)
    model = overcurrent.TripModel(swing)
    chances = [
        overcurrent.exceedance(
            model, np.array([level]), np.array([3000.0]), 1.08, 0.006
        ).probability
        for level in np.arange(0.40, 1.01, 0.05)
    ]
    # Chances below one in a thousand million are none: their last places may wander.
    assert all(b >= a - 1e-9 for a, b in itertools.pairwise(chances))
