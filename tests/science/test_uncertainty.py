"""Uncertainty against the worked examples of JCGM 100 and 101 and against another library."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from startkit.errors import ScienceError
from startkit.science import compression, performance, refrigerant, uncertainty
from startkit.units import Q

H2 = "JCGM 100:2008, example H.2, Table H.4"


def test_a_rectangular_accuracy_becomes_a_standard_uncertainty(outside):
    # Copper's expansion coefficient: limits of 0.40e-6 give 0.23e-6.
    outside.check(
        "uncertainty.rectangular",
        printed=0.23,
        ours=uncertainty.rectangular(0.40),
        source="JCGM 100:2008, 4.3.7 example",
        standing="published",
        abs=0.002,
    )
    outside.check(
        "uncertainty.resolution",
        printed=0.29,
        ours=uncertainty.resolution(1.0),
        source="JCGM 100:2008, F.2.2.1",
        standing="published",
        abs=0.002,
    )
    # A mass of which the certificate says 240 µg at three standard deviations has u = 80 µg.
    outside.check(
        "uncertainty.from_certificate",
        printed=80,
        ours=uncertainty.from_certificate(240, 3),
        source="JCGM 100:2008, 4.3.3 example",
        standing="published",
        rel=1e-9,
    )


def test_an_instruments_parts_combine_in_their_units():
    accuracy = uncertainty.rectangular(Q(0.1, "delta_degC"))
    display = uncertainty.resolution(Q(0.18, "delta_degF"))
    u = (accuracy**2 + display**2) ** 0.5
    assert u.to("delta_degC").magnitude == pytest.approx(math.hypot(0.1 / 3**0.5, 0.1 / 12**0.5))
    with pytest.raises(ScienceError):
        uncertainty.from_certificate(1.0, 0)


def test_sensors_calibrated_together_are_correlated(outside):
    outside.check(
        "uncertainty.correlation_of_shared",
        printed=0.8,
        ours=uncertainty.correlation_of_shared(2.0, 1.0),
        source="covariance of x = s + a, y = s + b",
        standing="closed form",
        rel=1e-12,
    )
    assert uncertainty.correlation_of_shared(0.0, 0.0) == 0.0


@pytest.mark.parametrize(("freedom", "printed"), [(1, 12.71), (5, 2.57), (10, 2.23), (50, 2.01)])
def test_coverage_factors_are_those_of_the_printed_table(outside, freedom, printed):
    outside.check(
        "uncertainty.coverage_factor",
        printed=printed,
        ours=uncertainty.coverage_factor(freedom),
        source="JCGM 100:2008, Table G.2, 95 %",
        standing="published",
        abs=0.006,
    )


def test_effective_freedom_reproduces_the_gauge_block_example(outside):
    ours = uncertainty.effective_freedom([25, 9.7, 2.9, 16.6], [18, 25.6, 50, 2])
    outside.check(
        "uncertainty.effective_freedom",
        printed=16.7,
        ours=ours,
        source="JCGM 100:2008, example H.1.6",
        standing="published",
        abs=0.15,
    )
    assert uncertainty.effective_freedom([0.0], [3]) == math.inf
    with pytest.raises(ScienceError):
        uncertainty.coverage_factor(0)


VALUES = {"volt": 4.9990, "ampere": 19.6610e-3, "phase": 1.04446}
SPREAD = {"volt": 0.0032, "ampere": 0.0095e-3, "phase": 0.00075}
CORRELATION = {("volt", "ampere"): -0.36, ("volt", "phase"): 0.86, ("ampere", "phase"): -0.65}


@pytest.mark.parametrize(
    ("function", "value", "u"),
    [
        (lambda volt, ampere, phase: volt / ampere * np.cos(phase), 127.732, 0.071),
        (lambda volt, ampere, phase: volt / ampere * np.sin(phase), 219.847, 0.295),
        (lambda volt, ampere, phase: volt / ampere + 0 * phase, 254.260, 0.236),
    ],
    ids=["resistance", "reactance", "impedance"],
)
@pytest.mark.parametrize("method", ["first order", "Monte Carlo"])
def test_correlated_inputs_reproduce_the_guides_example(outside, function, value, u, method):
    found = uncertainty.propagate(function, VALUES, SPREAD, CORRELATION, method)
    outside.check(
        "uncertainty.propagate",
        printed=value,
        ours=found.value,
        source=H2,
        standing="published",
        rel=1e-5,
    )
    # The printed correlations have two digits.
    outside.check(
        "uncertainty.propagate",
        printed=u,
        ours=found.u,
        source=f"{H2}, {method}",
        standing="published",
        rel=0.03,
    )
    assert sum(row.share for row in found.budget) == pytest.approx(1.0)


def test_first_order_agrees_with_another_library(outside):
    import uncertainties
    from uncertainties import umath

    names = ("volt", "ampere", "phase")
    covariance = [
        [
            SPREAD[a]
            * SPREAD[b]
            * (1 if a == b else CORRELATION.get((a, b), CORRELATION.get((b, a), 0.0)))
            for b in names
        ]
        for a in names
    ]
    volt, ampere, phase = uncertainties.correlated_values([VALUES[n] for n in names], covariance)
    found = uncertainty.propagate(
        lambda volt, ampere, phase: volt / ampere * math.cos(phase),
        VALUES,
        SPREAD,
        CORRELATION,
        "first order",
    )
    outside.check(
        "uncertainty.propagate",
        printed=(volt / ampere * umath.cos(phase)).std_dev,
        ours=found.u,
        source="package uncertainties 3.2",
        standing="library",
        rel=1e-5,
    )


def test_monte_carlo_reproduces_the_additive_example_of_the_supplement(outside):
    names = ("a", "b", "c", "d")
    found = uncertainty.propagate(
        lambda a, b, c, d: a + b + c + d,
        dict.fromkeys(names, 0.0),
        dict.fromkeys(names, 1.0),
        method="Monte Carlo",
        distributions=dict.fromkeys(names, "rectangular"),
    )
    source = "JCGM 101:2008, 9.2.3, four rectangular inputs"
    outside.check(
        "uncertainty.propagate",
        printed=2.00,
        ours=found.u,
        source=source,
        standing="published",
        abs=0.02,
    )
    outside.check(
        "uncertainty.propagate",
        printed=3.88,
        ours=found.high,
        source=source,
        standing="published",
        abs=0.04,
    )
    outside.check(
        "uncertainty.propagate",
        printed=-3.88,
        ours=found.low,
        source=source,
        standing="published",
        abs=0.04,
    )


def capacity(flow, entering, leaving):
    return performance.cooling_capacity.si(flow, entering, leaving)


@pytest.mark.parametrize(("kelvin", "percent"), [(50 / 9, 1.62), (5.0, 1.73), (2.5, 3.00)])
def test_capacity_loses_certainty_as_the_water_range_closes(outside, kelvin, percent):
    found = uncertainty.propagate(
        capacity,
        {"flow": 0.0631, "entering": 280.0 + kelvin, "leaving": 280.0},
        {"flow": 0.000631, "entering": 0.05, "leaving": 0.05},
        returns="watt",
    )
    outside.check(
        "uncertainty.propagate",
        printed=percent,
        ours=100 * (found.u / found.value).magnitude,
        source="u(T) = 0.05 K each, u(flow) = 1 %: sqrt(0.01^2 + 2 (0.05/range)^2)",
        standing="closed form",
        abs=0.006,
    )


def test_the_budget_says_what_dominates_and_units_go_in_and_out():
    found = uncertainty.propagate(
        capacity,
        {"flow": Q(1000, "gallon/minute"), "entering": Q(54, "degF"), "leaving": Q(44, "degF")},
        {
            "flow": Q(20, "gallon/minute"),
            "entering": Q(0.1, "delta_degF"),
            "leaving": Q(0.1, "delta_degF"),
        },
        returns="watt",
    )
    assert found.budget[0].name == "flow"
    assert found.budget[0].share == pytest.approx(0.02**2 / (0.02**2 + 2 * 0.01**2), abs=2e-3)
    assert found.budget[0].contribution.to("kilowatt").magnitude == pytest.approx(29.4, abs=0.1)
    assert found.budget[0].u == Q(20, "gallon/minute")
    assert found.method == "first order"
    assert found.low < found.value < found.high


def test_a_matched_pair_measures_a_range_better_than_two_strangers():
    values, u = (
        {"flow": 0.0631, "entering": 285.0, "leaving": 280.0},
        {"entering": 0.1, "leaving": 0.1},
    )
    strangers = uncertainty.propagate(capacity, values, u)
    matched = uncertainty.propagate(capacity, values, u, {("entering", "leaving"): 0.9})
    assert matched.u / strangers.u == pytest.approx((1 - 0.9) ** 0.5, rel=2e-3)
    twins = uncertainty.propagate(
        capacity, values, u, {("leaving", "entering"): 1.0}, "Monte Carlo"
    )
    assert twins.u < 0.01 * strangers.u


def specific(power, flow, entering, leaving):
    return performance.specific_power.si(
        power, performance.cooling_capacity.si(flow, entering, leaving)
    )


def readings(kelvin):
    return {"power": 200e3, "flow": 0.0631, "entering": 280.0 + kelvin, "leaving": 280.0}


U = {"power": 2e3, "flow": 0.000631, "entering": 0.1, "leaving": 0.1}


def test_a_wide_water_range_is_straight_enough_and_a_narrow_one_turns_to_monte_carlo():
    assert uncertainty.propagate(specific, readings(8.0), U).method == "first order"
    narrow = uncertainty.propagate(specific, readings(2.0), U)
    assert narrow.method == "Monte Carlo"
    first = uncertainty.propagate(specific, readings(2.0), U, method="first order")
    assert narrow.high - narrow.value > narrow.value - narrow.low  # skewed to the expensive side
    assert narrow.u > first.u


def test_the_same_job_gives_the_same_monte_carlo_figures():
    assert uncertainty.propagate(specific, readings(2.0), U) == uncertainty.propagate(
        specific, readings(2.0), U
    )


def test_a_formula_that_takes_no_arrays_is_tried_one_by_one():
    found = uncertainty.propagate(lambda x: math.exp(x), {"x": 0.0}, {"x": 0.5})
    assert found.method == "Monte Carlo"
    assert found.value == 1.0
    # Log-normal distribution: sd = exp(s^2/2) sqrt(exp(s^2) - 1), 97.5 % at exp(1.96 s).
    assert found.u == pytest.approx(math.exp(0.125) * math.sqrt(math.exp(0.25) - 1), rel=0.08)
    assert found.high == pytest.approx(math.exp(0.98), rel=0.05)


def test_readings_that_could_mean_anything_are_refused():
    with pytest.raises(ScienceError, match="formula's range"):
        uncertainty.propagate(specific, readings(0.15), U)


def test_the_uncertainty_of_superheat_near_zero_crosses_the_dew_line():
    pressure = refrigerant.saturation_pressure.si("R-134a", 278.15)
    found = uncertainty.propagate(
        refrigerant.superheat.si,
        {"fluid": "R-134a", "pressure": pressure, "temperature": 278.35},
        {"pressure": 2e3, "temperature": 0.1},
        returns="delta_degC",
    )
    assert found.value.magnitude == pytest.approx(0.2, abs=1e-6)
    slope = 1 / (
        (
            refrigerant.saturation_pressure.si("R-134a", 278.25)
            - refrigerant.saturation_pressure.si("R-134a", 278.05)
        )
        / 0.2
    )
    assert found.u.magnitude == pytest.approx(math.hypot(0.1, 2e3 * slope), rel=1e-3)


def test_half_a_kelvin_of_discharge_temperature_moves_isentropic_efficiency_by_about_1_6_points(
    outside,
):
    at = {
        "fluid": "R-134a",
        "suction_pressure": 350e3,
        "suction_temperature": 279.15,
        "discharge_pressure": 900e3,
        "discharge_temperature": 318.15,
    }
    found = uncertainty.propagate(
        compression.isentropic_efficiency.si,
        at,
        {"discharge_temperature": 0.5},
        method="first order",
    )
    outside.check(
        "compression.isentropic_efficiency",
        printed=0.016,
        ours=found.u,
        source="sensitivity noted from CoolProp 8.0.0 trials",
        standing="library",
        abs=0.004,
    )


def test_a_whole_trend_has_an_uncertainty_at_each_point():
    leaving = np.array([280.0, 281.0, 282.0])
    found = uncertainty.propagate(
        capacity,
        {"flow": 0.0631, "entering": 285.0, "leaving": leaving},
        {"flow": 0.000631, "entering": 0.05, "leaving": 0.05},
    )
    relative = found.u / found.value
    assert relative == pytest.approx(
        np.sqrt(0.01**2 + 2 * (0.05 / (285.0 - leaving)) ** 2), rel=2e-3
    )


@settings(max_examples=40)
@given(
    a=st.floats(-5, 5),
    b=st.floats(-5, 5),
    ua=st.floats(0.01, 2),
    ub=st.floats(0.01, 2),
    r=st.floats(-0.99, 0.99),
)
def test_for_a_linear_formula_first_order_is_exact(a, b, ua, ub, r):
    found = uncertainty.propagate(
        lambda x, y: 3 * x - 2 * y, {"x": a, "y": b}, {"x": ua, "y": ub}, {("x", "y"): r}
    )
    assert found.u == pytest.approx(
        math.sqrt(9 * ua**2 + 4 * ub**2 - 12 * r * ua * ub), rel=1e-6, abs=1e-6
    )
    assert found.method == "first order"


def test_exact_inputs_give_no_uncertainty():
    found = uncertainty.propagate(
        capacity, {"flow": 0.06, "entering": 285.0, "leaving": 280.0}, {"flow": 0.0}
    )
    assert found.u == 0.0
    assert found.budget == ()


@pytest.mark.parametrize(
    ("u", "correlation", "message"),
    [
        ({"elsewhere": 1.0}, None, "elsewhere"),
        ({"flow": -1.0}, None, "negative or not a number"),
        ({"flow": math.nan}, None, "negative or not a number"),
        ({"entering": Q(0.1, "degC")}, None, "delta_degC or delta_degF"),
        ({"entering": 0.1, "leaving": 0.1}, {("entering", "leaving"): 1.2}, "contradict"),
        (
            {"flow": 0.001, "entering": 0.1, "leaving": 0.1},
            {("flow", "entering"): 0.9, ("entering", "leaving"): 0.9, ("flow", "leaving"): -0.9},
            "contradict",
        ),
    ],
)
def test_uncertainties_that_cannot_be_are_refused(u, correlation, message):
    with pytest.raises(ScienceError, match=message):
        uncertainty.propagate(
            capacity, {"flow": 0.06, "entering": 285.0, "leaving": 280.0}, u, correlation
        )


def test_an_unknown_method_is_refused():
    with pytest.raises(ScienceError, match="Monte Carlo"):
        uncertainty.propagate(capacity, {}, {}, method="guess")


def test_intervals_hold_the_truth_as_often_as_they_claim():
    """500 runs of noisy readings of a known machine: 95 % intervals hold the truth in 93 to 97 % of
    them.
    """
    generator = np.random.default_rng(7)
    truth = readings(5.0)
    value = specific(**truth)
    held = 0
    for _ in range(500):
        seen = {name: truth[name] + U[name] * generator.standard_normal() for name in truth}
        found = uncertainty.propagate(specific, seen, U, method="first order")
        held += found.low <= value <= found.high
    assert 0.93 <= held / 500 <= 0.97


def test_a_product_of_two_inputs_near_nil_is_noticed(outside):
    """The end-gauge of the guide: 32 nm by first order, 34 nm with the second-order terms."""

    def length(standard, difference, expansion, off, unlike, warmer):
        return standard + difference - standard * (unlike * off + expansion * warmer)

    values = {
        "standard": 50.000623e6,
        "difference": 215.0,
        "expansion": 11.5e-6,
        "off": -0.1,
        "unlike": 0.0,
        "warmer": 0.0,
    }
    u = {
        "standard": 25.0,
        "difference": 9.7,
        "expansion": 1.2e-6,
        "off": 0.41,
        "unlike": 0.58e-6,
        "warmer": 0.029,
    }
    for method, printed in (("first order", 32), ("auto", 34)):
        outside.check(
            "uncertainty.propagate",
            printed=printed,
            ours=uncertainty.propagate(length, values, u, method=method).u,
            source="JCGM 100:2008, example H.1, 32 nm and with H.1.7 34 nm",
            standing="published",
            abs=0.5,
        )
    assert uncertainty.propagate(length, values, u).method == "Monte Carlo"


def test_a_product_of_two_large_inputs_stays_first_order():
    found = uncertainty.propagate(lambda a, b: a * b, {"a": 10.0, "b": 5.0}, {"a": 0.05, "b": 0.02})
    assert found.method == "first order"
