"""Every promise of DEVELOPERS.md names a test, and every test that it names is there."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SECTION = (
    (ROOT / "DEVELOPERS.md")
    .read_text(encoding="utf-8")
    .partition("## Promises")[2]
    .partition("\n## ")[0]
)
ROWS = [
    row for row in SECTION.splitlines() if row.startswith("| ") and not row.startswith("| promise")
]


@pytest.mark.parametrize("row", ROWS, ids=[row.split("|")[1].strip()[:60] for row in ROWS])
def test_a_promise_names_tests_that_are_there(row: str) -> None:
    named = re.findall(r"`([\w/]+\.py)::(\w+)`", row.split("|")[2])
    assert named, "a promise without a test"
    for file, test in named:
        tree = ast.parse((ROOT / "tests" / file).read_text(encoding="utf-8"))
        assert test in {
            node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)
        }, f"{file} has no {test}"


def test_there_are_promises() -> None:
    assert len(ROWS) > 15


def test_the_figures_of_the_last_full_run_are_there_and_none_is_a_fault() -> None:
    page = (ROOT / "workbook" / "proof" / "trust.md").read_text(encoding="utf-8")
    assert (
        "0 lost, 0 broken chains" in page
        and page.count("no figure") == 0
        and page.count("| `python benchmarks/") >= 5
    )
    assert re.search(r"honest records valid (\d+) of \1\b", page)
    assert re.search(r"caught (\d+) of \1\b", page) and len(re.findall(r"\b0 faults", page)) >= 2
