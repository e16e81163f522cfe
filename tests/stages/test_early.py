"""The order of stages, softly: an entry made before its hold point is clear is kept, and marked
early.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from startkit.facts.job import Job
from startkit.facts.journal import Entry
from startkit.procedure import assessment as assess_
from startkit.procedure import payload
from startkit.procedure.assessment import Assessment
from startkit.procedure.judging import confirm
from startkit.procedure.stage import Column, Field, Findings, Stage

PLANT = Path(__file__).parents[2] / "workbook" / "plant" / "machines"


def _stage(name, before, order, fields=(), after=None):
    def judge(machine, limits, entries):
        return Findings(
            verdicts=(
                confirm(
                    entries,
                    "done",
                    f"{name}.done",
                    f"{name} done",
                    good="Done.",
                    bad="Not done.",
                    next_step="Do it.",
                ),
            )
        )

    return Stage(
        name,
        name.capitalize(),
        "One question.",
        (Field("done", "Done", "yes_no"), *fields),
        judge,
        before=before,
        order=order,
        after=after,
    )


MORE = (
    Field("rows", "Rows", "table", columns=(Column("place", "Place"),), required=False),
    Field("trend", "Trend", "series", columns=(Column("t", "T", "time"),), required=False),
    Field("cold", "Taken with the pump off", "temperature", required=False, after=""),
)
STAGES = {
    s.name: s
    for s in (
        _stage("wire", "oil_pump", 1),
        _stage("oil", "turn_shaft", 2, MORE),
        _stage("run", "load", 3),
    )
}


@pytest.fixture
def part(make_job, put, assess):
    """The stage ``oil`` as it is shown after these entries."""

    def make(*entries, stages=STAGES, name="oil"):
        job = make_job(stages=stages)
        for what, value, *note in entries:
            put(job, what, value, "°C" if what == "oil.cold" else "", note=note[0] if note else "")
        return payload.stage_part(assess(job), name)

    return make


def _field(part, name):
    return next(f for f in part["entered"] if f["name"] == name)


def test_an_entry_before_the_hold_point_is_clear_is_kept_and_marked(part):
    found = _field(part(("oil.done", "yes")), "done")
    assert found["value"] == "yes"
    assert found["early"] == "entered before it was clear to run the oil pump"


def test_an_entry_after_the_hold_point_is_clear_is_not_marked(part):
    assert _field(part(("wire.done", "yes"), ("oil.done", "yes")), "done")["early"] == ""


def test_the_mark_stays_when_the_hold_point_is_clear_later(part):
    assert _field(part(("oil.done", "yes"), ("wire.done", "yes")), "done")["early"] != ""


def test_entered_again_after_the_hold_point_it_is_no_longer_early(part):
    assert (
        _field(
            part(("oil.done", "yes"), ("wire.done", "yes"), ("oil.done", "no", "looked again")),
            "done",
        )["early"]
        == ""
    )


def test_what_was_entered_while_a_hold_point_was_open_again_is_marked(part):
    found = part(
        ("wire.done", "yes"),
        ("wire.done", "no", "found loose"),
        ("oil.done", "yes"),
        ("wire.done", "yes", "tightened"),
    )
    assert _field(found, "done")["early"] != ""


def test_a_waiver_clears_the_hold_point_for_later_entries(part):
    assert (
        _field(
            part(
                ("wire.done", "no"),
                ("waiver.wire.done", "temporary supply for the test"),
                ("oil.done", "yes"),
            ),
            "done",
        )["early"]
        == ""
    )


def test_the_first_stages_are_never_early(part):
    assert _field(part(("wire.done", "yes"), name="wire"), "done")["early"] == ""


def test_a_stage_two_hold_points_on_waits_for_the_nearer_one_with_all_before_it(part):
    assert (
        _field(part(("wire.done", "yes"), ("run.done", "yes"), name="run"), "done")["early"]
        == "entered before it was clear to turn the shaft"
    )
    assert (
        _field(
            part(("wire.done", "yes"), ("oil.done", "yes"), ("run.done", "yes"), name="run"), "done"
        )["early"]
        == ""
    )


def test_a_stage_that_may_be_worked_at_any_time_is_not_marked(part):
    free = {**STAGES, "oil": replace(STAGES["oil"], after="")}
    assert _field(part(("oil.done", "yes"), stages=free), "done")["early"] == ""


def test_a_field_taken_before_the_step_is_not_marked(part):
    assert _field(part(("oil.cold", "20")), "cold")["early"] == ""


def test_rows_and_pasted_blocks_are_marked(part):
    tables = {
        t["name"]: t
        for t in part(
            ("oil.rows.1.place", "a"),
            ("oil.trend", "1 s"),
            ("wire.done", "yes"),
            ("oil.rows.2.place", "b"),
        )["entered_tables"]
    }
    assert tables["rows"]["early"] == ["row 1: entered before it was clear to run the oil pump"]
    assert tables["trend"]["early"] == ["entered before it was clear to run the oil pump"]


def test_the_stage_says_how_many_entries_were_early(part):
    said = part(("oil.done", "yes"), ("oil.rows.1.place", "a"))["remarks"]
    assert len(said) == 1 and said[0].startswith("2 entries ") and "run the oil pump" in said[0]
    assert part(("wire.done", "yes"), ("oil.done", "yes"))["remarks"] == []


def test_the_overview_counts_them_for_each_stage(make_job, put, assess):
    job = make_job(stages=STAGES)
    put(job, "oil.done", "yes")
    assert {
        line["stage"]: line["early"]
        for line in (payload.stage_line(assess(job), name) for name in STAGES)
    } == {"wire": 0, "oil": 1, "run": 0}


def test_a_hold_point_without_stages_is_not_waited_for(part):
    assert _field(part(("oil.done", "yes"), stages={"oil": STAGES["oil"]}), "done")["early"] == ""


def test_an_early_entry_counts_for_its_verdict_all_the_same(make_job, put, verdict_of):
    job = make_job(stages=STAGES)
    put(job, "oil.done", "yes")
    assert verdict_of(job, "oil.done").settled


def test_a_long_stage_asks_for_the_past_once(make_job, put, assess, monkeypatch):
    looked = []
    monkeypatch.setattr(
        Assessment, "_was_passed", lambda self, hold, seq: looked.append((hold.name, seq)) or False
    )
    job = make_job(stages=STAGES)
    for n in range(1, 50):
        put(job, f"oil.rows.{n}.place", "a")
    assert len(assess(job).early) == 49 and len(set(looked)) == 1


def test_what_was_worked_out_of_the_past_is_not_worked_out_again(tmp_path, make_job, monkeypatch):
    made = make_job(stages=STAGES)
    monkeypatch.setattr(assess_, "_REMEMBERED", {})
    entries = [
        Entry("oil.done", "yes", who="A", seq=1, digest="d1"),
        Entry("run.done", "yes", who="A", seq=2, digest="d2"),
    ]
    judged = []
    counting = {
        name: replace(stage, judge=lambda *a, j=stage.judge, n=name: judged.append(n) or j(*a))
        for name, stage in STAGES.items()
    }
    for upto in (1, 2):
        Assessment(made.machine, made.limits, counting, assess_.State(tuple(entries[:upto]))).early  # noqa: B018
    first = len(judged)
    Assessment(made.machine, made.limits, counting, assess_.State(tuple(entries))).early  # noqa: B018
    assert len(judged) - first == len(STAGES)  # the present only


def test_other_limits_are_judged_anew(make_job, monkeypatch):
    monkeypatch.setattr(assess_, "_REMEMBERED", {})
    entries = (
        Entry("wire.done", "yes", who="A", seq=1, digest="d1"),
        Entry("oil.done", "yes", who="A", seq=2, digest="d2"),
    )
    strict = {
        **STAGES,
        "wire": replace(
            STAGES["wire"],
            judge=lambda machine, limits, found: Findings(
                verdicts=(
                    confirm(
                        found, "done", "wire.done", "x", good="", bad="", next_step="", wanted=False
                    ),
                )
            ),
        ),
    }
    made = make_job(stages=STAGES)
    assert Assessment(made.machine, made.limits, STAGES, assess_.State(entries)).early == {}
    assert set(Assessment(made.machine, made.limits, strict, assess_.State(entries)).early) == {2}


def test_jobs_on_disk_are_marked_alike(tmp_path):
    (tmp_path / "book.ipynb").write_text("{}", encoding="utf-8")
    job = Job.create(
        tmp_path / "job", PLANT / "CH-1.toml", tmp_path / "book.ipynb", who="A. Tester"
    )
    job.record(Entry("oil.done", "yes", who="A. Tester"))
    job.record(Entry("wire.done", "yes", who="A. Tester"))
    job.record(Entry("oil.cold", "20", "°C", who="A. Tester"))
    found = Assessment(job.machine, job.limits, STAGES, job.state(), job.system).early
    assert [job.state().entries[seq - 1].what for seq in found] == ["oil.done"]
