"""Stage Overhaul: opened, replaced, measured as found and as left, and what has moved since the
last record.
"""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from startkit.facts import checklists
from startkit.facts.baseline import Baseline, BaselineFigure
from startkit.procedure import payload
from startkit.procedure.last_record import UNKNOWN
from startkit.procedure.registry import ordered, with_lists
from startkit.procedure.stage import Field, Figure, Findings, Stage
from startkit.stages.overhaul import STAGE
from startkit.stages.setup import STAGE as SETUP
from startkit.units import Q
from startkit.verdict import Outcome

OVERHAULED = {"machine.work": "overhauled"}
DIAL = {"tag": "L1", "kind": "length", "accuracy": "0.005 mm", "due": "2027-06-30"}
CLOSED = {
    f"{item.name}{suffix}": (value, "")
    for each in checklists.shipped()
    if each.name == "closing_up"
    for item in each.items
    if item.required
    for evidence in item.evidence
    for suffix, value in [
        (
            {"yes": "", "name": "_by", "photograph": "_photo"}[evidence],
            {"yes": "yes", "name": "R. Ortega", "photograph": "inside.jpg"}[evidence],
        )
    ]
}
GOOD = {
    "opened.1.part": ("compressor, discharge side", ""),
    "opened.1.found": ("clean, light wear", ""),
    "replaced.1.part": ("thrust bearing", ""),
    "replaced.1.new": ("B-771", ""),
    "clearances.1.place": ("journal bearing, drive end", ""),
    "clearances.1.as_found": ("0.19", "mm"),
    "clearances.1.as_left": ("0.12", "mm"),
    "clearances.1.low": ("0.08", "mm"),
    "clearances.1.high": ("0.15", "mm"),
    "clearances.1.source": ("manual, page 44", ""),
    "run_outs.1.place": ("coupling hub", ""),
    "run_outs.1.as_found": ("0.04", "mm"),
    "run_outs.1.as_left": ("0.02", "mm"),
    "run_outs.1.high": ("0.05", "mm"),
    "run_outs.1.source": ("manual, page 45", ""),
    **CLOSED,
}


def _bench(machine, limits, entries):
    """A stage with figures that visits compare: an oil pump's speed and a temperature."""
    return Findings(
        figures=tuple(
            Figure(label, entries.quantity(name), kind, u, key=f"bench.{name}")
            for name, label, kind, u in (
                ("speed", "Pump speed", "frequency", Q(0.1, "Hz")),
                ("oil", "Oil supply", "temperature", Q(0.3, "delta_degC")),
            )
            if entries.quantity(name) is not None
        )
    )


BENCH = Stage(
    "bench",
    "Bench",
    "Something to compare.",
    (
        Field("speed", "Speed", "frequency", required=False),
        Field("oil", "Oil", "temperature", required=False),
    ),
    _bench,
    before="load",
    order=90,
)
STAGES = ordered(
    with_lists(
        [SETUP, STAGE, BENCH], [each for each in checklists.shipped() if each.stage == "overhaul"]
    )
)
THEN = Baseline(
    {
        "bench.speed": BaselineFigure(
            "bench.speed", "Pump speed", Q(41.0, "Hz"), Q(0.1, "Hz"), "frequency", "41.00 Hz"
        ),
        "bench.oil": BaselineFigure(
            "bench.oil",
            "Oil supply",
            Q(318.15, "kelvin"),
            Q(0.4, "delta_degC"),
            "temperature",
            "45.0 °C",
        ),
    },
    "Commissioning record T-1",
    "2021-05-04",
)


@pytest.fixture
def job(make_job, put):
    """An overhaul in order, with changes laid over; None leaves an entry out."""

    def make(changes=None, sheet=OVERHAULED, system="SI", bench=None):
        made = make_job(sheet, system, stages=STAGES)
        for name, value in DIAL.items():
            put(made, f"setup.instruments.1.{name}", value)
        for what, entry in {**GOOD, **(changes or {})}.items():
            if entry is not None:
                put(
                    made,
                    f"overhaul.{what}",
                    entry[0],
                    entry[1],
                    instrument=entry[2] if len(entry) > 2 else "",
                )
        for what, (value, unit) in (bench or {}).items():
            put(made, f"bench.{what}", value, unit)
        return made

    return make


def test_an_overhaul_in_order_leaves_only_the_last_record_open(job, assess):
    found = assess(job()).findings("overhaul").verdicts
    assert {v.key: v.outcome for v in found if v.outcome is not Outcome.PASS} == {
        "overhaul.baseline": Outcome.OPEN
    }


def test_an_empty_stage_is_open_everywhere(make_job, assess):
    found = assess(make_job(OVERHAULED, stages=STAGES)).findings("overhaul").verdicts
    assert {v.outcome for v in found} == {Outcome.OPEN}


def test_a_new_machine_has_no_such_stage(make_job):
    assert "overhaul" not in make_job(stages=STAGES).stages
    assert "overhaul" in make_job(OVERHAULED, stages=STAGES).stages


# --- measured ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("left", "outcome"),
    [
        ("0.0799", Outcome.FAIL),
        ("0.08", Outcome.PASS),
        ("0.0801", Outcome.PASS),
        ("0.1499", Outcome.PASS),
        ("0.15", Outcome.PASS),
        ("0.1501", Outcome.FAIL),
    ],
)
def test_a_clearance_as_left_at_under_and_over_its_limits(job, verdict_of, left, outcome):
    assert (
        verdict_of(job({"clearances.1.as_left": (left, "mm")}), "overhaul.clearances.1").outcome
        is outcome
    )


@pytest.mark.parametrize(
    ("left", "outcome"),
    [("0.0499", Outcome.PASS), ("0.05", Outcome.PASS), ("0.0501", Outcome.FAIL)],
)
def test_a_run_out_as_left_at_under_and_over_its_limit(job, verdict_of, left, outcome):
    assert (
        verdict_of(job({"run_outs.1.as_left": (left, "mm")}), "overhaul.run_outs.1").outcome
        is outcome
    )


def test_as_found_is_kept_beside_as_left_but_does_not_decide(job, verdict_of):
    found = verdict_of(job(), "overhaul.clearances.1")
    assert (
        found.outcome is Outcome.PASS
        and found.sentence == "0.120 mm: within 0.080 mm to 0.150 mm. As found 0.190 mm."
    )
    assert (
        "Not measured as found."
        in verdict_of(job({"clearances.1.as_found": None}), "overhaul.clearances.1").sentence
    )


def test_the_limit_prints_where_it_comes_from(job, verdict_of):
    assert verdict_of(job(), "overhaul.clearances.1").source == "entered on site: manual, page 44"


def test_thousandths_of_an_inch_are_understood(job, verdict_of):
    made = job(
        {
            "clearances.1.as_left": ("5", "mil"),
            "clearances.1.low": ("3", "mil"),
            "clearances.1.high": ("6", "mil"),
        },
        system="I-P",
    )
    assert verdict_of(made, "overhaul.clearances.1").sentence.startswith(
        "0.0050 in: within 0.0030 in to 0.0060 in."
    )


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"clearances.1.as_left": None}, "as left"),
        ({"clearances.1.low": None, "clearances.1.high": None}, "the limit"),
        ({"clearances.1.source": None}, "where the limit comes from"),
        ({"clearances.1.as_left": ("0.12", "kPa")}, "is not a unit of clearance"),
    ],
)
def test_a_measurement_that_lacks_something_or_has_a_wrong_unit_is_open(
    job, verdict_of, change, told
):
    found = verdict_of(job(change), "overhaul.clearances.1")
    assert found.outcome is Outcome.OPEN and told in found.sentence


@pytest.mark.parametrize("name", ["clearances", "run_outs"])
def test_nothing_measured_is_open(job, verdict_of, name):
    assert (
        verdict_of(
            job({what: None for what in GOOD if what.startswith(name)}), f"overhaul.{name}"
        ).outcome
        is Outcome.OPEN
    )


def test_a_clearance_within_its_gauges_uncertainty_of_the_limit_is_unproven(job, verdict_of):
    assert (
        verdict_of(
            job({"clearances.1.as_left": ("0.147", "mm", "L1")}), "overhaul.clearances.1"
        ).outcome
        is Outcome.UNPROVEN
    )


def test_the_uncertainty_of_a_clearance_agrees_with_monte_carlo(job, verdict_of):
    found = verdict_of(job({"clearances.1.as_left": ("0.12", "mm", "L1")}), "overhaul.clearances.1")
    draws = np.random.default_rng(15).uniform(-0.005, 0.005, 400_000)
    assert found.uncertainty.to("mm").magnitude == pytest.approx(draws.std(), rel=0.01)


def test_found_left_and_limits_stand_in_a_table(job, assess):
    table = next(
        t
        for t in payload.stage_part(assess(job()), "overhaul")["tables"]
        if t["title"] == "Clearances"
    )
    assert table["rows"] == [
        ["journal bearing, drive end", "0.190", "0.120", "0.080", "0.150", "manual, page 44"]
    ]


# --- replaced and closed -------------------------------------------------------------------------


def test_a_replaced_part_is_known_by_its_number(job, verdict_of):
    assert verdict_of(job({"replaced.1.new": None}), "overhaul.replaced").outcome is Outcome.OPEN
    assert verdict_of(job(), "overhaul.replaced").outcome is Outcome.PASS


def test_where_nothing_was_replaced_nothing_is_judged(job, assess):
    nothing = {what: None for what in GOOD if what.startswith("replaced")}
    assert "overhaul.replaced" not in {
        v.key for v in assess(job(nothing)).findings("overhaul").verdicts
    }


def test_closing_up_is_a_check_list(job, verdict_of):
    assert verdict_of(job(), "overhaul.clean").outcome is Outcome.PASS
    found = verdict_of(job({"clean": ("no", "")}), "overhaul.clean")
    assert found.outcome is Outcome.FAIL and "every tool is found" in found.next_step


def test_an_open_machine_is_not_clear_for_the_oil_pump(job, assess):
    assert "overhaul.turns_by_hand" in {
        v.key for v in assess(job({"turns_by_hand": None})).hold("oil_pump").in_the_way
    }


# --- the last record ---------------------------------------------------------------------------


@pytest.fixture
def table(assess):
    def make(job, baseline=THEN):
        tables = payload.stage_part(replace(assess(job), baseline=baseline), "overhaul")["tables"]
        return {
            row[0]: row[1:]
            for t in tables
            if t["title"] == "Against the last record"
            for row in t["rows"]
        }

    return make


def test_a_figure_that_moved_by_more_than_its_uncertainty_is_told(job, table):
    # u = sqrt(0.1^2 + 0.1^2) Hz = 0.141 Hz: twice that is 0.283 Hz
    assert table(job(bench={"speed": ("41.29", "Hz")}))["Pump speed"] == [
        "41.00 Hz",
        "41.29 Hz",
        "0.29 Hz",
        "0.28 Hz",
        "moved",
    ]
    assert table(job(bench={"speed": ("41.28", "Hz")}))["Pump speed"][-1] == "not moved"
    assert table(job(bench={"speed": ("40.71", "Hz")}))["Pump speed"][-1] == "moved"


def test_a_temperatures_change_is_a_difference(job, table):
    assert table(job(bench={"oil": ("46.5", "°C")}))["Oil supply"] == [
        "45.0 °C",
        "46.5 °C",
        "1.50 K",
        "1.00 K",
        "moved",
    ]


def test_the_uncertainty_of_a_change_agrees_with_monte_carlo(job, table):
    generator = np.random.default_rng(16)
    draws = generator.normal(0, 0.3, 200_000) - generator.normal(0, 0.4, 200_000)
    assert float(
        table(job(bench={"oil": ("45", "°C")}))["Oil supply"][3].split()[0]
    ) == pytest.approx(2 * draws.std(), abs=0.01)


def test_without_uncertainty_nobody_can_tell(job, table):
    bare = Baseline({key: replace(figure, u=None) for key, figure in THEN.figures.items()})
    assert table(job(bench={"speed": ("45", "Hz")}), bare)["Pump speed"][-1] == UNKNOWN


def test_figures_can_be_typed_by_name_or_by_key(job, table):
    typed = {
        "baseline.1.figure": ("pump speed", ""),
        "baseline.1.value": ("40.5 Hz", ""),
        "baseline.2.figure": ("bench.oil", ""),
        "baseline.2.value": ("113 °F", ""),
    }
    found = table(job(typed, bench={"speed": ("41", "Hz"), "oil": ("45", "°C")}), Baseline())
    assert found["Pump speed"][0] == "40.50 Hz" and found["Oil supply"][0] == "45.0 °C"


def test_a_typed_figure_goes_before_that_of_the_file(job, table):
    typed = {"baseline.1.figure": ("Pump speed", ""), "baseline.1.value": ("40.5 Hz", "")}
    assert table(job(typed, bench={"speed": ("41", "Hz")}))["Pump speed"][0] == "40.50 Hz"


@pytest.mark.parametrize(
    ("figure", "value", "told"),
    [
        ("Colour", "3 Hz", "no figure 'Colour' yet"),
        ("Pump speed", "3 kPa", "is not a unit of frequency"),
        ("Pump speed", "fast", "is not a number"),
    ],
)
def test_a_typed_figure_that_cannot_be_used_is_said(job, assess, figure, value, told):
    made = job(
        {"baseline.1.figure": (figure, ""), "baseline.1.value": (value, "")},
        bench={"speed": ("41", "Hz")},
    )
    assert any(told in remark for remark in assess(made).findings("overhaul").remarks)


def test_the_verdict_names_what_moved_and_what_is_to_come(job, assess):
    def judged(made):
        return next(
            v
            for v in replace(assess(made), baseline=THEN).findings("overhaul").verdicts
            if v.key == "overhaul.baseline"
        )

    found = judged(job(bench={"speed": ("43", "Hz")}))
    assert found.outcome is Outcome.PASS
    assert re.fullmatch("1 figure .*moved: Pump speed.*Oil supply.", found.sentence)
    assert judged(job()).outcome is Outcome.OPEN


def test_the_comparison_is_due_at_the_end_only(job, assess):
    found = assess(job())
    assert "overhaul.baseline" not in {v.key for v in found.hold("oil_pump").needed}
    assert "overhaul.baseline" in {v.key for v in found.hold("hand_over").in_the_way}


def test_which_record_it_was_is_said(job, assess):
    part = payload.stage_part(
        replace(assess(job(bench={"speed": ("41", "Hz")})), baseline=THEN), "overhaul"
    )
    assert "Commissioning record T-1 of 2021-05-04." in next(
        t["note"] for t in part["tables"] if t["title"] == "Against the last record"
    )
