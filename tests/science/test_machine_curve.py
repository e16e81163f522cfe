"""What a chiller cools and draws under a current limit."""

from __future__ import annotations

import numpy as np
import pytest

from startkit.errors import ScienceError
from startkit.science import machine_curve
from startkit.units import Q

# Two published centrifugal machines: coefficients, reference point and kW/ton at four loads (PNNL
# copper-bem 0.3.0,
# BSD-2-Clause, from the EnergyPlus data set of chiller curves).
SETS = {
    "234 ton": {
        "tons": 234.0,
        "cop": 6.28,
        "least": 0.1,
        "capft": (0.557315, 0.08714616, -0.002917582, 0.025, -0.000886154, -0.000318462),
        "eirft": (0.8029134, 0.02171359, 0.000238812, -0.01096173, 0.001065277, -0.002057538),
        "eirfplr": (0.2965419, 0.4689744, 0.2332341),
        "printed": (0.646, 0.5881, 0.6272, 0.9591),
    },
    "500 ton": {
        "tons": 500.0,
        "cop": 5.96,
        "least": 0.2,
        "capft": (1.074211, 0.007710761, -0.00316677, -0.01868765, 0.000127387, 0.002744586),
        "eirft": (0.4910329, -0.09895115, 0.004257871, 0.05433817, -0.000818491, 0.000617881),
        "eirfplr": (0.3694797, 0.09551656, 0.5347291),
        "printed": (0.6089, 0.553, 0.5184, 0.7853),
    },
}
SOURCE = "PNNL copper-bem 0.3.0, chiller_curves.json, kW/ton at 100/75/50/25 %"


def by_curves(name, condenser=85.0):
    one = SETS[name]
    return machine_curve.machine_from_curves(
        Q(one["tons"], "ton_cooling"),
        Q(one["cop"], "dimensionless"),
        one["capft"],
        one["eirft"],
        one["eirfplr"],
        Q(condenser, "degF"),
        Q(5.56, "degC"),
        Q(10.0, "degC"),
        one["least"],
    )


@pytest.mark.parametrize("name", SETS)
def test_power_at_four_loads_agrees_with_the_publishers_own(outside, name):
    one = SETS[name]
    full = one["tons"] * machine_curve.biquadratic(one["capft"], 6.667, (85 - 32) / 1.8)
    for load, condenser, printed in zip(
        (1.0, 0.75, 0.5, 0.25), (85.0, 75.0, 65.0, 65.0), one["printed"], strict=True
    ):
        machine = by_curves(name, condenser)
        available = machine.available(273.15 + 6.667)
        tons = load * full
        ours = machine.power(273.15 + 6.667, tons * 3516.853 / available) / 1000 / tons
        outside.check(
            "machine_curve.machine_from_curves",
            printed=printed,
            ours=ours,
            source=SOURCE,
            standing="library",
            rel=1e-3,
        )


def test_the_curves_give_one_at_their_reference(outside):
    one = SETS["500 ton"]
    outside.check(
        "machine_curve.biquadratic",
        printed=1.0115023026816,
        ours=machine_curve.biquadratic(one["capft"], 5.56, 24.44),
        source="copper-bem 0.3.0: capft at the reference",
        standing="library",
        rel=1e-9,
    )


def test_under_a_limit_the_current_is_the_limit_until_the_vanes_are_open():
    machine = by_curves("500 ton")
    water = np.array([279.0, 283.0])
    assert machine.current(0.6, water) == pytest.approx([0.6, 0.6])
    assert np.all(machine.capacity(0.6, water) < machine.capacity(0.9, water))
    assert machine.current(2.0, water) == pytest.approx(machine.full_vane_current(water))


def test_a_limit_below_the_least_load_is_not_held():
    machine = by_curves("500 ton")
    assert machine.current(0.05, np.array([279.0]))[0] > 0.05


def test_outside_the_fitted_range_the_curves_say_so():
    machine = by_curves("500 ton")
    assert machine.inside(np.array([279.0, 283.0]))
    assert not machine.inside(np.array([279.0, 295.0]))
    assert machine.capacity(0.8, 295.0) == pytest.approx(machine.capacity(0.8, 283.15))


def by_table(growth=0.0, easing=0.0):
    return machine_curve.machine_from_table(
        Q(500, "ton_cooling"),
        Q(44, "degF"),
        Q(np.array([100.0, 75, 50, 25]), "percent"),
        Q(np.array([100.0, 74, 52, 38]), "percent"),
        Q(growth, "1/delta_degC"),
        Q(easing, "1/delta_degC"),
    )


def test_a_table_is_met_at_its_rows(outside):
    machine, cold = by_table(), Q(44, "degF").to("kelvin").magnitude
    for current, load in ((1.0, 1.0), (0.74, 0.75), (0.52, 0.5), (0.38, 0.25)):
        ours = machine.capacity(current, cold) / (500 * 3516.8528420667)
        outside.check(
            "machine_curve.machine_from_table",
            printed=load,
            ours=ours,
            source="rows of the table itself",
            standing="closed form",
            rel=1e-9,
        )


def test_warm_water_makes_open_vanes_draw_more_and_each_ampere_cool_more():
    machine = by_table(0.03, 0.015)
    assert machine.full_vane_current(290.0) > 1.1
    assert machine.current(0.8, 290.0) == pytest.approx(0.8)
    assert machine.capacity(0.8, 290.0) > machine.capacity(0.8, 280.0)


def test_the_table_machine_behaves_as_the_published_curves_do_in_their_range(outside):
    # 500 ton set, 85 °F condenser: growth and easing fitted at 10 °C must carry over to 8 °C.
    curve = by_curves("500 ton")
    cold, warm, between = 279.0, 283.0, 281.0
    growth = (curve.available(warm) / curve.available(cold) - 1) / (warm - cold)
    eased = (
        curve.full_vane_current(warm)
        / curve.full_vane_current(cold)
        / (curve.available(warm) / curve.available(cold))
    )
    loads = np.array([0.2, 0.4, 0.6, 0.8, 1.0])
    table = machine_curve.machine_from_table.si(
        curve.available(cold),
        cold,
        loads,
        curve.power(cold, loads) / curve.full_load_power,
        growth,
        (1 - eased) / (warm - cold),
    )
    for limit in (0.6, 0.8):
        outside.check(
            "machine_curve.machine_from_table",
            printed=curve.capacity(limit, between),
            ours=table.capacity(limit, between),
            source="published curves, 500 ton set (copper-bem 0.3.0)",
            standing="library",
            rel=0.05,
        )


def test_a_table_whose_current_does_not_rise_is_refused():
    with pytest.raises(ScienceError, match="part-load points"):
        machine_curve.machine_from_table(
            Q(500, "ton_cooling"),
            Q(44, "degF"),
            Q(np.array([0.5, 1.0]), "dimensionless"),
            Q(np.array([0.9, 0.8]), "dimensionless"),
        )
    with pytest.raises(ScienceError, match="six, six and three"):
        machine_curve.machine_from_curves(
            Q(1, "kW"),
            Q(5, "dimensionless"),
            (1.0,),
            (1.0,) * 6,
            (1.0,) * 3,
            Q(30, "degC"),
            Q(5, "degC"),
            Q(10, "degC"),
        )
