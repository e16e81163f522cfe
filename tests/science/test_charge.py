"""Refrigerant charge by weight, and what an addition means as a leak rate."""

from __future__ import annotations

import numpy as np
import pytest

from startkit.errors import ScienceError
from startkit.science import charge
from startkit.units import Q


def test_charge_is_the_sum_over_cylinders(outside):
    found = charge.charged_mass(
        Q(np.array([62.0, 61.5, 60.0]), "kg"),
        Q(np.array([12.0, 12.5, 40.0]), "kg"),
        Q(0.05, "kg"),
        Q(0.5, "kg"),
    )
    outside.check(
        "charge.charged_mass",
        printed=118.5,
        ours=found.mass.magnitude,
        source="50 + 49 + 20 - 0.5 kg",
        standing="closed form",
        rel=1e-12,
    )
    outside.check(
        "charge.charged_mass",
        printed=0.05 * np.sqrt(6),
        ours=found.u.magnitude,
        source="JCGM 100:2008 5.1.2, six independent weighings",
        standing="closed form",
        rel=1e-12,
    )


def test_one_cylinder_needs_no_list():
    assert charge.charged_mass(
        Q(62, "kg"), Q(12, "kg"), Q(0.05, "kg")
    ).mass.magnitude == pytest.approx(50)


def test_a_cylinder_that_gained_weight_is_named():
    with pytest.raises(ScienceError, match="cylinder 2"):
        charge.charged_mass(
            Q(np.array([62.0, 12.0]), "kg"), Q(np.array([12.0, 62.0]), "kg"), Q(0.05, "kg")
        )


def test_a_missing_weight_is_refused():
    with pytest.raises(ScienceError, match="1 after"):
        charge.charged_mass(
            Q(np.array([62.0, 60.0]), "kg"), Q(np.array([12.0]), "kg"), Q(0.05, "kg")
        )


def test_annualised_leak_rate_by_a_printed_example(outside):
    ours = (
        charge.annualised_leak_rate(Q(10, "lb"), Q(100, "lb"), Q(180, "day"))
        .to("percent/year")
        .magnitude
    )
    outside.check(
        "charge.annualised_leak_rate",
        printed=20.27,
        ours=ours,
        source="costcalculator.calculator.city: 10 of 100 lb after 180 days, 40 CFR 82.152",
        standing="secondary",
        abs=0.02,
    )


@pytest.mark.parametrize(("days", "percent"), [(365, 10), (730, 10), (36.5, 100)])
def test_longer_than_a_year_counts_as_a_year(days, percent):
    assert charge.annualised_leak_rate(Q(10, "kg"), Q(100, "kg"), Q(days, "day")).to(
        "percent/year"
    ).magnitude == pytest.approx(percent)


def test_without_a_full_charge_there_is_no_rate():
    with pytest.raises(ScienceError, match="full charge"):
        charge.annualised_leak_rate(Q(1, "kg"), Q(0, "kg"), Q(1, "day"))


@pytest.mark.parametrize(
    ("use", "printed"),
    [("industrial process", 30), ("commercial refrigeration", 20), ("comfort cooling", 10)],
)
def test_trigger_rates(outside, use, printed):
    outside.check(
        "charge.TRIGGERS",
        printed=printed,
        ours=100 * charge.TRIGGERS[use],
        source="40 CFR 82.157 (rrrbuddy.com)",
        standing="secondary",
        rel=1e-9,
    )
