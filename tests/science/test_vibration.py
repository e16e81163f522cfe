"""Vibration zones, their scope, and what follows from a baseline."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from startkit.errors import ScienceError, UnitError
from startkit.science import vibration
from startkit.units import Q


def zone(mm_s, group=1, support="rigid", rpm=3550, kw=500, **options):
    return vibration.zone(
        Q(mm_s, "mm/s"), group, support, Q(rpm, "revolution/minute"), Q(kw, "kW"), **options
    )


@pytest.mark.parametrize(
    ("group", "support", "edges"),
    [
        (1, "rigid", (2.3, 4.5, 7.1)),
        (1, "flexible", (3.5, 7.1, 11.0)),
        (2, "rigid", (1.4, 2.8, 4.5)),
        (2, "flexible", (2.3, 4.5, 7.1)),
    ],
)
def test_zone_boundaries(outside, group, support, edges):
    found = zone(1, group, support)
    for printed, name in zip(edges, ("ab", "bc", "cd"), strict=True):
        ours = getattr(found, name).to("mm/s").magnitude
        outside.check(
            "vibration.ZONES",
            printed=printed,
            ours=ours,
            source="ISO 20816-3:2022 Tables A.1 and A.2, restated in public source",
            standing="secondary",
            rel=1e-9,
        )


@pytest.mark.parametrize(
    ("mm_s", "letter"),
    [
        (0, "A"),
        (2.3, "A"),
        (2.31, "B"),
        (4.5, "B"),
        (4.51, "C"),
        (7.1, "C"),
        (7.11, "D"),
        (50, "D"),
    ],
)
def test_a_value_on_a_boundary_belongs_to_the_better_zone(outside, mm_s, letter):
    ours, printed = (vibration.LETTERS.index(one) for one in (zone(mm_s).letter, letter))
    outside.check(
        "vibration.zone",
        printed=printed,
        ours=ours,
        source="ISO 20816-3:2022 Table A.1, group 1 rigid, zones counted from A",
        standing="secondary",
        abs=1e-9,
    )


def test_inches_a_second_give_the_same_zone():
    assert (
        vibration.zone(
            Q(0.177, "inch/s"), 1, "rigid", Q(3550, "revolution/minute"), Q(500, "kW")
        ).letter
        == "B"
    )


@pytest.mark.parametrize(
    ("edition", "fastest"), [("ISO 20816-3:2022", 30000), ("ISO 10816-3:2009", 15000)]
)
def test_outside_its_speed_a_value_is_recorded_not_zoned(outside, edition, fastest):
    assert zone(3, rpm=fastest, edition=edition).letter == "B"
    beyond = zone(3, rpm=fastest + 1, edition=edition)
    assert (beyond.letter, beyond.in_scope) == ("", False)
    assert "recorded, not zoned" in beyond.reason
    ours = Q(vibration.SCOPES[edition].fastest, "radian/second").to("revolution/minute").magnitude
    outside.check(
        "vibration.SCOPES",
        printed=fastest,
        ours=ours,
        source=f"title of {edition}",
        standing="published",
        rel=1e-9,
    )


@pytest.mark.parametrize(
    ("kw", "rpm", "inside"),
    [(15, 3550, False), (15.1, 3550, True), (500, 119, False), (500, 120, True)],
)
def test_small_or_slow_machines_are_recorded_not_zoned(kw, rpm, inside):
    assert zone(3, kw=kw, rpm=rpm).in_scope is inside


@given(st.floats(0, 20), st.floats(0, 20))
def test_more_vibration_is_never_a_better_zone(a, b):
    low, high = sorted((a, b))
    assert zone(low).letter <= zone(high).letter


def test_unknown_supports_and_negative_values_are_refused():
    with pytest.raises(ScienceError, match="rigid or flexible support"):
        zone(3, support="soft")
    with pytest.raises(ScienceError, match="as shown"):
        zone(-3)
    with pytest.raises(UnitError):
        vibration.zone(Q(3, "mm"), 1, "rigid", Q(3550, "revolution/minute"), Q(500, "kW"))


@pytest.mark.parametrize(
    ("kw", "height", "group"), [(300, None, 2), (301, None, 1), (200, 314, 2), (200, 315, 1)]
)
def test_large_machines_are_group_one(outside, kw, height, group):
    ours = vibration.machine_group(Q(kw, "kW"), None if height is None else Q(height, "mm"))
    outside.check(
        "vibration.machine_group",
        printed=group,
        ours=ours,
        source="ISO 20816-3 clause 5: group 1 above 300 kW or from 315 mm shaft height",
        standing="from memory",
        abs=1e-9,
    )


def test_alarm_is_a_quarter_of_the_boundary_above_the_baseline(outside):
    found = vibration.suggested_settings(Q(1.5, "mm/s"), 1, "rigid")
    outside.check(
        "vibration.suggested_settings",
        printed=1.5 + 0.25 * 4.5,
        ours=found.alarm.to("mm/s").magnitude,
        source="ISO 20816-3: baseline + 25 % of B/C",
        standing="from memory",
        rel=1e-9,
    )
    outside.check(
        "vibration.suggested_settings",
        printed=1.25 * 7.1,
        ours=found.trip.to("mm/s").magnitude,
        source="ISO 20816-3: trip no more than 1.25 C/D",
        standing="from memory",
        rel=1e-9,
    )


def test_a_bad_baseline_does_not_raise_the_alarm_without_end():
    assert vibration.suggested_settings(Q(9, "mm/s"), 1, "rigid").alarm.to(
        "mm/s"
    ).magnitude == pytest.approx(1.25 * 4.5)
    with pytest.raises(ScienceError):
        vibration.suggested_settings(Q(1, "mm/s"), 3, "rigid")


def test_velocity_from_displacement_by_the_shop_rule(outside):
    # V[in/s peak] = D[mil peak to peak] x r/min / 19 099
    ours = vibration.velocity_from_displacement(Q(2e-3, "inch"), Q(60, "Hz")).rms.to(
        "inch/s"
    ).magnitude * math.sqrt(2)
    outside.check(
        "vibration.velocity_from_displacement",
        printed=2 * 3600 / 19099,
        ours=ours,
        source="shop rule V = D n/19 099",
        standing="from memory",
        rel=1e-3,
    )


@pytest.mark.parametrize(("rpm", "low"), [(600, 2), (601, 10), (3550, 10)])
def test_slow_shafts_are_measured_from_two_hertz(outside, rpm, low):
    ours = vibration.frequency_band(Q(rpm, "revolution/minute"))
    outside.check(
        "vibration.frequency_band",
        printed=low,
        ours=ours[0].magnitude,
        source="ISO 20816-3 clause 4",
        standing="from memory",
        abs=1e-9,
    )
    outside.check(
        "vibration.frequency_band",
        printed=1000,
        ours=ours[1].magnitude,
        source="10 to 1000 Hz (shipcalculators.com)",
        standing="secondary",
        abs=1e-9,
    )
