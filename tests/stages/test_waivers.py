"""Waivers and what does not apply: who may, what never, and what is said of a reason that does not
count.
"""

from __future__ import annotations

import pytest

from startkit.errors import SheetError
from startkit.facts.exemptions import defaults
from startkit.procedure.waivers import Waivers
from startkit.verdict import Outcome, Verdict

PEOPLE = {"B. Jansen": "technician", "K. Omar": "commissioning_engineer"}
REASON = "strainer is due next week"


def found(key: str = "water.evaporator_strainer_drop", outcome: Outcome = Outcome.FAIL) -> Verdict:
    return Verdict(
        key=key, title="Drop", outcome=outcome, sentence="25 kPa: above 20 kPa.", next_step="Clean."
    )


def waived(verdict: Verdict, who: str, why: str = REASON, people=PEOPLE) -> Verdict:
    return Waivers(defaults(), people, waived={verdict.key: (who, why)}).laid_over(verdict)


def lacking(verdict: Verdict, who: str, people=PEOPLE) -> Verdict:
    return Waivers(defaults(), people, not_applicable={verdict.key: (who, REASON)}).laid_over(
        verdict
    )


def test_a_waiver_names_who_and_why_and_keeps_what_was_found():
    judged = waived(found(), "K. Omar")
    assert judged.outcome is Outcome.WAIVED and judged.next_step == ""
    assert all(part in judged.sentence for part in ("K. Omar", REASON, "25 kPa"))


@pytest.mark.parametrize(
    ("who", "why", "said"),
    [
        ("B. Jansen", REASON, "may waive"),
        ("N. Fairweather", REASON, "not among the people"),
        ("K. Omar", "ok", "not a sentence"),
    ],
)
def test_a_waiver_that_does_not_count_leaves_the_verdict_and_says_why(who, why, said):
    judged = waived(found(), who, why)
    assert judged.outcome is Outcome.FAIL and said in judged.sentence


@pytest.mark.parametrize(
    "key",
    [
        "vanes.closed_proof",
        "first_start.closed_proof",
        "safety.lock_out",
        "safety.relief_devices",
        "lube.trip",
    ],
)
@pytest.mark.parametrize("outcome", [Outcome.FAIL, Outcome.UNPROVEN, Outcome.OPEN])
def test_what_protects_people_and_the_machine_is_never_waived_nor_lacking(key, outcome):
    assert waived(found(key, outcome), "K. Omar").outcome is outcome
    assert lacking(found(key, outcome), "K. Omar").outcome is outcome


def test_a_machine_may_lack_only_what_is_declared_and_was_not_found_wrong():
    meter, flow = "water.evaporator_meter", "water.evaporator_flow"
    assert lacking(found(meter, Outcome.OPEN), "B. Jansen").outcome is Outcome.NA
    assert lacking(found(meter, Outcome.FAIL), "B. Jansen").outcome is Outcome.FAIL
    assert lacking(found(meter, Outcome.UNPROVEN), "B. Jansen").outcome is Outcome.UNPROVEN
    assert lacking(found(flow, Outcome.OPEN), "B. Jansen").outcome is Outcome.OPEN
    assert lacking(found(meter, Outcome.OPEN), "N. Fairweather").outcome is Outcome.OPEN


def test_a_pass_stays_a_pass():
    passed = found(outcome=Outcome.PASS)
    assert waived(passed, "K. Omar") is passed and lacking(passed, "K. Omar") is passed


def test_a_specification_changes_who_may_waive_and_adds_what_cannot_be_waived():
    rules = defaults().changed_by(
        {"may_waive": ["technician"], "never_waived": ["water.*"]}, "specification.toml"
    )
    assert rules.may_waive == ("technician",) and not rules.can_be_waived("water.evaporator_flow")
    assert not rules.can_be_waived("lube.trip") and rules.can_be_waived("load_up.heat_balance")


@pytest.mark.parametrize("table", [{"may_wave": []}, {"may_waive": "technician"}])
def test_a_faulty_list_of_exemptions_names_its_file(table):
    with pytest.raises(SheetError, match=r"specification\.toml"):
        defaults().changed_by(table, "specification.toml, line 3")


def test_a_hold_point_that_is_clear_by_waiver_says_so(make_job, put, assess):
    from tests.stages.test_judging import STAGES

    job = make_job(stages=STAGES)
    put(job, "bench.drop", "25", "kPa")
    put(job, "waiver.bench.drop", REASON)
    holds = [hold for hold in assess(job).holds() if hold.waived]
    assert all("waiver" in hold.headline for hold in holds if hold.is_clear)
