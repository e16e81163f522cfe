"""The baseline: moved, not moved, inconclusive; and the control chart of a machine."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from startkit.errors import SheetError
from startkit.fleet import baseline_comparison
from startkit.fleet.baseline_comparison import (
    COMMISSIONED,
    OVERHAULED,
    charts,
    comparisons,
    machines,
)
from startkit.fleet.folder import Fleet
from startkit.science.baseline_shift import CANNOT_TELL, MOVED, NOT_MOVED
from startkit.units import KINDS, parse
from tests.fleet.summaries import approach, conditions, figure, visit

FLEET = Fleet(Path("nowhere"), "Harbour Street")
KEY = "load_up.evaporator_approach_full"


def said(before: dict, now: dict, key: str = KEY, fleet: Fleet = FLEET, work: str = "new"):
    found = comparisons(fleet, [visit("2024-05-02", before, work=work), visit("2026-05-02", now)])
    return next(c for c in found if c.key == key)


def test_an_approach_that_grew_beyond_its_uncertainty_has_moved() -> None:
    found = said({KEY: approach(0.9), **conditions()}, {KEY: approach(1.6), **conditions()})
    assert (
        found.change.said == MOVED
        and found.against == COMMISSIONED
        and found.change.difference == pytest.approx(0.7)
    )
    assert found.change.expanded == pytest.approx(2 * (0.05**2 + 0.05**2) ** 0.5)


def test_at_just_under_and_just_over_the_uncertainty() -> None:
    edge = 2 * (2 * 0.05**2) ** 0.5
    assert (
        said(
            {KEY: approach(0.9), **conditions()}, {KEY: approach(0.9 + edge - 1e-6), **conditions()}
        ).change.said
        != MOVED
    )
    assert (
        said(
            {KEY: approach(0.9), **conditions()}, {KEY: approach(0.9 + edge + 1e-6), **conditions()}
        ).change.said
        == MOVED
    )


def test_an_approach_known_well_enough_has_not_moved() -> None:
    assert (
        said(
            {KEY: approach(0.9), **conditions()}, {KEY: approach(0.95), **conditions()}
        ).change.said
        == NOT_MOVED
    )


def test_thermometers_too_coarse_for_the_change_that_matters_cannot_tell() -> None:
    found = said(
        {KEY: approach(0.9, 0.3), **conditions()}, {KEY: approach(1.2, 0.3), **conditions()}
    )
    assert found.change.said == CANNOT_TELL and "uncertainty" in found.why


@pytest.mark.parametrize(
    ("then", "now", "why"),
    [
        ({"load": 0.98}, {"load": 0.92}, "load was 98.0 % then, 92.0 % now"),
        ({"lift": 29.8}, {"lift": 32.0}, "lift was 29.80 K then, 32.00 K now"),
    ],
)
def test_visits_at_unlike_conditions_are_not_compared(then: dict, now: dict, why: str) -> None:
    found = said(
        {KEY: approach(0.9), **conditions(**then)}, {KEY: approach(1.9), **conditions(**now)}
    )
    assert found.change.said == CANNOT_TELL and found.why == why


def test_at_the_edge_of_like_conditions_they_are() -> None:
    assert (
        said(
            {KEY: approach(0.9), **conditions(load=0.90)},
            {KEY: approach(1.9), **conditions(load=0.95)},
        ).change.said
        == MOVED
    )


def test_conditions_that_one_visit_lacks_cannot_be_alike() -> None:
    found = said({KEY: approach(0.9)}, {KEY: approach(1.9), **conditions()})
    assert found.change.said == CANNOT_TELL and found.why.startswith("load is not known")


def test_without_uncertainty_only_a_change_that_matters_is_called_moved() -> None:
    key = "vanes.switch_make"

    def at(value):
        return {key: figure("Switch makes, closing", value, "percent", "percent")}

    assert said(at(1.8), at(2.4), key).change.said == CANNOT_TELL
    assert said(at(1.8), at(6.0), key).change.said == MOVED
    assert said(at(1.8), at(2.4), key).why.startswith("the uncertainty is unknown")


def test_after_an_overhaul_both_baselines_are_held_against_the_visit() -> None:
    visits = [
        visit("2020-05-02", {KEY: approach(0.9), **conditions()}),
        visit("2023-05-02", {KEY: approach(1.6), **conditions()}, work="overhauled"),
        visit("2026-05-02", {KEY: approach(1.6), **conditions()}),
    ]
    found = {c.against: c.change.said for c in comparisons(FLEET, visits) if c.key == KEY}
    assert found == {COMMISSIONED: MOVED, OVERHAULED: NOT_MOVED}


def test_the_overhaul_itself_is_compared_with_what_was_before_it() -> None:
    visits = [
        visit("2020-05-02", {KEY: approach(1.9), **conditions()}),
        visit("2023-05-02", {KEY: approach(0.9), **conditions()}, work="overhauled"),
    ]
    assert [(c.against, c.change.said) for c in comparisons(FLEET, visits)] == [
        (COMMISSIONED, MOVED)
    ]


def test_a_machine_is_known_by_its_serial_number_wherever_its_tag_went() -> None:
    found = machines(
        [
            visit("2026-05-02", tag="CH-1"),
            {**visit("2020-05-02", tag="OLD-7"), "serial": "S-CH-1"},
            {**visit("2021-05-02"), "fault": "damaged"},
        ]
    )
    assert {serial: [v["tag"] for v in visits] for serial, visits in found.items()} == {
        "S-CH-1": ["OLD-7", "CH-1"]
    }


def test_the_fleet_may_set_the_change_that_matters() -> None:
    own = replace(FLEET, changes={KEY: "0.1 K"})
    pair = {KEY: approach(0.9), **conditions()}, {KEY: approach(0.95), **conditions()}
    assert (
        said(*pair).change.said == NOT_MOVED and said(*pair, fleet=own).change.said == CANNOT_TELL
    )
    with pytest.raises(
        SheetError, match=r"^fleet.toml, changes, load_up.evaporator_approach_full: "
    ):
        said(*pair, fleet=replace(FLEET, changes={KEY: "0.1 kPa"}))


def test_every_change_and_condition_that_comes_with_the_tool_can_be_read() -> None:
    shipped = baseline_comparison._shipped()
    for rule in baseline_comparison.rules(FLEET):
        assert set(rule.at) <= set(shipped["conditions"]), rule.pattern
        share = rule.matters.removesuffix("of before").strip()
        assert any(
            _reads(share, kind) for kind in (("percent",) if share != rule.matters else KINDS)
        ), rule.pattern


def _reads(text: str, kind: str) -> bool:
    try:
        return parse(text, kind).magnitude > 0
    except Exception:
        return False


# --- control charts -------------------------------------------------------------------------------


def history(*values: float) -> list:
    return [visit(f"{2016 + n}-05-02", {KEY: approach(value)}) for n, value in enumerate(values)]


def test_a_visit_beyond_the_scatter_of_those_before_is_outside() -> None:
    calm = (0.90, 0.95, 0.88, 0.93, 0.91)
    assert charts(history(*calm, 1.4), [KEY])[0].newest_outside
    assert not charts(history(*calm, 0.97), [KEY])[0].newest_outside


def test_the_newest_visit_does_not_widen_its_own_limits() -> None:
    found = charts(history(0.90, 0.95, 0.88, 0.93, 5.0), [KEY])[0]
    assert found.limits.readings == 4 and found.limits.high < 1.2


def test_too_few_visits_make_no_chart() -> None:
    assert (
        charts(history(0.9, 0.9, 0.9, 0.9), [KEY]) == []
        and len(charts(history(0.9, 0.9, 0.9, 0.9, 0.9), [KEY])) == 1
    )
