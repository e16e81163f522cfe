"""A sensor against its reference, as found and as left."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from startkit.errors import ScienceError, UnitError
from startkit.science import sensors
from startkit.units import Q


def found(reading="7.4", reference="7.0", accuracy=0.3, own=0.1):
    return sensors.compare(
        Q(float(reading), "degC"),
        Q(float(reference), "degC"),
        Q(accuracy, "delta_degC"),
        Q(own, "delta_degC"),
    )


def test_deviation_over_both_uncertainties(outside):
    source = (
        "ISO/IEC 17043 En number (proficiencytestinginc.com): difference over the root of both"
        " squares"
    )
    ours = sensors.compare(Q(10.05, "mA"), Q(10.00, "mA"), Q(0.03, "mA"), Q(0.04, "mA"))
    outside.check(
        "sensors.compare", printed=1.0, ours=ours.en, source=source, standing="secondary", rel=1e-9
    )
    outside.check(
        "sensors.en_number",
        printed=1.0,
        ours=sensors.en_number(0.05, 0.03, 0.04),
        source=source,
        standing="secondary",
        rel=1e-9,
    )
    assert ours.agrees


def test_offset_is_what_the_sensor_must_be_given():
    comparison = found()
    assert comparison.deviation.to("delta_degC").magnitude == pytest.approx(0.4)
    assert comparison.offset.to("delta_degC").magnitude == pytest.approx(-0.4)
    assert not comparison.agrees


@pytest.mark.parametrize(
    ("reading", "agrees"), [("7.31", True), ("7.32", False), ("6.69", True), ("6.68", False)]
)
def test_just_inside_and_just_outside_the_combined_tolerance(reading, agrees):
    assert found(reading).agrees is agrees


def test_temperatures_in_two_units_compare_as_differences():
    comparison = sensors.compare(
        Q(45, "degF"), Q(7, "degC"), Q(0.5, "delta_degF"), Q(0.1, "delta_degC")
    )
    assert comparison.deviation.to("delta_degC").magnitude == pytest.approx(
        45 * 5 / 9 - 160 / 9 - 7
    )


def test_an_accuracy_is_not_a_temperature():
    with pytest.raises(UnitError, match="delta_degC"):
        sensors.compare(Q(7, "degC"), Q(7, "degC"), Q(0.3, "degC"), Q(0.1, "delta_degC"))


def test_pressure_against_temperature_is_refused_in_words():
    with pytest.raises(UnitError, match="not the same kind"):
        sensors.compare(Q(7, "kPa"), Q(7, "degC"), Q(0.3, "kPa"), Q(0.1, "delta_degC"))


def test_without_any_accuracy_nothing_can_be_said():
    with pytest.raises(ScienceError, match="data sheets"):
        found(accuracy=0, own=0)


def test_as_left_after_a_rounded_offset(outside):
    left = sensors.after_offset(found(), Q(-0.5, "delta_degC"))
    outside.check(
        "sensors.after_offset",
        printed=-0.1,
        ours=left.deviation.to("delta_degC").magnitude,
        source="0.4 - 0.5",
        standing="closed form",
        abs=1e-9,
    )
    assert left.agrees
    with pytest.raises(UnitError, match="does not fit"):
        sensors.after_offset(found(), Q(1, "kPa"))


@given(st.floats(-50, 50), st.floats(-50, 50), st.floats(0.01, 5), st.floats(0.01, 5))
def test_setting_the_proposed_offset_leaves_nothing(reading, reference, accuracy, own):
    comparison = sensors.compare(
        Q(reading, "degC"), Q(reference, "degC"), Q(accuracy, "delta_degC"), Q(own, "delta_degC")
    )
    left = sensors.after_offset(comparison, comparison.offset)
    assert left.deviation.magnitude == pytest.approx(0, abs=1e-9)
    assert left.agrees


def test_a_reference_four_times_better(outside):
    ours = sensors.uncertainty_ratio(Q(0.4, "delta_degC"), Q(0.18, "delta_degF"))
    outside.check(
        "sensors.uncertainty_ratio",
        printed=4.0,
        ours=ours,
        source="0.4 K against 0.1 K",
        standing="common practice",
        rel=1e-9,
    )
    with pytest.raises(ScienceError, match="calibration certificate"):
        sensors.uncertainty_ratio(Q(0.4, "delta_degC"), Q(0, "delta_degC"))
