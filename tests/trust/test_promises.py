"""Every promise of DEVELOPERS.md names a test, and every test that it names is there."""

from __future__ import annotations

import ast
import re
from pathlib import Path

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


def test_each_promise_names_tests_that_are_there() -> None:
    missing = []
    for row in ROWS:
        named = re.findall(r"`([\w/]+\.py)::(\w+)`", row.split("|")[2])
        assert named, f"a promise without a test: {row}"
        for file, test in named:
            tree = ast.parse((ROOT / "tests" / file).read_text(encoding="utf-8"))
            functions = {n.name for n in ast.walk(tree) if isinstance(n, ast.FunctionDef)}
            missing += [] if test in functions else [f"{file} has no {test}"]
    assert missing == []


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
