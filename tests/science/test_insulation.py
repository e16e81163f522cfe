"""Insulation resistance at 40 °C, its least values, and when the index says nothing."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from startkit.errors import ScienceError, UnitError
from startkit.science import insulation
from startkit.units import Q


def at_40(megohm, celsius, system):
    return (
        insulation.insulation_at_40C(Q(megohm, "megaohm"), Q(celsius, "degC"), system)
        .to("megaohm")
        .magnitude
    )


@pytest.mark.parametrize(
    ("celsius", "factor"),
    [
        (10, 0.125),
        (20, 0.25),
        (25, 0.3536),
        (30, 0.5),
        (40, 1),
        (50, 2),
        (60, 4),
        (70, 8),
        (80, 16),
    ],
)
def test_thermoplastic_resistance_halves_for_each_ten_kelvin(outside, celsius, factor):
    ours = insulation.correction_to_40C(Q(celsius, "degC"), "thermoplastic").magnitude
    outside.check(
        "insulation.correction_to_40C",
        printed=factor,
        ours=ours,
        source="IEEE 43-2013 6.3 by insulationtesting.com: 0.5^((40-T)/10)",
        standing="secondary",
        rel=2e-4,
    )


def test_a_printed_reading_is_brought_back_to_twenty_degrees(outside):
    # "200 Mohm at 20 °C is about 25 Mohm at 50 °C": both are one winding, so both give the same
    # value at 40 °C.
    outside.check(
        "insulation.insulation_at_40C",
        printed=at_40(200, 20, "thermoplastic"),
        ours=at_40(25, 50, "thermoplastic"),
        source="insulationtesting.com, rule of thumb",
        standing="secondary",
        rel=1e-9,
    )


def test_a_printed_correction_by_the_curve_lies_near_the_formula(outside):
    # Read off the older curve: factor 7 at 70 °C; the formula gives 8.
    outside.check(
        "insulation.insulation_at_40C",
        printed=21,
        ours=at_40(3, 70, "thermoplastic"),
        source="electricneutron.com: 3 Mohm at 70 °C by the curve of IEEE 43",
        standing="secondary",
        rel=0.15,
    )


@pytest.mark.parametrize(
    ("celsius", "factor"),
    [(10, 0.6560), (20, 0.7622), (30, 0.8770), (40, 1), (50, 1.5195), (60, 2.2517), (80, 4.6245)],
)
def test_thermosetting_resistance_follows_two_exponentials(outside, celsius, factor):
    ours = insulation.correction_to_40C(Q(celsius, "degC"), "thermosetting").magnitude
    outside.check(
        "insulation.correction_to_40C",
        printed=factor,
        ours=ours,
        source="IEEE 43-2013 6.3, worked by hand from the recalled formula",
        standing="from memory",
        rel=2e-4,
    )


def test_the_kind_must_be_chosen_since_it_decides_by_three_times():
    assert at_40(100, 20, "thermoplastic") == pytest.approx(25.0)
    assert at_40(100, 20, "thermosetting") == pytest.approx(76.2, abs=0.05)
    with pytest.raises(ScienceError, match="choose thermoplastic or thermosetting"):
        at_40(100, 20, "")


@pytest.mark.parametrize(
    ("celsius", "refused"), [(10, False), (9.9, True), (85, False), (85.1, True)]
)
def test_thermosetting_is_refused_outside_its_range(celsius, refused):
    if refused:
        with pytest.raises(ScienceError, match="10 to 85"):
            at_40(100, celsius, "thermosetting")
    else:
        assert at_40(100, celsius, "thermosetting") > 0


@given(st.floats(10, 84), st.floats(0.1, 1), st.sampled_from(insulation.SYSTEMS))
def test_a_warmer_winding_is_worth_more_at_forty_degrees(celsius, step, system):
    assert at_40(100, celsius + step, system) > at_40(100, celsius, system)


def test_a_row_of_readings_is_corrected_at_once():
    row = insulation.insulation_at_40C(
        Q(np.array([100.0, 100.0]), "megaohm"), Q(np.array([20.0, 50.0]), "degC"), "thermosetting"
    )
    assert row.to("megaohm").magnitude == pytest.approx([76.22, 151.95], abs=0.01)


def test_the_winding_temperature_is_a_temperature():
    with pytest.raises(UnitError):
        insulation.insulation_at_40C(Q(100, "megaohm"), Q(20, "delta_degC"), "thermoplastic")
    assert at_40(100, 20, "thermoplastic") == pytest.approx(
        insulation.insulation_at_40C(Q(0.1, "gigaohm"), Q(68, "degF"), "thermoplastic")
        .to("megaohm")
        .magnitude
    )


@pytest.mark.parametrize(
    ("winding", "volts", "megohm", "source", "standing"),
    [
        (
            "form-wound",
            4160,
            100,
            "ANSI/EASA AR100-2020 by pdma.com: form-wound coils after 1970 keep 100 Mohm",
            "secondary",
        ),
        (
            "random-wound",
            460,
            5,
            "ANSI/EASA AR100-2020 by pdma.com: 5 Mohm with the random-wound coils",
            "secondary",
        ),
        ("form-wound", 999, 5, "IEEE 43-2013 Table 3", "from memory"),
        ("form-wound", 1000, 100, "IEEE 43-2013 Table 3", "from memory"),
        ("older", 4160, 5.16, "IEEE 43-2013 Table 3: kV + 1", "from memory"),
    ],
)
def test_least_resistance_by_winding(outside, winding, volts, megohm, source, standing):
    ours = insulation.minimum_insulation(winding, Q(volts, "volt")).to("megaohm").magnitude
    outside.check(
        "insulation.minimum_insulation",
        printed=megohm,
        ours=ours,
        source=source,
        standing=standing,
        rel=1e-9,
    )


def test_an_unknown_winding_is_refused_with_the_known_ones():
    with pytest.raises(ScienceError, match="older, form-wound, random-wound"):
        insulation.minimum_insulation("hermetic", Q(460, "V"))


def index(one, ten, at40=None, **options):
    return insulation.polarisation_index(
        Q(one, "megaohm"),
        Q(ten, "megaohm"),
        None if at40 is None else Q(at40, "megaohm"),
        **options,
    )


def test_polarisation_index_is_ten_minutes_over_one(outside):
    found = index(500, 1500, 400)
    outside.check(
        "insulation.polarisation_index",
        printed=3.0,
        ours=found.value,
        source="IEEE 43-2013: R10/R1 (amperis.com glossary)",
        standing="secondary",
        rel=1e-9,
    )
    assert found.says_something


@pytest.mark.parametrize(("at40", "speaks"), [(4999, True), (5000, True), (5001, False)])
def test_above_five_gigohm_the_index_says_nothing(at40, speaks):
    found = index(6000, 9000, at40)
    assert found.says_something is speaks
    assert found.value == pytest.approx(1.5)


def test_a_random_winding_settles_before_ten_minutes():
    found = index(100, 110, 90, random_wound=True)
    assert not found.says_something
    assert "two to three minutes" in found.reason


def test_a_reading_of_zero_is_a_fault_not_an_index():
    with pytest.raises(ScienceError, match="fault to ground"):
        index(0, 10)


@pytest.mark.parametrize(
    ("thermal_class", "printed"), [("A", 1.5), ("B", 2.0), ("F", 2.0), ("H", 2.0)]
)
def test_least_index_by_thermal_class(outside, thermal_class, printed):
    outside.check(
        "insulation.PI_MINIMUM",
        printed=printed,
        ours=insulation.PI_MINIMUM[thermal_class],
        source="IEEE 43-2000 quoted in an insulation tester's manual, appendix 3",
        standing="secondary",
        abs=1e-9,
    )


@pytest.mark.parametrize(
    ("rated", "low", "high"),
    [
        (460, 500, 500),
        (999, 500, 500),
        (1000, 500, 1000),
        (2300, 500, 1000),
        (2500, 500, 1000),
        (4160, 1000, 2500),
        (5000, 1000, 2500),
        (5001, 2500, 5000),
        (12000, 2500, 5000),
        (13800, 5000, 10000),
    ],
)
def test_test_voltage_by_rated_voltage(outside, rated, low, high):
    ours = insulation.applied_voltage(Q(rated, "volt"))
    standing = insulation.applied_voltage_row(rated).standing
    for printed, quantity in ((low, ours[0]), (high, ours[1])):
        outside.check(
            "insulation.applied_voltage",
            printed=printed,
            ours=quantity.magnitude,
            source="IEEE 43-2000 Table 1, from an instrument maker's table",
            standing=standing,
            abs=1e-9,
        )


def test_no_rated_voltage_is_refused():
    with pytest.raises(ScienceError, match="nameplate"):
        insulation.applied_voltage(Q(0, "V"))


def test_a_winding_is_grounded_four_times_as_long_as_it_was_charged(outside):
    ours = insulation.discharge_time(Q(10, "minute")).to("minute").magnitude
    outside.check(
        "insulation.discharge_time",
        printed=40,
        ours=ours,
        source="IEEE 43 clause 6",
        standing="from memory",
        rel=1e-9,
    )
