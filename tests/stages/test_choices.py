"""Choices: judges compare codes; labels may be reworded, and what journals hold still reads."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from startkit.procedure import people
from startkit.procedure.choice import Choice, chosen, options, yes_or_no
from startkit.procedure.registry import stages
from startkit.procedure.stage import Column, Field, Findings, Stage

# Every label as it was offered in November 2026: journals of that time hold these texts.
LABELS_2026_11: dict[str, list[str]] = json.loads(
    (Path(__file__).parent / "labels_2026_11.json").read_text(encoding="utf-8")
)
SIGHT = Choice("clear", "clear and bright", old=("clear", "Clear, no water"))
OTHER = Choice("cloudy", "cloudy")
BENCH = Stage(
    "bench",
    "Bench",
    "Something to choose from.",
    (
        Field("sight", "Sight glass", "choice", choices=(SIGHT, OTHER)),
        Field("way", "Way", "choice", choices=("up", "down")),
        Field(
            "rows",
            "Rows",
            "table",
            columns=(Column("sight", "S", "choice", choices=(SIGHT, OTHER)),),
        ),
    ),
    lambda machine, limits, entries: Findings(),
    before="oil_pump",
    order=1,
)


@pytest.fixture
def bench(make_job, put, assess):
    def make(**entered):
        job = make_job(stages={"bench": BENCH})
        for what, value in entered.items():
            put(job, f"bench.{what.replace('__', '.')}", value)
        return assess(job).stage_entries("bench")

    return make


@pytest.mark.parametrize(
    "text",
    ["clear and bright", "Clear and Bright", " clear  and bright ", "CLEAR", "clear, no water"],
)
def test_label_code_and_old_wording_mean_the_same_in_any_case(bench, text):
    entries = bench(sight=text)
    assert entries.code("sight") == "clear" and entries.text("sight") == "clear and bright"
    assert entries.reading("sight").problem == ""


def test_a_reading_keeps_the_text_as_it_was_chosen_and_gives_todays_label(bench):
    reading = bench(sight="Clear, no water").reading("sight")
    assert (reading.text, reading.label, reading.code) == (
        "Clear, no water",
        "clear and bright",
        "clear",
    )


def test_what_is_none_of_the_choices_has_no_code_and_names_the_labels(bench):
    entries = bench(sight="murky")
    assert entries.code("sight") == "" and entries.text("sight") == ""
    problem = entries.reading("sight").problem
    assert "not one of the choices" in problem and "clear and bright, cloudy" in problem


def test_a_plain_text_is_its_own_code(bench):
    assert bench(way="Up").code("way") == "up"
    assert options(("up", SIGHT)) == (Choice("up", "up"), SIGHT)


def test_nothing_chosen_has_no_code(bench):
    assert bench().code("sight") == "" and bench().text("sight") == ""


def test_a_cell_of_a_table_gives_label_and_code(bench):
    (row,) = bench(rows__1__sight="CLEAR").rows("rows")
    assert (row.code("sight"), row.text("sight")) == ("clear", "clear and bright")


@pytest.mark.parametrize(
    ("text", "answer"),
    [
        ("yes", True),
        ("Y", True),
        (" true ", True),
        ("no", False),
        ("N", False),
        ("false", False),
        ("", None),
        ("maybe", None),
    ],
)
def test_yes_and_no_are_understood_in_their_usual_spellings(text, answer):
    assert yes_or_no(text) is answer


# --- every stage ---------------------------------------------------------------------------------


def declared() -> dict[str, Field | Column]:
    """Every field and column of a built-in stage that offers choices, by name."""
    found: dict[str, Field | Column] = {}
    for name, stage in stages([]).items():
        for field in stage.fields:
            for column in field.columns:
                found[f"{name}.{field.name}.{column.name}"] = column
            found[f"{name}.{field.name}"] = field
    return {what: each for what, each in found.items() if each.choices}


def test_every_label_that_was_once_offered_still_means_a_choice():
    now = declared()
    lost = [
        f"{what}: {label}"
        for what, labels in LABELS_2026_11.items()
        for label in labels
        if what not in now or chosen(label, now[what].options) is None
    ]
    assert not lost, "keep the old wording in the choice's `old`:\n" + "\n".join(lost)


def test_labels_once_different_still_mean_different_choices():
    now = declared()
    for what, labels in LABELS_2026_11.items():
        found = [chosen(label, now[what].options) for label in labels]
        assert len({each.code for each in found if each is not None}) == len(labels), what


def test_no_text_means_two_choices_of_one_field():
    for what, each in declared().items():
        spellings = [
            text.casefold() for option in each.options for text in dict.fromkeys(option.spellings)
        ]
        assert len(spellings) == len(set(spellings)), what


def test_every_role_can_be_chosen_and_one_signs_first():
    codes = [choice.code for choice in people.ROLE_CHOICES]
    assert codes == [role.code for role in people.ROLES] and len(set(codes)) == len(codes)
    assert [role for role in people.ROLES if role.signs_first] == [people.FIRST]
    assert people.FIRST in people.SIGNING
