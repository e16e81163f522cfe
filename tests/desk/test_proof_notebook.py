"""The notebook Proof: examples worked again in a fresh kernel, the list of the tests' checks, and
nothing claimed that is not so.
"""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import nbformat
import pytest

from startkit.desk import proof
from startkit.facts.worked_examples import examples
from startkit.units import Q

ROOT = Path(__file__).parents[2]
NOTEBOOK = ROOT / "templates" / "proof.ipynb"


def test_nbval_runs_the_notebook_as_it_is_shipped() -> None:
    command = [
        sys.executable,
        "-m",
        "pytest",
        "-q",
        "--nbval-lax",
        "templates/proof.ipynb",
        "-p",
        "no:cacheprovider",
        "-p",
        "no:xdist",
        "--noconftest",
    ]
    done = subprocess.run(
        command, cwd=ROOT, capture_output=True, text=True, check=False, timeout=220
    )
    cells = sum(c.cell_type == "code" for c in nbformat.read(NOTEBOOK, as_version=4).cells)
    assert done.returncode == 0 and f"{cells} passed" in done.stdout, done.stdout[-2000:]


def test_every_example_is_shown_with_printed_figure_ours_and_difference() -> None:
    part = proof.worked_again().part
    rows = part["tables"][0]["rows"]
    assert part["facts"][0][1] == f"{len(examples())} of {len(examples())}"
    unbalance = next(row for row in rows if row[0].startswith("unbalance of 462"))
    assert unbalance[1:6] == ["1.1 %", "1.08696", "−0.013", "0.05", "✓ agrees"]


def test_an_example_that_does_not_agree_says_so_in_words(monkeypatch: pytest.MonkeyPatch) -> None:
    wrong = replace(examples()[0], printed=Q(900.0, "kg/m**3"))
    monkeypatch.setattr(proof, "examples", lambda: (wrong, *examples()[1:3]))
    part = proof.worked_again().part
    assert part["facts"][0][1] == "2 of 3"
    assert part["tables"][0]["rows"][0][5] == "✗ does not agree"


def test_the_list_of_the_tests_is_that_of_the_file() -> None:
    file = ROOT / "workbook" / "proof" / "outside.json"
    part = proof.checks_of_the_tests(file).part
    assert len(part["tables"][0]["rows"]) == len(json.loads(file.read_text(encoding="utf-8")))
    assert sum(int(count) for _, count in part["facts"]) == len(part["tables"][0]["rows"])


def test_without_the_source_the_notebook_says_where_the_list_is(tmp_path: Path) -> None:
    part = proof.checks_of_the_tests(tmp_path / "outside.json").part
    assert part["tables"] == [] and "make proof" in part["remarks"][0]
