"""One term for one thing: the glossary has every word of the trade that is used, and no screen uses
another for it.
"""

from __future__ import annotations

import ast
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

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


def test_every_word_of_the_house_is_explained() -> None:
    assert [word for word in words_of_the_house() if word not in TERMS] == []


def test_every_outcome_standing_and_hold_point_is_explained() -> None:
    assert {outcome.value for outcome in Outcome} <= set(TERMS)
    assert all(standing in TERMS["standing"] for standing in STANDINGS)
    assert HOLDS and "hold point" in TERMS and "clear" in TERMS


def test_the_trade_words_of_each_stages_title_are_explained() -> None:
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
    titles = {stage.title.lower() for stage in stages().values()}
    assert titles - plain - set(TERMS) == set(), "explain these in workbook/glossary.md"


def test_one_term_is_used_for_one_thing() -> None:
    assert [
        f"{where}: use {better!r} instead of {found.group()!r}"
        for where, text in said()
        for pattern, better in INSTEAD.items()
        if (found := re.search(pattern, text, re.IGNORECASE))
    ] == []


# Turns of phrase that an engineer would not use, in what a person reads on screen or page.
ODD = re.compile(
    r"\b(nobody|whoever|somebody|hangs? on|(is|are|was|were) (told|said)|beside|put right|lies|"
    r"taken up|stands? (there|at|in|still|beside)|cannot be had)\b",
    re.IGNORECASE,
)


def texts() -> Iterator[tuple[str, str]]:
    """Every string of the package but its docstrings, and every text of its other files."""
    for path in sorted((ROOT / "startkit").rglob("*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        docs = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
        strings = (n for n in ast.walk(tree) if isinstance(n, ast.Constant) and id(n) not in docs)
        for node in strings:
            if isinstance(node.value, str) and " " in node.value:
                yield f"{path.name}, line {node.lineno}", node.value
    for folder, pattern in (
        ("startkit", "*.toml"),
        ("startkit", "*.typ"),
        ("templates", "*.ipynb"),
    ):
        for path in sorted((ROOT / folder).rglob(pattern)):
            for n, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
                yield f"{path.name}, line {n}", line.partition(" // ")[0].partition("# ")[0]


def test_what_a_person_reads_is_worded_plainly() -> None:
    assert [f"{where}: {found[0]}" for where, text in texts() if (found := ODD.search(text))] == []


def test_what_is_said_instead_is_a_term_or_a_starter() -> None:
    assert all(better in TERMS or better in TERMS["starter"] for better in INSTEAD.values())


def test_terms_are_in_order_once_each_and_one_line_long() -> None:
    assert [line.split(" | ")[0].removeprefix("| ") for line in LINES] == sorted(
        TERMS, key=str.lower
    )
    for term, meaning in TERMS.items():
        assert 10 < len(meaning) <= 160 and meaning.endswith("."), term
        assert term in ("n/a",) or not term[0].isupper(), "sentence case"
