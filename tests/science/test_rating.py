"""Rating forms against worked examples, published curve sets and the values printed for the
standards.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from startkit.errors import ScienceError, UnitError
from startkit.science import rating
from startkit.units import Q

TABLE_11 = "AHRI 550/590 Table 11, form from memory, values worked at 10 °F"
TEN = Q(10, "delta_degF")
PNNL = "PNNL copper-bem 0.3.0 (BSD-2-Clause), chiller_curves.json from EnergyPlus data"


@pytest.mark.parametrize(
    ("load", "printed"),
    [
        (1.0, 0.0500),
        (0.9, 0.0587),
        (0.75, 0.0725),
        (0.5, 0.1000),
        (0.4, 0.1145),
        (0.3, 0.1340),
        (0.25, 0.1475),
    ],
)
def test_the_laboratory_tolerance_on_performance_has_its_tabulated_values(outside, load, printed):
    ours = rating.tolerance_performance(load, TEN).magnitude
    outside.check(
        "rating.tolerance_performance",
        printed=printed,
        ours=ours,
        source=TABLE_11,
        standing="from memory",
        abs=6e-5,
    )


def test_five_percent_at_full_load_is_confirmed_by_a_government_specification(outside):
    ours = rating.tolerance_performance(Q(100, "percent"), TEN).to("percent").magnitude
    outside.check(
        "rating.tolerance_performance",
        printed=5.0,
        ours=ours,
        source="UFGS 15620A, capacity deviation allowed at full load",
        standing="published",
        abs=1e-6,
    )


@pytest.mark.parametrize(
    ("load", "printed"), [(1.0, 0.0355), (0.75, 0.05125), (0.5, 0.0705), (0.25, 0.10375)]
)
def test_the_laboratory_tolerance_on_heat_balance_has_its_tabulated_values(outside, load, printed):
    ours = rating.tolerance_heat_balance(load, TEN).magnitude
    outside.check(
        "rating.tolerance_heat_balance",
        printed=printed,
        ours=ours,
        source=TABLE_11,
        standing="from memory",
        abs=6e-5,
    )


def test_the_si_forms_are_the_same_curves(outside):
    ours = rating.tolerance_performance(0.5, Q(5.5, "delta_degC")).magnitude
    outside.check(
        "rating.tolerance_performance",
        printed=0.105 - 0.035 + 0.0833 / (5.5 * 0.5),
        ours=ours,
        source="AHRI 551/591 Table 11, SI constant 0.0833, from memory",
        standing="from memory",
        abs=1e-4,
    )
    ours = rating.tolerance_heat_balance(0.5, Q(5.5, "delta_degC")).magnitude
    outside.check(
        "rating.tolerance_heat_balance",
        printed=0.074 - 0.0245 + 0.0583 / (5.5 * 0.5),
        ours=ours,
        source="AHRI 551/591 Table 11, SI constant 0.0583, from memory",
        standing="from memory",
        abs=1e-4,
    )
    ours = rating.tolerance_integrated(Q(5.5, "delta_degC")).magnitude
    outside.check(
        "rating.tolerance_integrated",
        printed=0.065 + 0.194 / 5.5,
        ours=ours,
        source="AHRI 551/591 Table 11, SI constant 0.194, from memory",
        standing="from memory",
        abs=1e-4,
    )


def test_the_tolerance_on_integrated_values(outside):
    outside.check(
        "rating.tolerance_integrated",
        printed=0.100,
        ours=rating.tolerance_integrated(TEN).magnitude,
        source=TABLE_11,
        standing="from memory",
        abs=1e-9,
    )


def test_a_tolerance_outside_its_form_is_refused():
    with pytest.raises(ScienceError, match="not defined at 5 % load"):
        rating.tolerance_performance(0.05, TEN)
    with pytest.raises(ScienceError, match="check the sheet"):
        rating.tolerance_heat_balance(1.0, Q(50, "delta_degC"))
    with pytest.raises(UnitError):
        rating.tolerance_performance(1.0, Q(10, "degF"))


# --- IPLV and NPLV ---------------------------------------------------------------------------

LOADS = (1.0, 0.75, 0.5, 0.25)


@pytest.mark.parametrize(
    ("figures", "printed"),
    [((0.646, 0.5881, 0.6272, 0.9591), 0.636), ((0.6089, 0.553, 0.5184, 0.7853), 0.5566)],
)
def test_power_per_capacity_is_weighted_harmonically(outside, figures, printed):
    found = rating.part_load_value(LOADS, Q(list(figures), "kilowatt/ton_cooling"), "harmonic")
    outside.check(
        "rating.part_load_value",
        printed=printed,
        ours=found.value.to("kilowatt/ton_cooling").magnitude,
        source=PNNL,
        standing="secondary",
        abs=6e-5,
    )
    assert [point.how for point in found.points] == ["measured"] * 4


def test_cop_is_weighted_arithmetically_and_says_the_same(outside):
    figures = (0.646, 0.5881, 0.6272, 0.9591)
    found = rating.part_load_value(LOADS, [3.516853 / each for each in figures], "arithmetic")
    outside.check(
        "rating.part_load_value",
        printed=3.516853 / 0.636,
        ours=found.value.magnitude,
        source=PNNL + ", as COP",
        standing="secondary",
        rel=1e-4,
    )


@given(st.lists(st.floats(0.3, 1.2), min_size=4, max_size=4))
def test_the_two_forms_agree_for_any_machine(figures):
    harmonic = rating.part_load_value(LOADS, figures, "harmonic").value.magnitude
    arithmetic = rating.part_load_value(
        LOADS, [1 / each for each in figures], "arithmetic"
    ).value.magnitude
    assert harmonic * arithmetic == pytest.approx(1.0)
    assert min(figures) <= harmonic * (1 + 1e-12)
    assert harmonic <= max(figures) * (1 + 1e-12)


def test_a_point_missed_is_taken_from_the_line_between_its_neighbours(outside):
    found = rating.part_load_value(
        (1.0, 0.80, 0.60, 0.40, 0.25), (0.60, 0.55, 0.52, 0.56, 0.70), "harmonic"
    )
    at_half = found.points[2]
    assert at_half.how == "interpolated"
    outside.check(
        "rating.part_load_value",
        printed=0.54,
        ours=at_half.figure,
        source="midpoint of 0.52 and 0.56",
        standing="closed form",
        abs=1e-12,
    )
    assert found.points[1].figure == pytest.approx(0.55 + (0.52 - 0.55) * 0.05 / 0.2)


def test_a_point_within_two_percent_of_full_load_counts_as_hit():
    found = rating.part_load_value((0.985, 0.735, 0.52, 0.26), (0.6, 0.55, 0.52, 0.7), "harmonic")
    assert [point.how for point in found.points] == ["measured"] * 4
    assert found.points[1].figure == 0.55


def test_a_machine_that_cannot_unload_to_a_quarter_is_degraded_there(outside):
    # Least load 40 %: LF = 0.25/0.40 = 0.625, CD = 1.04875.
    ours = rating.degradation(0.25, Q(500, "ton_cooling"), Q(200, "ton_cooling")).magnitude
    outside.check(
        "rating.degradation",
        printed=1.04875,
        ours=ours,
        source="EnergyPlus StandardRatings: CD = 1.130 - 0.130 LF",
        standing="secondary",
        abs=1e-9,
    )
    harmonic = rating.part_load_value(
        (1.0, 0.75, 0.5, 0.4), (0.6, 0.55, 0.52, 0.58), "harmonic", least_load=0.4
    )
    arithmetic = rating.part_load_value(
        (1.0, 0.75, 0.5, 0.4), (6.0, 6.4, 6.8, 6.0), "arithmetic", least_load=Q(40, "percent")
    )
    assert harmonic.points[3].how == "degraded"
    assert harmonic.points[3].figure == pytest.approx(0.58 * 1.04875)
    assert arithmetic.points[3].figure == pytest.approx(6.0 / 1.04875)
    assert rating.degradation(
        0.25, Q(400, "kilowatt"), Q(100, "kilowatt")
    ).magnitude == pytest.approx(1.0)


@pytest.mark.parametrize("loads", [(1.0, 0.75, 0.5), (0.9, 0.75, 0.5, 0.25), (1.0,)])
def test_nothing_is_extrapolated(loads):
    with pytest.raises(ScienceError, match="extrapolated"):
        rating.part_load_value(loads, [0.6] * len(loads), "harmonic")


def test_misuse_of_the_part_load_value_is_refused():
    with pytest.raises(ScienceError, match="harmonic"):
        rating.part_load_value(LOADS, (0.6, 0.5, 0.5, 0.7), "mean")
    with pytest.raises(ScienceError, match="above zero"):
        rating.part_load_value(LOADS, (0.6, 0.5, 0.0, 0.7), "harmonic")
    with pytest.raises(ScienceError, match="unloads to 50 %"):
        rating.degradation(0.5, Q(500, "kilowatt"), Q(100, "kilowatt"))
    with pytest.raises(ScienceError, match="above zero"):
        rating.degradation(0.25, Q(500, "kilowatt"), Q(0, "kilowatt"))


def test_rating_conditions_are_those_of_the_two_systems_of_units(outside):
    for load, fahrenheit, celsius in (
        (1.0, 85, 30),
        (0.75, 75, 24.5),
        (0.5, 65, 19),
        (0.25, 65, 19),
    ):
        ip = Q(rating.IPLV_CONDENSER["I-P"][load], "degC").to("degF").magnitude
        outside.check(
            "rating.IPLV_CONDENSER",
            printed=fahrenheit,
            ours=ip,
            source="PNNL copper-bem get_rated_temperatures (AHRI 550/590)",
            standing="secondary",
            abs=1e-9,
        )
        outside.check(
            "rating.IPLV_CONDENSER",
            printed=celsius,
            ours=rating.IPLV_CONDENSER["SI"][load],
            source="EnergyPlus StandardRatings (AHRI 551/591): 8 + 22 PLR above half load",
            standing="secondary",
            abs=1e-9,
        )
        # For the standard selection NPLV runs at the conditions of IPLV.
        ours = rating.nplv_condenser_temperature(load, Q(85, "degF")).to("degF").magnitude
        outside.check(
            "rating.nplv_condenser_temperature",
            printed=fahrenheit,
            ours=ours,
            source="AHRI 550/590 conditions for the standard selection",
            standing="secondary",
            abs=1e-6,
        )
    assert sum(rating.WEIGHTS.values()) == pytest.approx(1.0)
    assert rating.IPLV_LEAVING["SI"] == 7.0
    with pytest.raises(ScienceError):
        rating.nplv_condenser_temperature(1.5, Q(85, "degF"))


# --- fouling and Kadj ------------------------------------------------------------------------


def test_the_adjustment_factor_is_one_at_the_standard_point_and_fits_the_printed_example(outside):
    standard = rating.adjustment_factor(Q(94.3, "degF"), Q(44, "degF")).magnitude
    outside.check(
        "rating.adjustment_factor",
        printed=1.0,
        ours=standard,
        source="ASHRAE 90.1 6.4.1.2.1: standard conditions",
        standing="from memory",
        abs=5e-4,
    )
    example = 0.570 / rating.adjustment_factor(Q(91.16, "degF"), Q(42, "degF")).magnitude
    outside.check(
        "rating.adjustment_factor",
        printed=0.559,
        ours=example,
        source="ASHRAE 90.1 example, FL 0.570 kW/ton (from memory)",
        standing="from memory",
        abs=6e-4,
    )


@pytest.mark.parametrize(("warm", "cold"), [(94.3, 34), (120, 44), (60, 44), (130, 36)])
def test_outside_its_range_the_adjustment_is_refused(warm, cold):
    with pytest.raises(ScienceError, match="outside the range"):
        rating.adjustment_factor(Q(warm, "degF"), Q(cold, "degF"))
