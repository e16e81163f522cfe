"""A check list in the job: as a stage of its own, or added to another; every item judged by the
evidence that it wants.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from startkit.errors import SheetError, StartkitError
from startkit.facts import checklists as lists_
from startkit.facts.job import Job
from startkit.facts.journal import Entry
from startkit.procedure import payload, registry
from startkit.procedure.assessment import Assessment
from startkit.procedure.stage import Field, Findings, Stage
from startkit.verdict import Outcome

CRANE = """name = "crane"
title = "Lifting"
purpose = "Whether the load can be lifted."
before = "turn_shaft"
order = 25
source = "company rule 12"
cautions = ["Nobody stands under a load."]
[[items]]
name = "sling"
question = "Slings seen and in date"
evidence = ["yes", "photograph", "signature", "name"]
next = "Do not lift."
[[items]]
name = "hook"
question = "Load on the hook"
evidence = ["number", "text"]
kind = "mass"
low = "100 kg"
high = "2000 kg"
source = "crane's plate"
gate = "load"
[[items]]
name = "leak"
question = "Oil under the hoist"
wanted = "no"
required = false
[[items]]
name = "wind"
question = "Wind at the roof"
evidence = ["number"]
kind = "temperature"
required = false
"""
GOOD = {
    "crane.sling": "yes",
    "crane.sling_photo": "sling.jpg",
    "crane.sling_signature": "sling.png",
    "crane.sling_by": "R. Ortega",
    "crane.hook_number": ("1500", "kg"),
    "crane.hook_text": "at the crane's scale",
}


def read(text=CRANE):
    return lists_._from_text(text, "crane.toml")


@pytest.fixture
def crane(make_job, put):
    def make(changes=None, text=CRANE, base=()):
        stages = registry.ordered(registry.with_lists(base, [read(text)]))
        job = make_job(stages=stages)
        for what, value in {**GOOD, **(changes or {})}.items():
            if value is not None:
                put(job, what, *(value if isinstance(value, tuple) else (value,)))
        return job

    return make


def test_a_list_becomes_a_stage_with_its_title_cautions_and_hold_point(crane):
    stage = crane().stages["crane"]
    assert (stage.title, stage.purpose, stage.before, stage.order, stage.cautions) == (
        "Lifting",
        "Whether the load can be lifted.",
        "turn_shaft",
        25,
        ("Nobody stands under a load.",),
    )


def test_each_evidence_is_a_field_of_its_kind(crane):
    fields = {f.name: f.kind for f in crane().stages["crane"].fields}
    assert fields == {
        "sling": "yes_no",
        "sling_photo": "photo",
        "sling_signature": "signature",
        "sling_by": "person",
        "hook_number": "mass",
        "hook_text": "long_text",
        "leak": "yes_no",
        "wind_number": "temperature",
        "photographs": "photo",
    }


def test_with_all_evidence_every_item_passes(crane, assess):
    assert all(v.settled for v in assess(crane()).findings("crane").verdicts)


@pytest.mark.parametrize(
    ("missing", "told"),
    [
        ("crane.sling", "an answer"),
        ("crane.sling_photo", "the photograph"),
        ("crane.sling_signature", "the signature"),
        ("crane.sling_by", "who confirmed it"),
    ],
)
def test_whatever_is_missing_keeps_the_item_open_and_is_named(crane, verdict_of, missing, told):
    found = verdict_of(crane({missing: None}), "crane.sling")
    assert found.outcome is Outcome.OPEN and told in found.sentence


def test_all_that_is_missing_is_named_at_once(crane, verdict_of):
    said = verdict_of(
        crane({"crane.sling_photo": None, "crane.sling_by": None}), "crane.sling"
    ).sentence
    assert "the photograph, who confirmed it" in said


def test_the_wrong_answer_fails_whatever_else_is_missing(crane, verdict_of):
    found = verdict_of(crane({"crane.sling": "no", "crane.sling_photo": None}), "crane.sling")
    assert (
        found.outcome is Outcome.FAIL
        and found.next_step == "Do not lift."
        and "R. Ortega" in found.sentence
    )


@pytest.mark.parametrize(("answer", "outcome"), [("no", Outcome.PASS), ("yes", Outcome.FAIL)])
def test_an_item_may_want_a_no(crane, verdict_of, answer, outcome):
    assert verdict_of(crane({"crane.leak": answer}), "crane.leak").outcome is outcome


@pytest.mark.parametrize(
    ("value", "outcome"),
    [
        (("99.9", "kg"), Outcome.FAIL),
        (("100", "kg"), Outcome.PASS),
        (("100.1", "kg"), Outcome.PASS),
        (("1999.9", "kg"), Outcome.PASS),
        (("2000", "kg"), Outcome.PASS),
        (("2000.1", "kg"), Outcome.FAIL),
        (("1500", "kPa"), Outcome.OPEN),
        (None, Outcome.OPEN),
    ],
)
def test_a_number_is_judged_against_the_lists_limit(crane, verdict_of, value, outcome):
    found = verdict_of(crane({"crane.hook_number": value}), "crane.hook")
    assert found.outcome is outcome
    if outcome in (Outcome.PASS, Outcome.FAIL):
        assert (
            found.source == "check list crane: crane's plate"
            and "at the crane's scale" in found.sentence
        )


def test_a_number_without_limit_passes_once_it_is_taken(crane, verdict_of):
    assert (
        verdict_of(crane({"crane.wind_number": ("12", "°C")}), "crane.wind").sentence
        == "Taken. Reading 12.0 °C."
    )


def test_an_optional_item_counts_only_once_it_was_touched(crane, assess):
    assert "crane.leak" not in {v.key for v in assess(crane()).findings("crane").verdicts}


def test_an_item_due_later_neither_blocks_nor_leaves_its_stage_incomplete(crane, assess):
    found = assess(crane({"crane.hook_number": None, "crane.hook_text": None}))
    assert found.hold("turn_shaft").is_clear
    assert [v.key for v in found.hold("load").in_the_way] == ["crane.hook"]


def test_the_item_prints_the_lists_source(crane, verdict_of):
    assert verdict_of(crane(), "crane.sling").source == "company rule 12"


def test_a_list_is_shown_and_printed_like_any_stage(crane, assess):
    part = payload.stage_part(assess(crane()), "crane")
    assert part["outcome"] == "pass" and {f["name"] for f in part["entered"]} >= {
        "sling",
        "hook_number",
    }


def test_a_waiver_settles_an_item(crane, put, verdict_of):
    job = crane({"crane.sling": "no"})
    put(job, "waiver.crane.sling", "lifted by hand, four people")
    assert verdict_of(job, "crane.sling").outcome is Outcome.WAIVED


# --- added to a stage ----------------------------------------------------------------------------

BASE = Stage(
    "roof",
    "Roof",
    "A stage to add to.",
    (Field("hatch", "Hatch"),),
    lambda machine, limits, entries: Findings(remarks=("ours",)),
    before="oil_pump",
    order=20,
    cautions=("Mind the edge.",),
)
ADDED = CRANE.replace('before = "turn_shaft"\n', 'stage = "roof"\n')


def test_a_list_can_be_added_to_a_stage(crane, assess, put):
    job = crane(text=ADDED, base=[BASE])
    for what, value in {
        "roof.hatch": "shut",
        "roof.sling": "yes",
        "roof.sling_photo": "a",
        "roof.sling_signature": "b",
        "roof.sling_by": "R. Ortega",
    }.items():
        put(job, what, value)
    found = assess(job)
    assert list(job.stages) == ["roof"] and job.stages["roof"].cautions == (
        "Mind the edge.",
        "Nobody stands under a load.",
    )
    assert found.findings("roof").remarks == ("ours",)
    assert {v.key: v.outcome for v in found.findings("roof").verdicts} == {
        "roof.complete": Outcome.PASS,
        "roof.sling": Outcome.PASS,
        "roof.hook": Outcome.OPEN,
    }


def test_the_added_items_are_due_with_the_stage(crane, assess):
    assert "roof.sling" in {
        v.key for v in assess(crane(text=ADDED, base=[BASE])).hold("oil_pump").in_the_way
    }


def test_a_field_that_the_stage_has_already_is_refused_with_its_line():
    with pytest.raises(SheetError, match="'hatch'") as refused:
        registry.with_lists([BASE], [read(ADDED.replace('name = "leak"', 'name = "hatch"'))])
    assert refused.value.where.startswith("crane.toml, line ")


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('"turn_shaft"', '"lunch"', "'lunch' is not a hold point"),
        ('gate = "load"', 'gate = "lunch"', "'lunch' is not a hold point"),
        ('name = "crane"', 'name = "roof"', "'roof'"),
        ('before = "turn_shaft"', 'stage = "cellar"', "there is no stage 'cellar'"),
    ],
)
def test_a_list_that_does_not_fit_the_stages_is_refused_with_file_and_line(old, new, told):
    with pytest.raises(SheetError, match=told) as refused:
        registry.with_lists([BASE], [read(CRANE.replace(old, new, 1))])
    assert "line " in refused.value.where and refused.value.remedy


@pytest.mark.parametrize(("work", "there"), [("overhauled", False), ("new", True)])
def test_a_list_for_one_kind_of_work_is_left_out_of_the_other(make_job, work, there):
    stages = registry.ordered(registry.with_lists([BASE], [replace(read(ADDED), work=work)]))
    job = make_job(stages=stages)  # a new machine
    assert ("sling" in {f.name for f in stages["roof"].fields_for(job.machine)}) is there


# --- in a job's folder ---------------------------------------------------------------------------


@pytest.fixture
def folder(tmp_path):
    plant = Path(__file__).parents[2] / "workbook" / "plant" / "machines"
    (tmp_path / "book.ipynb").write_text("{}", encoding="utf-8")
    job = Job.create(
        tmp_path / "job", plant / "CH-1.toml", tmp_path / "book.ipynb", who="A. Tester"
    )
    (job.folder / "checklists").mkdir()
    return job.folder


def test_a_companys_list_in_the_job_folder_is_a_stage_of_that_job(folder):
    (folder / "checklists" / "crane.toml").write_text(CRANE, encoding="utf-8")
    job = Job(folder)
    assert "crane" in registry.for_job(job) and "crane" not in registry.stages()


def test_its_entries_count_for_the_hold_point(folder):
    (folder / "checklists" / "crane.toml").write_text(CRANE, encoding="utf-8")
    job = Job(folder)
    job.record(Entry("crane.sling", "no", who="A. Tester"))
    found = Assessment(job.machine, job.limits, registry.for_job(job), job.state(), job.system)
    assert "crane.sling" in {v.key for v in found.hold("turn_shaft").in_the_way}


def test_a_company_can_write_its_own_confirmations_over_the_shipped_ones(folder):
    (folder / "checklists" / "ours.toml").write_text(
        'name = "safety_confirmed"\ntitle = "Our confirmations"\nstage = "safety"\n[[items]]\nname'
        ' = "permit"\nquestion = "Permit to work is open"\nevidence = ["text"]\n',
        encoding="utf-8",
    )
    fields = {f.name for f in registry.for_job(Job(folder))["safety"].fields}
    assert "permit_text" in fields and "lock_out" not in fields


def test_a_faulty_list_in_the_job_folder_is_one_sentence(folder):
    (folder / "checklists" / "crane.toml").write_text(
        CRANE.replace('"mass"', '"heft"'), encoding="utf-8"
    )
    with pytest.raises(
        StartkitError, match=r"crane\.toml, line \d+.*'heft' is not a kind of reading"
    ):
        registry.for_job(Job(folder))
