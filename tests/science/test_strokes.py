"""Stroke records: typed switch words, raw feedback, and columns that cannot be used."""

from __future__ import annotations

import numpy as np
import pytest

from startkit.errors import ReadingError, UnitError
from startkit.science.strokes import (
    CLOSING,
    OPENING,
    command_form,
    holds,
    read_switch,
    stroke,
)
from startkit.units import Q


@pytest.mark.parametrize("text", ["made", "Closed", " CLOSED ", "1", "on", "Yes", True, 1])
def test_a_closed_contact_is_a_made_switch(text):
    assert read_switch(text) is True


@pytest.mark.parametrize("text", ["open", "not  made", "0", "off", "No", False, 0])
def test_an_open_contact_is_a_switch_not_made(text):
    assert read_switch(text) is False


@pytest.mark.parametrize("text", ["", "2", "halfway", "nearly closed", "-", None])
def test_any_other_word_for_the_switch_is_refused_in_one_sentence_that_names_the_row(text):
    with pytest.raises(ReadingError) as caught:
        read_switch(text, "stroke 2, row 5")
    assert str(caught.value).startswith("stroke 2, row 5: ") and str(caught.value).endswith(
        "type made or open."
    )


def test_a_stroke_takes_percent_and_minutes():
    record = stroke(
        OPENING,
        Q([0, 0.5, 1], "minute"),
        Q([0, 100, 100], "percent"),
        Q([0, 50, 99], "percent"),
        seen_position=Q(98, "percent"),
    )
    assert record.time == pytest.approx([0, 30, 60])
    assert record.feedback == pytest.approx(
        [0, 0.5, 0.99]
    ) and record.seen_position == pytest.approx(0.98)


@pytest.mark.parametrize(
    ("columns", "says"),
    [
        ({"time": Q([0, 2, 1], "s")}, "time does not rise at row 3"),
        ({"time": Q([0, 1, 1], "s")}, "time does not rise at row 3"),
        ({"time": Q([0, 1], "s")}, "different lengths"),
        ({"switch": [True]}, "different lengths"),
        ({"feedback": [0.0, np.nan, 1.0]}, "feedback .*row 2"),
        ({"feedback": [0.0, 50.0, 100.0]}, "feedback .*100 times"),
        ({"direction": "shut"}, "neither opening nor closing"),
        ({"time": None, "command": [], "feedback": []}, "fewer than two rows"),
        ({"time": None, "command": [1.0], "feedback": [1.0]}, "fewer than two rows"),
    ],
)
def test_a_column_that_cannot_be_used_is_named_in_one_sentence(columns, says):
    good = {
        "direction": OPENING,
        "time": Q([0, 1, 2], "s"),
        "command": [0, 1, 1],
        "feedback": [0.0, 0.5, 1.0],
        "number": 4,
    }
    with pytest.raises(ReadingError, match=says) as caught:
        stroke(**{**good, **columns})
    assert str(caught.value).startswith("stroke 4: ") and str(caught.value).count(". ") == 0


def test_seconds_must_not_come_without_a_unit():
    with pytest.raises(UnitError, match="time"):
        stroke(OPENING, [0, 1, 2], [0, 1, 1], [0.0, 0.5, 1.0])


def test_the_shape_of_the_command_is_recognised():
    t = np.arange(60.0)
    step = (t > 5).astype(float)
    ramp = np.clip((t - 5) / 40, 0, 1)
    stairs = np.floor(t / 10) / 5
    shapes = [command_form(stroke(CLOSING, Q(t, "s"), c, c)) for c in (step, ramp, stairs)]
    assert shapes == ["step", "ramp", "staircase"]
    assert command_form(stroke(CLOSING, None, [1, 0.5, 0], [1, 0.5, 0.0])) == "points"


def test_holds_are_the_runs_in_which_the_command_stands():
    command = [0, 0, 0, 0, 0.5, 0.5, 0.5, 0.5, 0.5, 1, 1]
    assert holds(stroke(OPENING, Q(np.arange(11.0), "s"), command, command)) == [(0, 3), (4, 8)]
