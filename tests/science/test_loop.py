"""The chilled-water loop: heat balance, closed form, and what a seen pull-down says of it."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from startkit.errors import ScienceError, UnitError
from startkit.science import loop, loop_estimate
from startkit.units import Q

WATER = 50 * 998.0 * 4186.0  # J/K of 50 m3


def test_heat_capacity_of_water_and_steel(outside):
    ours = loop.loop_heat_capacity(
        Q(50, "m**3"), Q(998, "kg/m**3"), Q(4186, "J/kg/delta_degC"), Q(2000, "kg")
    )
    outside.check(
        "loop.loop_heat_capacity",
        printed=WATER + 2000 * 490,
        ours=ours.magnitude,
        source="rho V cp + m c by hand",
        standing="closed form",
        rel=1e-12,
    )
    with pytest.raises(ScienceError, match="loop's volume"):
        loop.loop_heat_capacity(Q(0, "m**3"), Q(998, "kg/m**3"), Q(4186, "J/kg/delta_degC"))


def test_fifty_cubic_metres_at_five_hundred_tons(outside):
    # 1758 kW net on 50 m3: half a kelvin a minute, 25 to 7 °C in about 36 minutes.
    ours = loop.constant_capacity_time(
        Q(25, "degC"), Q(7, "degC"), Q(WATER, "J/delta_degC"), Q(0, "kW"), Q(1758, "kW")
    )
    outside.check(
        "loop.constant_capacity_time",
        printed=36,
        ours=ours.to("minute").magnitude,
        source="worked by hand: 0.50 K/min over 18 K",
        standing="closed form",
        abs=0.5,
    )
    ramp = loop.heat_capacity_from_ramp(Q(1758, "kW"), Q(0.505, "delta_degC/minute"))
    outside.check(
        "loop.heat_capacity_from_ramp",
        printed=WATER,
        ours=ramp.magnitude,
        source="the same, backwards",
        standing="closed form",
        rel=2e-3,
    )


@pytest.mark.parametrize(
    ("load", "conductance"), [(0.0, 0.0), (300e3, 0.0), (300e3, 8e3), (0.0, 20e3)]
)
def test_the_differential_equation_meets_its_closed_form(outside, load, conductance):
    closed = loop.constant_capacity_time.si(
        298.15, 280.15, WATER, load, 1758e3, conductance, 303.15
    )
    ours = loop.pull_down.si(
        298.15,
        280.15,
        WATER,
        load,
        lambda time, water: 1758e3 + 0 * water,
        None,
        conductance,
        303.15,
    )
    outside.check(
        "loop.pull_down",
        printed=closed,
        ours=ours.time[-1],
        source="one lump, constant heat: exponential closed form",
        standing="closed form",
        rel=1e-5,
    )
    assert ours.reached
    assert ours.leaving[-1] == pytest.approx(280.15, abs=1e-6)


def test_capacity_that_grows_with_warm_water_has_a_closed_form_too(outside):
    # Q = Q0 + k (T - T_end): the same exponential with k in place of a conductance.
    q0, k, end = 1000e3, 20e3, 280.15
    closed = WATER / k * math.log((298.15 - end + q0 / k) / (q0 / k))
    ours = loop.pull_down.si(298.15, end, WATER, 0.0, lambda time, water: q0 + k * (water - end))
    outside.check(
        "loop.pull_down",
        printed=closed,
        ours=ours.time[-1],
        source="one lump, heat linear in temperature: closed form",
        standing="closed form",
        rel=1e-5,
    )


def test_leaving_water_lies_half_a_range_below_the_loop(outside):
    leaving, heat = loop.leaving_and_heat(np.array([290.0]), lambda water: 1000e3 + 0 * water, 50e3)
    outside.check(
        "loop.leaving_and_heat",
        printed=280.0,
        ours=leaving[0],
        source="290 K - 1000 kW/(2 x 50 kW/K)",
        standing="closed form",
        abs=1e-9,
    )
    assert heat[0] == 1000e3


def test_a_load_larger_than_the_machine_is_never_brought_down():
    assert math.isinf(loop.constant_capacity_time.si(298.15, 280.15, WATER, 2e6, 1758e3))
    course = loop.pull_down.si(
        298.15, 280.15, WATER, 2e6, lambda time, water: 1758e3 + 0 * water, horizon=3600.0
    )
    assert not course.reached
    assert course.loop[-1] > 298.15


def test_a_loop_already_cold_needs_no_time():
    assert (
        loop.pull_down.si(279.0, 280.15, WATER, 0.0, lambda time, water: 1e6 + 0 * water).time[-1]
        == 0
    )
    with pytest.raises(ScienceError, match="set point"):
        loop.constant_capacity_time.si(279.0, 280.15, WATER, 0, 1e6)


@settings(max_examples=25, deadline=None)
@given(st.floats(0, 1e6), st.floats(1.2e6, 3e6), st.floats(1.05, 2))
def test_a_larger_loop_takes_longer_and_a_larger_machine_less(load, capacity, more):
    base = loop.constant_capacity_time.si(298.15, 280.15, WATER, load, capacity)
    assert loop.constant_capacity_time.si(
        298.15, 280.15, more * WATER, load, capacity
    ) == pytest.approx(more * base)
    assert loop.constant_capacity_time.si(298.15, 280.15, WATER, load, more * capacity) < base


def seen(noise=0.02, gap=False, seed=1, part=1.0):
    """A pull-down seen minute by minute: heat falls from 1900 to 1400 kW as the water cools."""
    course = loop.pull_down.si(
        298.15,
        280.15,
        WATER,
        300e3,
        lambda time, water: 1758e3 * (1 + 0.015 * (water - 290)),
        points=61,
    )
    rng = np.random.default_rng(seed)
    count = int(part * course.time.size)
    time, temperature, heat = (
        course.time[:count],
        course.loop[:count] + rng.normal(0, noise, count),
        course.heat[:count].copy(),
    )
    if gap:
        time = np.concatenate([time[:20], time[30:]])
        temperature, heat = (
            np.concatenate([temperature[:20], temperature[30:]]),
            np.concatenate([heat[:20], heat[30:]]),
        )
    return Q(time, "s"), Q(temperature, "kelvin"), Q(heat, "W")


def test_a_noiseless_pull_down_gives_its_loop_back(outside):
    found = loop_estimate.estimate(*seen(noise=0))
    outside.check(
        "loop_estimate.estimate",
        printed=WATER,
        ours=found.heat_capacity.magnitude,
        source="loop of the simulated pull-down",
        standing="closed form",
        rel=2e-3,
    )
    outside.check(
        "loop_estimate.estimate",
        printed=300e3,
        ours=found.load.magnitude,
        source="load of the simulated pull-down",
        standing="closed form",
        rel=2e-2,
    )


def test_intervals_hold_the_true_loop_as_often_as_they_should():
    found = [loop_estimate.estimate(*seen(seed=seed)) for seed in range(120)]
    held = np.mean(
        [
            abs(one.heat_capacity.magnitude - WATER) <= 1.96 * one.u_heat_capacity.magnitude
            for one in found
        ]
    )
    loads = np.mean(
        [abs(one.load.magnitude - 300e3) <= 1.96 * one.u_load.magnitude for one in found]
    )
    assert 0.88 <= held <= 1.0
    assert 0.88 <= loads <= 1.0


def test_a_gap_in_the_readings_is_not_filled():
    found = loop_estimate.estimate(*seen(noise=0, gap=True))
    assert found.heat_capacity.magnitude == pytest.approx(WATER, rel=3e-3)


def test_readings_that_are_not_numbers_are_left_out():
    time, temperature, heat = seen(noise=0)
    temperature.magnitude[5] = np.nan
    assert loop_estimate.estimate(time, temperature, heat).heat_capacity.magnitude == pytest.approx(
        WATER, rel=3e-3
    )


def test_early_on_loop_and_load_cannot_be_told_apart_but_the_plan_helps():
    early = seen(part=0.2)
    planned = {
        "planned_heat_capacity": Q(1.2 * WATER, "J/delta_degC"),
        "u_planned_heat_capacity": Q(0.2 * WATER, "J/delta_degC"),
        "planned_load": Q(250, "kW"),
        "u_planned_load": Q(80, "kW"),
    }
    found = loop_estimate.estimate(*early, **planned)
    assert not found.separable
    assert abs(found.heat_capacity.magnitude - WATER) < 2 * found.u_heat_capacity.magnitude
    assert found.u_heat_capacity.magnitude < 0.15 * WATER
    assert found.correlation < -0.9


def test_too_few_readings_are_refused():
    time, temperature, heat = seen()
    with pytest.raises(ScienceError, match="five readings"):
        loop_estimate.estimate(time[:4], temperature[:4], heat[:4])


@pytest.mark.parametrize("slope", [0.0, 0.1, -0.1, 1e-3, 1 / 3])
def test_a_temperature_that_more_heat_does_not_bend_settles_nothing(slope):
    time = Q(np.arange(10.0) * 60, "s")
    straight = Q(290 + slope * np.arange(10), "kelvin")
    with pytest.raises(ScienceError, match="planned loop"):
        loop_estimate.estimate(time, straight, Q(np.linspace(1e6, 2e6, 10), "W"))


@pytest.mark.parametrize("wobble", [0.0, 1e-12, 1e-9])
def test_constant_heat_cannot_tell_the_loop_from_its_load(wobble):
    time = np.arange(60.0) * 60
    heat = 5e5 * (1 + wobble * np.sin(time / 300))
    falling = Q(295 - 0.1 * time / 60, "kelvin"), Q(heat, "W")
    with pytest.raises(ScienceError, match="planned loop"):
        loop_estimate.estimate(Q(time, "s"), *falling)
    planned = loop_estimate.estimate(
        Q(time, "s"),
        *falling,
        planned_heat_capacity=Q(WATER, "J/delta_degC"),
        u_planned_heat_capacity=Q(0.1 * WATER, "J/delta_degC"),
    )
    assert not planned.separable
    assert planned.u_heat_capacity.magnitude == pytest.approx(0.1 * WATER, rel=1e-3)


def test_loops_need_units():
    with pytest.raises(UnitError):
        loop.constant_capacity_time(25, 7, WATER, 0, 1758)
    with pytest.raises(ScienceError):
        loop.heat_capacity_from_ramp(Q(0, "kW"), Q(0.5, "delta_degC/minute"))
