"""The guard band is decided in one place, and a missing reading is never a pass."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from startkit.errors import UnitError
from startkit.units import Q
from startkit.verdict import COVERAGE, Outcome, within, worst

HIGH = Q(45, "second")


@pytest.mark.parametrize(
    ("seconds", "outcome"), [(44.999, Outcome.PASS), (45.0, Outcome.PASS), (45.001, Outcome.FAIL)]
)
def test_at_under_and_over_a_limit_without_uncertainty(seconds: float, outcome: Outcome) -> None:
    assert within(Q(seconds, "second"), None, HIGH) is outcome


@pytest.mark.parametrize(
    ("seconds", "outcome"),
    [
        (42.9, Outcome.PASS),
        (43.1, Outcome.UNPROVEN),
        (45.0, Outcome.UNPROVEN),
        (46.9, Outcome.UNPROVEN),
        (47.1, Outcome.FAIL),
    ],
)
def test_within_twice_its_uncertainty_of_the_limit_is_unproven(
    seconds: float, outcome: Outcome
) -> None:
    assert within(Q(seconds, "second"), None, HIGH, Q(1, "second")) is outcome


def test_the_guard_band_is_two_standard_uncertainties(outside) -> None:
    outside.check(
        "verdict.within",
        printed=2.0,
        ours=COVERAGE,
        abs=1e-12,
        standing="published",
        source="ILAC-G8:09/2019 p. 8: w = U with k = 2; JCGM 106:2012",
    )


def test_false_acceptance_stays_under_two_and_a_half_percent(outside) -> None:
    from scipy.stats import norm

    # A value exactly at its limit, measured with u = 1: how often does it pass?
    accepted = norm.cdf(-COVERAGE)
    outside.check(
        "verdict.within",
        printed=0.025,
        ours=accepted,
        abs=0.0025,
        standing="published",
        source="ILAC-G8:09/2019 p. 10: below 2.5 % with w = U",
    )


def test_a_missing_reading_is_open() -> None:
    assert within(None, None, HIGH) is Outcome.OPEN
    assert within(Q(float("nan"), "second"), None, HIGH) is Outcome.OPEN


def test_a_reading_taken_while_it_swings_is_unproven() -> None:
    assert within(Q(1, "second"), None, HIGH, steady=False) is Outcome.UNPROVEN


def test_a_verdict_without_a_limit_is_refused() -> None:
    with pytest.raises(UnitError):
        within(Q(1, "second"))


def test_an_uncertainty_given_as_a_temperature_is_refused() -> None:
    with pytest.raises(UnitError, match="delta"):
        within(Q(10, "degC"), None, Q(12, "degC"), Q(1, "degC"))


def test_temperatures_are_compared_across_units() -> None:
    assert within(Q(44, "degF"), None, Q(7, "degC"), Q(0.05, "delta_degC")) is Outcome.PASS
    assert within(Q(46, "degF"), None, Q(7, "degC"), Q(0.05, "delta_degC")) is Outcome.FAIL


@given(st.floats(-50, 50), st.floats(0, 5))
def test_more_uncertainty_never_turns_a_fail_into_a_pass(value: float, u: float) -> None:
    sharp, blunt = (
        within(Q(value, "kPa"), Q(-10, "kPa"), Q(10, "kPa")),
        within(Q(value, "kPa"), Q(-10, "kPa"), Q(10, "kPa"), Q(u, "kPa")),
    )
    assert blunt in (sharp, Outcome.UNPROVEN)


def test_the_worst_outcome_speaks_for_a_group() -> None:
    assert worst([Outcome.PASS, Outcome.WAIVED, Outcome.FAIL]) is Outcome.FAIL
    assert worst([Outcome.PASS, Outcome.OPEN]) is Outcome.OPEN
    assert worst([]) is Outcome.OPEN
    assert worst([Outcome.PASS, Outcome.NA]) is Outcome.PASS


def test_every_outcome_has_its_own_mark() -> None:
    assert len({o.mark for o in Outcome}) == len(Outcome)


def test_only_pass_waived_and_not_applicable_are_settled() -> None:
    assert {o for o in Outcome if o.settled} == {Outcome.PASS, Outcome.WAIVED, Outcome.NA}
