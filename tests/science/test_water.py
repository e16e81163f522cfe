"""Water and glycol against the IAPWS check tables and frozen values of independent libraries."""

from __future__ import annotations

import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from startkit.errors import ScienceError, UnitError
from startkit.science import water, water_vapour
from startkit.units import Q

IF97 = "IAPWS R7-97(2012), Table 5"
IAPWS95 = "IAPWS-95 as computed by the package iapws 1.5.5, 101.325 kPa"


def celsius(value):
    return Q(value, "degC")


def density(*args, **kwargs):
    return water.density(*args, **kwargs).to("kg/m**3").magnitude


def heat_capacity(*args, **kwargs):
    return water.heat_capacity(*args, **kwargs).to("kJ/kg/delta_degC").magnitude


def test_the_formulation_reproduces_its_own_verification_table(outside):
    point = Q(300, "kelvin"), water.WATER, Q(3, "megapascal")
    outside.check(
        "water.density",
        printed=1 / 0.100215168e-2,
        ours=density(*point),
        source=IF97,
        standing="published",
        rel=1e-8,
    )
    outside.check(
        "water.heat_capacity",
        printed=4.17301218,
        ours=heat_capacity(*point),
        source=IF97,
        standing="published",
        rel=1e-8,
    )


@pytest.mark.parametrize(
    ("kelvin", "megapascal", "volume", "cp"),
    [(300, 80, 0.971180894e-3, 4.01008987), (500, 3, 0.120241800e-2, 4.65580682)],
)
def test_coefficients_hold_at_the_far_verification_points_too(
    outside, kelvin, megapascal, volume, cp
):
    # Beyond what a circuit sees, and refused there by the public functions; the table's points
    # still prove the coefficients.
    outside.check(
        "water.density",
        printed=1 / volume,
        ours=float(water._if97("rho", kelvin, megapascal * 1e6)),
        source=IF97,
        standing="published",
        rel=1e-8,
    )
    outside.check(
        "water.heat_capacity",
        printed=cp * 1000,
        ours=float(water._if97("cp", kelvin, megapascal * 1e6)),
        source=IF97,
        standing="published",
        rel=1e-8,
    )


@pytest.mark.parametrize(
    ("temperature", "rho", "cp"),
    [
        (5, 999.96663, 4.205038),
        (7, 999.90426, 4.200631),
        (12, 999.50035, 4.192156),
        (15, 999.10262, 4.188461),
        (20, 998.20715, 4.184051),
        (30, 995.64945, 4.17982),
        (35, 994.03331, 4.179258),
        (40, 992.21635, 4.179415),
        (50, 988.03505, 4.181342),
    ],
)
def test_in_a_circuits_range_density_is_within_0_002_and_heat_capacity_within_0_05_percent(
    outside, temperature, rho, cp
):
    outside.check(
        "water.density",
        printed=rho,
        ours=density(celsius(temperature)),
        source=IAPWS95,
        standing="library",
        rel=2e-5,
    )
    outside.check(
        "water.heat_capacity",
        printed=cp,
        ours=heat_capacity(celsius(temperature)),
        source=IAPWS95,
        standing="library",
        rel=5e-4,
    )


@pytest.mark.parametrize(
    ("fahrenheit", "printed"), [(44, 502.42), (54, 501.12), (85, 497.84), (94.3, 496.88)]
)
def test_the_rule_of_500_has_its_true_value_at_each_temperature(outside, fahrenheit, printed):
    per_flow = water.density(Q(fahrenheit, "degF")) * water.heat_capacity(Q(fahrenheit, "degF"))
    ours = (per_flow * Q(1, "gallon/minute") * Q(1, "delta_degF")).to("Btu/hour").magnitude
    outside.check(
        "water.heat_capacity",
        printed=printed,
        ours=ours,
        source="IAPWS-95 heat constant, Btu/h per gpm and °F",
        standing="library",
        rel=3e-4,
    )


def test_a_pressurised_circuit_is_denser_by_the_compressibility_of_water(outside):
    outside.check(
        "water.density",
        printed=1000.1463910,
        ours=density(celsius(7), water.WATER, Q(600, "kilopascal")),
        source="IAPWS-95 by iapws 1.5.5 at 600 kPa",
        standing="library",
        rel=2e-5,
    )


def test_ahri_polynomials_give_the_same_water_at_100_psia(outside):
    # Recalled coefficients of AHRI 550/590 Appendix C, in lb/ft3 and Btu/(lb °F) over °F.
    for fahrenheit in (42.0, 54.0, 85.0, 95.0):
        rho = np.polyval([-7.4704e-10, 5.2643e-7, -1.8846e-4, 1.2164e-2, 62.227], fahrenheit)
        cp = np.polyval(
            [-4.0739e-13, 3.1031e-10, -9.2501e-8, 1.4071e-5, -1.0677e-3, 1.0295], fahrenheit
        )
        at = Q(fahrenheit, "degF"), water.WATER, Q(100, "psi")
        source = "ANSI/AHRI 550/590 water polynomials, coefficients from memory"
        outside.check(
            "water.density",
            printed=rho,
            ours=water.density(*at).to("lb/ft**3").magnitude,
            source=source,
            standing="from memory",
            rel=1e-4,
        )
        outside.check(
            "water.heat_capacity",
            printed=cp,
            ours=water.heat_capacity(*at).to("Btu/lb/delta_degF").magnitude,
            source=source,
            standing="from memory",
            rel=3e-4,
        )


def test_water_that_is_not_liquid_is_refused():
    for reading in (-2, 130):
        with pytest.raises(ScienceError, match="is not liquid here"):
            water.density(celsius(reading))
    with pytest.raises(UnitError):
        water.density(Q(7, "delta_degC"))


def test_a_trend_of_a_day_is_quick_and_equal_to_single_points():
    trend = np.random.default_rng(3).uniform(275, 318, 86_400)
    begun = time.process_time()
    rho, cp = water.density.si(trend), water.heat_capacity.si(trend)
    assert time.process_time() - begun < 0.5  # about 0.01 s of an idle processor
    for i in (0, 40_000, 86_399):
        assert rho[i] == pytest.approx(water.density.si(float(trend[i])), rel=1e-10)
        assert cp[i] == pytest.approx(water.heat_capacity.si(float(trend[i])), rel=1e-9)
    assert np.isnan(water.density.si(np.array([200.0, np.nan]))).all()


# --- glycol ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "printed"),
    [
        ("water", "water"),
        ("Ethylene glycol 25 % by volume", "ethylene glycol 25 % by volume"),
        ("propylene glycol 30% mass", "propylene glycol 30 % by mass"),
        ("MEG 12,5 %", "ethylene glycol 12.5 % by mass"),
        ("PG 30 percent by weight", "propylene glycol 30 % by mass"),
    ],
)
def test_a_liquid_is_read_as_it_is_written_on_a_drawing(typed, printed):
    assert str(water.liquid(typed)) == printed


@pytest.mark.parametrize(
    ("args", "message"),
    [
        (("calcium brine",), "calcium brine"),
        (("ethylene glycol",), "with no share"),
        (("MEG 80 %",), "from 0 to 60"),
        (("propylene glycol 5 % by volume",), "from 10 to 60"),
        (("ethylene glycol", 0.2, "mole"), "write mass or volume"),
    ],
)
def test_a_liquid_that_cannot_be_calculated_is_refused(args, message):
    with pytest.raises(ScienceError, match=message):
        water.liquid(*args)


def test_the_set_of_glycol_data_is_kept_with_the_liquid():
    assert (
        water.liquid("ethylene glycol", 0.25, "volume").data_set
        == "CoolProp incompressible set AEG (ASHRAE 2001)"
    )
    assert (
        water.liquid("propylene glycol", 0.25).data_set
        == "CoolProp incompressible set MPG (Melinder 2010)"
    )
    assert water.WATER.data_set == "IAPWS-IF97 region 1"


# ASHRAE Handbook Fundamentals, chapter 31, tables for glycol solutions by volume (from memory).
@pytest.mark.parametrize(
    ("name", "freezing", "rho", "cp"),
    [
        ("ethylene glycol 30 % by volume", -15.3, 1048.0, 3.65),
        ("propylene glycol 30 % by volume", -13.0, 1033.0, 3.82),
    ],
)
def test_glycol_has_the_handbooks_freezing_point_density_and_heat_capacity(
    outside, name, freezing, rho, cp
):
    of, source = water.liquid(name), "ASHRAE Handbook Fundamentals, secondary coolants, from memory"
    outside.check(
        "water.freezing_point",
        printed=freezing,
        ours=water.freezing_point(of).to("degC").magnitude,
        source=source,
        standing="from memory",
        abs=0.6,
    )
    outside.check(
        "water.density",
        printed=rho,
        ours=density(celsius(5), of),
        source=source,
        standing="from memory",
        rel=5e-3,
    )
    outside.check(
        "water.heat_capacity",
        printed=cp,
        ours=heat_capacity(celsius(5), of),
        source=source,
        standing="from memory",
        rel=1.5e-2,
    )


def test_glycol_below_its_freezing_point_is_refused_and_a_trend_shows_it():
    of = water.liquid("ethylene glycol 25 % by mass")
    with pytest.raises(ScienceError, match=r"-11\.0 to 100"):
        water.density(celsius(-20), of)
    values = water.density.si(np.array([280.15, 150.0, np.nan]), of)
    assert np.isfinite(values).tolist() == [True, False, False]
    assert values[0] == pytest.approx(density(celsius(7), of), rel=1e-9)


def test_glycol_of_no_share_is_nearly_water():
    of = water.liquid("ethylene glycol", 0.0)
    assert density(celsius(10), of) == pytest.approx(density(celsius(10)), rel=1e-3)
    assert heat_capacity(celsius(10), of) == pytest.approx(heat_capacity(celsius(10)), rel=5e-3)


# --- vapour pressure -------------------------------------------------------------------------


def test_vapour_pressure_reproduces_the_released_check_values(outside):
    for kelvin, pascal, source in (
        (273.16, 611.657, "IAPWS SR1-86(1992), triple point"),
        (373.1243, 101325.0, "IAPWS SR1-86(1992), normal boiling point"),
        (230.0, 8.94735, "IAPWS R14-08(2011), Table 3, ice Ih at 230 K"),
    ):
        ours = water_vapour.vapour_pressure(Q(kelvin, "kelvin")).to("pascal").magnitude
        outside.check(
            "water_vapour.vapour_pressure",
            printed=pascal,
            ours=ours,
            source=source,
            standing="published",
            rel=1e-6,
        )


def test_below_the_triple_point_only_ice_is_left(outside):
    # The field rule: below about 4600 micron no liquid water boils any more.
    triple = water_vapour.vapour_pressure(celsius(0.01)).to("micron_mercury").magnitude
    outside.check(
        "water_vapour.vapour_pressure",
        printed=4588,
        ours=triple,
        source="triple point of water in micron",
        standing="published",
        rel=1e-3,
    )
    boils = water_vapour.boiling_temperature(Q(5000, "micron_mercury")).to("degC").magnitude
    outside.check(
        "water_vapour.boiling_temperature",
        printed=1.2,
        ours=boils,
        source="IAPWS vapour pressure at 5000 micron",
        standing="library",
        abs=0.03,
    )
    assert water_vapour.boiling_temperature(Q(500, "micron_mercury")).to("degC").magnitude < -20


@settings(max_examples=60)
@given(celsius_=st.floats(-90, 190))
def test_boiling_temperature_is_the_inverse_of_vapour_pressure(celsius_):
    back = (
        water_vapour.boiling_temperature(water_vapour.vapour_pressure(celsius(celsius_)))
        .to("degC")
        .magnitude
    )
    assert back == pytest.approx(celsius_, abs=1e-6)


def test_vapour_pressure_outside_its_range_is_refused_or_marked():
    with pytest.raises(ScienceError):
        water_vapour.vapour_pressure(celsius(400))
    with pytest.raises(ScienceError):
        water_vapour.boiling_temperature(Q(0, "pascal"))
    assert np.isnan(water_vapour.vapour_pressure.si(np.array([100.0, np.nan, 300.0]))).tolist() == [
        True,
        True,
        False,
    ]
    assert np.isnan(water_vapour.boiling_temperature.si(np.array([-1.0, 600.0]))).tolist() == [
        True,
        False,
    ]


# --- flow ------------------------------------------------------------------------------------


def test_flow_follows_the_root_of_the_pressure_drop(outside):
    ours = (
        water.flow_from_pressure_drop(Q(1000, "gallon/minute"), Q(14.0, "ftH2O"), Q(16.2, "ftH2O"))
        .to("gallon/minute")
        .magnitude
    )
    outside.check(
        "water.flow_from_pressure_drop",
        printed=1075.7,
        ours=ours,
        source="square-root law, 1000 gpm at 14.0 ft, 16.2 ft read",
        standing="closed form",
        abs=0.06,
    )


def test_another_exponent_bends_the_curve_and_the_design_point_stays():
    design = Q(60, "liter/second"), Q(50, "kilopascal")
    assert water.flow_from_pressure_drop(*design, design[1], exponent=0.55).to(
        "liter/second"
    ).magnitude == pytest.approx(60)
    assert water.flow_from_pressure_drop(
        *design, Q(25, "kilopascal"), exponent=0.55
    ) < water.flow_from_pressure_drop(*design, Q(25, "kilopascal"))


def test_a_negative_drop_says_which_gauge_to_look_at():
    with pytest.raises(ScienceError, match="which gauge is at the inlet"):
        water.flow_from_pressure_drop(
            Q(60, "liter/second"), Q(50, "kilopascal"), Q(-3, "kilopascal")
        )
    with pytest.raises(ScienceError, match="check the sheet"):
        water.flow_from_pressure_drop(Q(0, "liter/second"), Q(50, "kilopascal"), Q(3, "kilopascal"))
