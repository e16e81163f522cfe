"""The example beside the demonstration is that of the demonstration: every stage, every verdict,
nothing of the computer it was made on.
"""

from __future__ import annotations

import html
import re
from pathlib import Path

import nbformat
import pytest

EXAMPLE = Path(__file__).parents[2] / "workbook" / "example.ipynb"
PART = "application/vnd.startkit.part+json"

pytestmark = pytest.mark.xdist_group("demo")


def words(text: str) -> str:
    return "".join(html.unescape(re.sub(r"<[^>]*>", " ", text)).split())


def test_the_example_shows_every_verdict_of_the_demonstration(demo: Path) -> None:
    """Fails where the demonstration has changed: make it anew with `make pictures`."""
    example = nbformat.read(EXAMPLE, as_version=4)
    shown = words(
        " ".join(
            output["data"]["text/html"]
            for cell in example.cells
            for output in cell.get("outputs", [])
        )
    )
    executed = nbformat.read(demo / "jobs" / "CH-1" / "records" / "CH-1.ipynb", as_version=4)
    parts = [
        output["data"][PART]
        for cell in executed.cells
        for output in cell.get("outputs", [])
        if PART in output.get("data", {})
    ]
    verdicts = [verdict for part in parts for verdict in part.get("verdicts", [])]
    assert len(verdicts) > 150
    assert [v["title"] for v in verdicts if words(v["title"]) not in shown] == []
    assert [c.source for c in example.cells if c.source.startswith("book.")] == [
        c.source for c in executed.cells if c.source.startswith("book.")
    ]


def test_it_is_small_and_shows_no_error_and_no_place_of_a_computer() -> None:
    text = EXAMPLE.read_text(encoding="utf-8")
    assert len(text) < 3_000_000 and "Traceback" not in text
    assert not re.search(r"/(home|root|tmp|work|Users)/", text)
