"""Readings at a load that cannot be true together: each is said with the reading that is likely
wrong, and none of its figures is kept.
"""

from __future__ import annotations

import pytest

from startkit.stages.first_start import STAGE as FIRST_START
from startkit.stages.load_up import STAGE
from startkit.stages.setup import STAGE as SETUP
from startkit.units import Q
from startkit.verdict import Outcome

from .loads import put_instruments, put_load, readings

KEY = "load_up.together"
SOUND = readings()


def _of(name: str) -> float:
    return float(SOUND[name][0])


def _moved(name: str, much: float) -> dict[str, tuple[str, str]]:
    return {name: (f"{_of(name) + much:.6f}", SOUND[name][1])}


@pytest.fixture
def job(make_job, put):
    """One load with instruments, some of its readings changed."""

    def make(changed=None, index=1, made=None, **asked):
        made = made or make_job(
            stages={"setup": SETUP, "first_start": FIRST_START, "load_up": STAGE}
        )
        if index == 1:
            put_instruments(put, made)
        put_load(put, made, index, named=True, changed=changed, **asked)
        return made

    return make


def test_sound_readings_pass_and_their_figures_are_kept(job, verdict_of, assess):
    made = job()
    assert verdict_of(made, KEY).outcome is Outcome.PASS
    keys = {figure.key for figure in assess(made).findings("load_up").figures}
    assert "load_up.evaporator_approach" in keys


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        (
            _moved("evaporator_pressure", 101.3),
            "evaporator pressure is likely wrong; it fits as abs",
        ),
        (_moved("evaporator_pressure", 1400), "warmer than the chilled water"),
        (_moved("condenser_pressure", -101.3), "it fits as gauge entered as absolute"),
        (_moved("condenser_pressure", 7000), "does not saturate"),
        (_moved("liquid_temperature", -25), "liquid temperature is likely wrong"),
        (_moved("suction_temperature", -20), "colder than saturation"),
        (_moved("suction_temperature", 20), "warmer than the water that boils"),
        (_moved("discharge_temperature", -20), "colder than saturation"),
        (_moved("discharge_temperature", -9), "loss-free"),
        (_moved("discharge_temperature", 60), "far hotter"),
        (_moved("power", -230), "without any loss"),
        (_moved("evaporator_flow", 40), "more than the compressor can move"),
        (_moved("current", -350), "more than 130.0 A can carry"),
        (_moved("current", 1500), "far too much"),
        (_moved("current", -440), "can carry"),
        (
            {
                "chilled_entering": SOUND["chilled_leaving"],
                "chilled_leaving": SOUND["chilled_entering"],
            },
            "swapped",
        ),
        (
            {
                "condenser_pressure": SOUND["evaporator_pressure"],
                "evaporator_pressure": SOUND["condenser_pressure"],
            },
            "gauges are swapped",
        ),
        ({"vane_position": ("8", "%")}, "vane position is likely wrong"),
    ],
)
def test_what_physics_forbids_is_said_and_none_of_its_figures_is_kept(
    job, verdict_of, assess, changed, words
):
    made = job(changed)
    found = verdict_of(made, KEY)
    assert found.outcome is Outcome.FAIL and words in found.sentence
    findings = assess(made).findings("load_up")
    assert not any(figure.key for figure in findings.figures)
    assert {v.outcome for v in findings.verdicts if v.key == "load_up.evaporator_approach"} == {
        Outcome.OPEN
    }


def test_a_contradiction_is_claimed_beyond_three_standard_uncertainties(job, assess, verdict_of):
    figures = assess(job()).findings("load_up").figures
    u = next(f.u for f in figures if f.key == "load_up.evaporator_approach")
    spread = u.to("delta_degC").magnitude
    for many, outcome in ((2.7, Outcome.PASS), (3.3, Outcome.FAIL)):
        made = job(evaporator_approach=-many * spread, superheat=1.5)
        found = verdict_of(made, KEY)
        assert found.outcome is outcome, found.sentence


def test_a_copied_load_is_told_from_one_that_was_read(job, verdict_of):
    made = job()
    job(made=made, index=2)
    found = verdict_of(made, KEY)
    assert found.outcome is Outcome.FAIL and "a copy" in found.sentence
    made = job()
    job(made=made, index=2, share=0.8, power=210)
    assert verdict_of(made, KEY).outcome is Outcome.PASS


@pytest.mark.parametrize(("current", "outcome"), [(440, Outcome.PASS), (460, Outcome.FAIL)])
def test_the_current_falls_with_the_power(job, verdict_of, current, outcome):
    made = job()  # 295 kW, 480 A
    job(made=made, index=2, share=0.8, power=210, current=current)
    assert verdict_of(made, KEY).outcome is outcome


@pytest.mark.parametrize(
    ("moment", "words"),
    [
        ("2026-04-15 09:00", "before the first start"),
        ("2026-04-15 12:30", "stopped"),
        ("2026-04-15 11:00", ""),
    ],
)
def test_a_load_is_read_while_the_machine_runs(job, put, verdict_of, moment, words):
    made = job()
    put(made, "first_start.starts.1.started", "2026-04-15 10:00")
    put(made, "first_start.starts.1.stopped", "2026-04-15 12:00")
    put(made, "load_up.points.1.moment", moment)
    found = verdict_of(made, KEY)
    assert found.outcome is (Outcome.FAIL if words else Outcome.PASS)
    assert words in found.sentence


def test_a_load_whose_heat_balance_does_not_close_gives_no_baseline(job, assess):
    findings = assess(job(balance=0.2)).findings("load_up")
    assert not any(figure.key for figure in findings.figures)
    assert any("heat balance does not close" in figure.note for figure in findings.figures)


def test_figures_of_the_last_visit_to_the_last_digit_are_a_copy(job, assess):
    from dataclasses import replace

    from startkit.facts.baseline import Baseline, BaselineFigure

    now = assess(job())
    figures = {
        figure.key: BaselineFigure(figure.key, figure.label, figure.value, None, figure.kind, "")
        for figure in now.findings("load_up").figures
        if figure.key
    }
    held = replace(now, baseline=Baseline(figures, "last visit", "2025-04-15"))
    found = {v.key: v for v in held.findings("load_up").verdicts}[KEY]
    assert found.outcome is Outcome.FAIL and "last visit" in found.sentence
    other = {
        key: replace(figure, value=figure.value * Q(1.001, "dimensionless"))
        for key, figure in figures.items()
        if not figure.value.is_compatible_with("kelvin")
    }
    held = replace(now, baseline=Baseline(other, "last visit", "2025-04-15"))
    assert {v.key: v for v in held.findings("load_up").verdicts}[KEY].outcome is Outcome.PASS
