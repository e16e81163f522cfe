"""The motor's current, its starter's inrush, and its run-up."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from startkit.errors import ScienceError, UnitError
from startkit.science import motor
from startkit.units import Q


def test_percent_of_full_load_current(outside):
    ours = motor.percent_full_load_current(Q(320, "A"), Q(400, "A")).to("percent").magnitude
    outside.check(
        "motor.percent_full_load_current",
        printed=80,
        ours=ours,
        source="definition",
        standing="closed form",
        rel=1e-12,
    )
    with pytest.raises(ScienceError, match="nameplate"):
        motor.percent_full_load_current(Q(320, "A"), Q(0, "A"))
    with pytest.raises(UnitError):
        motor.percent_full_load_current(320, 400)


@pytest.mark.parametrize(
    ("kind", "current", "torque"),
    [
        ("across-the-line", 100, 100),
        ("wye-delta", 33, 33),
        ("autotransformer-80", 64, 64),
        ("autotransformer-65", 42, 42),
        ("autotransformer-50", 25, 25),
        ("reactor-80", 80, 64),
        ("reactor-65", 65, 42),
        ("reactor-50", 50, 25),
        ("resistor-80", 80, 64),
    ],
)
def test_starters_draw_what_the_handbook_prints(outside, kind, current, torque):
    source = "EASA Electrical Engineering Handbook, starting characteristics (joliettech.com)"
    ours = motor.expected_inrush(Q(2400, "A"), kind).magnitude / 24
    outside.check(
        "motor.expected_inrush",
        printed=current,
        ours=ours,
        source=source,
        standing="secondary",
        abs=0.5,
    )
    outside.check(
        f"motor.STARTERS.{kind}.torque",
        printed=torque,
        ours=100 * motor.starter(kind).torque,
        source=source,
        standing="secondary",
        abs=0.5,
    )


@given(st.sampled_from([row for row in motor.STARTERS.values() if row.current]))
def test_no_starter_gives_more_torque_than_current(row):
    assert row.torque <= row.current <= 1


def test_autotransformer_ratios_are_the_squares_of_their_taps(outside):
    for tap in (80, 65, 50):
        outside.check(
            "motor.STARTERS",
            printed=(tap / 100) ** 2,
            ours=motor.starter(f"autotransformer-{tap}").current,
            source="ideal transformer",
            standing="closed form",
            abs=0.005,
        )


def test_a_soft_starter_draws_its_limit_but_never_more_than_locked_rotor():
    inrush = motor.expected_inrush(Q(2400, "A"), "soft-start", Q(400, "A"), Q(300, "percent"))
    assert inrush.magnitude == pytest.approx(1200)
    assert motor.expected_inrush(
        Q(2400, "A"), "drive", Q(400, "A"), Q(900, "percent")
    ).magnitude == pytest.approx(2400)


def test_a_soft_starter_without_its_limit_is_asked_for_it():
    with pytest.raises(ScienceError, match="current limit"):
        motor.expected_inrush(Q(2400, "A"), "soft-start")


def test_an_unknown_starter_is_refused_with_the_known_ones():
    with pytest.raises(ScienceError, match="wye-delta"):
        motor.expected_inrush(Q(2400, "A"), "star")


def test_code_letter_gives_the_locked_rotor_current(outside):
    # EASA rule: I = 577 hp (kVA/hp) / V; 100 hp, 460 V, letter G = 5.6 to 6.29 kVA/hp
    low, high = motor.locked_rotor_current("G", Q(100, "horsepower"), Q(460, "V"))
    outside.check(
        "motor.locked_rotor_current",
        printed=577 * 100 * 5.6 / 460,
        ours=low.magnitude,
        source="EASA rule 577 hp (kVA/hp)/V with NEMA MG 1 10.37.2",
        standing="secondary",
        rel=1e-3,
    )
    outside.check(
        "motor.locked_rotor_current",
        printed=577 * 100 * 6.29 / 460,
        ours=high.magnitude,
        source="EASA rule 577 hp (kVA/hp)/V with NEMA MG 1 10.37.2",
        standing="secondary",
        rel=3e-3,
    )
    with pytest.raises(ScienceError, match="data sheet"):
        motor.locked_rotor_current("I", Q(100, "horsepower"), Q(460, "V"))


def test_code_letters_leave_no_gap():
    rows = list(motor.CODE_LETTERS.values())
    assert all(first[1] == second[0] for first, second in pairwise(rows))


def test_acceleration_time_by_the_inch_pound_rule(outside):
    printed = 500 * 1770 / (308 * 200)  # Wk2 = 500 lb ft2, 1770 r/min, 200 lbf ft
    ours = motor.acceleration_time(
        Q(500, "pound*foot**2"), Q(1770, "revolution/minute"), Q(200, "pound_force*foot")
    ).magnitude
    outside.check(
        "motor.acceleration_time",
        printed=printed,
        ours=ours,
        source="EASA handbook: t = Wk2 n/(308 T) (electrialstandards, engineersedge)",
        standing="secondary",
        rel=3e-3,
    )


def test_without_spare_torque_there_is_no_run_up():
    with pytest.raises(ScienceError, match="closed vanes"):
        motor.acceleration_time(Q(10, "kg*m**2"), Q(3000, "revolution/minute"), Q(0, "N*m"))


def test_a_slow_run_up_is_positive_and_needs_an_expectation(outside):
    ours = motor.acceleration_excess(Q(12, "s"), Q(10, "s")).to("percent").magnitude
    outside.check(
        "motor.acceleration_excess",
        printed=20,
        ours=ours,
        source="12 s for 10 s",
        standing="closed form",
        rel=1e-9,
    )
    with pytest.raises(ScienceError, match="machine's sheet"):
        motor.acceleration_excess(Q(12, "s"), Q(0, "s"))


def test_the_line_carries_more_than_the_windings_of_a_delta(outside):
    outside.check(
        "motor.line_current",
        printed=144.34,
        ours=motor.line_current(Q(83.33, "ampere")).to("ampere").magnitude,
        source="Kuphaldt, Lessons in Electric Circuits, volume II, three-phase wye and delta:"
        " 83.33 A in each winding, 144.34 A in each line",
        standing="from memory",
        abs=0.01,
    )
