"""Instruments as people write them down: abbreviations are read, what is doubtful is named."""

from __future__ import annotations

import pytest

from startkit.errors import ReadingError
from startkit.facts.instruments import accuracy, faults, of_texts, span


@pytest.mark.parametrize(
    "text", ["1% FS", "1 % of full scale", "1 % F.S.", "1 % of range", "±1% span"]
)
def test_shares_of_the_range_are_read(text: str) -> None:
    assert accuracy(text, "current").of_range == pytest.approx(0.01)


@pytest.mark.parametrize("text", ["1% rdg", "1 % of reading", "± 1 % of rdg."])
def test_shares_of_the_reading_are_read(text: str) -> None:
    assert accuracy(text, "current").of_reading == pytest.approx(0.01)


def test_a_bare_percentage_is_not_guessed() -> None:
    with pytest.raises(ReadingError, match="of what"):
        accuracy("± 1 %", "current")
    assert accuracy("1 %", "percent").constant == pytest.approx(0.01)


@pytest.mark.parametrize("text", ["0-600 A", "0 - 600 A", "0 to 600 A", "0–600 A", "-100-500 A"])
def test_a_range_is_read_with_any_dash(text: str) -> None:
    assert span(text, "current").to("A").magnitude == 600


def test_the_cell_that_cannot_be_read_is_the_one_that_is_named() -> None:
    assert set(faults("current", {"accuracy": "1%", "range": "0-600 A"})) == {"accuracy"}
    assert set(faults("current", {"accuracy": "1 A", "range": "up to 600"})) == {"range"}
    assert set(faults("current", {"accuracy": "1% FS", "range": ""})) == {"range"}
    assert faults("current", {"accuracy": "1 A", "range": ""}) == {}


def instrument(stated: str, over: str):
    return of_texts("CG-1", "", "", "current", stated, over, "", "", "")


def test_a_range_that_the_accuracy_does_not_use_may_be_odd() -> None:
    assert instrument("1 A", "up to 600") is not None


def test_a_share_of_a_range_that_is_not_given_is_no_accuracy() -> None:
    assert instrument("1 % of range", "") is None
