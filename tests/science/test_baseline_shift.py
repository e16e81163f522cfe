"""Change: moved, not moved, inconclusive."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from startkit.errors import ScienceError
from startkit.science.baseline_shift import CANNOT_TELL, MOVED, NOT_MOVED, change

DATAPLOT = "NIST Dataplot reference manual, ISO 13528 EN SCORE (results as printed, rounded)"


def test_the_uncertainty_of_a_difference_is_that_of_the_guide(outside) -> None:
    # u(d) = sqrt(0.3^2 + 0.4^2) = 0.5, U = 1.0: the guide's law of propagation for a difference of
    # independent readings.
    found = change(10.0, 10.2, 0.3, 0.4)
    outside.check(
        "baseline_shift.change",
        printed=1.0,
        ours=found.expanded,
        source="JCGM 100:2008, 5.1.2, with k = 2",
        standing="closed form",
        rel=1e-12,
    )


@pytest.mark.parametrize(
    ("reading", "printed"), [(1.006, 0.393), (0.996, -0.262), (0.998, -0.131), (1.000, 0.0)]
)
def test_readings_of_a_printed_table_of_en_numbers_are_not_called_moved(
    outside, reading: float, printed: float
) -> None:
    # The table's rows share U_lab = 0.009 and U_ref; its first row gives sqrt(U_lab^2 + U_ref^2) =
    # 0.006 / 0.393.
    both = 0.006 / 0.393
    u_ref = math.sqrt(both**2 - 0.009**2)
    found = change(1.0, reading, u_ref / 2, 0.009 / 2)
    outside.check(
        "baseline_shift.change",
        printed=printed,
        ours=found.difference / found.expanded,
        source=DATAPLOT,
        standing="published",
        abs=0.001,
    )
    assert found.said == CANNOT_TELL


def test_a_change_beyond_its_uncertainty_has_moved() -> None:
    assert change(1.0, 1.5, 0.1, 0.1).said == MOVED
    assert change(1.5, 1.0, 0.1, 0.1).said == MOVED


def test_at_just_under_and_just_over_the_uncertainty() -> None:
    assert change(0.0, 1.0, 0.3, 0.4, matters=2.5).said == NOT_MOVED
    assert change(0.0, 1.0 + 1e-9, 0.3, 0.4, matters=2.5).said == MOVED


def test_not_moved_needs_an_uncertainty_small_against_what_matters() -> None:
    assert change(1.0, 1.05, 0.05, 0.05, matters=0.3).said == NOT_MOVED
    assert change(1.0, 1.05, 0.05, 0.05, matters=0.1).said == CANNOT_TELL
    assert change(1.0, 1.05, 0.05, 0.05).said == CANNOT_TELL


def test_without_an_uncertainty_only_a_great_change_has_moved() -> None:
    assert change(22.0, 22.4, None, 0.1, matters=1.0).said == CANNOT_TELL
    assert change(22.0, 24.0, 0.1, None, matters=1.0).said == MOVED
    assert change(22.0, 24.0, None, None).said == CANNOT_TELL
    assert change(22.0, 24.0, None, None, matters=1.0).expanded is None


def test_two_figures_known_without_doubt_differ_or_do_not() -> None:
    assert change(3.0, 3.0, 0.0, 0.0).said == NOT_MOVED and change(3.0, 4.0, 0.0, 0.0).said == MOVED


@given(*(st.floats(-1e3, 1e3) for _ in range(2)), *(st.floats(1e-3, 50) for _ in range(3)))
def test_forth_and_back_say_the_same_and_never_both(
    before: float, now: float, u1: float, u2: float, matters: float
) -> None:
    forth, back = change(before, now, u1, u2, matters), change(now, before, u2, u1, matters)
    assert forth.said == back.said and forth.difference == -back.difference
    if forth.said == NOT_MOVED:
        assert abs(forth.difference) + forth.expanded <= matters * (1 + 1e-6)


@pytest.mark.parametrize(
    "given_",
    [(math.nan, 1.0, 0.1, 0.1, 1.0), (1.0, math.inf, 0.1, 0.1, 1.0), (1.0, 1.0, 0.1, 0.1, 0.0)],
)
def test_what_is_no_figure_is_refused(given_: tuple[float, ...]) -> None:
    with pytest.raises(ScienceError):
        change(*given_)
