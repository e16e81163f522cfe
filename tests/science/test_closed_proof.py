"""The closed proof: binomial bounds against printed tables and scipy, and the switch over the
strokes.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from startkit.errors import ScienceError
from startkit.science.closed_proof import (
    analyse_switch,
    failure_bound,
    failure_interval,
    strokes_needed,
    strokes_still_needed,
)
from startkit.science.strokes import stroke
from startkit.science.vanes import analyse_stroke
from startkit.units import Q
from workbook.stroke_model import (
    CLOSING,
    OPENING,
    VaneDrive,
    simulate_stroke,
    simulate_strokes,
)


@pytest.mark.parametrize(("trials", "percent"), [(3, 63), (10, 26), (59, 5)])
def test_good_strokes_leave_the_bound_that_the_closed_form_prints(outside, trials, percent):
    outside.check(
        "closed_proof.failure_bound",
        printed=percent,
        ours=failure_bound(0, trials).to("percent").magnitude,
        source=f"1 - 0.05^(1/{trials}), rounded to whole percent",
        standing="closed form",
        abs=0.5,
    )


@pytest.mark.parametrize("trials", [30, 100, 300])
def test_the_rule_of_three_is_near_for_many_good_strokes(outside, trials):
    outside.check(
        "closed_proof.failure_bound",
        printed=3 / trials,
        ours=failure_bound(0, trials).magnitude,
        source="rule of three, Eypasch et al., BMJ 311 (1995) 619-620",
        standing="secondary",
        rel=0.055,
    )


@pytest.mark.parametrize(
    ("reliability", "confidence", "failures", "needed"),
    [(0.90, 0.95, 0, 29), (0.95, 0.95, 0, 59), (0.90, 0.95, 1, 46), (0.99, 0.90, 0, 230)],
)
def test_strokes_needed_are_those_of_reliability_demonstration_tables(
    outside, reliability, confidence, failures, needed
):
    outside.check(
        "closed_proof.strokes_needed",
        printed=needed,
        ours=strokes_needed(1 - reliability, confidence, failures),
        source="codingace.net, confidence, reliability and sample size, example table",
        standing="secondary",
        abs=1e-9,
    )


def test_strokes_needed_for_one_in_a_thousand_agree_with_a_reliability_library(outside):
    outside.check(
        "closed_proof.strokes_needed",
        printed=2995,
        ours=strokes_needed(0.001),
        source="reliability (Python), documentation of sample_size_no_failures",
        standing="library",
        abs=1e-9,
    )


@pytest.mark.parametrize(
    ("failures", "trials", "confidence"),
    [(0, 5, 0.9), (1, 8, 0.95), (3, 20, 0.99), (7, 9, 0.95), (5, 5, 0.95)],
)
def test_bounds_agree_with_scipy(outside, failures, trials, confidence):
    ours = failure_interval(failures, trials, confidence)
    theirs = stats.binomtest(failures, trials).proportion_ci(confidence, method="exact")
    for mine, printed in zip(ours, theirs, strict=True):
        outside.check(
            "closed_proof.failure_interval",
            printed=printed,
            ours=mine.magnitude,
            source="scipy.stats.binomtest exact interval",
            standing="library",
            abs=1e-10,
        )
    upper = (
        stats.binomtest(failures, trials, alternative="less")
        .proportion_ci(confidence, method="exact")
        .high
    )
    outside.check(
        "closed_proof.failure_bound",
        printed=upper,
        ours=failure_bound(failures, trials, confidence).magnitude,
        source="scipy.stats.binomtest, one-sided",
        standing="library",
        abs=1e-10,
    )


def test_four_failures_in_twenty_give_the_interval_of_the_handbook(outside):
    low, high = failure_interval(4, 20, 0.90)
    for printed, ours in ((0.071354, low), (0.401029, high)):
        outside.check(
            "closed_proof.failure_interval",
            printed=printed,
            ours=ours.magnitude,
            source="NIST/SEMATECH e-Handbook 7.2.4.2, 4 defective of 20, 90 % (digits from memory)",
            standing="from memory",
            abs=1e-6,
        )


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 6), st.integers(1, 80), st.floats(0.5, 0.995))
def test_at_the_bound_so_few_failures_have_the_chance_that_confidence_leaves(
    failures, trials, confidence
):
    if failures >= trials:
        return
    bound = failure_bound(failures, trials, confidence).magnitude
    assert stats.binom.cdf(failures, trials, bound) == pytest.approx(1 - confidence, abs=1e-8)


@settings(max_examples=60, deadline=None)
@given(st.floats(0.005, 0.9), st.floats(0.5, 0.999), st.integers(0, 4))
def test_strokes_needed_are_the_fewest_that_reach_the_bound(bound, confidence, failures):
    n = strokes_needed(bound, confidence, failures)
    assert failure_bound(failures, n, confidence).magnitude <= bound * (1 + 1e-9)
    assert (
        n == 1 or n - 1 <= failures or failure_bound(failures, n - 1, confidence).magnitude > bound
    )


def test_further_strokes_are_those_needed_less_those_made(outside):
    outside.check(
        "closed_proof.strokes_still_needed",
        printed=59 - 3,
        ours=strokes_still_needed(0, 3, Q(5, "percent")),
        source=(
            "codingace.net, confidence, reliability and sample size, example table: 59 in all, 3"
            " made"
        ),
        standing="secondary",
        abs=1e-9,
    )
    assert strokes_still_needed(0, 3, Q(10, "percent")) == 26
    assert strokes_still_needed(0, 0, 0.10) == 29
    assert strokes_still_needed(1, 10, 0.10) == 36
    assert strokes_still_needed(0, 40, 0.10) == 0


@pytest.mark.parametrize(
    ("failures", "trials", "confidence"),
    [(0, 0, 0.95), (4, 3, 0.95), (-1, 3, 0.95), (0, 3, 1.0), (0, 3, 95)],
)
def test_counts_and_confidences_that_cannot_be_are_refused(failures, trials, confidence):
    with pytest.raises(ScienceError):
        failure_bound(failures, trials, confidence)


@pytest.mark.parametrize("bound", [0.0, 1.0, -0.1, 5.0])
def test_a_bound_outside_nil_to_one_is_refused(bound):
    with pytest.raises(ScienceError, match="allowed chance"):
        strokes_needed(bound)


def _closing(number, makes_at, rest=0.0, fails=False):
    t = np.arange(0.0, 60.0, 0.5)
    x = rest + (1 - rest) * np.clip(1 - (t - 5) / 40, 0, 1)
    return analyse_stroke.si(
        stroke(
            CLOSING,
            Q(t, "s"),
            (t < 5).astype(float),
            x,
            (x <= makes_at) & (not fails),
            number=number,
        )
    )


def _opening(number, breaks_at):
    t = np.arange(0.0, 60.0, 0.5)
    x = np.clip((t - 5) / 40, 0, 1)
    return analyse_stroke.si(
        stroke(OPENING, Q(t, "s"), (t >= 5).astype(float), x, x <= breaks_at, number=number)
    )


def test_make_break_and_differential_are_means_over_the_strokes(outside):
    found = analyse_switch([_closing(1, 0.0301), _opening(2, 0.0501), _closing(3, 0.0301)])
    outside.check(
        "closed_proof.analyse_switch",
        printed=0.02,
        ours=found.differential,
        source="break less make as built into the strokes",
        standing="closed form",
        abs=0.0126,
    )
    assert (
        (found.trials, found.failures) == (2, 0)
        and found.make_strokes == (1, 3)
        and found.break_strokes == (2,)
    )
    assert found.make_sd == pytest.approx(0) and found.make_range == pytest.approx(0)


def test_a_moved_zero_changes_the_make_but_not_its_distance_from_the_stop():
    found = analyse_switch(
        [_closing(1, 0.03), _closing(2, 0.11, rest=0.08), _closing(3, 0.05, rest=0.02)]
    )
    assert found.make_sd > 0.03 and found.distance_sd < 0.008


def test_failures_are_named_by_stroke_and_leave_no_make():
    found = analyse_switch([_closing(1, 0.03), _closing(2, 0.03, fails=True), _closing(3, 0.03)])
    assert found.failed_strokes == (2,) and found.failures == 1 and found.make_strokes == (1, 3)


def test_strokes_without_a_switch_record_are_no_trials():
    rng = np.random.default_rng(0)
    record = simulate_stroke(VaneDrive(), CLOSING, rng)
    bare = analyse_stroke.si(stroke(CLOSING, Q(record.time, "s"), record.command, record.feedback))
    found = analyse_switch([bare])
    assert found.trials == 0 and found.make_mean is None and found.differential is None


def test_scatter_of_a_simulated_switch_is_found_beside_sampling():
    rng = np.random.default_rng(8)
    records = simulate_strokes(
        VaneDrive(make=0.06, switch_scatter=0.015), rng, pairs=40, staircase=False, interval=0.2
    )
    found = analyse_switch([analyse_stroke.si(r) for r in records])
    own = np.sqrt(found.distance_sd**2 - found.u_position**2)
    assert own == pytest.approx(0.015, rel=0.25)
