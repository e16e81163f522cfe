"""Oil pump speed as a baseline: what viscosity explains, and what it does not."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from startkit.errors import ScienceError
from startkit.science.oil_pump import (
    CANNOT_TELL,
    MOVED,
    NOT_MOVED,
    compare_pump_speed,
    expected_speed,
)
from startkit.units import Q


def _compare(speed, v=20.0, v0=20.0, u_speed=0.05, u_v=0.1, **more):
    return compare_pump_speed(
        Q(speed, "hertz"),
        Q(40, "hertz"),
        Q(v, "mm**2/s"),
        Q(v0, "mm**2/s"),
        Q(u_speed, "hertz"),
        Q(u_v, "mm**2/s"),
        **more,
    )


def test_the_speed_lies_between_orifice_and_laminar_flow(outside):
    low, high = expected_speed(Q(40, "hertz"), Q(20, "mm**2/s"), Q(16, "mm**2/s"))
    outside.check(
        "oil_pump.expected_speed",
        printed=50,
        ours=high.to("hertz").magnitude,
        source="laminar leakage in proportion to 1/viscosity: 40 x 20/16",
        standing="closed form",
        abs=1e-9,
    )
    outside.check(
        "oil_pump.expected_speed",
        printed=40,
        ours=low.to("hertz").magnitude,
        source="orifice flow independent of viscosity",
        standing="closed form",
        abs=1e-9,
    )


def test_at_equal_viscosity_the_uncertainty_is_that_of_two_speeds_and_two_thermometers(outside):
    u = _compare(40.0).u_difference.to("hertz").magnitude
    outside.check(
        "oil_pump.compare_pump_speed",
        printed=(2 * 0.05**2 + (40 / 20 * 0.1) ** 2 / 2) ** 0.5,
        ours=u,
        source="JCGM 100:2008, 5.1.2 by hand",
        standing="closed form",
        rel=1e-9,
    )


def test_the_same_speed_at_the_same_viscosity_has_not_moved():
    assert _compare(40.0).outcome == NOT_MOVED and _compare(40.0).candidates == ()


def test_a_faster_pump_at_equal_viscosity_names_wear_and_dilution():
    found = _compare(46.0)
    assert (
        found.outcome == MOVED
        and any("wear" in c for c in found.candidates)
        and any("dilut" in c for c in found.candidates)
    )


def test_a_slower_pump_names_a_restriction():
    found = _compare(34.0)
    assert found.outcome == MOVED and any("restriction" in c for c in found.candidates)


def test_much_thinner_oil_leaves_it_untold():
    assert _compare(46.0, v=14.0).outcome == CANNOT_TELL


def test_a_speed_at_the_edge_of_the_tolerance_cannot_be_told():
    assert _compare(42.0).outcome == CANNOT_TELL


@given(st.floats(5, 80), st.floats(5, 80))
def test_the_expected_range_holds_the_baseline_and_is_ordered(v0, v):
    low, high = expected_speed(Q(40, "hertz"), Q(v0, "mm**2/s"), Q(v, "mm**2/s"))
    assert (
        low.magnitude <= 40 <= high.magnitude
        or low.magnitude == pytest.approx(40)
        or high.magnitude == pytest.approx(40)
    )


def test_a_viscosity_of_nil_is_refused():
    with pytest.raises(ScienceError, match="above zero"):
        expected_speed(Q(40, "hertz"), Q(20, "mm**2/s"), Q(0, "mm**2/s"))
