"""One term for one thing: the glossary has every word of the trade that is used, and no screen uses
another for it.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

from startkit.facts.limits import STANDINGS, defaults
from startkit.procedure.holds import HOLDS
from startkit.procedure.registry import stages
from startkit.verdict import Outcome

ROOT = Path(__file__).parents[1]
LINES = [
    line
    for line in (ROOT / "workbook" / "glossary.md").read_text(encoding="utf-8").splitlines()
    if line.startswith("| ")
][1:]
TERMS = {
    line.split(" | ")[0].removeprefix("| "): line.split(" | ", 1)[1].removesuffix(" |")
    for line in LINES
}
# What is not said, and the word that is said instead.
INSTEAD = {
    r"\bIGVs?\b": "inlet guide vanes",
    r"\bpre-?rotation": "inlet guide vanes",
    r"\b[RF]LA\b": "full-load current",
    r"\bfull[ -]load amps?\b": "full-load current",
    r"\bLRA\b": "locked-rotor current",
    r"\bVFD|VSD\b": "variable-speed drive",
    r"\bset-?point": "set point",
    r"\bdelta[ -]?T\b": "range",
    r"\bpre-?lubrication\b": "pre-lube",
    r"\bpost-?lubrication\b": "post-lube",
    r"\brun-?down\b": "coast-down",
    r"\bpulldown\b": "pull-down",
    r"\bmegger\b": "insulation resistance",
    r"\balarm trip\b": "trip",
    r"\bhi-?pot\b": "insulation resistance",
}


def words_of_the_house() -> list[str]:
    """The words that DEVELOPERS.md lists under its head Words."""
    text = (
        (ROOT / "DEVELOPERS.md")
        .read_text(encoding="utf-8")
        .split("## Words\n", 1)[1]
        .split("\n## ", 1)[0]
        .split("Trade words", 1)[0]
    )
    return [
        word.strip().lower() for word in re.split(r"[,;.]", text.replace("\n", " ")) if word.strip()
    ]


def said() -> Iterator[tuple[str, str]]:
    """Every text of a stage, limit or check list that a person reads, with where it stands."""
    for name, stage in stages().items():
        yield name, f"{stage.title}. {stage.purpose} {' '.join(stage.cautions)}"
        for field in stage.fields:
            yield (
                f"{name}.{field.name}",
                " ".join(
                    [
                        field.question,
                        field.help or "",
                        field.group or "",
                        *(f"{c.label} {c.help or ''}" for c in field.columns),
                    ]
                ),
            )
    for key, limit in defaults().items():
        yield key, f"{limit.title}. {limit.source}"
    for path in (ROOT / "startkit" / "facts" / "lists").glob("*.toml"):
        yield path.name, str(tomllib.loads(path.read_text(encoding="utf-8")))


@pytest.mark.parametrize("word", words_of_the_house())
def test_every_word_of_the_house_is_explained(word: str) -> None:
    assert word in TERMS


def test_every_outcome_standing_and_hold_point_is_explained() -> None:
    assert {outcome.value for outcome in Outcome} <= set(TERMS)
    assert all(standing in TERMS["standing"] for standing in STANDINGS)
    assert HOLDS and "hold point" in TERMS and "clear" in TERMS


@pytest.mark.parametrize("name", sorted(stages()))
def test_the_trade_words_of_a_stages_title_are_explained(name: str) -> None:
    plain = {
        "setup",
        "safety",
        "electrical",
        "controls",
        "water circuits",
        "lubrication",
        "handover",
        "overhaul",
        "tightness and charge",
        "first start",
        "load-up",
        "shut-down",
        "trips",
    }
    title = stages()[name].title.lower()
    assert title in plain or title in TERMS, f"explain {title!r} in workbook/glossary.md"


@pytest.mark.parametrize(("where", "text"), list(said()), ids=[where for where, _ in said()])
def test_one_term_is_used_for_one_thing(where: str, text: str) -> None:
    for pattern, better in INSTEAD.items():
        found = re.search(pattern, text, re.IGNORECASE)
        assert found is None, f"{where} says {found.group()!r}: say {better!r}"


def test_what_is_said_instead_is_a_term_or_a_starter() -> None:
    assert all(better in TERMS or better in TERMS["starter"] for better in INSTEAD.values())


def test_terms_are_in_order_once_each_and_one_line_long() -> None:
    assert [line.split(" | ")[0].removeprefix("| ") for line in LINES] == sorted(
        TERMS, key=str.lower
    )
    for term, meaning in TERMS.items():
        assert 10 < len(meaning) <= 160 and meaning.endswith("."), term
        assert term in ("n/a",) or not term[0].isupper(), "sentence case"
