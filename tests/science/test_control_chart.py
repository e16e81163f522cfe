"""Control charts: limits from the moving range, against a published worked example."""

from __future__ import annotations

import math

import numpy as np
import pytest

from startkit.errors import ScienceError
from startkit.science import control_chart
from startkit.science.control_chart import chart_limits, moving_ranges, outside

HANDBOOK = (
    "NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2, ten batches of flow rate (readings"
    " from memory, results as restated in a secondary text)"
)
FLOW_RATE = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]


def test_the_published_example_is_met(outside) -> None:
    found = chart_limits(FLOW_RATE)
    outside.check(
        "control_chart.chart_limits",
        printed=50.81,
        ours=found.centre,
        source=HANDBOOK,
        standing="secondary",
        abs=0.005,
    )
    outside.check(
        "control_chart.chart_limits",
        printed=1.8778,
        ours=found.mean_range,
        source=HANDBOOK,
        standing="secondary",
        abs=0.00005,
    )
    outside.check(
        "control_chart.chart_limits",
        printed=55.8041,
        ours=found.high,
        source=f"{HANDBOOK}; it divides by 1.128",
        standing="secondary",
        abs=0.003,
    )
    outside.check(
        "control_chart.chart_limits",
        printed=45.8159,
        ours=found.low,
        source=f"{HANDBOOK}; it divides by 1.128",
        standing="secondary",
        abs=0.003,
    )


def test_the_constants_are_those_of_the_tables(outside) -> None:
    tables = "tables of control chart constants for two readings (ASTM MNL 7, from memory)"
    outside.check(
        "control_chart.chart_limits",
        printed=2.66,
        ours=control_chart.LIMIT,
        source=tables,
        standing="from memory",
        abs=0.002,
    )
    outside.check(
        "control_chart.chart_limits",
        printed=3.267,
        ours=control_chart.RANGE_LIMIT,
        source=tables,
        standing="from memory",
        abs=0.001,
    )
    outside.check(
        "control_chart.chart_limits",
        printed=1.128,
        ours=control_chart.D2,
        source=tables,
        standing="from memory",
        abs=0.0005,
    )
    outside.check(
        "control_chart.chart_limits",
        printed=0.853,
        ours=control_chart.D3,
        source=tables,
        standing="from memory",
        abs=0.0006,
    )


def test_moving_ranges_are_those_of_the_example(outside) -> None:
    printed = [2.0, 2.3, 1.4, 3.5, 3.4, 1.4, 0.2, 1.2, 1.5]
    for there, ours in zip(printed, moving_ranges(FLOW_RATE), strict=True):
        outside.check(
            "control_chart.moving_ranges",
            printed=there,
            ours=ours,
            source=HANDBOOK,
            standing="from memory",
            abs=1e-9,
        )


def test_of_steady_readings_three_in_a_thousand_lie_outside(outside) -> None:
    rng = np.random.default_rng(7)
    found = chart_limits(list(rng.normal(10.0, 2.0, 4000)))
    share = np.mean([control_chart.outside(x, found) for x in rng.normal(10.0, 2.0, 40_000)])
    outside.check(
        "control_chart.outside",
        printed=0.0027,
        ours=float(share),
        source="normal distribution beyond three standard deviations",
        standing="closed form",
        abs=0.0012,
    )


def test_a_reading_on_the_limit_is_inside_and_one_beyond_is_not() -> None:
    found = chart_limits(FLOW_RATE)
    assert not outside(found.high, found) and not outside(found.low, found)
    assert outside(found.high + 1e-3, found) and outside(found.low - 1e-3, found)


def test_readings_that_never_differ_leave_no_room() -> None:
    found = chart_limits([5.0] * 6)
    assert (
        (found.low, found.high) == (5.0, 5.0) and not outside(5.0, found) and outside(5.01, found)
    )


def test_limits_from_few_readings_are_not_firm() -> None:
    assert not chart_limits(FLOW_RATE).firm and chart_limits(FLOW_RATE * 2).firm


@pytest.mark.parametrize("values", [[], [1.0, 2.0, 3.0]])
def test_too_few_readings_are_refused(values: list[float]) -> None:
    with pytest.raises(ScienceError, match="too few"):
        chart_limits(values)


def test_a_reading_that_is_no_number_is_refused() -> None:
    with pytest.raises(ScienceError, match="not a number"):
        chart_limits([1.0, 2.0, math.nan, 3.0])
