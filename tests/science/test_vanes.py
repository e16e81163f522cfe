"""One stroke: travel time, stalls, jumps and switch positions, on strokes whose course is known."""

from __future__ import annotations

import numpy as np
import pytest

from startkit.science.strokes import CLOSING, OPENING, STEP, stroke
from startkit.science.vane_motion import noise, smooth
from startkit.science.vanes import analyse_stroke
from startkit.units import Q
from workbook.stroke_model import VaneDrive, simulate_stroke


def _course(t, start=5.0, travel=40.0, dead=1.5):
    return np.clip((t - start - dead) / travel, 0.0, 1.0)


def _opening(feedback=None, interval=0.5, **more):
    t = np.arange(0.0, 70.0, interval)
    moved = _course(t) if feedback is None else feedback(t)
    return stroke(OPENING, Q(t, "s"), (t >= 5).astype(float), moved, **more)


def _closing(feedback=None, interval=0.5, **more):
    t = np.arange(0.0, 70.0, interval)
    moved = 1 - _course(t) if feedback is None else feedback(t)
    return stroke(CLOSING, Q(t, "s"), (t < 5).astype(float), moved, **more)


def test_travel_time_counts_from_command_to_the_end_band(outside):
    result = analyse_stroke(_opening())
    outside.check(
        "vanes.analyse_stroke",
        printed=1.5 + 0.98 * 40,
        ours=result.travel_time.to("s").magnitude,
        source="straight stroke of 40 s after 1.5 s: 98 % is done after 1.5 + 0.98 x 40 s",
        standing="closed form",
        abs=0.05,
    )
    assert result.arrived and result.came_to_rest and result.form == STEP


def test_dead_time_is_run_back_to_the_first_movement():
    assert analyse_stroke(_opening()).dead_time.to("s").magnitude == pytest.approx(1.5, abs=0.1)


def test_the_uncertainty_of_travel_time_is_that_of_two_sampled_instants():
    assert analyse_stroke(_opening(interval=1.0)).u_travel_time.to("s").magnitude == pytest.approx(
        1 / np.sqrt(6), rel=0.01
    )


def test_scatter_of_simulated_travel_times_agrees_with_the_stated_uncertainty():
    rng, seen = np.random.default_rng(4), []
    for _ in range(60):
        drive = VaneDrive(dead_time=round(rng.uniform(0, 1), 1))
        result = analyse_stroke.si(simulate_stroke(drive, OPENING, rng))
        seen.append((result.travel_time - drive.dead_time, result.u_travel_time))
    spread = np.std([t for t, _ in seen], ddof=1)
    assert spread < 1.3 * np.mean([u for _, u in seen])


def test_a_stroke_that_stops_short_has_not_arrived_and_has_no_travel_time():
    result = analyse_stroke(_closing(lambda t: np.maximum(1 - _course(t), 0.08)))
    assert not result.arrived and result.travel_time is None
    assert result.rest_position == pytest.approx(0.08) and result.time_to_rest.to(
        "s"
    ).magnitude == pytest.approx(1.5 + 0.92 * 40, abs=1.0)


def test_a_timer_that_ends_before_the_vanes_is_a_stroke_they_did_not_make():
    short = analyse_stroke(
        _closing(lambda t: np.maximum(1 - _course(t), 0.08), drive_finished=Q(60, "s"))
    )
    early = analyse_stroke(_closing(drive_finished=Q(30, "s")))
    good = analyse_stroke(_closing(drive_finished=Q(60, "s")))
    assert short.finished_without_arriving and short.feedback_at_finish == pytest.approx(0.08)
    assert early.finished_without_arriving and early.arrived
    assert good.finished_without_arriving is False
    assert analyse_stroke(_closing()).finished_without_arriving is None


def test_a_stall_in_mid_travel_is_found_with_its_place_and_length():
    def held(t):
        return np.where(
            t < 20, _course(t), np.where(t < 28, _course(np.array(20.0)), _course(t - 8))
        )

    result = analyse_stroke(_opening(held))
    assert len(result.stalls) == 1
    assert result.stalls[0].position == pytest.approx(float(_course(np.array(20.0))), abs=0.02)
    assert result.stalled_time.to("s").magnitude == pytest.approx(8, abs=1)


def test_the_holds_of_a_staircase_are_no_stalls():
    result = analyse_stroke.si(
        simulate_stroke(VaneDrive(), OPENING, np.random.default_rng(1), form="staircase")
    )
    assert result.stalls == () and result.form == "staircase" and result.travel_time is None


def test_a_stall_on_a_ramp_is_found_because_the_command_moves_on():
    t = np.arange(0.0, 90.0, 0.5)
    command = np.clip((t - 5) / 60, 0, 1)
    feedback = np.where(t < 30, command, np.where(t < 40, command[t == 30][0], command))
    feedback = np.minimum(feedback, np.where(t < 40, 1, command[t == 30][0] + (t - 40) / 30))
    result = analyse_stroke.si(stroke(OPENING, Q(t, "s"), command, feedback))
    assert result.form == "ramp" and len(result.stalls) == 1
    assert result.stalls[0].start == pytest.approx(30, abs=1) and result.stalls[
        0
    ].end == pytest.approx(40, abs=2)


def test_a_jump_is_a_change_that_its_neighbours_do_not_share():
    def spike(t):
        return _course(t) + np.where(np.isclose(t, 25.0), 0.2, 0.0)

    jumps = analyse_stroke(_opening(spike)).jumps
    assert [j.time for j in jumps] == [25.0, 25.5]
    assert jumps[0].size == pytest.approx(0.2, abs=0.03) and jumps[1].size == pytest.approx(
        -0.2, abs=0.03
    )


@pytest.mark.parametrize("interval", [0.5, 1.0, 2.0, 5.0])
def test_no_sound_stroke_jumps_or_stalls_however_it_is_sampled(interval):
    for seed in range(8):
        rng = np.random.default_rng(seed)
        result = analyse_stroke.si(
            simulate_stroke(VaneDrive(), CLOSING if seed % 2 else OPENING, rng, interval=interval)
        )
        assert result.jumps == () and result.stalls == ()


def test_slowing_is_the_ratio_of_speeds():
    def slower(t):
        s = _course(t, travel=30)
        return np.where(t < 5 + 1.5 + 24, s, np.minimum(0.8 + (t - 30.5) / 90, 1))

    assert analyse_stroke(_opening(slower)).slowing == pytest.approx(3.0, rel=0.03)
    assert analyse_stroke(_opening()).slowing == pytest.approx(1.0, rel=0.03)


def test_noise_is_found_on_a_moving_feedback(outside):
    rng = np.random.default_rng(3)
    moving = np.linspace(0, 1, 4000) + rng.normal(0, 0.004, 4000)
    outside.check(
        "vane_motion.noise",
        printed=0.004,
        ours=noise(moving),
        source="white noise of known standard deviation",
        standing="closed form",
        rel=0.05,
    )
    assert noise(np.linspace(0, 1, 50)) == pytest.approx(0, abs=1e-9)
    assert noise(np.array([0.0, 1.0])) == 0


def test_the_running_median_takes_out_one_bad_sample_and_leaves_a_ramp():
    ramp = np.linspace(0, 1, 30)
    bad = ramp.copy()
    bad[12] = 5.0
    assert smooth(ramp)[3:-3] == pytest.approx(ramp[3:-3])
    assert np.abs(smooth(bad) - ramp).max() < 0.1


def _with_switch(made):
    t = np.arange(0.0, 70.0, 0.5)
    return analyse_stroke(_closing(switch=made(t, 1 - _course(t))))


def test_the_make_position_lies_between_the_samples_where_the_switch_changed():
    result = _with_switch(lambda t, x: x <= 0.031)
    assert result.make_position == pytest.approx(0.031, abs=0.0125 / 2 + 1e-9)
    assert result.u_switch_position == pytest.approx(0.0125 / np.sqrt(12), rel=0.05)
    assert (
        result.make_from_rest == pytest.approx(result.make_position)
        and result.switch_at_end
        and result.chatter == 0
    )


def test_the_last_make_counts_and_the_rest_is_chatter():
    result = _with_switch(lambda t, x: (x <= 0.10) & ~((x > 0.05) & (x < 0.07)))
    assert result.chatter == 2 and result.make_position == pytest.approx(0.05, abs=0.013)


def test_opening_counts_the_first_break():
    t = np.arange(0.0, 70.0, 0.5)
    made = (_course(t) <= 0.04) | ((_course(t) > 0.06) & (_course(t) < 0.08))
    result = analyse_stroke(_opening(switch=made))
    assert (
        result.break_position == pytest.approx(0.04, abs=0.013)
        and result.make_position is None
        and result.chatter == 2
    )


def test_a_switch_that_never_makes_has_no_position():
    result = _with_switch(lambda t, x: x < -1)
    assert (
        result.make_position is None
        and result.make_from_rest is None
        and result.switch_at_end is False
    )


def test_without_a_switch_column_nothing_is_said_of_it():
    result = analyse_stroke(_closing())
    assert result.switch_at_end is None and result.chatter == 0


def test_points_at_rest_give_positions_and_no_times():
    result = analyse_stroke(
        stroke(
            CLOSING,
            None,
            [1, 0.5, 0.02, 0],
            [1, 0.52, 0.03, 0.01],
            [False, False, True, True],
            seen_position=0.0,
        )
    )
    assert result.travel_time is None and result.dead_time is None and result.arrived
    assert result.make_position == pytest.approx(
        (0.52 + 0.03) / 2
    ) and result.seen_mismatch == pytest.approx(-0.01)


def test_a_record_that_ends_while_the_vanes_move_has_not_come_to_rest():
    t = np.arange(0.0, 30.0, 0.5)
    result = analyse_stroke(stroke(OPENING, Q(t, "s"), (t >= 5).astype(float), _course(t)))
    assert not result.came_to_rest and not result.arrived and result.time_to_rest is None


def test_vanes_that_do_not_move_at_all_give_no_speed_and_no_error():
    result = analyse_stroke(_opening(lambda t: np.zeros_like(t)))
    assert (
        not result.arrived
        and result.rate is None
        and result.dead_time is None
        and result.travel_time is None
    )


def test_a_stroke_typed_in_a_few_rows_still_gives_its_travel_time():
    record = stroke(
        OPENING,
        Q([0, 10, 20, 30, 40, 50, 60], "s"),
        [0, 1, 1, 1, 1, 1, 1],
        [0, 0.0, 0.25, 0.5, 0.75, 1.0, 1.0],
    )
    result = analyse_stroke(record)
    assert result.travel_time.to("s").magnitude == pytest.approx(39.2, abs=0.1) and result.arrived


def test_smoothing_is_the_running_median_of_scipy(outside):
    from scipy.ndimage import median_filter

    feedback = np.linspace(0, 1, 60) + np.random.default_rng(4).normal(0, 0.01, 60)
    feedback[[7, 31]] = (0.9, 0.0)
    for row, theirs, mine in zip(
        range(60), median_filter(feedback, 5, mode="nearest"), smooth(feedback), strict=True
    ):
        if row % 10 == 1:
            outside.check(
                "vane_motion.smooth",
                printed=theirs,
                ours=mine,
                source=f"scipy.ndimage.median_filter, row {row}",
                standing="library",
                rel=1e-12,
            )
