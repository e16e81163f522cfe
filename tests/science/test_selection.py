"""Selection: interpolation, correction for lift, and performance curves against published sets."""

from __future__ import annotations

import numpy as np
import pytest

from startkit.errors import ScienceError
from startkit.science import selection
from startkit.units import Q

# Two published centrifugal curve sets: PNNL copper-bem 0.3.0 (BSD-2-Clause), sets 13 and 71, from
# EnergyPlus' data.
SET_13 = selection.Curves(
    capacity=(0.557315, 0.08714616, -0.002917582, 0.025, -0.000886154, -0.000318462),
    power=(0.8029134, 0.02171359, 0.000238812, -0.01096173, 0.001065277, -0.002057538),
    part_load=(0.2965419, 0.4689744, 0.2332341),
    reference_capacity=234.0 * 3516.8528,
    reference_cop=6.28,
    reference_leaving=5.56,
    reference_entering=23.89,
    leaving_range=(5.56, 10.0),
    entering_range=(12.78, 23.89),
    least_load=0.1,
)
SET_71 = selection.Curves(
    capacity=(1.074211, 0.007710761, -0.00316677, -0.01868765, 0.000127387, 0.002744586),
    power=(0.4910329, -0.09895115, 0.004257871, 0.05433817, -0.000818491, 0.000617881),
    part_load=(0.3694797, 0.09551656, 0.5347291),
    reference_capacity=500.0 * 3516.8528,
    reference_cop=5.96,
    reference_leaving=5.56,
    reference_entering=24.44,
    leaving_range=(5.56, 10.0),
    entering_range=(12.78, 24.44),
    least_load=0.2,
)
PRINTED = {
    "13": (SET_13, (0.646, 0.5881, 0.6272, 0.9591)),
    "71": (SET_71, (0.6089, 0.553, 0.5184, 0.7853)),
}
SOURCE = "PNNL copper-bem 0.3.0 (BSD-2-Clause), chiller_curves.json from EnergyPlus data"
POINTS = ((1.0, 85), (0.75, 75), (0.5, 65), (0.25, 65))


def full_load(curves):
    """Capacity available at 44/85 °F, to which the published loads refer."""
    probe = selection.expected_power(
        curves,
        Q(0.8 * curves.reference_capacity, "watt"),
        Q(44, "degF"),
        Q(85, "degF"),
        normalised=False,
    )
    return probe.available


@pytest.mark.parametrize("key", ["13", "71"])
def test_curves_reproduce_the_published_power_at_four_loads(outside, key):
    curves, printed = PRINTED[key]
    for (load, entering), each in zip(POINTS, printed, strict=True):
        found = selection.expected_power(
            curves, load * full_load(curves), Q(44, "degF"), Q(entering, "degF"), normalised=False
        )
        outside.check(
            "selection.expected_power",
            printed=each,
            ours=found.specific_power.to("kilowatt/ton_cooling").magnitude,
            source=f"{SOURCE}, set {key}, {100 * load:.0f} %",
            standing="secondary",
            rel=5e-4,
        )  # it rounds temperatures to 0.01 °C


@pytest.mark.parametrize("curves", [SET_13, SET_71], ids=["13", "71"])
def test_normalised_curves_give_the_reference_back_at_the_reference(curves):
    at = Q(curves.reference_leaving, "degC"), Q(curves.reference_entering, "degC")
    found = selection.expected_power(curves, Q(curves.reference_capacity, "watt"), *at)
    assert found.available.to("watt").magnitude == pytest.approx(curves.reference_capacity)
    assert found.specific_power.magnitude == pytest.approx(1 / curves.reference_cop)
    assert found.warnings == ()


def test_temperatures_outside_the_fitted_range_are_said_so():
    found = selection.expected_power(SET_13, Q(200, "ton_cooling"), Q(44, "degF"), Q(85, "degF"))
    (warning,) = found.warnings
    assert "29.4 °C" in warning and "12.8 to 23.9 °C" in warning


@pytest.mark.parametrize("share", [0.05, 1.3])
def test_a_load_outside_the_curves_is_refused(share):
    with pytest.raises(ScienceError, match="is outside the curves, 10 to 110 %"):
        selection.expected_power(
            SET_13, share * Q(SET_13.reference_capacity, "watt"), Q(5.56, "degC"), Q(23.89, "degC")
        )


# --- interpolation ---------------------------------------------------------------------------


def test_between_two_rows_lies_a_straight_line(outside):
    loads = [Q(each, "percent") for each in (100, 75, 50, 25)]
    powers = [Q(each, "kilowatt") for each in (300, 200, 130, 90)]
    ours = selection.interpolate(Q(90, "percent"), loads, powers).to("kilowatt").magnitude
    outside.check(
        "selection.interpolate",
        printed=260.0,
        ours=ours,
        source="200 + 100 x 15/25",
        standing="closed form",
        rel=1e-12,
    )
    assert selection.interpolate(0.5, (1.0, 0.5), (0.6, 0.52)) == pytest.approx(0.52)
    temperature = selection.interpolate(0.75, (0.5, 1.0), [Q(65, "degF"), Q(85, "degF")])
    assert temperature.to("degF").magnitude == pytest.approx(75.0)


@pytest.mark.parametrize("load", [0.2, 1.05])
def test_beyond_the_rows_nothing_is_known(load):
    with pytest.raises(ScienceError, match="nothing is extrapolated"):
        selection.interpolate(load, (1.0, 0.75, 0.5, 0.25), (0.6, 0.55, 0.52, 0.7))


def test_a_trend_beyond_the_rows_is_not_a_number():
    found = selection.interpolate(np.array([0.1, 0.5, 2.0, np.nan]), (0.25, 1.0), (10.0, 40.0))
    assert found[1] == pytest.approx(20.0)
    assert np.isnan(found[[0, 2, 3]]).all()


def test_two_rows_of_one_load_are_refused():
    with pytest.raises(ScienceError, match="the same load"):
        selection.interpolate(0.5, (1.0, 0.5, 0.5), (1, 2, 3))


# --- conditions ------------------------------------------------------------------------------


def test_a_smaller_lift_asks_less_power_at_the_same_share_of_carnot(outside):
    ours = selection.lift_correction(
        Q(5, "degC"), Q(35, "degC"), Q(5, "degC"), Q(37, "degC")
    ).magnitude
    outside.check(
        "selection.lift_correction",
        printed=30 / 32,
        ours=ours,
        source="reversed Carnot cycle, same evaporator",
        standing="closed form",
        rel=1e-12,
    )
    assert (
        selection.lift_correction(
            Q(5, "degC"), Q(37, "degC"), Q(5, "degC"), Q(37, "degC")
        ).magnitude
        == 1.0
    )


def test_conditions_too_far_apart_are_not_compared():
    with pytest.raises(ScienceError, match="too far"):
        selection.lift_correction(Q(5, "degC"), Q(25, "degC"), Q(5, "degC"), Q(37, "degC"))
    with pytest.raises(ScienceError, match="check both pressures"):
        selection.lift_correction(Q(25, "degC"), Q(20, "degC"), Q(5, "degC"), Q(37, "degC"))


def test_the_distance_to_the_surge_line_is_taken_at_the_load_found(outside):
    line = (0.2, 0.6, 1.0), Q([20.0, 36.0, 40.0], "delta_degC")
    ours = selection.surge_margin(0.4, Q(21, "delta_degC"), *line).magnitude
    outside.check(
        "selection.surge_margin",
        printed=0.25,
        ours=ours,
        source="line at 28 K, point at 21 K",
        standing="closed form",
        rel=1e-12,
    )
    assert selection.surge_margin(0.4, Q(30, "delta_degC"), *line).magnitude < 0
    with pytest.raises(ScienceError):
        selection.surge_margin(0.1, Q(21, "delta_degC"), *line)
