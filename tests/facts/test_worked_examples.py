"""Worked examples: each meets its printed figure, in the tests as on a technician's computer."""

from __future__ import annotations

from dataclasses import replace

import pytest

from startkit.facts.worked_examples import Example, Reworked, examples, rework
from startkit.units import Q
from tests.ledger import STANDINGS


@pytest.mark.parametrize("example", examples(), ids=lambda example: example.title)
def test_an_example_meets_its_printed_figure(outside, example: Example) -> None:
    found = rework(example)
    assert found.problem == "" and found.agrees
    outside.check(
        example.formula,
        printed=example.printed.magnitude,
        ours=found.ours.magnitude,
        source=example.source,
        standing=example.standing,
        abs=example.within.magnitude,
    )


def test_the_tolerance_of_an_example_is_tight_enough_to_see_a_wrong_formula() -> None:
    for example in examples():
        assert example.standing in STANDINGS and example.source
        assert example.within.magnitude <= 0.05 * abs(example.printed.magnitude), example.title


def test_examples_reach_every_trade_noun_that_a_verdict_rests_on() -> None:
    nouns = {example.formula.split(".")[0] for example in examples()}
    assert {
        "water",
        "air",
        "refrigerant",
        "performance",
        "supply",
        "motor",
        "insulation",
        "tightness",
        "closed_proof",
        "viscosity",
        "vibration",
        "ventilation",
    } <= nouns


def test_a_figure_outside_its_tolerance_does_not_agree() -> None:
    example = next(e for e in examples() if e.formula == "supply.voltage_unbalance")
    wrong = rework(replace(example, printed=Q(1.2, "percent")))
    assert not wrong.agrees and wrong.difference == pytest.approx(1.087 - 1.2, abs=1e-3)


def test_an_example_that_cannot_be_worked_says_why_and_does_not_agree() -> None:
    example = next(e for e in examples() if e.formula == "refrigerant.saturation_pressure")
    found = rework(replace(example, given={**example.given, "fluid": "R-9999"}))
    assert isinstance(found, Reworked) and not found.agrees
    assert "R-9999" in found.problem
