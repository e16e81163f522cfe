"""A set of strokes: least squares, hysteresis, zero, span and drift."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from startkit.errors import ReadingError, ScienceError
from startkit.science.strokes import CLOSING, stroke
from startkit.science.vane_calibration import analyse_strokes, fit_line, settled_points
from startkit.science.vanes import analyse_stroke
from startkit.units import Q
from workbook.stroke_model import OPENING, VaneDrive, simulate_stroke, simulate_strokes


def test_the_line_agrees_with_scipy(outside):
    rng = np.random.default_rng(5)
    x = np.linspace(0, 1, 11)
    y = 0.02 + 0.97 * x + rng.normal(0, 0.01, 11)
    ours, theirs = fit_line(x, y), stats.linregress(x, y)
    for name, mine, printed in (
        ("slope", ours.slope, theirs.slope),
        ("intercept", ours.intercept, theirs.intercept),
        ("u(slope)", ours.u_slope, theirs.stderr),
        ("u(intercept)", ours.u_intercept, theirs.intercept_stderr),
    ):
        outside.check(
            "vane_calibration.fit_line",
            printed=printed,
            ours=mine,
            source=f"scipy.stats.linregress, {name}",
            standing="library",
            rel=1e-10,
        )


def test_the_line_agrees_with_numpy_polyfit(outside):
    x, y = [0, 25, 50, 75, 100], [1.0, 25.5, 51.0, 74.0, 99.5]
    outside.check(
        "vane_calibration.fit_line",
        printed=np.polyfit(x, y, 1)[0],
        ours=fit_line(x, y).slope,
        source="numpy.polyfit",
        standing="library",
        rel=1e-10,
    )


def test_the_thermometer_of_the_guide_gives_its_printed_line(outside):
    # JCGM 100:2008, table H.6: thermometer readings t_k and corrections b_k, t_0 = 20 degC; printed
    # y1 = -0.1712, y2 = 0.00218.
    t = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
    b = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]
    line = fit_line(np.array(t) - 20, b)
    for name, printed, ours, tolerance in (
        ("intercept", -0.1712, line.intercept, 5e-5),
        ("slope", 0.00218, line.slope, 5e-6),
        ("u(intercept)", 0.0029, line.u_intercept, 5e-5),
        ("u(slope)", 0.00067, line.u_slope, 5e-6),
    ):
        outside.check(
            "vane_calibration.fit_line",
            printed=printed,
            ours=ours,
            source=f"JCGM 100:2008, H.3, {name} (table from memory)",
            standing="from memory",
            abs=tolerance,
        )


@given(st.floats(-1, 1), st.floats(-2, 2))
def test_points_on_a_line_give_that_line_without_residual(intercept, slope):
    x = np.linspace(0, 1, 7)
    line = fit_line(x, intercept + slope * x)
    assert (
        line.slope == pytest.approx(slope, abs=1e-9)
        and line.intercept == pytest.approx(intercept, abs=1e-9)
        and line.residual_sd < 1e-9
    )


def test_two_points_make_a_line_of_unknown_uncertainty_and_one_makes_none():
    assert np.isnan(fit_line([0, 1], [0, 1]).u_slope)
    with pytest.raises(ScienceError, match="two different positions"):
        fit_line([0.5, 0.5], [0.4, 0.6])


def _points(direction, feedback, number=1):
    command = [0, 0.25, 0.5, 0.75, 1.0]
    order = slice(None) if direction == OPENING else slice(None, None, -1)
    return stroke(direction, None, command[order], feedback[order], number=number)


def test_largest_deviation_and_hysteresis_come_with_their_command(outside):
    up, down = [0.0, 0.23, 0.48, 0.73, 1.0], [0.0, 0.27, 0.55, 0.77, 1.0]
    found = analyse_strokes([_points(OPENING, up), _points(CLOSING, down, 2)])
    outside.check(
        "vane_calibration.analyse_strokes",
        printed=0.07,
        ours=found.hysteresis,
        source="0.55 - 0.48 by hand",
        standing="closed form",
        abs=1e-12,
    )
    assert found.hysteresis_at == 0.5 and found.hysteresis_mean == pytest.approx(
        (0.04 + 0.07 + 0.04) / 3
    )
    assert found.deviation_at == 0.5 and found.largest_deviation == pytest.approx(
        0.55 - found.line.intercept - 0.5 * found.line.slope
    )


def test_play_of_the_drive_is_found_as_hysteresis_on_a_staircase():
    found = analyse_strokes.si(
        simulate_strokes(VaneDrive(play=0.06, noise=0.001), np.random.default_rng(1))
    )
    assert found.hysteresis_mean == pytest.approx(0.06, abs=0.004)


def test_on_a_ramp_hysteresis_is_known_but_for_the_delay_which_its_uncertainty_covers():
    for play, delay in ((0.05, 1.0), (0.01, 2.0), (0.08, 0.3)):
        rng = np.random.default_rng(1)
        drive = VaneDrive(play=play, dead_time=delay, noise=0.0005)
        records = [
            simulate_stroke(drive, d, rng, n, "ramp", 0.5, ramp_time=120.0)
            for n, d in ((1, OPENING), (2, CLOSING))
        ]
        found = analyse_strokes.si(records)
        assert abs(found.hysteresis_mean - play) < 2 * found.u_hysteresis
        assert found.dead_band == pytest.approx(
            (delay + 0.1) / 120 + play / 2, abs=0.5 * play + 0.01
        )


def test_a_ramp_faster_than_the_drive_gives_no_points_between_the_ends():
    rng = np.random.default_rng(1)
    records = [
        simulate_stroke(VaneDrive(), d, rng, n, "ramp", ramp_time=25.0)
        for n, d in ((1, OPENING), (2, CLOSING))
    ]
    found = analyse_strokes.si(records)
    assert (
        found.each[0].form == "ramp" and found.hysteresis is None and len(found.command_points) == 0
    )


def test_full_steps_alone_give_zero_and_span_but_no_deviation():
    found = analyse_strokes.si(
        simulate_strokes(VaneDrive(zero=0.03, span=0.95), np.random.default_rng(2), staircase=False)
    )
    assert found.zero == pytest.approx(0.03, abs=0.003) and found.span == pytest.approx(
        0.95, abs=0.004
    )
    assert (
        found.line.slope == pytest.approx(0.95, abs=0.004)
        and found.largest_deviation is None
        and found.hysteresis is None
    )


def test_drift_of_the_zero_is_found_within_its_uncertainty():
    found = analyse_strokes.si(
        simulate_strokes(
            VaneDrive(zero_drift=0.004), np.random.default_rng(3), pairs=6, staircase=False
        )
    )
    assert abs(found.drift.slope - 0.004) < 3 * found.drift.u_slope and found.drift.u_slope < 0.0005


def test_travel_times_come_each_way_with_their_spread_and_unit():
    found = analyse_strokes(
        simulate_strokes(
            VaneDrive(opening_time=30, closing_time=50), np.random.default_rng(4), pairs=5
        )
    )
    assert len(found.opening_times) == 5 and found.opening_times.units == found.opening_mean.units
    assert found.opening_mean.to("s").magnitude < 35 < 48 < found.closing_mean.to("s").magnitude
    assert found.opening_sd.to("s").magnitude < 1


def test_strokes_that_did_not_arrive_give_no_travel_time():
    found = analyse_strokes(
        simulate_strokes(VaneDrive(zero=0.08), np.random.default_rng(4), pairs=3)
    )
    assert (
        found.closing_mean is None and len(found.closing_times) == 0 and found.opening_mean is None
    )


def test_a_sensor_that_runs_backward_is_reported():
    assert analyse_strokes([_points(OPENING, [1.0, 0.75, 0.5, 0.25, 0.0])]).is_reversed


def test_one_stroke_is_enough_to_say_something_and_none_is_refused():
    one = analyse_strokes([_points(OPENING, [0.0, 0.25, 0.5, 0.75, 1.0])])
    assert one.zero is None and one.open_end == 1.0 and one.drift is None
    with pytest.raises(ReadingError, match="no stroke"):
        analyse_strokes([])


def test_a_staircase_settles_at_the_level_that_was_built_into_it(outside):
    # Each hold of 20 rows creeps up to its level with a time constant of two rows.
    levels = np.arange(0.0, 1.01, 0.25)
    command = np.repeat(levels, 20)
    feedback = np.concatenate(
        [0.01 + 0.96 * level - 0.05 * np.exp(-np.arange(20) / 2) for level in levels]
    )
    record = stroke(
        OPENING,
        Q(np.arange(100.0), "second"),
        Q(command, "dimensionless"),
        Q(feedback, "dimensionless"),
    )
    at, found = settled_points(record, analyse_stroke.si(record))
    assert at == pytest.approx(levels)
    for level, ours in zip(levels, found, strict=True):
        outside.check(
            "vane_calibration.settled_points",
            printed=0.01 + 0.96 * level,
            ours=ours,
            source="first-order creep to a known level",
            standing="closed form",
            abs=3e-4,
        )
