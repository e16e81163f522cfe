"""What wrong readings would do: the page, and that a few of its slips go as it says."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pytest

from workbook.judged import honest
from workbook.noticed import OPTIONAL, REMARK, SMALL, WHY, Tried, drawn, tried
from workbook.wrong_readings import slips

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "workbook" / "proof" / "wrong-readings.md").read_text(encoding="utf-8")
SHARE = 0.01  # of the slips: part of those on the page
pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def benchmark():
    spec = importlib.util.spec_from_file_location(
        "wrong_readings_bench", ROOT / "benchmarks" / "wrong_readings.py"
    )
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def job():
    return honest("CH-1")


def _row(each: Tried) -> str:
    return f"| CH-1 | {each.sort} | `{each.what}` | {each.shown} |"


def test_what_goes_unnoticed_is_on_the_page_and_nothing_else(job):
    some = [slip for slip in drawn(job, SHARE) if not slip.what.startswith("setup.")]
    judged = list(tried(job, some))
    assert len(judged) > 10
    for each in judged:
        assert (_row(each) in PAGE) is (not each.noticed and not each.apart), each


def test_a_smaller_share_of_the_slips_is_part_of_a_larger_one(job):
    small, large = ({(s.sort, s.what, s.shown) for s in drawn(job, n)} for n in (0.01, 0.05))
    assert small and small < large


@pytest.mark.parametrize(
    ("sort", "item", "apart"),
    [
        ("stale copy", "load_up.points.2.evaporator_drop", SMALL),
        ("left out", "tightness.end_barometer", OPTIONAL),
        ("left out", "setup.instruments.1.serial", REMARK),
    ],
)
def test_what_no_verdict_can_notice_is_counted_apart_with_its_reason(job, sort, item, apart):
    some = [s for s in slips(job) if s.sort == sort and s.what == item]
    assert [each.apart for each in tried(job, some)] == [apart] * len(some) != []


def test_the_page_counts_what_it_lists(benchmark):
    base = Tried("water", "sign", "water.x", "-1 for 1", 5.0, True, ("water.flow",))
    left = Tried("water", "sign", "water.y", "-1 for 1", 5.0, True, ())
    small = Tried("water", "unit", "water.z", "1 for 1", 0.5, True, (), SMALL)
    text = benchmark.page([("CH-1", base), ("CH-1", left), ("CH-2", small)], 1.0)
    assert "Every slip was tried: 3. 2 of them count: 1 of 2 (50.0 %)" in text
    assert "| water | 2 | 1 | 50.0 % |" in text and "`water.y`" in text
    assert "`water.x`" not in text and "`water.z`" not in text
    assert WHY[-1][2] in text and f"| {SMALL} | 1 |" in text
