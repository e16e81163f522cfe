"""The pressure hold: gas law, uncertainty, and the smallest leak it could have seen."""

from __future__ import annotations

import contextlib

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from startkit.errors import ScienceError, UnitError
from startkit.science import nitrogen, tightness
from startkit.units import Q

BAROMETER = Q(14.7, "psi")


def psig(value):
    return Q(value, "psi") + BAROMETER


def test_the_gas_law_by_a_printed_example(outside):
    ours = tightness.expected_pressure(psig(150), Q(95, "degF"), Q(75, "degF")) - BAROMETER
    outside.check(
        "tightness.expected_pressure",
        printed=144,
        ours=ours.to("psi").magnitude,
        source="knowt.com refrigeration lesson: 150 psig at 95 °F becomes about 144 psig at 75 °F",
        standing="secondary",
        abs=0.5,
    )


@pytest.mark.parametrize("gauge", [100, 200, 350, 500])
def test_the_slope_by_an_independent_equation(outside, gauge):
    from CoolProp.CoolProp import PropsSI

    pressure, temperature = Q(gauge + 14.696, "psi"), Q(70, "degF")
    state = ("P", pressure.to("Pa").magnitude, "T", temperature.to("K").magnitude, "Nitrogen")
    outside.check(
        "tightness.temperature_slope",
        printed=PropsSI("d(P)/d(T)|D", *state),
        ours=tightness.temperature_slope(pressure, temperature).magnitude,
        source="CoolProp, Span et al. equation for nitrogen, dp/dT at constant density",
        standing="library",
        rel=2e-4,
    )


def test_the_fixed_slope_of_the_specification_is_right_near_one_pressure_only(outside):
    fixed = Q(tightness.FIXED_SLOPE, "Pa/delta_degC").to("psi/delta_degF").magnitude
    outside.check(
        "tightness.FIXED_SLOPE",
        printed=0.3,
        ours=fixed,
        source="UFGS 15652A 3.2.1.2: 0.3 psi per °F",
        standing="published",
        rel=1e-9,
    )

    def at(gauge):
        return (
            tightness.temperature_slope(Q(gauge + 14.696, "psi"), Q(70, "degF"))
            .to("psi/delta_degF")
            .magnitude
        )

    assert at(140.1) == pytest.approx(fixed, abs=1e-3)
    assert at(300) > 1.9 * fixed


def test_the_metric_figure_of_the_specification_is_another_slope():
    assert Q(tightness.FIXED_SLOPE, "Pa/delta_degC").to(
        "kPa/delta_degC"
    ).magnitude == pytest.approx(3.72, abs=0.01)


@given(st.floats(1e4, 3e6), st.floats(260, 320), st.floats(260, 320))
def test_a_tight_vessel_brought_back_to_its_temperature_shows_its_pressure(p, t1, t2):
    there = tightness.expected_pressure.si(p, t1, t2)
    assert tightness.expected_pressure.si(there, t2, t1) == pytest.approx(p)


def test_the_expected_pressure_agrees_with_an_independent_equation_for_nitrogen(outside):
    from CoolProp.CoolProp import PropsSI

    for pressure in (0.8e6, 1.5e6, 3.55e6):
        for cold, warm in ((20, 30), (15, 30), (-10, 50)):
            density = PropsSI("D", "P", pressure, "T", cold + 273.15, "Nitrogen")
            outside.check(
                "tightness.expected_pressure",
                printed=PropsSI("P", "D", density, "T", warm + 273.15, "Nitrogen"),
                ours=tightness.expected_pressure(
                    Q(pressure, "Pa"), Q(cold, "degC"), Q(warm, "degC")
                ).magnitude,
                source="CoolProp, Span et al. equation for nitrogen, constant density",
                standing="library",
                rel=6e-5,
            )


def test_the_gas_law_alone_is_off_by_what_the_docstring_says():
    from CoolProp.CoolProp import PropsSI

    for pressure, stated in ((1.5e6, 1.2e-3), (3.55e6, 2.8e-3)):
        density = PropsSI("D", "P", pressure, "T", 293.15, "Nitrogen")
        real = PropsSI("P", "D", density, "T", 303.15, "Nitrogen")
        assert 1 - pressure * 303.15 / 293.15 / real == pytest.approx(stated, abs=5e-5)


@pytest.mark.parametrize("share", [0.01, 0.025, 0.05])
def test_a_trace_of_refrigerant_lowers_the_cold_pressure_a_little_more(outside, share):
    """The library's mixing rule and ours differ by half of what a trace does, no more."""
    import CoolProp
    from CoolProp import CoolProp as library

    with contextlib.suppress(ValueError):  # known already
        library.apply_simple_mixing_rule("7727-37-9", "811-97-2", "Lorentz-Berthelot")
    gas = CoolProp.AbstractState("HEOS", "Nitrogen&R134a")
    gas.specify_phase(CoolProp.iphase_gas)
    gas.set_mole_fractions([1 - share, share])
    density = nitrogen.Gas(share).density(1.41e6, 303.15)
    gas.update(library.DmolarT_INPUTS, density, 303.15)
    warm = gas.p()
    gas.update(library.DmolarT_INPUTS, density, 288.15)
    pure = tightness.expected_pressure.si(1.41e6, 303.15, 288.15)
    ours = tightness.expected_pressure.si(1.41e6, 303.15, 288.15, share)
    theirs = gas.p() * 1.41e6 / warm
    assert theirs < pure and ours < pure
    assert abs(ours - theirs) < 0.6 * (pure - ours)


@pytest.mark.parametrize(
    ("pressure", "temperature"), [(6e6, 293.15), (1e6, 240.0), (1e6, 340.0), (0.0, 293.15)]
)
def test_a_state_outside_the_range_is_refused(pressure, temperature):
    with pytest.raises(ScienceError, match="pressure hold"):
        tightness.expected_pressure.si(pressure, temperature, 293.15)


@pytest.mark.parametrize(
    ("temperature", "printed"), [(250, -16.8), (273.15, -10.8), (293.15, -6.5), (323.15, -1.2)]
)
def test_the_second_virial_coefficient_agrees_with_a_printed_table(outside, temperature, printed):
    outside.check(
        "nitrogen.molar_density",
        printed=printed,
        ours=nitrogen.Gas().second(temperature) * 1e6,
        source="LibreTexts, table A9 of second virial coefficients: nitrogen 185.4 - 141.8"
        " exp(88.7 K/T) cm3/mol",
        standing="published",
        abs=0.8,
    )


def held(p2=1.0e6, correlation=0.0):
    return tightness.hold(
        Q(1.0e6, "Pa"),
        Q(20, "degC"),
        Q(p2, "Pa"),
        Q(20, "degC"),
        Q(1000, "Pa"),
        Q(0.2, "delta_degC"),
        Q(0.3, "delta_degC"),
        correlation=correlation,
    )


READ = (
    *(Q(1.0e6, "Pa"), Q(20, "degC"), Q(1.02e6, "Pa"), Q(26, "degC")),
    *(Q(1000, "Pa"), Q(0.2, "delta_degC"), Q(0.3, "delta_degC")),
)


def test_uncertainty_of_the_residual_agrees_with_monte_carlo(outside):
    from CoolProp.CoolProp import PropsSI

    rng = np.random.default_rng(7)
    n = 20_000
    p1, p2 = rng.normal(1.0e6, 1000, n), rng.normal(1.02e6, 1000, n)
    t1, t2 = rng.normal(293.15, 0.2, n), rng.normal(299.15, 0.3, n)
    density = PropsSI("D", "P", p1, "T", t1, "Nitrogen")
    residual = p2 - PropsSI("P", "D", density, "T", t2, "Nitrogen")
    ours = tightness.hold(*READ)
    source = "Monte Carlo, JCGM 101, 20 000 draws, with CoolProp's nitrogen"
    for printed, found, within in (
        (np.std(residual), ours.u, 40),
        (np.mean(residual), ours.residual, 60),
    ):
        outside.check(
            "tightness.hold",
            printed=printed,
            ours=found.magnitude,
            source=source,
            standing="library",
            abs=within,
        )


def test_uncertainty_agrees_with_an_independent_library(outside):
    from uncertainties import ufloat, wrap

    expected = wrap(tightness.expected_pressure.si)
    r = ufloat(1.02e6, 1000) - expected(
        ufloat(1.0e6, 1000), ufloat(293.15, 0.2), ufloat(299.15, 0.3)
    )
    outside.check(
        "tightness.hold",
        printed=r.std_dev,
        ours=tightness.hold(*READ).u.magnitude,
        source="package uncertainties, first order",
        standing="library",
        rel=1e-5,
    )


def test_one_gauge_left_in_place_sees_smaller_leaks():
    assert held(correlation=0.9).u.magnitude < held().u.magnitude
    with pytest.raises(ScienceError, match="correlation"):
        held(correlation=1.2)


def test_a_loss_is_called_a_leak_only_beyond_its_doubt():
    u = held().u.magnitude
    assert not held(1.0e6 - 1.6 * u).lost
    assert held(1.0e6 - 1.7 * u).lost
    assert not held(1.0e6 + 5 * u).lost


def test_the_detectable_loss_is_missed_in_one_case_of_twenty(outside):
    rng = np.random.default_rng(11)
    found = held()
    readings = rng.normal(-found.detectable.magnitude, found.u.magnitude, 100_000)
    missed = np.mean(readings > -found.threshold.magnitude)
    false = np.mean(rng.normal(0, found.u.magnitude, 100_000) < -found.threshold.magnitude)
    for printed, ours in ((0.05, missed), (0.05, false)):
        outside.check(
            "tightness.DETECTION",
            printed=printed,
            ours=ours,
            source="ISO 11929 decision threshold and detection limit, alpha = beta = 0.05",
            standing="from memory",
            abs=0.003,
        )


def test_needed_hold_makes_the_wanted_leak_just_detectable(outside):
    found = held()
    time = tightness.needed_hold(found.u, Q(1, "kPa/hour"))
    leak = tightness.leak(found.detectable, time, Q(1, "m**3"), Q(20, "degC"), Q(1, "MPa"))
    assert leak.pressure_rate.to("kPa/hour").magnitude == pytest.approx(1)
    ours = tightness.needed_hold(Q(1, "kPa"), Q(1, "kPa/hour")).to("hour").magnitude
    outside.check(
        "tightness.needed_hold",
        printed=3.29,
        ours=ours,
        source="ISO 11929 detection limit, 2 x 1.645 u",
        standing="from memory",
        rel=1e-9,
    )
    with pytest.raises(ScienceError, match="largest leak"):
        tightness.needed_hold(found.u, Q(0, "kPa/hour"))


def test_a_leak_in_three_units(outside):
    # 100 Pa in an hour from 3.6 m3 at 293.15 K: 0.1 Pa m3/s; nitrogen: 28.0134e-3 x 0.1 / (8.314463
    # x 293.15) kg/s
    found = tightness.leak(
        Q(100, "Pa"), Q(1, "hour"), Q(3.6, "m**3"), Q(293.15, "kelvin"), Q(1, "kPa")
    )
    outside.check(
        "tightness.leak",
        printed=0.1,
        ours=found.throughput.magnitude,
        source="q = V dp/dt",
        standing="closed form",
        rel=1e-9,
    )
    outside.check(
        "tightness.leak",
        printed=36.26,
        ours=found.mass_rate.to("kg/year").magnitude,
        source="M q/(R T) by hand, 1.1493e-6 kg/s",
        standing="closed form",
        rel=2e-3,
    )
    ours = tightness.pressure_rate(found.throughput, Q(3.6, "m**3")).to("Pa/hour").magnitude
    outside.check(
        "tightness.pressure_rate",
        printed=100,
        ours=ours,
        source="q/V, the same backwards",
        standing="closed form",
        rel=1e-9,
    )


def test_the_example_of_the_federal_vacuum_decay_check(outside):
    lost = tightness.amount_lost(
        Q(2, "liter"), Q(25.3, "kPa"), Q(293.15, "kelvin"), Q(50.6, "kPa"), Q(293.15, "kelvin")
    )
    ours = -lost.to("mole").magnitude / 70
    outside.check(
        "tightness.amount_lost",
        printed=0.00030,
        ours=ours,
        source="40 CFR 1065.644 example, 70 s (inputs read, result 0.00030 mol/s)",
        standing="published",
        abs=5e-6,
    )


def test_leaks_need_a_time_and_a_volume():
    with pytest.raises(ScienceError, match="volume under test"):
        tightness.leak(Q(1, "Pa"), Q(0, "s"), Q(1, "m**3"), Q(20, "degC"), Q(1, "MPa"))
    with pytest.raises(ScienceError, match="volume under test"):
        tightness.pressure_rate(Q(1, "Pa*m**3/s"), Q(0, "m**3"))


def test_absolute_pressure_of_zero_is_refused():
    with pytest.raises(ScienceError, match="barometer"):
        tightness.expected_pressure(Q(0, "Pa"), Q(20, "degC"), Q(20, "degC"))


def test_a_temperature_uncertainty_is_a_difference():
    with pytest.raises(UnitError, match="delta_degC"):
        tightness.hold(
            Q(1, "MPa"), Q(20, "degC"), Q(1, "MPa"), Q(20, "degC"), Q(1, "kPa"), Q(0.2, "degC")
        )
