"""Hold points released: by whom, on what, and what becomes of it when something changes."""

from __future__ import annotations

from dataclasses import replace

import pytest

from startkit.facts.limits import Limits
from startkit.facts.rules import defaults
from startkit.procedure import payload, site
from startkit.procedure.assessment import Assessment
from startkit.procedure.people import PEOPLE
from startkit.procedure.releases import GIVEN, LAPSED, OTHER, VOID
from startkit.procedure.stage import Column, Field, Findings, Stage
from tests.stages.test_early import _stage

STARTS = Field(
    "starts",
    "Starts",
    "table",
    columns=(Column("started", "Started", "moment"),),
    required=False,
)
SETUP = Stage(
    site.PREFIX,
    "Setup",
    "Who is here.",
    (PEOPLE,),
    lambda machine, limits, entries: Findings(),
    before="oil_pump",
    order=0,
)
STAGES = {
    s.name: s
    for s in (
        SETUP,
        _stage("wire", "oil_pump", 1),
        _stage("oil", "turn_shaft", 2, (STARTS,)),
        _stage("run", "load", 3),
    )
}
TECHNICIAN, WITNESS, ELECTRICIAN = "T. Amari", "W. Osei", "E. Novak"
DIGEST = "digest of the moment"


@pytest.fixture
def job(make_job, put):
    """A job with three people; by hold points released by name."""
    made = make_job(stages=STAGES)
    put(made, "job.releases", "by name")
    for n, (name, role) in enumerate(
        ((TECHNICIAN, "technician"), (WITNESS, "owner's witness"), (ELECTRICIAN, "electrician")), 1
    ):
        put(made, f"setup.people.{n}.name", name)
        put(made, f"setup.people.{n}.role", role)
    return made


@pytest.fixture
def release(put, assess):
    """Release a hold point, on what it rests on now."""

    def write(job, hold, who=TECHNICIAN, witness="", at="", value=None):
        digest = assess(job).basis(hold).digest if value is None else value
        put(job, f"release.{hold}", digest, who=who, at=at)
        if witness:
            put(job, f"witnessed.{hold}", digest, who=witness)

    return write


@pytest.fixture
def state(assess):
    return lambda job, hold="oil_pump": getattr(assess(job).release(hold), "state", None)


def test_clear_is_not_yet_passed(job, put, assess):
    put(job, "wire.done", "yes")
    found = payload.hold_part(assess(job), "oil_pump")
    assert (found["state"], found["released"], found["release"]) == (
        "clear",
        None,
        "Not released.",
    )
    assert not assess(job).is_passed("oil_pump")


def test_a_release_names_who_when_and_what_it_rested_on(job, put, release, assess):
    put(job, "wire.done", "yes")
    release(job, "oil_pump", witness=WITNESS)
    found = payload.hold_part(assess(job), "oil_pump")
    assert found["released"]["state"] == GIVEN and found["released"]["counts"]
    assert found["released"]["digest"] == assess(job).basis("oil_pump").digest
    assert all(word in found["release"] for word in (TECHNICIAN, "technician", WITNESS))


@pytest.mark.parametrize("answer", [None, "no"])
def test_what_is_not_clear_cannot_be_released(job, put, release, state, answer):
    if answer:
        put(job, "wire.done", answer)
    release(job, "oil_pump")
    assert state(job) == VOID


def test_a_release_before_it_was_clear_does_not_come_alive_later(job, put, release, state):
    release(job, "oil_pump", value=DIGEST)
    put(job, "wire.done", "yes")
    assert state(job) == VOID


def test_only_some_roles_release_and_only_on_the_job(job, put, assess):
    put(job, "wire.done", "yes")
    hold = assess(job).hold("oil_pump").hold
    barred = assess(job).release_barred
    assert barred(hold, TECHNICIAN) == ""
    assert "may release" in barred(hold, ELECTRICIAN)
    assert "not among" in barred(hold, "Somebody Else")
    assert "no one" in barred(hold, "")
    assert "own release" in barred(hold, TECHNICIAN, TECHNICIAN)
    assert "may witness" in barred(hold, TECHNICIAN, ELECTRICIAN)


def test_a_specification_asks_for_a_witness(job, put, release, assess):
    put(job, "wire.done", "yes")
    rules = defaults().changed_by({"witnessed": ["oil_pump"]}, "specification.toml")
    job.limits = Limits(dict(job.limits), job.limits.exemptions, rules)
    hold = assess(job).hold("oil_pump").hold
    assert "witness" in assess(job).release_barred(hold, TECHNICIAN)
    release(job, "oil_pump")
    assert assess(job).release("oil_pump").state == VOID
    release(job, "oil_pump", witness=WITNESS)
    assert assess(job).release("oil_pump").state == GIVEN


def test_hold_points_are_released_in_their_order(job, put, release, state):
    put(job, "wire.done", "yes")
    put(job, "oil.done", "yes")
    release(job, "turn_shaft")
    assert state(job, "turn_shaft") == VOID
    release(job, "oil_pump")
    release(job, "turn_shaft")
    assert state(job, "turn_shaft") == GIVEN


def test_a_later_fail_lets_the_release_lapse(job, put, release, state):
    put(job, "wire.done", "yes")
    release(job, "oil_pump")
    put(job, "wire.done", "no", note="found loose")
    assert state(job) == LAPSED


def test_put_right_again_it_was_released_on_other_readings(job, put, release, assess):
    put(job, "wire.done", "yes")
    release(job, "oil_pump")
    put(job, "wire.done", "no", note="found loose")
    put(job, "wire.done", "yes", note="tightened")
    found = assess(job).release("oil_pump")
    assert found.state == OTHER and "wire.done" in found.why
    release(job, "oil_pump")
    assert assess(job).release("oil_pump").state == GIVEN


def test_what_it_did_not_rest_on_does_not_touch_it(job, put, release, state):
    put(job, "wire.done", "yes")
    release(job, "oil_pump")
    put(job, "oil.done", "yes")
    put(job, "setup.people.4.name", "F. Later")
    put(job, "setup.people.4.role", "other")
    assert state(job) == GIVEN


def test_a_digest_of_something_else_is_told(job, put, release, assess):
    put(job, "wire.done", "yes")
    release(job, "oil_pump", value=DIGEST)
    found = assess(job).release("oil_pump")
    assert found.state == OTHER and "digest" in found.why


def test_a_waiver_is_part_of_what_it_rests_on(job, put, release, assess):
    put(job, "wire.done", "no")
    put(job, "waiver.wire.done", "temporary supply for the test", who=WITNESS)
    assert assess(job).hold("oil_pump").word == "clear by waiver"
    release(job, "oil_pump")
    put(job, "waiver.wire.done", "temporary supply until noon", who=WITNESS, note="until noon")
    assert assess(job).release("oil_pump").state == OTHER


def test_a_release_can_be_withdrawn(job, put, release, state):
    put(job, "wire.done", "yes")
    release(job, "oil_pump")
    put(job, "release.oil_pump", "", note="not yet")
    assert state(job) is None


# --- early ----------------------------------------------------------------------------------------


def _early(assessment: Assessment, hold: str = "oil_pump") -> list[str]:
    return payload.hold_part(assessment, hold)["early"]


def test_what_comes_before_the_release_is_early_although_it_was_clear(job, put, release, assess):
    put(job, "wire.done", "yes")
    put(job, "oil.done", "yes")
    assert "1 entry made too early" in _early(assess(job))[0]
    release(job, "oil_pump")
    put(job, "oil.done", "no", note="looked again")
    assert "1 entry made too early" in _early(assess(job))[0]  # for ever


def test_what_comes_after_the_release_is_not(job, put, release, assess):
    put(job, "wire.done", "yes")
    release(job, "oil_pump")
    put(job, "oil.done", "yes")
    assert _early(assess(job)) == []


def test_work_after_a_lapsed_release_is_early(job, put, release, assess):
    put(job, "wire.done", "yes")
    release(job, "oil_pump")
    put(job, "wire.done", "no", note="found loose")
    put(job, "oil.done", "yes")
    assert "1 entry made too early" in _early(assess(job))[0]


@pytest.mark.parametrize(
    ("started", "early"),
    [("2026-11-25 07:59", True), ("2026-11-25 08:29", False), ("2026-11-25 08:31", False)],
)
def test_a_start_counts_by_its_own_time(job, put, release, assess, started, early):
    put(job, "wire.done", "yes", at="2026-11-25T08:20:00+00:00")
    release(job, "oil_pump", at="2026-11-25T08:29:30+00:00")
    put(job, "oil.starts.1.started", started, at="2026-11-25T09:00:00+00:00")
    assert any(started in line for line in _early(assess(job))) is early


def test_a_start_between_a_fail_and_the_next_release_is_early(job, put, release, assess):
    put(job, "wire.done", "yes", at="2026-11-25T08:20:00+00:00")
    release(job, "oil_pump", at="2026-11-25T08:30:00+00:00")
    put(job, "wire.done", "no", note="loose", at="2026-11-25T09:00:00+00:00")
    put(job, "wire.done", "yes", note="tightened", at="2026-11-25T10:00:00+00:00")
    release(job, "oil_pump", at="2026-11-25T10:10:00+00:00")
    put(job, "oil.starts.1.started", "2026-11-25 08:45", at="2026-11-25T11:00:00+00:00")
    put(job, "oil.starts.2.started", "2026-11-25 09:30", at="2026-11-25T11:00:10+00:00")
    said = " ".join(_early(assess(job)))
    assert "09:30" in said and "08:45" not in said


def test_a_reading_said_to_be_older_than_the_release_is_early(job, put, release, assess):
    put(job, "wire.done", "yes", at="2026-11-25T08:20:00+00:00")
    release(job, "oil_pump", at="2026-11-25T08:30:00+00:00")
    put(job, "taken.oil.done", "2026-11-25T07:00:00+00:00", at="2026-11-25T09:00:00+00:00")
    put(job, "oil.done", "yes", at="2026-11-25T09:00:00+00:00")
    assert "1 entry made too early" in _early(assess(job))[0]


def test_an_older_job_goes_by_clear_alone(job, put, assess):
    job.entries = [e for e in job.entries if e.what != "job.releases"]
    put(job, "wire.done", "yes")
    put(job, "oil.done", "yes")
    assert _early(assess(job)) == [] and assess(job).is_passed("oil_pump")
    assert payload.hold_part(assess(job), "oil_pump")["release"] == "Not released."


def test_the_next_step_is_to_release_what_is_clear(job, put, release, assess):
    put(job, "wire.done", "yes")
    assert "not released" in payload.next_step(assess(job))["what"]
    release(job, "oil_pump")
    assert payload.next_step(assess(job))["stage"] == "oil"


def test_a_digest_does_not_depend_on_the_place_in_the_journal(job, put, assess):
    put(job, "wire.done", "yes")
    before = assess(job).basis("oil_pump").digest
    job.entries = [replace(e, seq=e.seq + 5, previous="x", digest="") for e in job.entries]
    assert assess(job).basis("oil_pump").digest == before
