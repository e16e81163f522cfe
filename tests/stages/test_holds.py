"""Hold points: what each needs, the exact list in the way, waivers, and what the job may not do
yet.
"""

from __future__ import annotations

import pytest

from startkit.procedure.holds import HOLDS, NAMES, HoldState, needs
from startkit.procedure.judging import confirm
from startkit.procedure.stage import Field, Findings, Stage
from startkit.verdict import Outcome, Verdict


def _stage(name, before, order, gate=""):
    """A stage with one question; its verdict may be due before another hold point."""

    def judge(machine, limits, entries):
        found = confirm(
            entries,
            "done",
            f"{name}.done",
            f"{name} done",
            good="Done.",
            bad="Not done.",
            next_step="Do it.",
        )
        return Findings(
            verdicts=(
                (
                    found
                    if not gate
                    else Verdict(
                        key=found.key,
                        title=found.title,
                        outcome=found.outcome,
                        sentence=found.sentence,
                        next_step=found.next_step,
                        gate=gate,
                    )
                ),
            )
        )

    return Stage(
        name,
        name.capitalize(),
        "One question.",
        (Field("done", "Done", "yes_no"),),
        judge,
        before=before,
        order=order,
    )


STAGES = {
    s.name: s
    for s in (
        _stage("wire", "oil_pump", 1),
        _stage("oil", "turn_shaft", 2),
        _stage("run", "load", 3),
        _stage("close", "hand_over", 4),
    )
}


@pytest.fixture
def holds(make_job, put, assess):
    def make(answers=None, stages=STAGES):
        job = make_job(stages=stages)
        for stage, answer in (answers or {}).items():
            put(job, f"{stage}.done", answer)
        return {state.hold.name: state for state in assess(job).holds()}

    return make


def test_hold_points_stand_in_the_order_of_the_work():
    assert NAMES == ("oil_pump", "turn_shaft", "load", "hand_over")


@pytest.mark.parametrize(
    ("hold", "due"),
    [
        ("oil_pump", {"oil_pump"}),
        ("turn_shaft", {"oil_pump", "turn_shaft"}),
        ("load", {"oil_pump", "turn_shaft", "load"}),
        ("hand_over", set(NAMES)),
    ],
)
def test_a_later_hold_point_needs_all_that_the_earlier_ones_need(hold, due):
    point = next(h for h in HOLDS if h.name == hold)
    assert {name for name in NAMES if needs(point, name)} == due


def test_an_empty_job_is_clear_for_nothing(holds):
    assert not any(state.is_clear for state in holds().values())


def test_the_list_in_the_way_is_exact(holds):
    found = holds({"wire": "yes", "oil": "no"})
    assert found["oil_pump"].is_clear
    assert [v.key for v in found["turn_shaft"].in_the_way] == ["oil.done"]
    assert [v.key for v in found["load"].in_the_way] == ["oil.done", "run.complete", "run.done"]


def test_all_settled_is_clear(holds):
    assert all(state.is_clear for state in holds(dict.fromkeys(STAGES, "yes")).values())


def test_the_headline_shouts_until_it_is_clear(holds):
    assert holds()["turn_shaft"].headline == "NOT CLEAR TO TURN THE SHAFT"
    assert holds(dict.fromkeys(STAGES, "yes"))["turn_shaft"].headline == "Clear to turn the shaft"


def test_a_failure_that_came_back_closes_the_hold_point_again(holds):
    assert not holds(dict.fromkeys(STAGES, "yes") | {"wire": "no"})["oil_pump"].is_clear


def test_a_verdict_may_be_due_later_than_its_stage(holds):
    found = holds(
        {"wire": "yes"}, {"wire": _stage("wire", "oil_pump", 1, gate="load"), "run": STAGES["run"]}
    )
    assert "wire.done" not in {v.key for v in found["oil_pump"].needed}
    assert "wire.done" in {v.key for v in found["load"].needed}


def test_a_hold_point_without_any_verdict_is_not_clear():
    assert not HoldState(HOLDS[0], ()).is_clear


@pytest.mark.parametrize(
    ("outcome", "clear"),
    [
        (Outcome.PASS, True),
        (Outcome.WAIVED, True),
        (Outcome.NA, True),
        (Outcome.FAIL, False),
        (Outcome.UNPROVEN, False),
        (Outcome.OPEN, False),
    ],
)
def test_only_a_pass_a_waiver_or_what_does_not_apply_lets_through(outcome, clear):
    assert (
        HoldState(HOLDS[0], (Verdict(key="a.b", title="A", outcome=outcome, sentence=""),)).is_clear
        is clear
    )


def test_a_waiver_clears_the_way_and_stays_in_sight(make_job, put, assess):
    job = make_job(stages={"wire": STAGES["wire"]})
    put(job, "wire.done", "no")
    put(job, "waiver.wire.done", "temporary supply for the test", who="B. Jansen")
    state = assess(job).hold("oil_pump")
    assert state.is_clear and [v.key for v in state.waived] == ["wire.done"]
    assert (
        "B. Jansen" in state.waived[0].sentence and "temporary supply" in state.waived[0].sentence
    )


def test_a_hold_point_that_no_stage_stands_before_is_not_shown(holds):
    assert set(holds({}, {"run": STAGES["run"]})) == {"load"}
