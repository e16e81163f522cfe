"""Exposure limits of refrigerants, against the code's table and against each other."""

from __future__ import annotations

import re

import pytest

from startkit.errors import ScienceError, UnitError
from startkit.science.exposure import LIMITS, exposure, meaning, share_of_limit
from startkit.science.refrigerant_data import TABLE, find
from startkit.units import Q

CODE = "International Mechanical Code, Table 1103.1"


@pytest.mark.parametrize(
    ("name", "pounds", "ppm", "grams", "oel"),
    [
        ("R-11", 0.39, 1100, 6.2, 1000),
        ("R-12", 5.6, 18000, 90, 1000),
        ("R-22", 13, 59000, 210, 1000),
        ("R-123", 3.5, 9100, 57, 50),
        ("R-134a", 13, 50000, 210, 1000),
    ],
)
def test_limits_as_the_code_prints_them(outside, name, pounds, ppm, grams, oel):
    ours = exposure(name)
    outside.check(
        "exposure.exposure",
        printed=oel,
        ours=ours.oel.to("ppm").magnitude,
        source=f"{CODE}, {name}, OEL",
        standing="secondary",
        rel=1e-9,
    )
    outside.check(
        "exposure.exposure",
        printed=ppm,
        ours=ours.rcl.to("ppm").magnitude,
        source=f"{CODE}, {name}, ppm",
        standing="secondary",
        rel=1e-9,
    )
    outside.check(
        "exposure.exposure",
        printed=grams,
        ours=ours.rcl_mass.to("g/m**3").magnitude,
        source=f"{CODE}, {name}, g/m3",
        standing="secondary",
        rel=1e-9,
    )
    outside.check(
        "exposure.exposure",
        printed=pounds,
        ours=1000 * ours.rcl_mass.to("lb/ft**3").magnitude,
        source=f"{CODE}, {name}, lb per 1000 ft3",
        standing="secondary",
        rel=0.02,
    )
    assert ours.standing == "secondary"


@pytest.mark.parametrize("name", sorted(LIMITS))
def test_both_columns_of_the_concentration_limit_agree_by_molar_mass(outside, name):
    from CoolProp.CoolProp import PropsSI

    molar = 1 / sum(share / PropsSI("M", key) for key, share in find(name).parts)
    limits = exposure.si(name)
    by_gas_law = 1e-6 * limits.rcl * 101325 / (8.314462618 * 298.15) * molar
    # Both columns are printed with two figures.
    outside.check(
        "exposure.exposure",
        printed=by_gas_law,
        ours=limits.rcl_mass,
        source="gas law at 25 °C, 101.325 kPa, molar mass of CoolProp",
        standing="library",
        rel=0.06,
    )


def test_every_refrigerant_known_here_has_its_limits():
    assert {refrigerant.name for refrigerant in TABLE} == set(LIMITS)


def test_the_class_of_toxicity_follows_from_the_exposure_limit(outside):
    for refrigerant in TABLE:
        letter = "A" if LIMITS[refrigerant.name][0] >= 400 else "B"
        outside.check(
            "exposure.meaning",
            printed=ord(refrigerant.safety_group[0]),
            ours=ord(letter),
            source="ASHRAE 34 6.1.2: class B below 400 ppm",
            standing="from memory",
            abs=1e-9,
        )


def test_a_whole_charge_in_a_small_room_is_above_the_limit(outside):
    # 210 g/m3 over 100 m3 is 21 kg
    ours = share_of_limit(Q(21, "kg"), Q(100, "m**3"), "R-134a").magnitude
    outside.check(
        "exposure.share_of_limit",
        printed=1.0,
        ours=ours,
        source="definition: 21 kg in 100 m3 at 210 g/m3",
        standing="closed form",
        rel=1e-9,
    )
    assert share_of_limit(Q(610, "kg"), Q(568, "m**3"), "R-134a").magnitude > 5


def test_a_safety_group_is_told_in_words():
    assert re.fullmatch("lower toxicity.*400 ppm.*flammable.*10 cm/s.*", meaning("A2L"))
    with pytest.raises(ScienceError, match="C1"):
        meaning("C1")


def test_bad_input_is_refused():
    with pytest.raises(ScienceError, match="no volume"):
        share_of_limit(Q(10, "kg"), Q(0, "m**3"), "R-134a")
    with pytest.raises(ScienceError, match="R-9"):
        exposure("R-9")
    with pytest.raises(UnitError):
        share_of_limit(10, Q(1, "m**3"), "R-134a")
