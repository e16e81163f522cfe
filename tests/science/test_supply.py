"""The supply's unbalance, what it costs, and the band in which a motor must still run."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from startkit.errors import ScienceError, UnitError
from startkit.science import supply
from startkit.units import Q

VOLTS = st.floats(1, 15000)


@pytest.mark.parametrize(
    ("volts", "printed", "tolerance", "source"),
    [
        ((462, 463, 455), 1.1, 0.05, "DOE Motor Tip Sheet 7 wording, eng-tips 481112"),
        ((460, 467, 450), 1.96, 0.005, "tools.gera.services worked example"),
        ((480, 476, 472), 0.84, 0.005, "industrialmonitordirect.com worked example"),
    ],
)
def test_voltage_unbalance_is_the_largest_deviation_from_the_mean(
    outside, volts, printed, tolerance, source
):
    ours = supply.voltage_unbalance(*[Q(v, "volt") for v in volts]).to("percent").magnitude
    outside.check(
        "supply.voltage_unbalance",
        printed=printed,
        ours=ours,
        source=source,
        standing="secondary",
        abs=tolerance,
    )


def test_the_spread_between_phases_is_not_the_unbalance():
    assert (
        supply.voltage_unbalance(Q(480, "V"), Q(476, "V"), Q(472, "V")).to("percent").magnitude
        < 0.9
    )


def test_current_unbalance_of_a_field_case(outside):
    # 18.2 A mean, lowest phase 17.943 A; the third phase is what the mean leaves over.
    third = 3 * 18.2 - 17.943 - 18.3
    ours = (
        supply.current_unbalance(Q(17.943, "A"), Q(18.3, "A"), Q(third, "A"))
        .to("percent")
        .magnitude
    )
    outside.check(
        "supply.current_unbalance",
        printed=1.4,
        ours=ours,
        source="eng-tips 481112, worked reply",
        standing="secondary",
        abs=0.05,
    )


@given(VOLTS, VOLTS, VOLTS, st.floats(0.1, 10))
def test_unbalance_does_not_depend_on_the_order_of_phases_nor_on_the_scale(a, b, c, scale):
    value = supply.voltage_unbalance.si(a, b, c)
    assert supply.voltage_unbalance.si(c, a, b) == pytest.approx(value, abs=1e-12)
    assert supply.voltage_unbalance.si(scale * a, scale * b, scale * c) == pytest.approx(
        value, abs=1e-9
    )
    assert 0 <= value <= 2


def test_a_trend_of_voltages_gives_a_trend_of_unbalance():
    values = supply.voltage_unbalance(
        Q(np.array([460.0, 462.0]), "V"),
        Q(np.array([460.0, 463.0]), "V"),
        Q(np.array([460.0, 455.0]), "V"),
    )
    assert values.to("percent").magnitude == pytest.approx([0, 1.08696], abs=1e-4)


def test_a_dead_or_negative_phase_reading_is_refused():
    with pytest.raises(ScienceError, match="all three read zero"):
        supply.voltage_unbalance(Q(0, "V"), Q(0, "V"), Q(0, "V"))
    with pytest.raises(ScienceError):
        supply.voltage_unbalance(Q(460, "V"), Q(-1, "V"), Q(460, "V"))


def test_a_lost_phase_is_an_unbalance_not_an_error():
    assert supply.current_unbalance(Q(100, "A"), Q(0, "A"), Q(100, "A")).to(
        "percent"
    ).magnitude == pytest.approx(100)


def test_volts_are_asked_for():
    with pytest.raises(UnitError):
        supply.voltage_unbalance(460, 460, 460)
    with pytest.raises(UnitError):
        supply.voltage_unbalance(Q(460, "A"), Q(460, "A"), Q(460, "A"))


@pytest.mark.parametrize(
    ("percent", "printed"), [(1, 0.98), (2, 0.95), (3, 0.88), (4, 0.82), (5, 0.75)]
)
def test_derating_meets_the_printed_points(outside, percent, printed):
    ours = supply.derating(Q(percent, "percent")).magnitude
    outside.check(
        "supply.derating",
        printed=printed,
        ours=ours,
        source=supply.DERATING_SOURCE,
        standing="secondary",
        abs=1e-9,
    )


def test_derating_of_the_worked_example(outside):
    unbalance = supply.voltage_unbalance(Q(460, "V"), Q(467, "V"), Q(450, "V"))
    ours = supply.derating(unbalance).magnitude
    outside.check(
        "supply.derating",
        printed=0.95,
        ours=ours,
        source="tools.gera.services: 1.96 % gives near 0.95",
        standing="secondary",
        abs=0.005,
    )


def test_another_reading_of_the_curve_lies_within_the_stated_doubt(outside):
    ours = supply.derating(Q(3, "percent")).magnitude
    outside.check(
        "supply.derating",
        printed=0.90,
        ours=ours,
        source="public restatement of NEMA MG 1: 90 % at 3 %",
        standing="secondary",
        abs=0.021,
    )


def test_above_five_percent_the_motor_is_not_operated():
    assert supply.derating(Q(4.999, "percent")).magnitude > 0.75
    assert supply.derating(Q(5.0, "percent")).magnitude == pytest.approx(0.75)
    with pytest.raises(ScienceError, match="not operate"):
        supply.derating(Q(5.001, "percent"))


def test_derating_never_rises_with_unbalance():
    factors = supply.derating.si(np.linspace(0, 0.05, 200))
    assert np.all(np.diff(factors) <= 0)
    assert factors[0] == 1


def test_a_field_case_of_current_unbalance_is_explained_by_its_voltage(outside):
    low, high = supply.explained_current_unbalance(Q(1.7, "percent"))
    assert low.magnitude < 0.17
    outside.check(
        "supply.explained_current_unbalance",
        printed=17,
        ours=high.to("percent").magnitude,
        source="eng-tips 41982, chiller motor: 1.7 % V, 17 % A",
        standing="secondary",
        abs=0.1,
    )


def test_temperature_rise_grows_with_the_square_of_unbalance(outside):
    ours = supply.temperature_rise_increase(Q(3.5, "percent")).to("percent").magnitude
    outside.check(
        "supply.temperature_rise_increase",
        printed=25,
        ours=ours,
        source="NEMA MG 1 14.36 as taught: 3.5 % raises the rise by about 25 %",
        standing="from memory",
        abs=1,
    )


def test_starting_torque_falls_with_the_square_of_voltage(outside):
    ours = supply.starting_torque_ratio(Q(0.9 * 460, "V"), Q(460, "V")).magnitude
    outside.check(
        "supply.starting_torque_ratio",
        printed=0.81,
        ours=ours,
        source="condensed NEMA MG 1-2011, 9.9.2: as the square of voltage",
        standing="published",
        abs=1e-9,
    )
    ours = supply.starting_torque_ratio(
        Q(460, "V"), Q(460, "V"), Q(57, "Hz"), Q(60, "Hz")
    ).magnitude
    outside.check(
        "supply.starting_torque_ratio",
        printed=1 / 0.95**2,
        ours=ours,
        source="condensed NEMA MG 1-2011, 9.9.2: inversely as the square of frequency",
        standing="published",
        abs=1e-9,
    )
