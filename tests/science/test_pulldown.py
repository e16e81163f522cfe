"""The plan of a pull-down: time and risk over the limit, the proposal, and the time still to go."""

from __future__ import annotations

import importlib.util
import math
from pathlib import Path

import numpy as np
import pytest

from startkit.errors import ScienceError
from startkit.science import loop, loop_estimate, pulldown, pulldown_course
from startkit.science.machine_curve import machine_from_table
from startkit.science.ripple import ripple_from_range, ripple_from_trend
from startkit.units import Q

ROWS = (
    Q(np.array([20.0, 40, 60, 80, 100]), "percent"),
    Q(np.array([35.0, 48, 63, 80, 100]), "percent"),
)
MACHINE = machine_from_table(Q(1758, "kW"), Q(7, "degC"), *ROWS, Q(0.01, "1/delta_degC"))
RIPPLE = ripple_from_trend(
    Q(0.8 + 0.02 * np.random.default_rng(1).standard_normal(900), "dimensionless"), Q(1, "s")
)
LOOP = {
    "start": Q(25, "degC"),
    "target": Q(7, "degC"),
    "heat_capacity": Q(209, "MJ/delta_degC"),
    "load": Q(300, "kW"),
}


def planned(**options):
    given = {**LOOP, "trip": Q(108, "percent"), "flow_capacity": Q(314, "kW/delta_degC"), **options}
    return pulldown.plan(MACHINE, given.pop("ripple", RIPPLE), **given)


def test_time_by_integration_agrees_with_the_differential_equation(outside):
    found = planned()
    for limit, row in ((0.6, 4), (0.8, 8), (1.0, 12)):
        course = pulldown_course.planned_course(
            MACHINE, Q(limit, "dimensionless"), **LOOP, flow_capacity=Q(314, "kW/delta_degC")
        )
        assert course.reached
        outside.check(
            "pulldown.plan",
            printed=course.time[-1].to("second").magnitude,
            ours=found.time[row].to("second").magnitude,
            source="scipy.integrate.solve_ivp of the heat balance",
            standing="library",
            rel=1e-3,
        )


def test_time_of_a_constant_machine_agrees_with_the_closed_form(outside):
    machine = machine_from_table(Q(1758, "kW"), Q(7, "degC"), *ROWS)
    found = pulldown.plan(machine, RIPPLE, **LOOP, trip=Q(1.08, "dimensionless"), limits=(1.0,))
    closed = loop.constant_capacity_time(
        LOOP["start"], LOOP["target"], LOOP["heat_capacity"], LOOP["load"], Q(1758, "kW")
    )
    outside.check(
        "pulldown.plan",
        printed=closed.magnitude,
        ours=found.time[0].magnitude,
        source="one lump, constant heat: closed form",
        standing="closed form",
        rel=1e-9,
    )


def test_a_higher_limit_is_quicker_and_riskier():
    found = planned(trip=Q(104, "percent"))
    assert np.all(np.diff(found.time.magnitude[4:]) < 0)
    assert np.all(np.diff(found.probability.magnitude[4:]) >= -1e-6)
    assert np.all(found.probability_low.magnitude <= found.probability.magnitude + 1e-12)
    assert np.all(found.probability.magnitude <= found.probability_high.magnitude + 1e-12)


def test_the_proposal_is_the_highest_limit_under_the_risk_at_the_upper_end():
    found = planned(trip=Q(104, "percent"), risk=Q(1, "percent"))
    row = int(np.argmin(np.abs(found.limit.magnitude - found.proposed.magnitude)))
    assert found.probability_high.magnitude[row] <= 0.01
    assert found.probability_high.magnitude[row + 1] > 0.01
    assert "highest limit" in found.why


def test_more_risk_accepted_never_lowers_the_limit():
    proposals = [
        planned(trip=Q(104, "percent"), risk=risk).proposed.magnitude
        for risk in (0.001, 0.01, 0.1, 0.5)
    ]
    assert proposals == sorted(proposals)


def test_a_loop_that_no_safe_limit_can_cool_gets_no_proposal_but_a_reason():
    found = planned(load=Q(3000, "kW"))
    assert math.isnan(found.proposed.magnitude)
    assert "set point" in found.why
    rough = ripple_from_range(Q(60, "percent"), Q(100, "percent"), 20, Q(1, "s"))
    found = planned(ripple=rough)
    assert math.isnan(found.proposed.magnitude)
    assert "trip" in found.why


def test_the_hold_ends_once_the_open_vanes_draw_less_than_the_limit():
    found = planned(limits=(1.05,), trip=Q(125, "percent"))
    assert found.proposed.magnitude == 1.05
    assert 0 < found.hold.magnitude < found.time.magnitude[0]
    assert "open vanes" in found.why


def test_doubt_about_loop_and_load_widens_the_time():
    sure, doubtful = (
        planned(),
        planned(
            u_heat_capacity=Q(20, "MJ/delta_degC"), u_load=Q(60, "kW"), u_capacity=Q(3, "percent")
        ),
    )
    assert np.ptp([sure.time_low.magnitude[8], sure.time_high.magnitude[8]]) < 1
    spread = (
        doubtful.time_high.magnitude[8] - doubtful.time_low.magnitude[8]
    ) / doubtful.time.magnitude[8]
    assert 0.2 < spread < 0.8


def test_interval_of_the_time_agrees_with_monte_carlo_through_the_differential_equation(outside):
    rng = np.random.default_rng(4)
    machine = machine_from_table(Q(1758, "kW"), Q(7, "degC"), *ROWS)
    times = [
        loop.constant_capacity_time.si(
            298.15,
            280.15,
            rng.normal(209e6, 20e6),
            rng.normal(300e3, 60e3),
            1758e3 * rng.normal(1, 0.03),
        )
        for _ in range(20000)
    ]
    ours = pulldown.plan(
        machine,
        RIPPLE,
        **LOOP,
        trip=1.08,
        limits=(1.0,),
        u_heat_capacity=Q(20, "MJ/delta_degC"),
        u_load=Q(60, "kW"),
        u_capacity=0.03,
    )
    for printed, value in (
        (np.quantile(times, 0.05), ours.time_low),
        (np.quantile(times, 0.95), ours.time_high),
    ):
        outside.check(
            "pulldown.plan",
            printed=printed,
            ours=value.magnitude[0],
            source="Monte Carlo through the closed form, JCGM 101, 20 000 draws",
            standing="closed form",
            rel=0.03,
        )


def test_the_planned_course_of_a_constant_machine_meets_the_closed_form(outside):
    machine = machine_from_table(Q(1758, "kW"), Q(7, "degC"), *ROWS)
    closed = loop.constant_capacity_time(
        LOOP["start"], LOOP["target"], LOOP["heat_capacity"], LOOP["load"], Q(0.6 * 1758, "kW")
    )
    course = pulldown_course.planned_course(machine, Q(63, "percent"), **LOOP)
    outside.check(
        "pulldown_course.planned_course",
        printed=closed.magnitude,
        ours=course.time[-1].magnitude,
        source="one lump, 60 % load at 63 % current: closed form",
        standing="closed form",
        rel=1e-6,
    )


def test_time_to_go_of_a_loop_known_without_doubt_meets_the_closed_form(outside):
    machine = machine_from_table(Q(1758, "kW"), Q(7, "degC"), *ROWS)
    seen = loop_estimate.LoopEstimate(209e6, 0.0, 300e3, 0.0, 0.0, 0.0, True)
    closed = loop.constant_capacity_time(
        Q(15, "degC"), LOOP["target"], LOOP["heat_capacity"], LOOP["load"], Q(1758, "kW")
    )
    ours = pulldown_course.time_to_go(
        machine, Q(100, "percent"), Q(15, "degC"), LOOP["target"], seen
    )
    outside.check(
        "pulldown_course.time_to_go",
        printed=closed.magnitude,
        ours=ours.time.magnitude,
        source="one lump, constant heat: closed form",
        standing="closed form",
        rel=1e-9,
    )


def test_a_limit_given_back_over_a_ramp_ends_sooner_than_one_held():
    held = pulldown_course.planned_course(MACHINE, Q(60, "percent"), **LOOP)
    given_back = pulldown_course.planned_course(
        MACHINE, Q(60, "percent"), **LOOP, hold=Q(30, "minute"), ramp=Q(10, "minute")
    )
    full = pulldown_course.planned_course(MACHINE, Q(100, "percent"), **LOOP)
    assert full.time[-1] < given_back.time[-1] < held.time[-1]


def test_time_still_to_go_from_what_was_seen():
    course = pulldown_course.planned_course(MACHINE, Q(80, "percent"), **LOOP)
    half = course.time.size // 2
    temperatures = Q(
        course.loop.magnitude[:half] + np.random.default_rng(2).normal(0, 0.03, half), "kelvin"
    )
    seen = loop_estimate.estimate(
        course.time[:half],
        temperatures,
        course.heat[:half],
        planned_heat_capacity=Q(230, "MJ/delta_degC"),
        u_planned_heat_capacity=Q(40, "MJ/delta_degC"),
        planned_load=Q(250, "kW"),
        u_planned_load=Q(100, "kW"),
    )
    rest = pulldown_course.time_to_go(
        MACHINE, Q(80, "percent"), course.loop[half - 1], LOOP["target"], seen
    )
    left = (course.time[-1] - course.time[half - 1]).magnitude
    assert rest.low.magnitude <= left <= rest.high.magnitude
    assert rest.time.magnitude == pytest.approx(left, rel=0.1)


def test_a_cold_loop_has_no_time_to_go_and_no_risk():
    found = planned(start=Q(6, "degC"))
    assert np.all(found.time.magnitude == 0)
    assert np.all(found.probability.magnitude == 0)


def test_a_risk_of_nothing_is_refused():
    with pytest.raises(ScienceError, match="risk"):
        planned(risk=0.0)


def test_the_rule_of_thumb_is_kept_beside_the_result(outside):
    for printed, ours in zip((60, 80), pulldown.RULE_OF_THUMB, strict=True):
        outside.check(
            "pulldown.RULE_OF_THUMB",
            printed=printed,
            ours=100 * ours,
            source="common practice: about 80 %, as low as 60 % on some machines",
            standing="common practice",
            abs=1e-9,
        )
    assert len(pulldown.CANNOT_KNOW) >= 4


def _proof():
    path = Path(__file__).resolve().parents[2] / "benchmarks" / "pulldown_risk.py"
    spec = importlib.util.spec_from_file_location("pulldown_risk", path)
    module = importlib.util.module_from_spec(spec)
    import sys

    sys.modules["pulldown_risk"] = module
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize(
    "name",
    [
        "white",
        "correlated, r = 0.8",
        "periodic, 40 s, on white",
        "correlated, r = 0.9, trip lasts 3 s",
        "white, limit not binding at the end",
    ],
)
def test_predicted_chance_agrees_with_simulated_pull_downs(outside, name):
    proof = _proof()
    case = next(one for one in proof.CASES if one.name == name)
    printed = proof.simulated(case, 1000, np.random.default_rng(8))
    ours, _ = proof.planned(case, proof.known(case))
    outside.check(
        "pulldown.plan",
        printed=printed,
        ours=ours,
        source="1000 simulated pull-downs, code of the proof",
        standing="closed form",
        abs=3 * math.sqrt(printed * (1 - printed) / 1000),
    )


def test_the_ninety_percent_interval_holds_the_simulated_chance():
    proof = _proof()
    rng = np.random.default_rng(9)
    hits = [
        proof.coverage(proof.CASES[row], proof.simulated(proof.CASES[row], 1000, rng), 40, rng)[0]
        for row in (0, 2)
    ]
    assert 0.80 <= np.mean(hits) <= 0.99
