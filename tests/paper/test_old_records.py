"""A record that an earlier version printed, and two people signed, opens and verifies for good.

`records/signed-2026-11.pdf` is the demonstration's record as startkit 0.1.0 printed and signed it.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from startkit.cli import main
from startkit.cli.output import PARTLY
from startkit.paper import certificates, evidence
from startkit.paper.verifying import verdict_comparison, verification
from startkit.paper.verifying.job_import import restore_job

RECORDS = Path(__file__).parent / "records"
OLD = RECORDS / "signed-2026-11.pdf"
# What later versions give otherwise on purpose is listed with its reason in
# startkit/paper/verifying/corrected.toml; nothing else may differ.
VERDICTS = 185


@pytest.fixture(scope="module")
def found() -> verification.Verification:
    trust = [
        der
        for name in ("technician", "witness")
        for der in certificates.vouchers(RECORDS / f"{name}-2026-11.crt")
    ]
    return verification.verify(OLD, trust, ["owner's witness"], beside=False)


def test_it_is_valid_as_far_as_another_version_can_check(found):
    assert found.outcome == "valid as far as checked", found.lines()
    assert [each.trusted for each in found.signatures] == [True, True]
    assert found.lines()[-1].startswith("VALID as far as checked")
    assert any("how the pages look" in each for each in found.unchecked)


def test_its_outcomes_figures_limits_and_entries_are_as_printed(found):
    part = next(each for each in found.parts if each.name == "verdicts")
    assert part.mark == verification.GOOD, part.said
    assert "printed by 0.1.0" in part.said[0] and "as printed" in part.said[0]


def test_no_verdict_is_another_but_those_corrected_on_purpose(tmp_path):
    carried = evidence.of_pdf(OLD.read_bytes())
    derived = verdict_comparison.held_against(
        carried, verdict_comparison.restored(carried, tmp_path)
    )
    across = verdict_comparison.across_versions(derived.differences, "0.1.0")
    assert not across.contradicting, [str(each) for each in across.contradicting]
    assert derived.verdicts >= VERDICTS


def test_a_correction_excuses_what_it_names_and_for_older_records_only():
    def difference(key: str, what: str) -> verdict_comparison.Difference:
        return verdict_comparison.Difference("Verdict", what, "1", "2", True, key=key)

    across = verdict_comparison.across_versions(
        [difference("lube.margin", "uncertainty"), difference("lube.margin", "outcome")], "0.1.0"
    )
    assert len(across.corrected) == 1 and [e.what for e in across.contradicting] == ["outcome"]
    now = verdict_comparison.across_versions([difference("lube.margin", "uncertainty")], "9.0.0")
    assert not now.corrected and len(now.contradicting) == 1


def test_a_table_that_asks_for_more_columns_is_the_same_table_while_they_are_empty():
    def table(heads: str, *rows: str) -> dict[str, object]:
        columns = [{"label": head} for head in heads]
        return {"name": "starts", "columns": columns, "rows": [list(row) for row in rows]}

    def differing(now: dict[str, object]) -> list[str]:
        before = {"tables": [table("ab", "12")]}
        found = verdict_comparison.compared(before, {"tables": [now]}, "First start")
        return [each.what for each in found]

    assert differing({**table("acb"), "rows": [["1", "", "2"]]}) == []
    assert differing({**table("acb"), "rows": [["1", "9", "2"]]})
    assert differing({**table("acb"), "rows": [["1", "", "3"]]})


def test_a_stage_that_asks_for_more_may_be_incomplete_and_no_other():
    def difference(key: str, one_sided: bool) -> verdict_comparison.Difference:
        return verdict_comparison.Difference("V", "outcome", "pass", "open", True, one_sided, key)

    grown = difference("handover.unlocked", True)
    complete = [difference(f"{stage}.complete", False) for stage in ("handover", "water")]
    across = verdict_comparison.across_versions([grown, *complete], "0.1.0")
    assert [each.key for each in across.contradicting] == ["water.complete"]


def test_its_exit_status_says_that_not_all_was_checked():
    result = CliRunner().invoke(main, ["verify", str(OLD), "--json"])
    data = json.loads(result.stdout)
    assert result.exit_code == PARTLY
    assert data["valid"] is False and data["outcome"] == "valid as far as checked"
    assert data["unchecked"]


def test_a_job_is_made_from_it(tmp_path):
    job = restore_job(OLD, tmp_path / "CH-1", "R. Calder")
    assert job.machine.machine.tag == "CH-1" and len(job.state().entries) >= 930
