"""Memory: a stage is judged again when something that it looked at has changed, and only then."""

from __future__ import annotations

import threading
from dataclasses import replace

import pytest

from startkit.facts.baseline import Baseline
from startkit.facts.job import State
from startkit.facts.journal import Entry
from startkit.procedure import assessment, memory
from startkit.procedure.assessment import Assessment
from startkit.procedure.stage import Field, Figure, Findings, Stage
from startkit.stages.setup import STAGE as SETUP
from startkit.units import SI, Q
from startkit.verdict import Outcome, Verdict

TRENDS: dict = {}


@pytest.fixture(autouse=True)
def forgotten(monkeypatch):
    monkeypatch.setattr(memory, "_MEMORIES", [])


class Bench:
    """A job of small stages that count how often they are judged."""

    def __init__(self, made):
        self.made, self.judged = made, []
        self.stages = {
            "setup": SETUP,
            **{name: self._stage(name, look) for name, look in LOOKS.items()},
        }
        self.entries: list[Entry] = []

    def _stage(self, name, look):
        def judge(machine, limits, entries):
            self.judged.append(name)
            length = float(len(str(look(entries))))
            said = Verdict(
                key=f"{name}.said", title="Said", outcome=Outcome.PASS, sentence=str(length)
            )
            return Findings(
                entries.if_shown(
                    lambda: (Figure("seen", Q(length, "dimensionless"), key=f"{name}.seen"),)
                ),
                (said,),
            )

        return Stage(name, name, "x", (Field("a", "A"),), judge, order=len(name))

    def put(self, what, value):
        seq = len(self.entries) + 1
        self.entries.append(
            Entry(
                what,
                value,
                who="A",
                seq=seq,
                at="2026-11-25T08:00:00+00:00",
                digest=f"digest {seq}",
            )
        )

    def assess(self, upto=None, **changes):
        things = {
            "limits": self.made.limits,
            "system": SI,
            "baseline": Baseline(),
            "stages": self.stages,
            "trends": TRENDS,
            **changes,
        }
        return Assessment(
            machine=self.made.machine, state=State(tuple(self.entries[:upto])), **things
        )

    def again(self, **changes):
        """The stages that are judged anew now."""
        self.judged.clear()
        found = self.assess(**changes)
        for name in LOOKS:
            found.findings(name)
        return set(self.judged)


LOOKS = {
    "alone": lambda entries: entries.text("a"),
    "asking": lambda entries: entries.of("alone").text("a"),
    "counting": lambda entries: len(entries.job.latest),
    "comparing": lambda entries: entries.job.findings("asking").figures,
    "trending": lambda entries: entries.job.trends,
    "reading_all": lambda entries: [e.value for e in entries.job.state.latest.values()],
    "remembering": lambda entries: entries.job.baseline,
}


@pytest.fixture
def bench(make_job):
    made = Bench(make_job(stages={"setup": SETUP}))
    for name in LOOKS:
        made.put(f"{name}.a", "1")
    assert made.again() == set(LOOKS)
    return made


def test_nothing_is_judged_twice_while_nothing_changes(bench):
    assert bench.again() == set()


def test_an_entry_of_its_own_has_a_stage_judged_again(bench):
    bench.put("counting.a", "2")
    assert bench.again() == {"counting", "reading_all"}


def test_a_stage_that_asked_another_is_judged_with_it(bench):
    bench.put("alone.a", "2")
    assert bench.again() == {"alone", "asking", "comparing", "counting", "reading_all"}


def test_a_stage_that_looked_at_everything_is_judged_after_every_entry(bench):
    bench.put("waiver.alone.a", "why")
    assert bench.again() == {"counting", "reading_all"}


def test_instruments_and_barometer_concern_every_stage(bench):
    bench.put("setup.barometer", "99")
    assert bench.again() == set(LOOKS)


def test_a_trend_that_came_concerns_the_stages_that_look_at_trends(bench):
    bench.put("trend.run", "run.csv")
    assert bench.again() == {"trending", "counting", "reading_all"}


def test_findings_that_another_stage_rests_on_bring_what_they_rest_on(bench):
    bench.put("asking.a", "2")
    assert bench.again() == {"asking", "comparing", "counting", "reading_all"}


def test_other_limits_stages_or_units_start_afresh(bench):
    from startkit.facts.limits import defaults

    assert bench.again(limits=defaults()) == set(LOOKS)
    assert bench.again(system="I-P") == set(LOOKS)
    assert bench.again(stages=dict(bench.stages)) == set(LOOKS)


def test_another_baseline_concerns_only_what_compares(bench):
    from startkit.facts.baseline import BaselineFigure

    other = Baseline(
        {"a.b": BaselineFigure("a.b", "x", Q(1, "kPa"), None, "pressure_difference", "1 kPa")}
    )
    assert bench.again(baseline=other) == {"comparing", "remembering"}


def test_the_past_is_recalled_too(bench):
    bench.put("alone.a", "22")
    bench.again()
    bench.judged.clear()
    assert bench.assess(upto=4).findings("alone").figures[0].value.magnitude == 1
    assert bench.assess().findings("alone").figures[0].value.magnitude == 2
    assert bench.judged == []


def test_a_value_that_came_back_is_judged_by_its_own_entry(bench):
    bench.put("alone.a", "22")
    assert bench.assess().findings("alone").figures[0].value.magnitude == 2
    bench.put("alone.a", "3")
    assert bench.assess().findings("alone").figures[0].value.magnitude == 1


def test_only_the_newest_few_judgements_are_kept(bench):
    for n in range(memory.KEPT + 3):
        bench.put("alone.a", str(n))
        bench.again()
    kept = memory._MEMORIES[0][1]._kept["alone", memory.WHOLE]
    assert len(kept) == memory.KEPT


def test_where_only_verdicts_are_asked_for_nothing_else_is_made(bench):
    bench.put("alone.a", "22")
    found = bench.assess(shown=False).findings("alone")
    assert (found.figures, [v.sentence for v in found.verdicts if v.key == "alone.said"]) == (
        (),
        ["2.0"],
    )
    assert bench.assess().findings("alone").figures[0].value.magnitude == 2


def test_a_whole_judgement_serves_where_only_verdicts_are_asked_for(bench):
    bench.judged.clear()
    assert bench.assess(shown=False).findings("alone").figures
    assert bench.judged == []


def test_verdicts_alone_are_remembered_too(bench):
    bench.put("alone.a", "22")
    bench.judged.clear()
    for _ in range(2):
        bench.assess(shown=False).findings("alone")
    assert bench.judged == ["alone"]


def test_a_stage_that_looks_at_another_sees_the_whole_of_it(bench):
    bench.put("alone.a", "333")
    seen = bench.assess(shown=False).findings("comparing")
    assert [v.sentence for v in seen.verdicts if v.key == "comparing.said"] == [
        v.sentence
        for v in bench.assess().findings("comparing").verdicts
        if v.key == "comparing.said"
    ]


def test_a_stage_that_reads_the_whole_journal_is_never_out_of_date(bench):
    """As a stage from another package may, which knows nothing of what is remembered."""

    def said():
        verdicts = bench.assess().findings("reading_all").verdicts
        return next(v.sentence for v in verdicts if v.key == "reading_all.said")

    bench.put("alone.a", "12")
    before = said()
    bench.put("alone.a", "99 and longer")
    assert said() != before


def test_what_is_remembered_of_hold_points_may_be_emptied_at_any_moment(bench, monkeypatch):
    """Another thread may empty it between two looks."""

    class Emptied(dict):
        def __contains__(self, key):
            found = super().__contains__(key)
            self.clear()
            return found

    monkeypatch.setattr(assessment, "_REMEMBERED", Emptied())
    for _ in range(2):
        assert isinstance(bench.assess().early, dict)


def test_entries_without_digests_are_never_recalled(make_job):
    made = Bench(make_job(stages={"setup": SETUP}))
    made.put("alone.a", "1")
    made.entries = [replace(entry, digest="") for entry in made.entries]
    made.again()
    assert "alone" in made.again()


def test_two_threads_do_not_mix_what_they_look_at(bench):
    """One judgement waits in mid-look while another thread looks elsewhere."""
    inside, go_on, seen = threading.Event(), threading.Event(), {}

    def slow():
        with memory.watched() as names:
            memory.look_at("first")
            inside.set()
            go_on.wait(5)
            memory.look_at("second")
        seen["slow"] = set(names)

    thread = threading.Thread(target=slow)
    thread.start()
    inside.wait(5)
    with memory.watched() as names:
        memory.look_at("elsewhere")
        go_on.set()
        thread.join(5)
    assert names == {"elsewhere"} and seen["slow"] == {"first", "second"}


def test_only_a_few_jobs_are_kept(make_job):
    for _ in range(memory.JOBS + 2):
        made = Bench(make_job(stages={"setup": SETUP}))
        made.put("alone.a", "1")
        made.again()
    assert len(memory._MEMORIES) == memory.JOBS
