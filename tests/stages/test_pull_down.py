"""Stage Pull-down: the plan, its risk against the limit chosen, and the course seen against it."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest

from startkit.science.loop import constant_capacity_time
from startkit.science.machine_curve import machine_from_table
from startkit.science.pulldown_course import planned_course
from startkit.stages.pull_down import STAGE
from startkit.stages.pull_down import plan as pull_plan
from startkit.stages.pull_down.plan import collect
from startkit.units import Q
from startkit.verdict import Outcome

WATER = 4.187e6  # J/m3 K, at 12 °C
TRUE_VOLUME, TRUE_LOAD = 56.0, 260e3


def trend(sigma=0.015, correlation=0.6, level=0.8, count=300, step=2.0, seed=3):
    """Current of a 500 A motor held at a limit: correlated noise."""
    rng = np.random.default_rng(seed)
    x = np.zeros(count)
    for i in range(1, count):
        x[i] = correlation * x[i - 1] + rng.normal(0, sigma * np.sqrt(1 - correlation**2))
    return "\n".join(f"{step * i:.1f};{500 * (level + v):.2f}" for i, v in enumerate(x))


QUIET = {"current_trend": (trend(), ""), "trend_limit": ("80", "%")}
PLAN = {"start": ("25", "°C"), "chosen": ("80", "%"), "chosen_by": ("A. Tester", ""), **QUIET}
DONE = {
    "began": ("2026-11-25 15:00", ""),
    "ended": ("set point reached", ""),
    "reached": ("42", "min"),
    "limit_left": ("100", "%"),
}


@lru_cache(maxsize=1)
def true_course():
    """What a loop of 56 m³ with 260 kW does at a limit of 80 %, by the differential equation."""
    machine = machine_from_table(
        Q(1760, "kW"), Q(7, "degC"), Q([100, 50], "percent"), Q([1, 79.3 / 295], "dimensionless")
    )
    flow = Q(75e-3 * WATER, "W/delta_degC")
    return planned_course(
        machine,
        Q(80, "percent"),
        Q(25, "degC"),
        Q(7, "degC"),
        Q(TRUE_VOLUME * WATER, "J/delta_degC"),
        Q(TRUE_LOAD, "W"),
        flow_capacity=flow,
    )


def seen_rows(minutes, noise=0.03, seed=5):
    """(minute, entering °C, leaving °C) of the true course as thermometers show it."""
    course, rng = true_course(), np.random.default_rng(seed)
    at = np.asarray(minutes) * 60.0
    loop, leaving = (
        np.interp(at, course.time.magnitude, part.to("degC").magnitude)
        for part in (course.loop, course.leaving)
    )
    return [
        (m, 2 * lp - lv + rng.normal(0, noise), lv + rng.normal(0, noise))
        for m, lp, lv in zip(minutes, loop, leaving, strict=True)
    ]


@pytest.fixture
def job(make_job, put):
    def make(changes=None, sheet=None, system="SI", minutes=()):
        made = make_job(sheet, system, stages={"pull_down": STAGE})
        for what, (value, unit) in {**PLAN, **DONE, **(changes or {})}.items():
            put(made, f"pull_down.{what}", value, unit)
        for number, (minute, entering, leaving) in enumerate(
            seen_rows(minutes) if len(minutes) else (), 1
        ):
            for column, value, unit in (
                ("minute", f"{minute}", "min"),
                ("entering", f"{entering:.2f}", "°C"),
                ("leaving", f"{leaving:.2f}", "°C"),
                ("limit", "80", "%"),
                ("current", "400", "A"),
            ):
                put(made, f"pull_down.readings.{number}.{column}", value, unit)
        return made

    return make


def figure(found, label):
    return next(f for f in found.figures if f.label == label)


# --- the plan ------------------------------------------------------------------------------------


def test_a_planned_pull_down_that_came_down_passes_every_verdict(job, assess):
    assert {
        v.key: v.sentence
        for v in assess(job()).findings("pull_down").verdicts
        if v.outcome is not Outcome.PASS
    } == {}


def test_an_empty_stage_is_open_everywhere(make_job, assess):
    found = assess(make_job(stages={"pull_down": STAGE})).findings("pull_down")
    assert {v.outcome for v in found.verdicts} == {Outcome.OPEN}


@pytest.mark.parametrize(
    ("changes", "outcome"),
    [
        ({}, Outcome.PASS),
        ({"chosen": ("", "")}, Outcome.OPEN),
        ({"chosen": ("80", "A")}, Outcome.OPEN),
        ({"start": ("", "")}, Outcome.OPEN),
        ({"current_trend": ("", "")}, Outcome.UNPROVEN),
        (
            {"chosen": ("100", "%"), "current_trend": (trend(sigma=0.05, level=0.8), "")},
            Outcome.FAIL,
        ),
        ({"start": ("6", "°C")}, Outcome.OPEN),
    ],
)
def test_the_limit_chosen_is_judged_by_its_risk(job, verdict_of, changes, outcome):
    assert verdict_of(job(changes), "pull_down.risk").outcome is outcome


def test_a_larger_swing_asks_for_a_lower_limit(job, assess):
    proposed = [
        figure(
            assess(job({"current_trend": (trend(sigma=s), "")})).findings("pull_down"),
            "Current limit proposed",
        )
        .value.to("percent")
        .magnitude
        for s in (0.015, 0.04, 0.07)
    ]
    assert proposed[0] > proposed[1] > proposed[2]


def test_a_higher_accepted_risk_allows_a_limit_that_is_not_lower(job, assess):
    strict, lax = (
        figure(
            assess(job({"current_trend": (trend(sigma=0.05), ""), "risk": (risk, "%")})).findings(
                "pull_down"
            ),
            "Current limit proposed",
        ).value
        for risk in ("0.1", "20")
    )
    assert lax >= strict


def test_lowest_and_highest_current_serve_where_there_is_no_trend(job, verdict_of):
    by_hand = {
        "current_trend": ("", ""),
        "current_low": ("388", "A"),
        "current_high": ("412", "A"),
        "watched": ("10", "min"),
    }
    assert verdict_of(job(by_hand), "pull_down.risk").outcome is Outcome.PASS
    assert (
        verdict_of(job({**by_hand, "watched": ("", "")}), "pull_down.risk").outcome
        is Outcome.UNPROVEN
    )


def test_the_plan_rests_on_the_heat_of_the_loops_water(job, outside):
    made = job()
    entries = _entries(made)
    plan = collect(made.machine, made.limits, entries)
    # libraries.md gives 50 m3 at a net 1758 kW as 0.50 K/min: C = 1758 kW / (0.50 K/min).
    ramp = 1758e3 / plan.inputs.heat_capacity * 60
    outside.check(
        "loop.loop_heat_capacity",
        printed=0.50,
        ours=ramp,
        source="50 m³ of water at a net 1758 kW, heat balance with rho cp of water",
        standing="closed form",
        abs=0.01,
    )


def _entries(job):
    from startkit.facts.job import State
    from startkit.procedure.assessment import Assessment

    return Assessment(
        job.machine, job.limits, job.stages, State(tuple(job.entries)), job.system
    ).stage_entries("pull_down")


def test_a_ramp_already_seen_serves_for_the_volume(job, assess):
    by_volume = figure(
        assess(job()).findings("pull_down"), "Time to set point at the proposed limit"
    ).value
    ramp = 1560e3 / (50 * 4.19e6) * 60
    by_ramp = figure(
        assess(
            job(
                {"ramp": (f"{ramp:.5f}", "K/min"), "ramp_heat": ("1560", "kW")},
                {"loop.volume": None},
            )
        ).findings("pull_down"),
        "Time to set point at the proposed limit",
    ).value
    assert by_ramp.to("s").magnitude == pytest.approx(by_volume.to("s").magnitude, rel=0.02)


def test_time_lies_between_the_closed_forms_of_the_ends_of_its_capacity(job, assess):
    made = job({"chosen": ("100", "%")})
    plan = collect(made.machine, made.limits, _entries(made))
    full = constant_capacity_time(
        Q(25, "degC"),
        Q(7 + 1760e3 / 2 / plan.inputs.flow_capacity, "degC"),
        Q(plan.inputs.heat_capacity, "J/delta_degC"),
        Q(200, "kW"),
        Q(1760, "kW"),
    )
    assert plan.planned.at(1.0, "time") == pytest.approx(
        full.to("s").magnitude, rel=0.01
    )  # no growth: the capacity is constant at 100 %


def test_without_a_loop_nothing_is_planned_and_it_says_what_lacks(job, verdict_of):
    found = verdict_of(job(sheet={"loop.volume": None}), "pull_down.risk")
    assert found.outcome is Outcome.OPEN and "loop's volume" in found.sentence


def test_what_the_plan_cannot_know_is_printed(job, assess):
    table = next(
        t
        for t in assess(job()).findings("pull_down").tables
        if t.title == "What the plan cannot know"
    )
    said = " ".join(row[0] for row in table.rows)
    assert "part-load table" in said and "no growth" in said and "overshoots" in said


def test_the_makers_curves_go_before_the_table(job, assess):
    curves = {
        f"curves.{key}": value
        for key, value in {
            "capacity": [0.8, 0.03, 0.0, 0.0, 0.0, 0.0],
            "power": [1.0, 0.0, 0.0, 0.0, 0.0, 0.0],
            "part_load": [0.0, 1.0, 0.0],
            "reference_capacity": "1760 kW",
            "reference_cop": 6.0,
            "leaving_from": "5 °C",
            "leaving_to": "10 °C",
        }.items()
    }
    found = assess(job(sheet=curves)).findings("pull_down")
    said = " ".join(
        row[0] for t in found.tables if t.title == "What the plan cannot know" for row in t.rows
    )
    assert "curves were fitted" in said and figure(found, "Current limit proposed")


def test_the_plot_shows_three_limits_and_risk_and_time(job, assess):
    plots = {p.title: p for p in assess(job()).findings("pull_down").plots}
    assert len(plots["Leaving chilled water over time"].lines) == 3
    assert {
        "Chance of an overcurrent trip over the current limit",
        "Time to set point over the current limit",
    } <= set(plots)


def test_the_same_entries_are_planned_once(job, assess):
    made = job({"start": ("24.3", "°C")})
    assess(made).findings("pull_down")
    planned = pull_plan._planned.cache_info().misses
    assess(made).findings("pull_down")
    assert pull_plan._planned.cache_info().misses == planned > 0


# --- following -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "outcome"),
    [
        (("100", "%"), Outcome.PASS),
        (("99.9", "%"), Outcome.FAIL),
        (("", ""), Outcome.OPEN),
        (("100", "A"), Outcome.OPEN),
    ],
)
def test_the_limit_must_be_given_back(job, verdict_of, typed, outcome):
    assert verdict_of(job({"limit_left": typed}), "pull_down.limit_left").outcome is outcome


@pytest.mark.parametrize(
    ("changes", "outcome"),
    [
        ({}, Outcome.PASS),
        ({"ended": ("tripped on overcurrent", "")}, Outcome.FAIL),
        ({"ended": ("still running", "")}, Outcome.OPEN),
        ({"ended": ("", "")}, Outcome.OPEN),
        ({"ended": ("stopped by hand", "")}, Outcome.FAIL),
        ({"reached": ("", "")}, Outcome.OPEN),
    ],
)
def test_it_must_have_come_down_without_a_trip(job, verdict_of, changes, outcome):
    assert verdict_of(job(changes), "pull_down.reached").outcome is outcome


def test_readings_that_do_not_show_the_set_point_leave_it_unproven(job, verdict_of):
    assert (
        verdict_of(job({"reached": ("", "")}, minutes=range(0, 25, 5)), "pull_down.reached").outcome
        is Outcome.UNPROVEN
    )


def test_loop_and_load_are_found_again_from_ten_minute_steps(job, assess):
    found = assess(
        job(
            {"ended": ("still running", ""), "reached": ("", "")},
            minutes=[0, 5, 10, 15, 20, 25, 30],
        )
    ).findings("pull_down")
    loop, load = (
        figure(found, "Loop as a volume of water, from the readings"),
        figure(found, "Connected load, from the readings"),
    )
    assert abs(loop.value.to("m**3").magnitude - TRUE_VOLUME) < 3 * loop.u.to("m**3").magnitude
    assert abs(load.value.to("W").magnitude - TRUE_LOAD) < 3 * load.u.to("W").magnitude
    # The plan believed 50 m3: the readings have moved it towards the truth.
    assert abs(loop.value.to("m**3").magnitude - TRUE_VOLUME) < abs(50 - TRUE_VOLUME)


def test_time_to_go_agrees_with_the_true_course(job, assess):
    found = assess(
        job({"ended": ("still running", ""), "reached": ("", "")}, minutes=[0, 5, 10, 15, 20, 25])
    ).findings("pull_down")
    truth = float(true_course().time[-1].to("min").magnitude) - 25
    assert figure(found, "Time remaining").value.to("min").magnitude == pytest.approx(
        truth, rel=0.15
    )


def test_the_same_from_a_trend(job, assess):
    rows = "\n".join(
        f"{m:.1f};{e:.3f};{v:.3f};;400;80;;;;" for m, e, v in seen_rows(np.arange(0, 30, 0.5))
    )
    found = assess(
        job({"trend": (rows, ""), "ended": ("still running", ""), "reached": ("", "")})
    ).findings("pull_down")
    loop = figure(found, "Loop as a volume of water, from the readings")
    assert abs(loop.value.to("m**3").magnitude - TRUE_VOLUME) < 3 * loop.u.to("m**3").magnitude
    assert any(line.label == "measured" for p in found.plots for line in p.lines)


def test_a_gap_is_marked_and_not_bridged(job, assess):
    rows = [(m, e, v) for m, e, v in seen_rows(np.arange(0, 40, 1.0)) if not 12 < m < 22]
    block = "\n".join(f"{m:.1f};{e:.3f};{v:.3f};;400;80;;;;" for m, e, v in rows)
    found = assess(job({"trend": (block, "")})).findings("pull_down")
    plot = next(p for p in found.plots if p.title == "Leaving chilled water over time")
    seen = [line for line in plot.lines if line.emphasis == "quiet"]
    assert len(seen) == 2 and max(seen[0].x) == 12 * 60 and min(seen[1].x) == 22 * 60
    assert any(
        "nothing is filled in" in t.note
        for t in found.tables
        if t.title == "Readings of the pull-down"
    )
    assert any("no readings from 720 s to 1320 s" in remark for remark in found.remarks)


def test_a_stopped_clock_and_a_sensor_at_zero_are_marked(job, assess):
    rows = [
        f"{m:.0f};{e:.3f};{'0.00' if 5 <= m < 9 else format(v, '.3f')};;"
        f"{0 if 15 <= m < 18 else 400};80;;;;"
        for m, e, v in seen_rows(np.arange(0, 30, 1.0))
    ]
    rows.insert(20, rows[19])
    found = assess(job({"trend": ("\n".join(rows), "")})).findings("pull_down")
    remarks = " ".join(found.remarks)
    assert (
        "repeats in 1 rows" in remarks
        and "current is zero in 3 rows" in remarks
        and "leaving chilled water is zero in 4 rows" in remarks
    )
    loop = figure(
        found, "Loop as a volume of water, from the readings"
    )  # the dead rows have not gone into the estimate
    assert abs(loop.value.to("m**3").magnitude - TRUE_VOLUME) < 3 * loop.u.to("m**3").magnitude


def test_a_trip_after_the_beginning_is_not_passed_over(job, make_job, put, verdict_of):
    from startkit.stages.trips import STAGE as TRIPS

    made = job()
    made.stages["trips"] = TRIPS
    for column, value in (("trip", "1"), ("at", "2026-11-25 15:12"), ("kind", "overcurrent")):
        put(made, f"trips.events.1.{column}", value)
    assert verdict_of(made, "pull_down.reached").outcome is Outcome.FAIL
    put(made, "pull_down.began", "2026-11-25 16:30")
    assert verdict_of(made, "pull_down.reached").outcome is Outcome.PASS


def test_approach_and_superheat_are_not_judged_until_it_is_steady(job, put, assess):
    made = job(minutes=[0, 10, 20, 30])
    for number in range(1, 5):
        put(made, f"pull_down.readings.{number}.evaporator_pressure", "250", "kPa gauge")
        put(made, f"pull_down.readings.{number}.suction", "8", "°C")
    table = next(
        t
        for t in assess(made).findings("pull_down").tables
        if t.title == "Readings of the pull-down"
    )
    assert all(
        "not steady, not judged" in row[6] and "not steady, not judged" in row[7]
        for row in table.rows
    )
    for number, minute in ((5, 50), (6, 60), (7, 70)):
        for column, value, unit in (
            ("minute", minute, "min"),
            ("entering", "10", "°C"),
            ("leaving", "7.0", "°C"),
            ("current", "300", "A"),
            ("evaporator_pressure", "250", "kPa gauge"),
        ):
            put(made, f"pull_down.readings.{number}.{column}", value, unit)
    table = next(
        t
        for t in assess(made).findings("pull_down").tables
        if t.title == "Readings of the pull-down"
    )
    assert "not steady" not in table.rows[-1][6] and "not steady" in table.rows[-2][6]


def test_it_is_drawn_in_inch_pound_units(job, assess):
    from startkit.procedure.payload import stage_part

    part = stage_part(assess(job(system="I-P", minutes=[0, 10, 20, 30, 40])), "pull_down")
    assert any(
        "gal" in row[1]
        for t in part["tables"]
        if t["title"] == "Basis of the plan"
        for row in t["rows"]
    )


def test_a_set_point_seen_on_an_overdue_thermometer_is_not_proven(job, put, verdict_of):
    from startkit.stages.setup import STAGE as SETUP

    def reached(due):
        made = job({"reached": ("", "")}, minutes=range(0, 241, 20))
        made.stages["setup"] = SETUP
        for column, value in (
            ("tag", "T1"),
            ("kind", "temperature"),
            ("accuracy", "0.1 K"),
            ("due", due),
        ):
            put(made, f"setup.instruments.1.{column}", value)
        for number in range(1, 14):
            what = f"pull_down.readings.{number}.leaving"
            seen = next(entry for entry in made.entries if entry.what == what)
            put(made, what, seen.value, seen.unit, instrument="T1", note="read on T1")
        return verdict_of(made, "pull_down.reached")

    assert reached("2027-12-01").outcome is Outcome.PASS
    late = reached("2019-01-01")
    assert late.outcome is Outcome.UNPROVEN and "T1 was out of calibration" in late.sentence


def test_thermometers_of_known_accuracy_widen_what_is_said_of_the_loop(make_job, put, assess):
    from startkit.stages.setup import STAGE as SETUP

    def loop_u(accuracy):
        made = make_job(stages={"setup": SETUP, "pull_down": STAGE})
        for what, (value, unit) in {
            **PLAN,
            "ended": ("still running", ""),
            "flow": ("75", "L/s"),
        }.items():
            put(made, f"pull_down.{what}", value, unit)
        for column, value in (
            ("tag", "T1"),
            ("kind", "temperature"),
            ("accuracy", accuracy),
            ("due", "2027-01-01"),
        ):
            put(made, f"setup.instruments.1.{column}", value)
        for number, (minute, entering, leaving) in enumerate(seen_rows([0, 5, 10, 15, 20, 25]), 1):
            for column, value, unit in (
                ("minute", f"{minute}", "min"),
                ("entering", f"{entering:.2f}", "°C"),
                ("leaving", f"{leaving:.2f}", "°C"),
            ):
                put(
                    made,
                    f"pull_down.readings.{number}.{column}",
                    value,
                    unit,
                    instrument="T1" if unit == "°C" else "",
                )
        return (
            figure(
                assess(made).findings("pull_down"), "Loop as a volume of water, from the readings"
            )
            .u.to("m**3")
            .magnitude
        )

    fine, coarse = loop_u("0.01 K"), loop_u("0.5 K")
    # sqrt(2) 0.5 K/sqrt(3) on a range near 5 K: about 8 % of the loop, to be added in squares.
    assert np.sqrt(coarse**2 - fine**2) == pytest.approx(0.08 * TRUE_VOLUME, rel=0.15)


def test_the_risk_is_judged_by_the_upper_end_of_its_interval(job, verdict_of, edges):
    swinging = {"current_trend": (trend(sigma=0.065), "")}
    made = job(swinging)
    plan = collect(made.machine, made.limits, _entries(made))
    low, high = (
        100 * plan.planned.at(plan.inputs.chosen, name)
        for name in ("probability_low", "probability_high")
    )
    assert 0.01 < low < high < 20
    accepted = (
        (1.02 * high, Outcome.PASS),
        (0.98 * high, Outcome.UNPROVEN),
        (0.98 * low, Outcome.FAIL),
    )
    for percent, outcome in accepted:
        assert (
            verdict_of(job({**swinging, "risk": (f"{percent:.6g}", "%")}), "pull_down.risk").outcome
            is outcome
        )
        if outcome is not Outcome.FAIL:
            edges.note(
                "pull_down.risk",
                "high",
                Q(percent, "percent"),
                Q(high, "percent"),
                outcome is Outcome.PASS,
                moved=True,
            )


# --- hunting, and what cannot be true ------------------------------------------------------------


NO_TREND = {"current_trend": ("", ""), "trend_limit": ("", "")}


def swinging(size, water=0.0):
    """Current of a 500 A motor in parts of full-load current, and leaving water, that swing every
    eight minutes.
    """
    waves = [(m, np.sin(2 * np.pi * m / 8)) for m in range(80)]
    return "\n".join(
        f"{m};{20 - 0.1 * m};{15 - 0.1 * m + water * wave:.4f};;{500 * (0.8 + size * wave):.3f}"
        for m, wave in waves
    )


@pytest.mark.parametrize(
    ("size", "water", "outcome", "said"),
    [
        (0.049, 0.0, Outcome.PASS, "every 480"),
        (0.053, 0.0, Outcome.FAIL, "current"),
        (0.0, 0.49, Outcome.PASS, "every 480"),
        (0.0, 0.53, Outcome.FAIL, "leaving chilled water"),
    ],
)
def test_what_hunts_is_found_sized_and_judged(job, verdict_of, size, water, outcome, said):
    changes = {**NO_TREND, "trend": (swinging(size, water), "")}
    found = verdict_of(job(changes), "pull_down.hunting")
    assert found.outcome is outcome and said in found.sentence


def test_a_current_that_is_only_noisy_does_not_hunt(job, verdict_of):
    found = verdict_of(job(), "pull_down.hunting")
    assert found.outcome is Outcome.PASS and "Nothing swings" in found.sentence


ROWS = [(0, "25.0", "20.0"), (10, "20.0", "15.5"), (20, "15.5", "11.0"), (30, "12.0", "8.0")]


def keys(job, assess, changes=None, rows=ROWS, more=None):
    cells = {
        f"readings.{n}.{column}": (str(value), unit)
        for n, row in enumerate(rows, 1)
        for column, value, unit in zip(
            ("minute", "entering", "leaving"), row, ("min", "°C", "°C"), strict=True
        )
    }
    made = job({**cells, **(more or {}), **(changes or {})})
    return {v.key for v in assess(made).findings("pull_down").verdicts}


@pytest.mark.parametrize(
    ("key", "inside", "outside_"),
    [
        ("margin", {"chosen": ("98", "%")}, {"chosen": ("98.1", "%")}),
        ("volume_against_sheet", {"volume": ("99.9", "m³")}, {"volume": ("100.1", "m³")}),
        ("volume_against_sheet", {"volume": ("25.1", "m³")}, {"volume": ("24.9", "m³")}),
    ],
)
def test_what_the_plan_rests_on_and_how_it_went_fit_each_other(job, assess, key, inside, outside_):
    found = [f"pull_down.{key}" in keys(job, assess, c, rows=()) for c in (inside, outside_)]
    assert found == [False, True]


def column(name, values, unit):
    return {f"readings.{n}.{name}": (str(value), unit) for n, value in enumerate(values, 1)}


@pytest.mark.parametrize(
    ("key", "inside", "outside_"),
    [
        (
            "current_over_limit",
            {**column("current", [374] * 4, "A"), **column("limit", [60] * 4, "%")},
            {**column("current", [376] * 4, "A"), **column("limit", [60] * 4, "%")},
        ),
        ("heat", column("flow", [139] * 5, "L/s"), column("flow", [142] * 5, "L/s")),
        # R-134a at 435.8 kPa abs saturates at 11.5 °C, at 803.9 kPa abs at 31.5 °C (CoolProp 8).
        (
            "refrigerant_under_water",
            column("evaporator_pressure", [435.2] * 5, "kPa abs"),
            column("evaporator_pressure", [436.4] * 5, "kPa abs"),
        ),
        (
            "refrigerant_over_water",
            {
                **column("condenser_pressure", [804.8] * 5, "kPa abs"),
                **column("leaving_condenser", [32] * 5, "°C"),
            },
            {
                **column("condenser_pressure", [803.0] * 5, "kPa abs"),
                **column("leaving_condenser", [32] * 5, "°C"),
            },
        ),
        ("reached_against_readings", {}, {}),
    ],
)
def test_readings_of_the_pull_down_that_physics_forbids(job, assess, key, inside, outside_):
    rows = [*ROWS, (40, "10.6", "7.1")]
    if key == "reached_against_readings":
        inside, outside_ = {"reached": ("49.9", "min")}, {"reached": ("50.1", "min")}
    found = [f"pull_down.{key}" in keys(job, assess, c, rows=rows) for c in (inside, outside_)]
    assert found == [False, True]


def test_swapped_thermometers_and_a_reading_written_down_again_are_found(job, assess):
    swapped = [(m, b, a) for m, a, b in ROWS]
    again = [ROWS[0], ROWS[1], (20, *ROWS[1][1:]), (30, *ROWS[1][1:])]
    assert "pull_down.waters" in keys(job, assess, rows=swapped)
    assert "pull_down.copied_rows" in keys(job, assess, rows=again)
    assert not {"pull_down.waters", "pull_down.copied_rows"} & keys(job, assess)


@pytest.mark.parametrize(
    ("share", "wrong"), [(0.31, False), (0.29, True), (2.9, False), (3.1, True)]
)
def test_a_pull_down_takes_about_as_long_as_its_plan(job, assess, share, wrong):
    made = job()
    planned = collect(made.machine, made.limits, assess(made).stage_entries("pull_down")).planned
    minutes = share * planned.at(0.8, "time") / 60
    found = keys(job, assess, {"reached": (f"{minutes:.3f}", "min")}, rows=())
    assert ("pull_down.time_against_plan" in found) is wrong
