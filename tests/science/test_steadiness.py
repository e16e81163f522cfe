"""Steadiness against regression by another library, closed forms, and known series."""

from __future__ import annotations

import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from startkit.errors import ScienceError
from startkit.science import steadiness
from startkit.science.steadiness import Tolerance
from startkit.units import Q


def seconds(count, step=1.0):
    return np.arange(count) * step


def noise(count, sd, seed=1):
    return sd * np.random.default_rng(seed).standard_normal(count)


def test_mean_deviation_and_slope_are_those_of_ordinary_regression(outside):
    from scipy.stats import linregress

    stamps = seconds(2000)
    series = 280 + 1e-4 * stamps + noise(2000, 0.05)
    found = steadiness.moving(stamps, series, 600.0)
    for end in (600, 1234, 1999):
        rows = slice(found.first[end], end + 1)
        line = linregress(stamps[rows], series[rows])
        outside.check(
            "steadiness.moving",
            printed=line.slope,
            ours=found.slope[end],
            source="scipy.stats.linregress, slope",
            standing="library",
            rel=1e-7,
        )
        plain_u = found.slope_u[end] / np.sqrt((1 + found.lag_one[end]) / (1 - found.lag_one[end]))
        outside.check(
            "steadiness.moving",
            printed=line.stderr,
            ours=plain_u,
            source="scipy.stats.linregress, standard error",
            standing="library",
            rel=1e-7,
        )
        assert found.sd[end] == pytest.approx(np.std(series[rows], ddof=1), rel=1e-9)
        assert found.mean[end] == pytest.approx(np.mean(series[rows]), rel=1e-12)


def test_the_slopes_uncertainty_is_that_of_the_closed_form_for_even_readings(outside):
    series = noise(901, 0.1, seed=5)
    found = steadiness.moving(seconds(901), series, 900.0)
    n, s = (
        901,
        np.sqrt(
            (1 - np.corrcoef(seconds(901), series)[0, 1] ** 2)
            * np.sum((series - series.mean()) ** 2)
            / 899
        ),
    )
    expected = s * np.sqrt(12 / (n * (n**2 - 1)))
    ours = found.slope_u[-1] / np.sqrt((1 + found.lag_one[-1]) / (1 - found.lag_one[-1]))
    outside.check(
        "steadiness.moving",
        printed=expected,
        ours=ours,
        source="u(b) = s sqrt(12/(n(n^2-1)))/dt",
        standing="closed form",
        rel=1e-6,
    )


def test_neighbours_that_lean_on_each_other_widen_the_slopes_uncertainty(outside):
    # Autoregressive noise of first order with r = 0.8.
    white, red = noise(4000, 1.0, seed=2), np.zeros(4000)
    for i in range(1, 4000):
        red[i] = 0.8 * red[i - 1] + white[i]
    found = steadiness.moving(seconds(4000), red, 3900.0)
    outside.check(
        "steadiness.moving",
        printed=0.8,
        ours=found.lag_one[-1],
        source="lag-one correlation of an AR(1) series with r = 0.8",
        standing="closed form",
        abs=0.03,
    )
    # 500 such series: the slope's true scatter is what the widened uncertainty says, three times
    # the plain one.
    generator, slopes, said = np.random.default_rng(3), [], []
    for _ in range(300):
        steps = generator.standard_normal(400)
        level = np.zeros(400)
        for i in range(1, 400):
            level[i] = 0.8 * level[i - 1] + steps[i]
        each = steadiness.moving(seconds(400), level, 399.0)
        slopes.append(each.slope[-1])
        said.append(each.slope_u[-1])
    assert np.mean(said) == pytest.approx(np.std(slopes), rel=0.12)


def test_uneven_stamps_are_allowed_and_gaps_up_to_a_tenth_of_the_window():
    stamps = np.sort(np.random.default_rng(4).uniform(0, 3600, 3600))
    series = 5 + 0.002 * stamps
    series[100:130] = np.nan
    found = steadiness.moving(stamps, series, 900.0)
    assert found.slope[-1] == pytest.approx(0.002, rel=1e-9)
    assert np.isfinite(found.slope[950])
    series[1000:1200] = np.nan
    assert np.isnan(steadiness.moving(stamps, series, 900.0).slope[1500])


def test_a_window_is_not_judged_before_it_is_filled():
    found = steadiness.moving(seconds(1000), np.ones(1000), 600.0)
    assert np.isnan(found.sd[:600]).all()
    assert found.sd[600] == 0.0
    assert np.isnan(
        steadiness.moving(seconds(20, 60.0), np.ones(20), 900.0).sd
    ).all()  # 16 readings only
    assert np.isfinite(steadiness.moving(seconds(20, 60.0), np.ones(20), 900.0, least=15).sd[-1])


def test_stamps_that_fall_back_and_columns_of_another_length_are_refused():
    with pytest.raises(ScienceError, match="rise"):
        steadiness.moving(np.array([0.0, 2.0, 1.0]), np.ones(3), 1.0)
    with pytest.raises(ScienceError, match="4 readings"):
        steadiness.moving(seconds(5), np.ones(4), 1.0)


LIMITS = {
    "leaving": Tolerance(sd=Q(0.10, "delta_degC"), slope=Q(0.5, "delta_degC/hour")),
    "flow": Tolerance(relative_sd=0.0075),
}


def run(count=7200):
    stamps = seconds(count)
    return stamps, {
        "leaving": Q(280 + noise(count, 0.03), "kelvin"),
        "flow": Q(0.063 * (1 + noise(count, 0.003, 2)), "meter**3/second"),
        "power": noise(count, 5e4, 3),
    }


def test_a_quiet_machine_is_steady_throughout():
    stamps, series = run()
    found = steadiness.steady(Q(stamps / 60, "minute"), series, LIMITS, Q(15, "minute"))
    assert len(found.windows) == 1
    assert found.windows[0] == steadiness.Window(0, 7199, 7199.0)
    assert found.spoiled == {"leaving": 0.0, "flow": 0.0}


def test_a_ramp_hides_in_the_deviation_and_is_caught_by_the_slope():
    stamps, series = run()
    ramp = np.clip(stamps - 2000, 0, 1200) * (
        1.0 / 3600
    )  # 1 K/h for 20 minutes: its deviation in a quarter hour is 0.07 K
    series["leaving"] = Q(280 + noise(7200, 0.03) + ramp, "kelvin")
    found = steadiness.steady(stamps, series, LIMITS, 900.0)
    assert len(found.windows) == 2
    before, after = found.windows
    assert 2000 <= before.last <= 2750
    assert 2700 <= after.first <= 3300
    assert 0.1 < found.spoiled["leaving"] < 0.4
    assert found.spoiled["flow"] == 0.0
    only_sd = steadiness.steady(stamps, series, {"leaving": Tolerance(sd=0.10)}, 900.0)
    assert len(only_sd.windows) == 1


def test_hunting_hides_in_the_slope_and_is_caught_by_the_deviation():
    stamps, series = run()
    series["leaving"] = Q(280 + 0.4 * np.sin(2 * np.pi * stamps / 120), "kelvin")
    found = steadiness.steady(stamps, series, LIMITS, 900.0)
    assert found.windows == ()
    assert found.spoiled["leaving"] == 1.0
    assert (
        np.nanmax(np.abs(found.moving["leaving"].slope)) * 3600 < 0.5
    )  # K/h: the slope alone would have passed


def test_a_mean_off_its_target_is_not_the_point_that_was_asked_for():
    stamps, series = run()
    at = steadiness.steady(
        stamps,
        series,
        {"leaving": Tolerance(target=Q(280.2, "kelvin"), band=Q(0.28, "delta_degC"))},
        900.0,
    )
    off = steadiness.steady(
        stamps,
        series,
        {"leaving": Tolerance(target=Q(281, "kelvin"), band=Q(0.28, "delta_degC"))},
        900.0,
    )
    assert len(at.windows) == 1
    assert off.windows == ()


def test_a_drop_out_interrupts_no_more_than_the_windows_that_hold_it():
    stamps, series = run()
    values = series["leaving"].magnitude.copy()
    values[3000:3200] = np.nan
    found = steadiness.steady(stamps, {**series, "leaving": Q(values, "kelvin")}, LIMITS, 900.0)
    assert len(found.windows) == 2
    assert found.windows[0].last < 3200
    assert found.windows[1].first >= 3000


def test_a_tolerance_without_its_series_is_refused():
    stamps, series = run(1000)
    with pytest.raises(ScienceError, match="no readings of voltage"):
        steadiness.steady(stamps, series, {"voltage": Tolerance(relative_sd=0.005)}, 900.0)
    with pytest.raises(ScienceError, match="no tolerance"):
        steadiness.steady(stamps, series, {}, 900.0)


@pytest.mark.parametrize(
    ("period", "amplitude", "sd"), [(120.0, 0.4, 0.0), (95.0, 0.3, 0.1), (240.0, 1.5, 0.3)]
)
def test_hunting_is_found_with_its_period_and_amplitude(outside, period, amplitude, sd):
    stamps = seconds(3600)
    series = (
        280 + 2e-5 * stamps + amplitude * np.sin(2 * np.pi * stamps / period + 1) + noise(3600, sd)
    )
    found = steadiness.hunting(Q(stamps, "second"), series)
    outside.check(
        "steadiness.hunting",
        printed=period,
        ours=found.period,
        source="sine of known period in noise",
        standing="closed form",
        rel=0.02,
    )
    outside.check(
        "steadiness.hunting",
        printed=amplitude,
        ours=found.amplitude,
        source="sine of known amplitude in noise",
        standing="closed form",
        rel=0.06,
    )


def test_a_square_swing_of_a_stepping_valve_is_hunting_too():
    stamps = seconds(3600)
    found = steadiness.hunting(stamps, np.sign(np.sin(2 * np.pi * stamps / 180)))
    assert found.period == pytest.approx(180, rel=0.02)


@pytest.mark.parametrize(
    "series",
    [
        noise(3600, 1.0),
        np.full(3600, 7.0),
        np.cumsum(noise(3600, 0.01)),
        seconds(3600) * 0.01,
        np.full(3600, np.nan),
    ],
)
def test_noise_a_constant_a_drift_or_nothing_is_not_called_hunting(series):
    assert steadiness.hunting(seconds(3600), series, least=0.6) is None


def test_white_noise_is_not_called_hunting_by_default():
    assert [steadiness.hunting(seconds(900), noise(900, 1.0, seed)) for seed in range(20)] == [
        None
    ] * 20


@settings(max_examples=25, deadline=None)
@given(slope=st.floats(-0.01, 0.01), level=st.floats(-1e6, 1e6))
def test_any_straight_line_gives_its_slope_back(slope, level):
    stamps = seconds(500)
    found = steadiness.moving(stamps, level + slope * stamps, 300.0)
    assert found.slope[-1] == pytest.approx(slope, rel=1e-6, abs=1e-9)


def test_a_day_of_seconds_in_ten_columns_is_quick():
    stamps = seconds(86_400)
    series = {f"column {i}": 280 + noise(86_400, 0.05, i) for i in range(10)}
    begun = time.process_time()
    found = steadiness.steady(
        stamps, series, dict.fromkeys(series, Tolerance(sd=0.1, slope=1e-4)), 900.0
    )
    assert time.process_time() - begun < 1.0  # about 0.25 s of an idle processor
    assert len(found.windows) == 1


def test_steady_rows_are_those_that_a_plain_regression_of_each_window_finds(outside):
    from scipy.stats import linregress

    stamps, generator = seconds(1200), np.random.default_rng(12)
    # Still, then a ramp, then still with twice the noise.
    series = (
        np.concatenate(
            [
                noise(400, 0.04, 6),
                np.linspace(0, 0.4, 400) + noise(400, 0.04, 7),
                0.4 + noise(400, 0.08, 8),
            ]
        )
        + 280
    )
    found = steadiness.steady(
        stamps, {"leaving": series}, {"leaving": Tolerance(sd=0.06, slope=3e-4)}, 200.0
    )
    rows = generator.choice(np.arange(201, 1200), 150, replace=False)

    def plain(end):
        window = slice(end - 200, end + 1)
        line = linregress(stamps[window], series[window])
        lean = found.moving["leaving"].lag_one[end]  # held against a known series above
        u = line.stderr * np.sqrt((1 + lean) / (1 - lean))
        return np.std(series[window], ddof=1) <= 0.06 and abs(line.slope) + 2 * u <= 3e-4

    printed, ours = sum(plain(end) for end in rows), sum(found.steady[rows])
    assert 20 < printed < 130
    outside.check(
        "steadiness.steady",
        printed=printed,
        ours=ours,
        source="scipy.stats.linregress and numpy.std of 150 windows",
        standing="library",
        abs=1e-9,
    )
