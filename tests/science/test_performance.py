"""Performance against worked vectors, textbook cycles and closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from startkit.errors import ScienceError, UnitError
from startkit.science import approach, performance, refrigerant, water
from startkit.units import Q

VECTOR = (
    "capacity vector computed with the package iapws 1.5.5 (IF97), density at the entering"
    " temperature, cp at the mean"
)
CENGEL = "Cengel & Boles, Thermodynamics, example 11-1, from memory"


def gpm(value):
    return Q(value, "gallon/minute")


def fahrenheit(value):
    return Q(value, "degF")


def celsius(value):
    return Q(value, "degC")


EVAPORATOR = performance.cooling_capacity(gpm(1000), fahrenheit(54), fahrenheit(44))
CONDENSER = performance.heat_rejected(gpm(1200), fahrenheit(85), fahrenheit(94.3))
POWER = Q(230, "kilowatt")


def test_capacity_and_heat_rejected_reproduce_the_worked_vector(outside):
    outside.check(
        "performance.cooling_capacity",
        printed=1470.04,
        ours=EVAPORATOR.to("kilowatt").magnitude,
        source=VECTOR,
        standing="library",
        abs=0.01,
    )
    outside.check(
        "performance.cooling_capacity",
        printed=418.00,
        ours=EVAPORATOR.to("ton_cooling").magnitude,
        source=VECTOR + ", tons",
        standing="library",
        abs=0.01,
    )
    outside.check(
        "performance.heat_rejected",
        printed=1628.01,
        ours=CONDENSER.to("kilowatt").magnitude,
        source=VECTOR,
        standing="library",
        abs=0.01,
    )


def test_the_rule_of_500_is_met_within_half_a_percent(outside):
    outside.check(
        "performance.cooling_capacity",
        printed=416.67,
        ours=EVAPORATOR.to("ton_cooling").magnitude,
        source="rule of thumb: 500 Btu/h per gpm and °F",
        standing="common practice",
        rel=5e-3,
    )


def test_heat_balance_is_given_on_both_bases(outside):
    balance = performance.heat_balance(EVAPORATOR, CONDENSER, POWER)
    outside.check(
        "performance.heat_balance",
        printed=4.42,
        ours=balance.condenser_basis.to("percent").magnitude,
        source=VECTOR,
        standing="library",
        abs=0.005,
    )
    outside.check(
        "performance.heat_balance",
        printed=4.33,
        ours=balance.mean_basis.to("percent").magnitude,
        source=VECTOR,
        standing="library",
        abs=0.005,
    )
    assert balance.residual.to("kilowatt").magnitude == pytest.approx(
        1470.04 + 230 - 1628.01, abs=0.02
    )


def test_specific_power_and_cop_reproduce_the_worked_vector(outside):
    ours = performance.specific_power(POWER, EVAPORATOR).to("kilowatt/ton_cooling").magnitude
    outside.check(
        "performance.specific_power",
        printed=0.5502,
        ours=ours,
        source=VECTOR,
        standing="library",
        abs=5e-5,
    )
    outside.check(
        "performance.cop",
        printed=6.391,
        ours=performance.cop(POWER, EVAPORATOR).magnitude,
        source=VECTOR,
        standing="library",
        abs=1e-3,
    )


def test_an_open_drive_counts_only_the_shaft(outside):
    ours = performance.shaft_power(Q(100, "kilowatt"), 0.90).to("kilowatt").magnitude
    outside.check(
        "performance.shaft_power",
        printed=90.0,
        ours=ours,
        source="Singapore heat-balance method, worked example for open drive",
        standing="secondary",
        abs=1e-9,
    )
    with pytest.raises(ScienceError, match=r"efficiency of 1\.2"):
        performance.shaft_power(Q(100, "kilowatt"), 1.2)


def test_density_is_taken_at_the_meter():
    at_entering = performance.cooling_capacity(gpm(1000), fahrenheit(54), fahrenheit(44))
    at_leaving = performance.cooling_capacity(
        gpm(1000), fahrenheit(54), fahrenheit(44), fahrenheit(44)
    )
    rho = water.density(fahrenheit(44)) / water.density(fahrenheit(54))
    assert (at_leaving / at_entering).magnitude == pytest.approx(rho.magnitude, rel=1e-9)


def test_glycol_carries_less_heat_than_water_at_the_same_flow():
    glycol = performance.cooling_capacity(
        gpm(1000), fahrenheit(54), fahrenheit(44), of=water.liquid("ethylene glycol 30 % by volume")
    )
    assert 0.88 < (glycol / EVAPORATOR).magnitude < 0.96


def test_crossed_sensors_show_as_negative_capacity_and_are_refused_where_it_divides():
    crossed = performance.cooling_capacity(gpm(1000), fahrenheit(44), fahrenheit(54))
    assert crossed.magnitude < 0
    with pytest.raises(ScienceError, match="flow"):
        performance.specific_power(POWER, crossed)
    with pytest.raises(ScienceError, match="which sensor is entering"):
        performance.heat_balance(EVAPORATOR, -CONDENSER, POWER)


def test_a_bare_number_is_refused():
    with pytest.raises(UnitError):
        performance.cooling_capacity(1000, fahrenheit(54), fahrenheit(44))


def test_approaches_and_lift_follow_the_printed_saturation_chart(outside):
    # R-134a chart: 35.0 psig is 40 °F, 124.2 psig is 100 °F.
    low, high, chart = (
        Q(35.0 + 14.696, "psi"),
        Q(124.2 + 14.696, "psi"),
        "pressure-temperature chart computed with NIST REFPROP, calcspec.com",
    )
    evaporator = (
        approach.approach_evaporator("R-134a", low, fahrenheit(44)).to("delta_degF").magnitude
    )
    condenser = (
        approach.approach_condenser("R-134a", high, fahrenheit(95)).to("delta_degF").magnitude
    )
    outside.check(
        "approach.approach_evaporator",
        printed=4.0,
        ours=evaporator,
        source=chart,
        standing="secondary",
        abs=0.1,
    )
    outside.check(
        "approach.approach_condenser",
        printed=5.0,
        ours=condenser,
        source=chart,
        standing="secondary",
        abs=0.1,
    )
    outside.check(
        "performance.lift",
        printed=60.0,
        ours=performance.lift("R-134a", low, high).to("delta_degF").magnitude,
        source=chart,
        standing="secondary",
        abs=0.1,
    )
    outside.check(
        "performance.pressure_ratio",
        printed=(124.2 + 14.696) / (35.0 + 14.696),
        ours=performance.pressure_ratio(low, high).magnitude,
        source=chart,
        standing="secondary",
        rel=1e-9,
    )


def test_lmtd_and_ua_reproduce_the_standards_fouling_example(outside):
    source = "ARI 550/590-2003 Appendix C fouling example (inputs from memory)"
    mean = approach.lmtd(fahrenheit(85), fahrenheit(95), fahrenheit(101))
    outside.check(
        "approach.lmtd",
        printed=10.1955,
        ours=mean.to("delta_degF").magnitude,
        source=source,
        standing="from memory",
        abs=1e-4,
    )
    ours = approach.ua(Q(2_880_000, "Btu/hour"), mean).to("Btu/hour/delta_degF").magnitude
    outside.check(
        "approach.ua",
        printed=2_880_000 / 10.1955,
        ours=ours,
        source=source,
        standing="from memory",
        rel=1e-5,
    )


def test_lmtd_of_equal_ends_is_the_common_difference():
    assert approach.lmtd(celsius(7), celsius(7), celsius(3)).magnitude == pytest.approx(4.0)
    assert approach.lmtd.si(280.0, 280.0 + 1e-9, 276.0) == pytest.approx(4.0, abs=1e-6)


@given(first=st.floats(0.2, 20), second=st.floats(0.2, 20))
def test_lmtd_lies_between_geometric_and_arithmetic_mean(first, second):
    mean = approach.lmtd.si(300 - first, 300 - second, 300.0)
    assert (first * second) ** 0.5 - 1e-6 <= mean <= (first + second) / 2 + 1e-6


def test_a_saturation_temperature_between_the_water_temperatures_is_refused():
    with pytest.raises(ScienceError, match="barometer"):
        approach.lmtd(celsius(12), celsius(7), celsius(8))
    assert np.isnan(approach.lmtd.si(np.array([285.0]), np.array([280.0]), np.array([281.0]))).all()


def test_an_approach_is_carried_to_full_load_only_where_that_means_something(outside):
    ours = approach.approach_at_full_load(Q(1.0, "delta_degC"), 0.5).to("delta_degC").magnitude
    outside.check(
        "approach.approach_at_full_load",
        printed=2.0,
        ours=ours,
        source="proportional to heat flux, 1 K at half load",
        standing="common practice",
        abs=1e-12,
    )
    with pytest.raises(ScienceError, match="between 40 and 120 % load"):
        approach.approach_at_full_load(Q(1.0, "delta_degC"), Q(20, "percent"))
    assert np.isnan(
        approach.approach_at_full_load.si(np.array([1.0, 1.0]), np.array([0.2, 0.8]))
    ).tolist() == [True, False]


def test_air_in_the_condenser_shows_as_pressure_beyond_the_refrigerants_own(outside):
    # Dalton: 5.12 kPa of air over R-1233zd(E) at 28 °C.
    own = refrigerant.saturation_pressure("R-1233zd(E)", celsius(28))
    found = performance.non_condensables("R-1233zd(E)", own + Q(5.12, "kilopascal"), celsius(28))
    outside.check(
        "performance.non_condensables",
        printed=5.12,
        ours=found.excess_pressure.to("kilopascal").magnitude,
        source="Dalton's law",
        standing="closed form",
        abs=1e-6,
    )
    # Clausius-Clapeyron: dT = dp / (dp/dT), dp/dT = latent heat / (T dv).
    latent = refrigerant.enthalpy("R-1233zd(E)", own, celsius(28)) - refrigerant.liquid_enthalpy(
        "R-1233zd(E)", own, celsius(28)
    )
    slope = latent * refrigerant.density("R-1233zd(E)", own, celsius(28)) / Q(301.15, "kelvin")
    expected = (Q(5.12, "kilopascal") / slope).to("kelvin").magnitude
    outside.check(
        "performance.non_condensables",
        printed=expected,
        ours=found.equivalent.to("delta_degC").magnitude,
        source="Clausius-Clapeyron, liquid volume neglected",
        standing="closed form",
        rel=0.03,
    )


@pytest.mark.parametrize("fluid", ["R-450A", "R-513A", "R-134a", "R-1233zd(E)"])
def test_refrigerant_alone_over_its_liquid_shows_no_air(outside, fluid):
    from CoolProp.CoolProp import PropsSI

    name = {"R-450A": "R450A.mix", "R-513A": "R513A.mix", "R-134a": "R134a"}.get(fluid, fluid[2:])
    name = name if name[0] == "R" else f"R{name}"
    pressure = PropsSI("P", "T", 294.15, "Q", 0, name)
    outside.check(
        "performance.non_condensables",
        printed=0.0,
        ours=performance.non_condensables.si(fluid, pressure, 294.15).equivalent,
        source="CoolProp, bubble pressure at 21 °C",
        standing="library",
        abs=0.02,
    )


def test_the_textbook_cycle_gives_its_mass_flow_and_its_share_of_carnot(outside):
    low, high = Q(0.14, "megapascal"), Q(0.8, "megapascal")
    dew, bubble = (
        refrigerant.dew_temperature("R-134a", low),
        refrigerant.bubble_temperature("R-134a", high),
    )
    flow = (
        performance.refrigerant_flow("R-134a", Q(7.18, "kilowatt"), low, dew, high, bubble)
        .to("kg/s")
        .magnitude
    )
    outside.check(
        "performance.refrigerant_flow",
        printed=0.05,
        ours=flow,
        source=CENGEL,
        standing="from memory",
        rel=2e-3,
    )
    # Saturation at 0.14 and 0.8 MPa: -18.77 and 31.31 °C in the book's tables.
    share = performance.carnot_fraction(3.97, dew, bubble).magnitude
    outside.check(
        "performance.carnot_fraction",
        printed=3.97 / ((273.15 - 18.77) / (31.31 + 18.77)),
        ours=share,
        source=CENGEL + ", table A-12",
        standing="from memory",
        rel=2e-3,
    )


def test_whole_trends_pass_and_stopped_hours_are_not_a_number():
    flow = np.full(4, 0.0631)
    entering, leaving = np.full(4, 285.37), np.array([279.82, 280.0, 285.37, np.nan])
    capacity = performance.cooling_capacity.si(flow, entering, leaving)
    assert capacity[0] == pytest.approx(1470.4e3, rel=2e-3)
    specific = performance.specific_power.si(np.full(4, 230e3), capacity)
    assert np.isfinite(specific).tolist() == [True, True, False, False]
    balance = performance.heat_balance.si(capacity, np.full(4, 1.7e6), np.full(4, 230e3))
    assert np.isfinite(balance.mean_basis).tolist() == [True, True, True, False]
