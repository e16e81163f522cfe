"""Instruments as people write them down: abbreviations are read, what is doubtful is named."""

from __future__ import annotations

import pytest

from startkit.errors import ReadingError
from startkit.facts.instruments import accuracy, faults, of_texts, span
from startkit.units import Q


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


@pytest.mark.parametrize(
    "text",
    [
        "± (0.5 % + 2 digits of 0.1 A)",
        "0.5% rdg + 2 dgt of 0.1 A",
        "+/- (0.5 % + 2 counts x 0.1 A)",
    ],
)
def test_a_meter_is_as_good_as_its_percentage_of_the_reading_and_its_last_digits(text) -> None:
    found = accuracy(text, "current")
    assert (found.of_reading, found.constant) == (pytest.approx(0.005), pytest.approx(0.2))


def test_digits_of_no_stated_size_are_not_guessed() -> None:
    with pytest.raises(ReadingError, match="what a digit is"):
        accuracy("± (0.5 % + 2 digits)", "current")


@pytest.mark.parametrize(
    ("text", "u"),
    [("U = 0.05 K, k = 2", 0.025), ("U 0.06 K (k=3)", 0.02), ("U = 0.4 % of reading; k=2", 0.04)],
)
def test_a_certificate_gives_its_expanded_uncertainty_and_its_factor(text, u) -> None:
    found = of_texts("T-1", "", "", "temperature", text, "", "", "", "")
    assert found.standard_uncertainty(Q(20.0, "degC")).magnitude == pytest.approx(u)


@pytest.mark.parametrize("text", ["U = 0.05 K, k = 0", "U = , k = 2", "U = 5 kg, k = 2"])
def test_a_certificate_that_cannot_be_is_refused(text) -> None:
    with pytest.raises(ReadingError):
        accuracy(text, "temperature")


@pytest.mark.parametrize(
    ("kind", "absolute", "shown"),
    [
        ("gauge_pressure", 363.1, 262.1),
        ("gauge_pressure", 41.1, -60.0),
        ("pressure_difference", 50.0, 50.0),
    ],
)
def test_a_percentage_of_a_gauge_is_of_what_the_gauge_shows(kind, absolute, shown) -> None:
    gauge = of_texts("PE-1", "", "", "gauge pressure", "1 % of reading", "", "", "", "")
    u = gauge.standard_uncertainty(Q(absolute, "kPa"), kind, Q(101.1, "kPa"))
    assert u.to("kPa").magnitude == pytest.approx(0.01 * abs(shown) / 3**0.5, rel=1e-3)


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
