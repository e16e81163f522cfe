"""The pressure hold: gas law, uncertainty, and the smallest leak it could have seen."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from startkit.errors import ScienceError, UnitError
from startkit.science import tightness
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


@pytest.mark.parametrize(
    ("gauge", "slope"),
    [
        (100, 0.217),
        (125, 0.264),
        (150, 0.311),
        (200, 0.405),
        (250, 0.500),
        (300, 0.594),
        (350, 0.689),
        (500, 0.972),
    ],
)
def test_the_slope_by_the_gas_law(outside, gauge, slope):
    ours = (
        tightness.temperature_slope(Q(gauge + 14.696, "psi"), Q(70, "degF"))
        .to("psi/delta_degF")
        .magnitude
    )
    outside.check(
        "tightness.temperature_slope",
        printed=slope,
        ours=ours,
        source="p/T at 70 °F worked by hand",
        standing="closed form",
        abs=6e-4,
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

    assert at(144.2) == pytest.approx(fixed, abs=1e-3)
    assert at(300) > 1.9 * fixed


def test_the_metric_figure_of_the_specification_is_another_slope():
    assert Q(tightness.FIXED_SLOPE, "Pa/delta_degC").to(
        "kPa/delta_degC"
    ).magnitude == pytest.approx(3.72, abs=0.01)


@given(st.floats(1e4, 3e6), st.floats(260, 320), st.floats(260, 320))
def test_a_tight_vessel_brought_back_to_its_temperature_shows_its_pressure(p, t1, t2):
    there = tightness.expected_pressure.si(p, t1, t2)
    assert tightness.expected_pressure.si(there, t2, t1) == pytest.approx(p)


def test_the_law_agrees_with_an_independent_equation_for_nitrogen(outside):
    from CoolProp.CoolProp import PropsSI

    for pressure in (0.8e6, 1.5e6):
        density = PropsSI("D", "P", pressure, "T", 293.15, "Nitrogen")
        real = PropsSI("P", "D", density, "T", 303.15, "Nitrogen")
        ours = tightness.expected_pressure(
            Q(pressure, "Pa"), Q(20, "degC"), Q(30, "degC")
        ).magnitude
        outside.check(
            "tightness.expected_pressure",
            printed=real,
            ours=ours,
            source="CoolProp, Span et al. equation for nitrogen, constant density",
            standing="library",
            rel=2e-3,
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


def test_uncertainty_of_the_residual_agrees_with_monte_carlo(outside):
    rng = np.random.default_rng(7)
    n = 200_000
    p1, p2 = rng.normal(1.0e6, 1000, n), rng.normal(1.02e6, 1000, n)
    t1, t2 = rng.normal(293.15, 0.2, n), rng.normal(299.15, 0.3, n)
    ours = tightness.hold(
        Q(1.0e6, "Pa"),
        Q(20, "degC"),
        Q(1.02e6, "Pa"),
        Q(26, "degC"),
        Q(1000, "Pa"),
        Q(0.2, "delta_degC"),
        Q(0.3, "delta_degC"),
    )
    outside.check(
        "tightness.hold",
        printed=np.std(p2 - p1 * t2 / t1),
        ours=ours.u.magnitude,
        source="Monte Carlo, JCGM 101, 200 000 draws",
        standing="closed form",
        rel=0.01,
    )
    outside.check(
        "tightness.hold",
        printed=np.mean(p2 - p1 * t2 / t1),
        ours=ours.residual.magnitude,
        source="Monte Carlo, JCGM 101, 200 000 draws",
        standing="closed form",
        abs=20,
    )


def test_uncertainty_agrees_with_an_independent_library(outside):
    from uncertainties import ufloat

    r = ufloat(1.02e6, 1000) - ufloat(1.0e6, 1000) * ufloat(299.15, 0.3) / ufloat(293.15, 0.2)
    ours = tightness.hold(
        Q(1.0e6, "Pa"),
        Q(20, "degC"),
        Q(1.02e6, "Pa"),
        Q(26, "degC"),
        Q(1000, "Pa"),
        Q(0.2, "delta_degC"),
        Q(0.3, "delta_degC"),
    )
    outside.check(
        "tightness.hold",
        printed=r.std_dev,
        ours=ours.u.magnitude,
        source="package uncertainties, first order",
        standing="library",
        rel=1e-9,
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
    leak = tightness.leak(found.detectable, time, Q(1, "m**3"), Q(20, "degC"))
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
    found = tightness.leak(Q(100, "Pa"), Q(1, "hour"), Q(3.6, "m**3"), Q(293.15, "kelvin"))
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
        tightness.leak(Q(1, "Pa"), Q(0, "s"), Q(1, "m**3"), Q(20, "degC"))
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
