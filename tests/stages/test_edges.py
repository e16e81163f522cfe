"""Just inside and just outside of limits whose reading is worked out of many: the figure is set,
the judge is the stage's own.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import pytest

from startkit.facts.limits import defaults
from startkit.procedure.judging import check
from startkit.procedure.reading import Reading
from startkit.stages.first_start import STAGE as FIRST_START
from startkit.stages.lube import STAGE as LUBE
from startkit.stages.lube.readings import collect as collect_oil
from startkit.stages.lube.verdicts import judged as lube_verdicts
from startkit.stages.shut_down import STAGE as SHUT_DOWN
from startkit.stages.vanes import STAGE as VANES
from startkit.stages.vanes.readings import Strokes, collect
from startkit.stages.vanes.verdicts import judged as vane_verdicts
from startkit.units import Q
from startkit.verdict import Outcome
from tests.stages.strokes import block, made, put_recorder
from tests.stages.test_lube import GOOD as OIL
from workbook.stroke_model import VaneDrive

# --- guide vanes: a sound drive's strokes, with one figure of the analysis set --------------------


@dataclass(frozen=True)
class Set(Strokes):
    """Strokes whose analysis says what the test sets."""

    figures: dict[str, Any] = field(default_factory=dict)

    def result(self, numbers):
        found = super().result(numbers)
        own = {
            name: value for name, value in self.figures.items() if not name.startswith("switch.")
        }
        switch = {
            name.removeprefix("switch."): value
            for name, value in self.figures.items()
            if name.startswith("switch.")
        }
        return replace(found, **own, switch=replace(found.switch, **switch))


@pytest.fixture(scope="module")
def trace():
    return block(made(drive=VaneDrive(opening_time=40, closing_time=40)))


@pytest.fixture
def vane_outcome(make_job, put, assess, trace):
    """``vane_outcome("vanes.zero", {"zero": 0.02})``."""

    def judge(key, figures):
        job = make_job(stages={"vanes": VANES})
        put(job, "vanes.trace", trace, instrument=put_recorder(put, job))
        entries = assess(job).stage_entries("vanes")
        seen = collect(job.machine, entries)
        strokes = Set(
            seen.rows,
            seen.records,
            seen.problems,
            seen.last_adjustment,
            seen.first_adjustment,
            seen.blocks,
            figures=figures,
        )
        return next(
            v for v in vane_verdicts(job.machine, job.limits, entries, strokes) if v.key == key
        ).outcome

    return judge


EXACT = {"zero_sd": 0.0, "noise": 0.0}
SURE = {"switch.u_position": 0.0, "switch.distance_sd": 0.0}


@pytest.mark.parametrize(
    ("key", "name", "inside", "outside_", "rest"),
    [
        ("vanes.zero", "zero", 0.0199, 0.0201, EXACT),
        ("vanes.zero", "zero", -0.0199, -0.0201, EXACT),
        ("vanes.open_end", "open_end", 0.951, 0.949, EXACT),
        ("vanes.open_end", "open_end", 1.049, 1.051, EXACT),
        ("vanes.linearity", "largest_deviation", 0.0499, 0.0501, EXACT),
        ("vanes.linearity", "largest_deviation", -0.0499, -0.0501, EXACT),
        ("vanes.hysteresis", "hysteresis", 0.0499, 0.0501, {"u_hysteresis": 0.0}),
        ("vanes.hysteresis", "hysteresis", -0.0499, -0.0501, {"u_hysteresis": 0.0}),
        ("vanes.switch_distance", "switch.distance_from_stop", 0.0399, 0.0401, SURE),
        ("vanes.switch_differential", "switch.differential", 0.0799, 0.0801, SURE),
        ("vanes.switch_differential", "switch.differential", -0.0099, -0.0101, SURE),
    ],
)
def test_a_figure_of_the_vanes_passes_inside_its_limit_and_fails_outside(
    vane_outcome, key, name, inside, outside_, rest
):
    assert vane_outcome(key, {**rest, name: inside}) is Outcome.PASS
    assert vane_outcome(key, {**rest, name: outside_}) is Outcome.FAIL


def test_the_switchs_spread_passes_only_clear_of_its_own_uncertainty(vane_outcome):
    # 13 closings: u(s) = s / sqrt(2 * 12), so that s and two of them reach 1 % at 0.71 %, and s
    # less two of them at 1.69 %.
    inner, outer = 0.01 / (1 + 2 / 24**0.5), 0.01 / (1 - 2 / 24**0.5)
    found = [
        vane_outcome("vanes.switch_spread", {"switch.distance_sd": sd})
        for sd in (0.99 * inner, 1.01 * inner, 0.99 * outer, 1.01 * outer)
    ]
    assert found == [Outcome.PASS, Outcome.UNPROVEN, Outcome.UNPROVEN, Outcome.FAIL]


@pytest.mark.parametrize(
    ("percent", "outcome"),
    [(1.99, Outcome.PASS), (2.01, Outcome.FAIL), (-1.99, Outcome.PASS), (-2.01, Outcome.FAIL)],
)
def test_a_zero_that_walks_is_judged_over_ten_strokes(
    vane_outcome, make_job, put, assess, trace, percent, outcome
):
    job = make_job(stages={"vanes": VANES})
    put(job, "vanes.trace", trace)
    seen = collect(job.machine, assess(job).stage_entries("vanes"))
    drift = replace(seen.result(seen.counted).drift, slope=percent / 1000, u_slope=0.0)
    assert vane_outcome("vanes.zero_drift", {"drift": drift}) is outcome


@pytest.mark.parametrize("direction", ["opening", "closing"])
@pytest.mark.parametrize(
    ("seconds", "outcome"),
    [
        ("47.9", Outcome.PASS),
        ("48.1", Outcome.FAIL),
        ("32.1", Outcome.PASS),
        ("31.9", Outcome.FAIL),
    ],
)
def test_a_stopwatch_travel_time_is_judged_against_the_sheets(
    make_job, put, verdict_of, direction, seconds, outcome
):
    job = make_job(stages={"vanes": VANES})
    for column, value, unit in (
        ("number", "1", ""),
        ("direction", direction, ""),
        ("travel_time", seconds, "s"),
    ):
        put(job, f"vanes.strokes.1.{column}", value, unit)
    assert verdict_of(job, f"vanes.{direction}_time").outcome is outcome


@pytest.mark.parametrize(("closings", "outcome"), [(10, Outcome.PASS), (9, Outcome.UNPROVEN)])
def test_ten_closings_without_a_miss_are_enough_and_nine_are_not(
    make_job, put, verdict_of, closings, outcome
):
    job = make_job(stages={"vanes": VANES})
    for number in range(1, closings + 1):
        for column, value in (
            ("number", str(number)),
            ("direction", "closing"),
            ("switch_at_end", "made"),
        ):
            put(job, f"vanes.strokes.{number}.{column}", value)
    assert verdict_of(job, "vanes.switch_misses").outcome is outcome


# --- lubrication ----------------------------------------------------------------------------------


@pytest.fixture
def oil(make_job, put):
    def make(changes=None, system="SI"):
        job = make_job(None, system, stages={"lube": LUBE})
        for what, (value, unit) in {**OIL, **(changes or {})}.items():
            put(
                job,
                f"lube.{what}",
                value,
                unit,
                at="2026-11-25T08:00:00+00:00" if what == "sump_temperature" else "",
            )
        return job

    return make


@pytest.fixture
def oil_outcome(oil, assess):
    """``oil_outcome("lube.margin", pre_lube={"margin_in_sd": 6.1})``: the analysis says what the
    test sets.
    """

    def judge(key, **parts):
        job = oil()
        entries = assess(job).stage_entries("lube")
        seen = collect_oil(job.machine, entries)
        figures = {name: replace(getattr(seen, name), **changes) for name, changes in parts.items()}
        return next(
            v
            for v in lube_verdicts(job.machine, job.limits, entries, replace(seen, **figures))
            if v.key == key
        ).outcome

    return judge


@pytest.mark.parametrize(
    ("since", "outcome"), [("2026-11-24 20:00", Outcome.PASS), ("2026-11-24 20:01", Outcome.FAIL)]
)
def test_the_heater_was_on_for_twelve_hours_or_not(oil, verdict_of, since, outcome):
    assert (
        verdict_of(oil({"heater_on_since": (since + "+00:00", "")}), "lube.heater_time").outcome
        is outcome
    )


@pytest.mark.parametrize(
    ("key", "part", "changes", "outcome"),
    [
        ("lube.foaming", "released", {"quantity": Q(29.9, "percent")}, Outcome.PASS),
        ("lube.foaming", "released", {"quantity": Q(30.1, "percent")}, Outcome.FAIL),
        (
            "lube.differential",
            "pre_lube",
            {"mean": Q(164.9, "kPa"), "u_mean": Q(0, "Pa")},
            Outcome.PASS,
        ),
        (
            "lube.differential",
            "pre_lube",
            {"mean": Q(165.1, "kPa"), "u_mean": Q(0, "Pa")},
            Outcome.FAIL,
        ),
        (
            "lube.differential",
            "pre_lube",
            {"mean": Q(135.1, "kPa"), "u_mean": Q(0, "Pa")},
            Outcome.PASS,
        ),
        (
            "lube.differential",
            "pre_lube",
            {"mean": Q(134.9, "kPa"), "u_mean": Q(0, "Pa")},
            Outcome.FAIL,
        ),
        (
            "lube.steadiness",
            "pre_lube",
            {"standard_deviation": Q(4.49, "kPa"), "effective_samples": 1e9},
            Outcome.PASS,
        ),
        (
            "lube.steadiness",
            "pre_lube",
            {"standard_deviation": Q(4.51, "kPa"), "effective_samples": 1e9},
            Outcome.FAIL,
        ),
        ("lube.margin", "pre_lube", {"margin_in_sd": 6.01, "u_mean": Q(0, "Pa")}, Outcome.PASS),
        ("lube.margin", "pre_lube", {"margin_in_sd": 5.99, "u_mean": Q(0, "Pa")}, Outcome.FAIL),
        ("lube.post_lube", "coast_down", {"post_lube_time": Q(20.1, "s")}, Outcome.PASS),
        ("lube.post_lube", "coast_down", {"post_lube_time": Q(19.9, "s")}, Outcome.FAIL),
    ],
)
def test_a_figure_of_the_oil_passes_inside_its_limit_and_fails_outside(
    oil_outcome, key, part, changes, outcome
):
    assert oil_outcome(key, **{part: changes}) is outcome


@pytest.mark.parametrize(
    ("kilopascal", "outcome"), [("142.6", Outcome.PASS), ("142.4", Outcome.FAIL)]
)
def test_a_set_point_left_too_low_fails(oil, verdict_of, kilopascal, outcome):
    assert (
        verdict_of(oil({"set_point_left": (kilopascal, "kPa")}), "lube.set_point").outcome
        is outcome
    )


# --- start and stop -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("entries", "key", "outcome"),
    [
        ({"vane_position": ("-4.9", "%")}, "vane_position", Outcome.PASS),
        ({"vane_position": ("-5.1", "%")}, "vane_position", Outcome.FAIL),
        # Mean 200 A; the largest deviation is 10 %, and one tenth of an ampere on either side of
        # it.
        (
            {
                "settled_l1": ("219.9", "A"),
                "settled_l2": ("190", "A"),
                "settled_l3": ("190.1", "A"),
            },
            "current_unbalance",
            Outcome.PASS,
        ),
        (
            {
                "settled_l1": ("220.1", "A"),
                "settled_l2": ("190", "A"),
                "settled_l3": ("189.9", "A"),
            },
            "current_unbalance",
            Outcome.FAIL,
        ),
        # Mean 400 V; the largest deviation is 1 %.
        (
            {
                "voltage_12": ("403.9", "V"),
                "voltage_23": ("398", "V"),
                "voltage_31": ("398.1", "V"),
            },
            "voltage_unbalance",
            Outcome.PASS,
        ),
        (
            {
                "voltage_12": ("404.1", "V"),
                "voltage_23": ("398", "V"),
                "voltage_31": ("397.9", "V"),
            },
            "voltage_unbalance",
            Outcome.FAIL,
        ),
    ],
)
def test_a_reading_of_the_first_start_at_its_limit(
    make_job, put, verdict_of, entries, key, outcome
):
    job = make_job(stages={"first_start": FIRST_START})
    for what, value in entries.items():
        put(job, f"first_start.{what}", *value)
    assert verdict_of(job, f"first_start.{key}").outcome is outcome


@pytest.mark.parametrize(
    ("key", "limit", "what", "unit", "inside", "outside_"),
    [
        ("bearing_temperature", "90 °C", "temperatures.1.temperature", "°C", "89.9", "90.1"),
        ("noise", "88 dB", "noise", "dB", "87.9", "88.1"),
    ],
)
def test_a_limit_that_only_a_sheet_can_give_is_kept(
    make_job, put, verdict_of, key, limit, what, unit, inside, outside_
):
    def outcome(value):
        job = make_job(
            {"limits": {f"first_start.{key}": {"high": limit, "source": "data sheet 7"}}},
            stages={"first_start": FIRST_START},
        )
        put(job, "first_start.temperatures.1.place", "motor drive-end bearing")
        put(job, f"first_start.{what}", value, unit)
        return verdict_of(job, f"first_start.{key}").outcome

    assert [outcome(inside), outcome(outside_)] == [Outcome.PASS, Outcome.FAIL]


@pytest.mark.parametrize(("percent", "outcome"), [("-5.1", Outcome.FAIL), ("4.9", Outcome.PASS)])
def test_vanes_at_rest_after_the_stop(make_job, put, verdict_of, percent, outcome):
    job = make_job(stages={"lube": LUBE, "first_start": FIRST_START, "shut_down": SHUT_DOWN})
    put(job, "shut_down.vane_position", percent, "%")
    assert verdict_of(job, "shut_down.vane_position").outcome is outcome


# --- what two readings of one thing may differ by -------------------------------------------------


@pytest.mark.parametrize(
    "key",
    [
        "lube.series_differential",
        "pull_down.reached_against_readings",
        "trips.swing_leaving",
        "vanes.end_against_trace",
    ],
)
def test_readings_that_should_agree_may_differ_by_so_much(make_job, assess, key):
    entries = assess(make_job(stages={"lube": LUBE})).stage_entries("lube")
    limit = defaults()[key]
    for bound in (limit.low, limit.high):
        if bound is None:
            continue
        for share, outcome in ((0.98, Outcome.PASS), (1.02, Outcome.FAIL)):
            reading = Reading(quantity=share * bound, taken=True)
            assert check(entries, limit, reading, next_step="Read again.").outcome is outcome
