"""Diagnosis: each fault named with its evidence, and seldom another."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from startkit.science.strokes import CLOSING, OPENING, stroke
from startkit.science.vane_calibration import analyse_strokes
from startkit.science.vane_diagnosis import NOTHING_FOUND, UNDECIDED, diagnose
from startkit.science.vane_symptoms import SHORT_OF_TORQUE, Bands
from startkit.units import Q
from workbook.stroke_model import FAULTS, VaneDrive, inject, ordinary, simulate_strokes

sys.path.insert(0, str(Path(__file__).parents[2] / "benchmarks"))
import vane_diagnosis as table


def _said(drive, seed=1, **procedure):
    return diagnose(
        analyse_strokes.si(simulate_strokes(drive, np.random.default_rng(seed), **procedure))
    )


def test_at_nominal_noise_fewer_than_two_percent_are_wrong_and_most_are_right(outside):
    counted = table.count(30, table.NOMINAL)
    assert table.wrong(counted) < 0.02
    assert table.share(counted, lambda fault, answer: fault == answer) > 0.8
    outside.check(
        "vane_diagnosis.diagnose",
        printed=0.0,
        ours=table.wrong(counted),
        source="faults put into simulated strokes: share named wrongly",
        standing="common practice",
        abs=0.0199,
    )


def test_the_published_table_was_counted_by_this_code():
    page = table.PAGE.read_text(encoding="utf-8")
    nominal = page.split("(nominal)")[1]
    wrong = float(nominal.split("wrong ")[1].split(" %")[0])
    assert wrong < 2.0
    assert table.HEAD in page
    first = f"| {next(iter(FAULTS))} | 200 |"
    assert first in nominal


@pytest.mark.parametrize("fault", [f for f in FAULTS if f != NOTHING_FOUND])
def test_a_named_fault_comes_with_strokes_figures_and_a_next_step(fault):
    rng = np.random.default_rng([3, list(FAULTS).index(fault)])
    said = diagnose(analyse_strokes.si(simulate_strokes(inject(fault, rng, ordinary(rng)), rng)))
    best = said.candidates[0]
    assert said.outcome in (fault, UNDECIDED) and fault in [c.name for c in said.candidates]
    assert (
        all("%" in text or "stroke" in text or "times" in text for text in best.evidence)
        and best.evidence
    )
    assert best.next_step and any("stroke" in text for text in best.evidence)


def test_a_healthy_drive_shows_nothing():
    said = _said(VaneDrive())
    assert said.outcome == NOTHING_FOUND and said.symptoms == () and said.not_examined == ()


def test_a_moved_zero_with_a_steady_switch_is_calibration_lost():
    said = _said(VaneDrive(zero=0.07))
    assert said.outcome == "calibration lost"
    assert "seen at" in said.candidates[0].evidence[0]


def test_vanes_seen_off_where_feedback_says_closed_are_a_slip():
    said = _said(VaneDrive(slip=0.08))
    assert said.outcome == "linkage slip" and "seen" in said.sentence


def test_a_switch_that_never_made_may_be_out_of_adjustment_or_dead_and_it_says_so():
    said = _said(VaneDrive(make=-0.02))
    assert said.outcome == UNDECIDED
    assert {said.candidates[0].name, said.candidates[1].name} == {
        "switch misadjusted",
        "switch failing",
    }
    assert "equally" in said.sentence


def test_a_switch_that_makes_far_from_closed_is_out_of_adjustment():
    assert _said(VaneDrive(make=0.12)).outcome == "switch misadjusted"


def test_a_drive_short_of_torque_is_not_taken_for_a_lost_calibration_or_a_bad_switch():
    said = _said(VaneDrive(load_closed=1.1, seen_noise=None))
    assert said.outcome == SHORT_OF_TORQUE


def test_jumps_are_the_sensor():
    assert _said(VaneDrive(jumps=0.02)).outcome == "feedback fault"
    assert _said(VaneDrive(dead_spot=(0.4, 0.12))).outcome == "feedback fault"


def test_a_fault_that_could_not_have_shown_is_not_cleared():
    said = _said(VaneDrive(play=0.1, slip=0.1, seen_noise=None), staircase=False)
    assert said.outcome == UNDECIDED and "linkage slip" in [c.name for c in said.candidates]
    assert any("Hysteresis" in text for text in said.not_examined)


def test_a_sign_at_the_edge_of_its_band_is_undecided():
    base = analyse_strokes.si(simulate_strokes(VaneDrive(zero=0.03), np.random.default_rng(1)))
    at_edge = diagnose(base, Bands(zero=0.03, open_end=0.05))
    assert at_edge.outcome == UNDECIDED and "edge" in at_edge.sentence


def test_bands_are_the_callers():
    base = analyse_strokes.si(simulate_strokes(VaneDrive(zero=0.05), np.random.default_rng(1)))
    assert diagnose(base).outcome == "calibration lost"
    assert diagnose(base, Bands(zero=0.1, open_end=0.1)).outcome == NOTHING_FOUND


def test_feedback_recorded_in_whole_percent_is_no_fault():
    records = simulate_strokes(VaneDrive(noise=0.001), np.random.default_rng(6))
    rounded = [replace(r, feedback=np.round(r.feedback, 2)) for r in records]
    assert diagnose(analyse_strokes.si(rounded)).outcome in (NOTHING_FOUND, UNDECIDED)


def test_two_typed_points_give_a_diagnosis_that_lists_what_it_could_not_see():
    records = [
        stroke(OPENING, None, [0, 1], [0.0, 1.0]),
        stroke(CLOSING, None, [1, 0], [1.0, 0.0], number=2),
    ]
    said = diagnose(analyse_strokes.si(records))
    assert said.outcome == UNDECIDED and len(said.not_examined) >= 4


def test_results_with_units_are_diagnosed_alike():
    records = simulate_strokes(VaneDrive(zero=0.07), np.random.default_rng(1))
    assert diagnose(analyse_strokes(records)) == diagnose(analyse_strokes.si(records))


def test_a_drive_stalling_in_mid_travel_is_undecided_between_drive_and_linkage():
    t = np.arange(0.0, 90.0, 0.5)
    moved = np.clip(np.where(t < 25, (t - 5) / 40, np.where(t < 37, 0.5, (t - 17) / 40)), 0, 1)
    records = [stroke(OPENING, Q(t, "s"), (t >= 5).astype(float), moved, number=n) for n in (1, 2)]
    said = diagnose(analyse_strokes.si(records))
    assert said.outcome == UNDECIDED and {c.name for c in said.candidates[:2]} == {
        SHORT_OF_TORQUE,
        "linkage slip",
    }
