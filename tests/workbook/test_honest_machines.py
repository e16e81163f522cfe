"""No false alarm on honest machines: a few of those that the benchmark counts."""

from __future__ import annotations

import importlib.util
from collections import Counter
from pathlib import Path

import pytest

from startkit.facts.starters import STARTERS
from workbook.honest_machines import Honest, false_alarms, machines
from workbook.judged import TAGS

ROOT = Path(__file__).parents[2]
pytestmark = pytest.mark.slow


def test_every_refrigerant_starter_and_system_of_units_is_tried_equally_often() -> None:
    every = machines(60)
    sorts = Counter((each.tag, each.starter, each.system) for each in every)
    assert set(sorts.values()) == {2} and len(sorts) == len(TAGS) * len(STARTERS) * 2
    assert len({each.seed for each in every}) == len(every)


@pytest.mark.parametrize(
    "honest",
    [
        Honest("CH-1", "across the line", "SI", 1),
        Honest("CH-2", "variable-speed drive", "SI", 14),
        Honest("CH-3", "across the line", "I-P", 18),
    ],
    ids=lambda each: f"{each.tag} {each.starter} {each.system}",
)
def test_an_honest_machine_is_clear_behind_any_starter_and_in_either_units(honest: Honest) -> None:
    assert not any(false_alarms(honest).values())


def test_the_page_counts_machines_not_verdicts() -> None:
    spec = importlib.util.spec_from_file_location(
        "honest_machines_bench", ROOT / "benchmarks" / "honest_machines.py"
    )
    bench = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(bench)
    sound: dict[str, tuple[str, ...]] = {"turn_shaft": (), "": ()}
    wrong = {"turn_shaft": ("lube.trip", "vanes.closed_proof"), "": ("water.flow",)}
    one, other = machines(2)
    text = bench.page([(one, sound), (other, wrong)])
    assert "| clear to turn the shaft | 1 | 50.0 % |" in text
    assert "| `lube.trip` | 1 | 0 |" in text and "| `water.flow` | 0 | 1 |" in text
