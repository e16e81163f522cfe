"""The drive model: the same seed makes the same strokes, and its physics are plain."""

from __future__ import annotations

import numpy as np
import pytest

from workbook.stroke_model import (
    CLOSING,
    FAULTS,
    OPENING,
    VaneDrive,
    inject,
    simulate_stroke,
    simulate_strokes,
)


def test_the_same_seed_makes_the_same_strokes():
    one, two = (simulate_strokes(VaneDrive(), np.random.default_rng(9)) for _ in range(2))
    assert all(
        np.array_equal(a.feedback, b.feedback) and a.seen_position == b.seen_position
        for a, b in zip(one, two, strict=True)
    )


def test_travel_takes_the_unloaded_time_divided_by_the_speed_left_under_load():
    quiet = VaneDrive(noise=0.0, play=0.0, dead_time=0.0, load_open=0.05)
    record = simulate_stroke(quiet, OPENING, np.random.default_rng(0), interval=0.1)
    took = record.time[np.argmax(record.feedback >= 1.0)] - 3.0
    assert took == pytest.approx(42 / 0.95, abs=0.2)


def test_a_load_beyond_stall_torque_stops_short_where_load_meets_torque():
    quiet = VaneDrive(noise=0.0, load_closed=1.2, timer=400.0)
    rest = simulate_stroke(quiet, CLOSING, np.random.default_rng(0)).feedback[-1]
    # The load 0.05 + 1.15 d^2 reaches the stall torque 1 at the position 0.5 - 0.5 d.
    assert rest == pytest.approx(0.5 - 0.5 * np.sqrt(0.95 / 1.15), abs=0.003)


def test_the_output_lags_the_drive_by_its_play_opening_only():
    quiet = VaneDrive(noise=0.0, play=0.05)
    shafts = None
    up = simulate_stroke(quiet, OPENING, np.random.default_rng(0), form="staircase", shafts=shafts)
    held = up.feedback[np.isclose(up.command, 0.5)][-1]
    assert held == pytest.approx(0.45, abs=1e-6)


def test_vanes_stay_within_their_stops_for_every_fault():
    for name in FAULTS:
        rng = np.random.default_rng([1, list(FAULTS).index(name)])
        for record in simulate_strokes(inject(name, rng, VaneDrive(noise=0.0)), rng, pairs=2):
            assert (
                record.feedback.min() > -0.6
                and record.feedback.max() < 1.6
                and np.all(np.diff(record.time) > 0)
            )


def test_half_a_fault_lies_half_way():
    rng = np.random.default_rng(5)
    full, half = (inject("linkage slip", np.random.default_rng(5), size=s) for s in (1.0, 0.5))
    assert half.slip == pytest.approx(full.slip / 2) and half.play == pytest.approx(
        (full.play + VaneDrive().play) / 2
    )
    assert inject("nothing found", rng, size=0.5) == VaneDrive()
