"""Symptoms: a sign counts only beyond its uncertainty, and candidates follow the signs."""

from __future__ import annotations

from itertools import product

import pytest

from startkit.errors import ScienceError, UnitError
from startkit.science.symptoms import CAUSES, SIGNS, candidates, sign
from startkit.units import Q


def kelvin(value):
    return Q(value, "delta_degC")


@pytest.mark.parametrize(
    ("value", "u", "expected"),
    [
        (7.1, 0.5, 1),
        (6.9, 0.5, None),
        (3.0, 0.5, 0),
        (1.4, 0.5, None),
        (-0.6, 0.5, -1),
        (-0.4, 0.5, None),
        (6.01, 0.0, 1),
        (6.0, 0.0, 0),
        (0.5, 0.0, 0),
    ],
)
def test_a_sign_counts_only_where_it_leaves_its_band_by_two_uncertainties(value, u, expected):
    assert (
        sign(kelvin(value), kelvin(u), kelvin(0.5), kelvin(6.0)) is expected
        or sign(kelvin(value), kelvin(u), kelvin(0.5), kelvin(6.0)) == expected
    )


def test_a_band_narrower_than_the_doubt_still_knows_its_inside():
    assert sign(kelvin(0.3), kelvin(0.5), kelvin(0.0), kelvin(0.6)) == 0
    assert sign(kelvin(0.7), kelvin(0.5), kelvin(0.0), kelvin(0.6)) is None


def test_a_band_with_one_end_binds_on_one_side():
    assert sign(kelvin(-40.0), kelvin(0.1), None, kelvin(0.5)) == 0
    assert sign(kelvin(0.8), kelvin(0.1), None, kelvin(0.5)) == 1


def test_a_band_without_an_end_and_a_bare_number_are_refused():
    with pytest.raises(ScienceError):
        sign(kelvin(1.0), kelvin(0.1))
    with pytest.raises(ScienceError):
        sign(kelvin(1.0), kelvin(0.1), kelvin(2.0), kelvin(1.0))
    with pytest.raises(UnitError):
        sign(1.0, kelvin(0.1), kelvin(0.0), kelvin(1.0))


# What each fault does to the four signs, as service texts have it: condenser approach, subcooling,
# evaporator approach, suction superheat.
TRADE = {
    "air or nitrogen in the condenser": (1, 1, 0, 0),
    "condenser tubes fouled, or too little condenser water": (1, 0, 0, 0),
    "too little refrigerant": (0, -1, 1, 1),
    "evaporator tubes fouled, oil in the evaporator, or too little chilled water": (0, 0, 1, 0),
    "too much refrigerant, condenser tubes under liquid": (1, 1, 0, -1),
}


@pytest.mark.parametrize("fault", TRADE)
def test_each_fault_of_the_trade_is_among_the_likely_candidates_of_its_own_signs(outside, fault):
    likely = [
        each.name for each in candidates(dict(zip(SIGNS, TRADE[fault], strict=True))) if each.likely
    ]
    outside.check(
        "symptoms.candidates",
        printed=1,
        ours=likely.count(fault),
        source="common signs of service texts",
        standing="common practice",
        abs=0.1,
    )


def test_air_and_too_much_refrigerant_are_told_apart_at_standstill_only():
    found = candidates(dict(zip(SIGNS, (1, 1, 0, 0), strict=True)))
    names = [each.name for each in found if each.likely]
    assert {
        "air or nitrogen in the condenser",
        "too much refrigerant, condenser tubes under liquid",
    } <= set(names)
    assert all(
        "standstill" in each.tells or "stop" in each.tells
        for each in found
        if each.likely and each.name in names[:2]
    )


def test_usual_signs_speak_for_nothing():
    assert candidates(dict.fromkeys(SIGNS, 0)) == ()
    assert candidates({}) == ()


def test_a_sign_that_cannot_be_told_leaves_the_cause_open_and_is_named():
    found = {
        each.name: each
        for each in candidates(
            {"condenser approach": 1, "subcooling": None, "evaporator approach": 0}
        )
    }
    air = found["air or nitrogen in the condenser"]
    assert not air.likely and air.untold == ("subcooling",)


def test_a_contradicting_sign_rules_a_cause_out():
    for signs in product((-1, 0, 1), repeat=4):
        seen = dict(zip(SIGNS, signs, strict=True))
        for each in candidates(seen):
            cause = next(c for c in CAUSES if c.name == each.name)
            assert each.likely and all(seen[name] == due for name, due in cause.needs.items())


def test_an_unknown_sign_is_refused():
    with pytest.raises(ScienceError):
        candidates({"noise": 1})
