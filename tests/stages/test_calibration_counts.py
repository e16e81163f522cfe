"""The calibration and the accuracy of every instrument reach every verdict that rests on it.

Shown on the demonstration's whole job: each instrument is made overdue, then much less accurate.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from startkit.facts.job import Job, State
from startkit.facts.journal import Entry
from startkit.procedure.assessment import Assessment
from startkit.procedure.registry import for_job
from startkit.verdict import COVERAGE, Outcome, Verdict
from workbook.demo import WHOLE, build

WORSE = 20
# Read off a series, with why the accuracy of what it shows is not what makes the figure uncertain.
BY_SERIES = {
    "first_start.run_up_time": "a time, at a share of the current that the same instrument read",
    "lube.steadiness": "how much the readings scatter; a constant error is in all of them",
    "lube.time_to_set_point": "a time; what the transducers' error shifts it by is not in it",
    "lube.zero": "the error of the transducers itself, at a difference that is nil",
    "vanes.closing_time": "a time, at the ends of the stroke",
    "vanes.hysteresis": "a difference of two positions read by one feedback",
    "vanes.opening_time": "a time, at the ends of the stroke",
    "vanes.switch_differential": "a difference of two positions read by one feedback",
    "vanes.switch_spread": "how much positions read by one feedback scatter",
    "vanes.zero_drift": "a difference of two positions read by one feedback",
}


@dataclass(frozen=True)
class Judged:
    """A whole job's verdicts, and the instruments that were named with its entries."""

    verdicts: dict[str, Verdict]
    instruments: dict[str, str]  # by item

    def passing(self) -> dict[str, Verdict]:
        """Those that pass and whose limit is a number."""
        return {
            key: v
            for key, v in self.verdicts.items()
            if v.outcome is Outcome.PASS and (v.low is not None or v.high is not None)
        }

    def tags(self, verdict: Verdict) -> set[str]:
        """The instruments that a verdict rests on."""
        return {self.instruments[item] for item in verdict.rests_on if item in self.instruments}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build(tmp_path_factory.mktemp("calibration") / "demo")[WHOLE]


@pytest.fixture(scope="module")
def judged(folder: Path) -> Callable[[Callable[[Entry], Entry]], Judged]:
    """The demonstration's job judged with its entries changed."""
    job = Job(folder, read_only=True)
    stages = for_job(job)

    def judge(change: Callable[[Entry], Entry]) -> Judged:
        # What is remembered of a stage goes by the digests of its entries.
        entries = tuple(
            replace(change(e), digest=f"{change.__name__} {e.digest}") for e in job.state().entries
        )
        seen = Assessment(
            job.machine, job.limits, stages, State(entries), job.system, job.baseline, job.trends
        )
        return Judged(
            {v.key: v for _, v in seen.verdicts()},
            {what: e.instrument for what, e in seen.entries.latest.items() if e.instrument},
        )

    return judge


def as_it_is(entry: Entry) -> Entry:
    return entry


def overdue(entry: Entry) -> Entry:
    is_due = re.fullmatch(r"setup\.instruments\.\d+\.due", entry.what)
    return replace(entry, value="2019-01-01") if is_due and entry.value else entry


def rough(entry: Entry) -> Entry:
    if not re.fullmatch(r"setup\.instruments\.\d+\.(pair_)?accuracy", entry.what):
        return entry
    return replace(entry, value=worse(entry.value))


def worse(accuracy: str) -> str:
    """``"0.5 % of reading + 0.2 A"`` with both its numbers made larger."""
    return re.sub(
        r"(^|\+\s*)([\d.]+)", lambda m: f"{m.group(1)}{float(m.group(2)) * WORSE:g}", accuracy
    )


def test_an_accuracy_is_made_worse_term_by_term() -> None:
    assert worse("0.5 % of reading + 0.2 A") == "10 % of reading + 4 A"


def test_the_demonstration_passes_as_it_is(judged) -> None:
    seen = judged(as_it_is)
    assert len(seen.passing()) > 80
    assert len({tag for v in seen.passing().values() for tag in seen.tags(v)}) > 8


def test_every_verdict_on_a_number_names_what_it_rests_on(judged) -> None:
    silent = {key for key, v in judged(as_it_is).passing().items() if not v.rests_on}
    assert silent == set()


def test_nothing_that_rests_on_an_overdue_instrument_passes(judged) -> None:
    seen = judged(overdue)
    late = {key: seen.tags(v) for key, v in seen.passing().items() if seen.tags(v)}
    assert late == {}


def test_a_rough_instrument_proves_only_what_is_far_from_its_limit(judged) -> None:
    before, after = judged(as_it_is), judged(rough)
    for key, verdict in before.passing().items():
        now = after.verdicts[key]
        if not before.tags(verdict) or verdict.uncertainty is None or key in BY_SERIES:
            continue
        assert now.uncertainty is not None and now.uncertainty > verdict.uncertainty, key
        if gap_of(now) < COVERAGE * now.uncertainty.to_base_units().magnitude:
            assert now.outcome is not Outcome.PASS, key


def test_a_rough_instrument_makes_many_verdicts_unproven(judged) -> None:
    before, after = judged(as_it_is), judged(rough)
    lost = set(before.passing()) - set(after.passing())
    assert len(lost) >= 20


def gap_of(verdict: Verdict) -> float:
    """Distance of a reading from its nearer limit [SI base unit]."""
    value = verdict.reading.to_base_units().magnitude
    return min(
        abs(value - side.to_base_units().magnitude)
        for side in (verdict.low, verdict.high)
        if side is not None
    )
