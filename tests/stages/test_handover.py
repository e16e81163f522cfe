"""Stage Handover: settings, open items with their owners, statements, the baseline."""

from __future__ import annotations

import pytest

from startkit.procedure.payload import handover_part, stage_part
from startkit.stages.first_start import STAGE as FIRST_START
from startkit.stages.handover import STAGE
from startkit.stages.lube import STAGE as LUBE
from startkit.stages.setup import STAGE as SETUP
from startkit.stages.trips import STAGE as TRIPS
from startkit.verdict import Outcome

GOOD = {
    "handover.settings.1.item": "Overcurrent trip",
    "handover.settings.1.as_found": "108 %",
    "handover.settings.1.as_left": "108 %",
    "handover.settings.1.by": "T. Ekman",
    "handover.nothing_open": "no",
    "handover.open_items.1.item": "Insulate the oil line",
    "handover.open_items.1.owner": "O. Brandt",
    "handover.open_items.1.due": "2026-12-20",
    "handover.open_items.1.severity": "within the guarantee",
    "handover.instructed": "yes",
    "handover.instructed_who": "two operators",
    "handover.statements.1.name": "T. Ekman",
    "handover.statements.1.role": "technician",
    "handover.statements.1.statement": "I took the readings.",
    "handover.statements.1.date": "2026-11-26",
    "handover.statements.2.name": "O. Brandt",
    "handover.statements.2.role": "owner's witness",
    "handover.statements.2.statement": "I saw it run.",
    "handover.statements.2.date": "2026-11-26",
    "setup.people.1.name": "T. Ekman",
    "setup.people.1.role": "technician",
    "setup.people.2.name": "O. Brandt",
    "setup.people.2.role": "owner's witness",
}


@pytest.fixture
def job(make_job, put):
    def make(changes=None, drop=()):
        made = make_job(
            stages={
                "setup": SETUP,
                "lube": LUBE,
                "first_start": FIRST_START,
                "trips": TRIPS,
                "handover": STAGE,
            }
        )
        for what, value in {**GOOD, **(changes or {})}.items():
            if what not in drop:
                put(made, what, value)
        return made

    return make


def test_a_complete_handover_passes_every_verdict(job, assess):
    assert {
        v.key: v.sentence
        for v in assess(job()).findings("handover").verdicts
        if v.outcome is not Outcome.PASS
    } == {}


def test_an_empty_stage_is_open_everywhere(make_job, assess):
    found = assess(make_job(stages={"setup": SETUP, "handover": STAGE})).findings("handover")
    assert {v.outcome for v in found.verdicts} == {Outcome.OPEN}


@pytest.mark.parametrize(
    ("drop", "key"),
    [
        ("handover.settings.1.as_left", "settings"),
        ("handover.settings.1.by", "settings"),
        ("handover.open_items.1.owner", "open_items"),
        ("handover.open_items.1.due", "open_items"),
        ("handover.open_items.1.severity", "open_items"),
        ("handover.nothing_open", "open_items"),
        ("handover.instructed", "instructed"),
        ("handover.statements.1.statement", "technician"),
        ("handover.statements.2.date", "witness"),
        ("handover.statements.2.name", "witness"),
        ("setup.people.2.role", "witness"),
    ],
)
def test_each_missing_part_leaves_it_open(job, verdict_of, drop, key):
    assert verdict_of(job(drop=(drop,)), f"handover.{key}").outcome is Outcome.OPEN


@pytest.mark.parametrize(
    ("changes", "key", "outcome"),
    [
        ({"handover.nothing_open": "yes"}, "open_items", Outcome.OPEN),
        ({"handover.open_items.1.due": "next week"}, "open_items", Outcome.OPEN),
        ({"handover.open_items.1.due": "2026-11-24"}, "open_items", Outcome.OPEN),
        ({"handover.open_items.1.due": "2026-11-25"}, "open_items", Outcome.PASS),
        ({"handover.open_items.1.severity": "before handing over"}, "before", Outcome.FAIL),
        (
            {
                "handover.open_items.1.severity": "before handing over",
                "handover.open_items.1.state": "closed",
            },
            "before",
            Outcome.OPEN,
        ),
        (
            {
                "handover.open_items.1.severity": "before handing over",
                "handover.open_items.1.state": "closed",
                "handover.open_items.1.closed_by": "T. Ekman",
            },
            "before",
            Outcome.PASS,
        ),
        ({"handover.instructed": "no"}, "instructed", Outcome.FAIL),
        ({"handover.statements.2.name": "A. Stranger"}, "witness", Outcome.OPEN),
    ],
)
def test_what_does_not_fit_is_seen(job, verdict_of, changes, key, outcome):
    assert verdict_of(job(changes), f"handover.{key}").outcome is outcome


def test_nothing_open_beside_a_waiver_is_unproven(job, put, verdict_of):
    made = job(
        {"handover.nothing_open": "yes"}, drop=tuple(key for key in GOOD if ".open_items." in key)
    )
    assert verdict_of(made, "handover.open_items").outcome is Outcome.PASS
    put(made, "waiver.lube.heater", "Heated by steam")
    assert verdict_of(made, "handover.open_items").outcome is Outcome.UNPROVEN


def test_settings_of_other_stages_are_gathered(job, put, assess):
    made = job()
    for what, value, unit in (
        ("lube.set_point_found", "160", "kPa"),
        ("lube.set_point_left", "150", "kPa"),
        ("trips.causes.1.trip", "1", ""),
        ("trips.causes.1.changed", "Current limit", ""),
        ("trips.causes.1.as_found", "100", "%"),
        ("trips.causes.1.as_left", "80", "%"),
        ("trips.causes.1.by", "T. Ekman", ""),
    ):
        put(made, what, value, unit)
    table = next(t for t in assess(made).findings("handover").tables if "other stages" in t.title)
    assert ("Lubrication", "Set point", "160 kPa", "150 kPa", "A. Tester") in table.rows
    assert ("Trips", "Current limit", "100 %", "80 %", "T. Ekman") in table.rows


def test_the_baseline_holds_every_figure_with_a_key(job, put, assess):
    made = job()
    put(made, "first_start.run_up_time", "19", "s")
    found = assess(made)
    table = next(
        t for t in found.findings("handover").tables if t.title == "Baseline for the next visit"
    )
    assert ("First start", "Run-up time", "19.0 s", "–", "sheet 20.0 s") in table.rows
    assert len(table.rows) == sum(
        bool(f.key)
        for name in ("setup", "lube", "first_start", "trips")
        for f in found.findings(name).figures
    )


def test_the_handover_part_carries_the_words_of_the_people(job, assess):
    found = {s["name"]: s["statement"] for s in handover_part(assess(job()))["statements"]}
    assert found == {"T. Ekman": "I took the readings.", "O. Brandt": "I saw it run."}
    without = {
        s["name"]: s["statement"]
        for s in handover_part(assess(job(drop=("handover.statements.2.statement",))))["statements"]
    }
    assert "saw, measured and did" in without["O. Brandt"]


def test_it_can_be_drawn(job, assess):
    assert stage_part(assess(job()), "handover")["entered_tables"]
