"""Air that must leave the machinery room."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from startkit.errors import ScienceError, UnitError
from startkit.science import ventilation
from startkit.units import Q


def test_emergency_exhaust_in_both_unit_forms(outside):
    source = "New York MC 1105.6.3.2: Q = 100 sqrt(G) cfm, SI Q = 0.07 sqrt(G) m3/s"
    ip = ventilation.emergency_exhaust(Q(2000, "lb"), "I-P").to("foot**3/minute").magnitude
    si = ventilation.emergency_exhaust(Q(900, "kg")).magnitude
    outside.check(
        "ventilation.emergency_exhaust",
        printed=4472,
        ours=ip,
        source=source,
        standing="published",
        abs=0.5,
    )
    outside.check(
        "ventilation.emergency_exhaust",
        printed=2.10,
        ours=si,
        source=source,
        standing="published",
        abs=1e-9,
    )


@given(st.floats(1, 20000))
def test_the_unit_forms_agree_within_two_thousandths(kg):
    assert ventilation.emergency_exhaust.si(kg, "I-P") == pytest.approx(
        ventilation.emergency_exhaust.si(kg, "SI"), rel=2e-3
    )


def test_four_times_the_charge_needs_twice_the_air():
    assert ventilation.emergency_exhaust.si(400) == pytest.approx(
        2 * ventilation.emergency_exhaust.si(100)
    )


def test_bad_charge_or_form_is_refused():
    with pytest.raises(ScienceError):
        ventilation.emergency_exhaust(Q(-1, "kg"))
    with pytest.raises(ScienceError, match="SI or I-P"):
        ventilation.emergency_exhaust(Q(1, "kg"), "metric")
    with pytest.raises(UnitError):
        ventilation.emergency_exhaust(2000)


def test_normal_exhaust_takes_the_larger_of_area_and_people(outside):
    source = "Chicago 18-28-1105.8: 0.5 cfm/ft2 or 20 cfm a person"
    area = ventilation.normal_exhaust(Q(2000, "foot**2")).to("foot**3/minute").magnitude
    outside.check(
        "ventilation.normal_exhaust",
        printed=1000,
        ours=area,
        source=source,
        standing="published",
        rel=0.02,
    )
    people = ventilation.normal_exhaust(Q(1, "foot**2"), people=10).to("foot**3/minute").magnitude
    outside.check(
        "ventilation.normal_exhaust",
        printed=200,
        ours=people,
        source=source,
        standing="published",
        rel=0.05,
    )


def test_heat_exhaust_by_the_shop_rule(outside):
    # Btu/h = 1.08 cfm °F
    ours = (
        ventilation.heat_exhaust(Q(108000, "Btu/hour"), Q(18, "delta_degF"))
        .to("foot**3/minute")
        .magnitude
    )
    outside.check(
        "ventilation.heat_exhaust",
        printed=108000 / (1.08 * 18),
        ours=ours,
        source="Btu/h = 1.08 cfm dT, air at 0.075 lb/ft3",
        standing="common practice",
        rel=0.01,
    )
    with pytest.raises(ScienceError, match="rise"):
        ventilation.heat_exhaust(Q(1, "kW"), Q(0, "delta_degC"))
