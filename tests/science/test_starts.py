"""Starts an hour by the table, and the earliest next start by timers and table."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from startkit.errors import ScienceError
from startkit.science import starts
from startkit.units import Q


def allowed(horsepower, poles, wk2):
    return starts.allowable_starts(Q(horsepower, "horsepower"), poles, Q(wk2, "pound*foot**2"))


def test_the_worked_example_of_the_table(outside):
    ours = allowed(25, 4, 50)
    source = "EASA handbook quoting NEMA MG 10 Table 2-3: 25 hp, 4 poles, Wk2 50 (joliettech.com)"
    outside.check(
        "starts.allowable_starts",
        printed=2.44,
        ours=ours.per_hour.magnitude,
        source=source,
        standing="secondary",
        abs=0.005,
    )
    outside.check(
        "starts.allowable_starts",
        printed=58,
        ours=ours.rest.magnitude,
        source=source,
        standing="secondary",
        abs=1e-9,
    )


@pytest.mark.parametrize(
    ("horsepower", "poles", "a", "b", "c"),
    [
        (100, 2, 2.6, 92, 220),
        (100, 4, 5.2, 441, 110),
        (200, 2, 2.0, 172, 600),
        (200, 4, 4.0, 831, 300),
        (250, 2, 1.8, 210, 1000),
        (250, 4, 3.7, 1017, 500),
        (1, 6, 34, 15, 33),
        (250, 6, 4.2, 2744, 440),
    ],
)
def test_rows_of_the_table(outside, horsepower, poles, a, b, c):
    source = "NEMA MG 10 Table 2-3 (joliettech.com; scribd 450805826)"
    light, heavy = allowed(horsepower, poles, 0.01), allowed(horsepower, poles, b)
    for printed, ours in (
        (a, light.per_hour.magnitude),
        (1.0, heavy.per_hour.magnitude),
        (c, light.rest.magnitude),
    ):
        outside.check(
            "starts.MG10", printed=printed, ours=ours, source=source, standing="secondary", rel=1e-6
        )
    assert not light.outside_conditions


def test_a_load_heavier_than_column_b_is_outside_the_tables_conditions():
    assert allowed(100, 2, 93).outside_conditions
    assert not allowed(100, 2, 91).outside_conditions


def test_between_two_rows_the_stricter_of_each_column_counts():
    between = allowed(225, 2, 200)
    assert between.per_hour.magnitude == pytest.approx(172 / 200)
    assert between.rest.magnitude == 1000
    assert allowed(225, 2, 1).per_hour.magnitude == pytest.approx(1.8)


@pytest.mark.parametrize(("horsepower", "poles"), [(0.9, 2), (300, 2), (100, 8)])
def test_outside_the_table_the_makers_timers_count(horsepower, poles):
    with pytest.raises(ScienceError, match="maker's timers"):
        allowed(horsepower, poles, 10)


def test_a_nameplate_in_kilowatts_meets_its_row():
    assert starts.allowable_starts(
        Q(74.6, "kW"), 2, Q(1, "pound*foot**2")
    ).per_hour.magnitude == pytest.approx(2.6)


def test_the_table_is_monotonic_in_power():
    for column in range(3):
        rows = [starts.MG10[size][column] for size in sorted(starts.MG10)]
        assert all(
            first[0] > second[0] and first[1] < second[1] and first[2] <= second[2]
            for first, second in pairwise(rows)
        )


def test_the_later_of_both_timers_decides(outside):
    found = starts.earliest_next_start(
        [0.0], [600.0], start_to_start=Q(20, "min"), stop_to_start=Q(3, "min")
    )
    outside.check(
        "starts.earliest_next_start",
        printed=1200,
        ours=found.at.magnitude,
        source="start at 0, 20 min start to start",
        standing="closed form",
        abs=1e-9,
    )
    assert found.rule == "start-to-start timer"
    late = starts.earliest_next_start(
        [0.0], [1150.0], start_to_start=Q(20, "min"), stop_to_start=Q(3, "min")
    )
    assert (late.at.magnitude, late.rule) == (1330.0, "stop-to-start timer")


def test_the_hourly_rule_waits_for_the_oldest_start_to_leave_the_hour():
    found = starts.earliest_next_start(
        [0, 900, 2000], [300, 1200, 2300], starts_per_hour=Q(2.44, "dimensionless")
    )
    assert (found.at.magnitude, found.rule) == (900 + 3600, "starts per hour")


def test_less_than_one_start_an_hour_stretches_the_wait():
    assert starts.earliest_next_start([0], [60], starts_per_hour=0.5).at.magnitude == pytest.approx(
        7200
    )


def test_a_machine_that_never_started_may_start_at_once():
    found = starts.earliest_next_start([], [], start_to_start=Q(20, "min"), starts_per_hour=3)
    assert found.at.magnitude == 0
    assert found.by_rule == {}


@pytest.mark.parametrize(
    ("began", "ended"), [([0, 100], [50]), ([0], []), ([100], [50]), ([0, 10], [60, 70])]
)
def test_starts_and_stops_that_do_not_pair_are_refused(began, ended):
    with pytest.raises(ScienceError, match=r"\d starts .* \d stops"):
        starts.earliest_next_start(began, ended)


@given(st.lists(st.floats(1, 5000), min_size=2, max_size=12), st.integers(1, 5))
def test_starting_at_the_earliest_time_never_breaks_the_hourly_rule(gaps, per_hour):
    times = [sum(gaps[: i + 1]) for i in range(len(gaps) - len(gaps) % 2)]
    began, ended = times[::2], times[1::2]
    at = starts.earliest_next_start(began, ended, starts_per_hour=per_hour).at.magnitude
    at = max(at, ended[-1])
    within = [start for start in began if start > at - 3600 + 1e-6]
    assert len(within) + 1 <= per_hour or (len(began) >= per_hour > 0 and len(within) < per_hour)
