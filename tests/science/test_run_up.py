"""A recorded run-up of known shape gives back its time, peak, settled current and oil minimum."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from startkit.errors import ScienceError
from startkit.science.motor import acceleration_time
from startkit.science.run_up import analyse_run_up
from startkit.units import Q

T = np.arange(-2.0, 40.0, 0.5)


def recorded(time=T, run_up=20.0, peak=1000.0, settled=200.0, oil=None):
    """Constant torque up to speed, the current falling as it is reached."""
    speed = np.clip(time / run_up, 0, 1) * 310.0
    current = np.where(time < 0, 0.0, np.where(time < run_up, peak, settled))
    return {
        "time": Q(time, "second"),
        "currents": Q(np.array([current, 0.98 * current, 1.01 * current]), "ampere"),
        "speed": Q(speed, "radian/second"),
        "oil": None if oil is None else Q(oil, "pascal"),
    }


def test_time_to_speed_of_a_constant_torque_run_up(outside):
    inertia, speed, torque = Q(12, "kg*m**2"), Q(310.0, "radian/second"), Q(186.0, "N*m")
    whole = acceleration_time(inertia, speed, torque).to("second").magnitude
    found = analyse_run_up(**recorded(run_up=whole))
    outside.check(
        "run_up.analyse_run_up",
        printed=0.95 * whole,
        ours=found.time.magnitude,
        source="Newton's second law at constant torque: 95 % of speed at 95 % of J w / T",
        standing="closed form",
        rel=1e-6,
    )
    assert (
        found.found_by == "speed"
        and found.peak[2].magnitude == pytest.approx(1010)
        and found.settled[1].magnitude == pytest.approx(196)
    )


def test_without_speed_the_fall_of_the_current_tells_the_time():
    case = recorded()
    found = analyse_run_up(case["time"], case["currents"])
    assert found.found_by == "current" and abs(found.time.magnitude - 20) <= 0.5


def test_a_drive_that_shows_no_inrush_gives_no_time_from_its_current():
    case = recorded(peak=210.0)
    assert analyse_run_up(case["time"], case["currents"]).time is None


def test_the_oils_worst_moment_is_found_after_the_start_only():
    oil = np.full(T.size, 150e3)
    oil[0], oil[20] = 10e3, 121e3
    found = analyse_run_up(**recorded(oil=oil), start=Q(0, "second"))
    assert found.oil_lowest.magnitude == 121e3 and found.oil_lowest_at.magnitude == pytest.approx(
        T[20]
    )


def test_a_phase_that_was_not_read_stays_unknown():
    case = recorded()
    amperes = case["currents"].magnitude.copy()
    amperes[1] = np.nan
    found = analyse_run_up(case["time"], Q(amperes, "ampere"), case["speed"])
    assert np.isnan(found.peak[1].magnitude) and found.peak[0].magnitude == 1000


@pytest.mark.parametrize("time", [[0.0, 1.0], [0.0, 1.0, 1.0, 2.0], [0.0, 2.0, 1.0, 3.0]])
def test_too_little_or_a_clock_that_stands_is_refused(time):
    with pytest.raises(ScienceError):
        analyse_run_up(Q(np.array(time), "second"), Q(np.ones((3, len(time))), "ampere"))


@given(st.floats(3, 30), st.floats(0.1, 2))
def test_the_time_lies_within_a_step_of_the_truth_at_any_spacing(run_up, step):
    time = np.arange(0, 60, step)
    found = analyse_run_up(**recorded(time, run_up))
    assert abs(found.time.magnitude - 0.95 * run_up) <= step
