"""Stage Shut-down: vanes closed and proven, coast-down, post-lube, and the next start held back."""

from __future__ import annotations

import pytest

from startkit.stages.first_start import STAGE as FIRST_START
from startkit.stages.lube import STAGE as LUBE
from startkit.stages.shut_down import STAGE
from startkit.verdict import Outcome

GOOD = {
    "stop": ("ordinary stop, unloaded first", ""),
    "stopped_at": ("2026-11-25 16:00", ""),
    "vanes_before": ("12", "%"),
    "closing_time": ("6", "s"),
    "closed_proof": ("made", ""),
    "vane_position": ("0.2", "%"),
    "coast_down_time": ("88", "s"),
    "backward": ("no", ""),
    "oil_lowest": ("128", "kPa"),
    "post_lube_time": ("61", "s"),
    "heater_on": ("yes", ""),
    "timer_left": ("5", "min"),
    "early_start": ("yes", ""),
    "left_as": ("off and locked out", ""),
}
STARTS = {"starts.1.started": "2026-11-25 14:00", "starts.1.stopped": "2026-11-25 16:00"}


@pytest.fixture
def job(make_job, put):
    def make(changes=None, sheet=None, starts=STARTS):
        made = make_job(
            sheet, stages={"lube": LUBE, "first_start": FIRST_START, "shut_down": STAGE}
        )
        for what, (value, unit) in {**GOOD, **(changes or {})}.items():
            put(made, f"shut_down.{what}", value, unit)
        for what, value in starts.items():
            put(made, f"first_start.{what}", value)
        return made

    return make


def test_a_good_stop_passes_every_verdict(job, assess):
    assert {
        v.key: v.sentence
        for v in assess(job()).findings("shut_down").verdicts
        if v.outcome is not Outcome.PASS and v.key != "shut_down.as_taken"
    } == {}


def test_an_empty_stage_is_open_everywhere(make_job, assess):
    found = assess(
        make_job(stages={"lube": LUBE, "first_start": FIRST_START, "shut_down": STAGE})
    ).findings("shut_down")
    assert {v.outcome for v in found.verdicts} == {Outcome.OPEN}


@pytest.mark.parametrize(
    ("changes", "key", "outcome"),
    [
        ({"closed_proof": ("open", "")}, "closed_proof", Outcome.FAIL),
        ({"closing_time": ("48", "s")}, "closing_time", Outcome.PASS),
        ({"closing_time": ("48.1", "s")}, "closing_time", Outcome.FAIL),
        ({"closing_time": ("48", "kPa")}, "closing_time", Outcome.OPEN),
        ({"vane_position": ("-5", "%")}, "vane_position", Outcome.PASS),
        ({"vane_position": ("5.2", "%")}, "vane_position", Outcome.FAIL),
        ({"coast_down_time": ("67.5", "s")}, "coast_down_time", Outcome.PASS),
        ({"coast_down_time": ("67.4", "s")}, "coast_down_time", Outcome.FAIL),
        ({"coast_down_time": ("135", "s")}, "coast_down_time", Outcome.PASS),
        ({"coast_down_time": ("135.1", "s")}, "coast_down_time", Outcome.FAIL),
        ({"coast_down_time": ("", "")}, "coast_down_time", Outcome.OPEN),
        ({"backward": ("yes", "")}, "backward", Outcome.FAIL),
        ({"backward": ("not seen", "")}, "backward", Outcome.UNPROVEN),
        ({"post_lube_time": ("57", "s")}, "post_lube", Outcome.PASS),
        ({"post_lube_time": ("56.9", "s")}, "post_lube", Outcome.FAIL),
        ({"heater_on": ("no", "")}, "heater", Outcome.FAIL),
        ({"timer_left": ("4", "min")}, "restart_timer", Outcome.PASS),
        ({"timer_left": ("3.9", "min")}, "restart_timer", Outcome.FAIL),
        ({"timer_left": ("", "")}, "restart_timer", Outcome.OPEN),
        ({"early_start": ("no", "")}, "early_start", Outcome.FAIL),
    ],
)
def test_each_limit_holds_at_its_edge(job, verdict_of, changes, key, outcome):
    assert verdict_of(job(changes), f"shut_down.{key}").outcome is outcome


def test_soon_after_the_start_the_longer_timer_decides(job, verdict_of):
    early = {"starts.1.started": "2026-11-25 15:50", "starts.1.stopped": "2026-11-25 16:00"}
    assert (
        verdict_of(
            job({"timer_left": ("20", "min")}, starts=early), "shut_down.restart_timer"
        ).outcome
        is Outcome.PASS
    )
    found = verdict_of(job({"timer_left": ("5", "min")}, starts=early), "shut_down.restart_timer")
    assert found.outcome is Outcome.FAIL and "16:20" in found.sentence


def test_without_starts_or_rules_the_timer_cannot_be_judged(job, verdict_of):
    assert verdict_of(job(starts={}), "shut_down.restart_timer").outcome is Outcome.UNPROVEN
    assert (
        verdict_of(
            job(sheet={"motor.start_to_start": None, "motor.stop_to_start": None}),
            "shut_down.restart_timer",
        ).outcome
        is Outcome.UNPROVEN
    )


def test_without_a_figure_in_the_sheet_the_coast_down_is_baseline(job, verdict_of, assess):
    made = job(sheet={"oil.coast_down_time": None})
    assert verdict_of(made, "shut_down.coast_down_time").outcome is Outcome.NA
    assert any(
        f.key == "shut_down.coast_down_time" for f in assess(made).findings("shut_down").figures
    )


def test_the_oil_record_of_the_stop_serves_for_the_stopwatch(job, put, verdict_of, assess):
    made = job({"coast_down_time": ("", ""), "post_lube_time": ("", ""), "oil_lowest": ("", "")})
    put(
        made,
        "lube.coast_down",
        "\n".join(f"{t};;;{150 if t < 160 else 20};" for t in range(0, 200, 5)),
    )
    put(made, "lube.stopped", "10", "s")
    put(made, "lube.at_rest", "96", "s")
    by_label = {f.label: f for f in assess(made).findings("shut_down").figures}
    assert (
        by_label["Coast-down time"].value.to("s").magnitude == pytest.approx(86)
        and by_label["Coast-down time"].note == "from the oil record"
    )
    assert verdict_of(made, "shut_down.coast_down_time").outcome is Outcome.PASS
    assert verdict_of(made, "lube.coast_down").outcome is Outcome.PASS


@pytest.mark.parametrize(
    ("typed", "outcome"), [("101", Outcome.PASS), ("99", Outcome.FAIL), ("", Outcome.OPEN)]
)
def test_a_lowest_differential_read_by_hand_settles_the_oil_of_the_coast_down(
    job, verdict_of, typed, outcome
):
    assert (
        verdict_of(job({"oil_lowest": (typed, "kPa" if typed else "")}), "lube.coast_down").outcome
        is outcome
    )
