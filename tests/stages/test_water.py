"""Stage Water: liquid, flow by drop and by meter, strainer, air, flow switch; at, under and over
each limit.
"""

from __future__ import annotations

import numpy as np
import pytest

from startkit.procedure import payload
from startkit.procedure.circuits import CURVE
from startkit.stages.setup import STAGE as SETUP
from startkit.stages.water import STAGE
from startkit.units import Q
from startkit.verdict import Outcome

GAUGE = {"tag": "D1", "kind": "pressure drop", "accuracy": "1 kPa", "due": "2027-06-30"}
METER = {"tag": "F1", "kind": "flow", "accuracy": "2 % of reading", "due": "2027-06-30"}
ALL = (GAUGE, METER)
# Sheet: evaporator 75 L/s at 55 kPa, condenser 95 L/s at 60 kPa.
ONE = {
    "fluid": ("water", ""),
    "strainer_inside": ("no", ""),
    "strainer_clean": ("yes", ""),
    "air": ("yes", ""),
}
GOOD = {
    **{
        f"{side}_{part}": value
        for side in ("evaporator", "condenser")
        for part, value in ONE.items()
    },
    "evaporator_temperature": ("10", "°C"),
    "evaporator_drop": ("55", "kPa"),
    "evaporator_opens_drop": ("24", "kPa"),
    "evaporator_closes_drop": ("30", "kPa"),
    "condenser_temperature": ("28", "°C"),
    "condenser_drop": ("60", "kPa"),
    "condenser_opens_drop": ("26", "kPa"),
    "condenser_closes_drop": ("33", "kPa"),
}


@pytest.fixture
def job(make_job, put):
    """Circuits in order, with changes laid over; None leaves an entry out."""

    def make(changes=None, sheet=None, system="SI", instruments=ALL):
        made = make_job(sheet, system, stages={"setup": SETUP, "water": STAGE})
        for n, instrument in enumerate(instruments, 1):
            for name, value in instrument.items():
                put(made, f"setup.instruments.{n}.{name}", value)
        for what, entry in {**GOOD, **(changes or {})}.items():
            if entry is not None:
                put(
                    made,
                    f"water.{what}",
                    entry[0],
                    entry[1],
                    instrument=entry[2] if len(entry) > 2 else "",
                )
        return made

    return make


def shown(assess, made):
    return {f["label"]: f for f in payload.stage_part(assess(made), "water")["figures"]}


def test_circuits_in_order_pass_every_verdict(job, assess):
    found = assess(job()).findings("water").verdicts
    assert {
        v.key: v.sentence
        for v in found
        if v.outcome is not Outcome.PASS and "as_taken" not in v.key
    } == {}


def test_an_empty_stage_is_open_everywhere(make_job, assess):
    found = assess(make_job(stages={"water": STAGE})).findings("water").verdicts
    assert {v.outcome for v in found} == {Outcome.OPEN}


# --- flow by drop ------------------------------------------------------------------------------


def test_flow_follows_the_square_root_of_the_drop(job, assess):
    # printed: 1000 gpm at 14.0 ft, 16.2 ft -> 1075.7 gpm
    sheet = {"evaporator.design_flow": "1000 gpm", "evaporator.design_pressure_drop": "14.0 ft"}
    figure = shown(assess, job({"evaporator_drop": ("16.2", "ft")}, sheet=sheet))[
        "Chilled water: flow by drop"
    ]
    assert Q(figure["number"], "m**3/s").to("gallon/minute").magnitude == pytest.approx(
        1075.7, abs=0.05
    )


@pytest.mark.parametrize(
    ("kilopascal", "outcome"),
    [
        (44.54, Outcome.FAIL),
        (44.55, Outcome.PASS),
        (44.56, Outcome.PASS),
        (66.54, Outcome.PASS),
        (66.55, Outcome.PASS),
        (66.56, Outcome.FAIL),
    ],
)
def test_flow_at_under_and_over_ten_percent_of_design(job, verdict_of, kilopascal, outcome):
    # 0.9^2 and 1.1^2 of 55 kPa: 44.55 and 66.55 kPa
    assert (
        verdict_of(
            job({"evaporator_drop": (str(kilopascal), "kPa")}), "water.evaporator_flow"
        ).outcome
        is outcome
    )


def test_the_sheets_exponent_is_used(job, assess):
    figure = shown(
        assess, job({"evaporator_drop": ("110", "kPa")}, sheet={"evaporator.flow_exponent": 0.57})
    )["Chilled water: flow by drop"]
    assert Q(figure["number"], "m**3/s").to("L/s").magnitude == pytest.approx(75 * 2**0.57)


def test_the_uncertainty_of_the_flow_agrees_with_monte_carlo(job, assess):
    figure = shown(assess, job({"evaporator_drop": ("45", "kPa", "D1")}))[
        "Chilled water: flow by drop"
    ]
    generator, n = np.random.default_rng(13), 400_000
    drop, exponent = 45 + generator.uniform(-1, 1, n), 0.5 + generator.uniform(-0.035, 0.035, n)
    flow = 0.075 * (drop / 55) ** exponent * (1 + generator.uniform(-CURVE, CURVE, n))
    assert figure["u_number"] == pytest.approx(flow.std(), rel=0.01)


def test_a_drop_within_its_uncertainty_of_the_limit_is_unproven(job, verdict_of):
    assert (
        verdict_of(job({"evaporator_drop": ("45", "kPa", "D1")}), "water.evaporator_flow").outcome
        is Outcome.UNPROVEN
    )


def test_a_gauge_out_of_calibration_leaves_the_flow_unproven(job, verdict_of):
    made = job(
        {"evaporator_drop": ("55", "kPa", "D1")},
        instruments=({**GAUGE, "due": "2026-01-01"}, METER),
    )
    assert verdict_of(made, "water.evaporator_flow").outcome is Outcome.UNPROVEN


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"evaporator_drop": None}, "Not taken"),
        ({"evaporator_drop": ("55", "L/s")}, "is not a unit of pressure drop"),
        ({"evaporator_drop": ("-3", "kPa")}, "a negative pressure drop"),
        ({"evaporator_fluid": None}, "liquid"),
    ],
)
def test_a_drop_that_lacks_or_cannot_be_keeps_the_flow_open(job, verdict_of, change, told):
    found = verdict_of(job(change), "water.evaporator_flow")
    assert found.outcome is Outcome.OPEN and told in found.sentence


# --- strainer ----------------------------------------------------------------------------------


def test_a_strainer_between_the_taps_is_taken_off_the_drop(job, assess):
    made = job(
        {
            "evaporator_drop": ("65", "kPa"),
            "evaporator_strainer_inside": ("yes", ""),
            "evaporator_strainer_drop": ("10", "kPa"),
        }
    )
    assert Q(shown(assess, made)["Chilled water: flow by drop"]["number"], "m**3/s").to(
        "L/s"
    ).magnitude == pytest.approx(75)


def test_a_strainer_elsewhere_does_not_count(job, assess):
    made = job({"evaporator_strainer_drop": ("10", "kPa")})
    assert Q(shown(assess, made)["Chilled water: flow by drop"]["number"], "m**3/s").to(
        "L/s"
    ).magnitude == pytest.approx(75)


def test_a_strainer_between_the_taps_whose_drop_nobody_read_leaves_the_flow_unproven(
    job, verdict_of
):
    found = verdict_of(job({"evaporator_strainer_inside": ("yes", "")}), "water.evaporator_flow")
    assert found.outcome is Outcome.UNPROVEN and "the true flow is lower" in found.sentence


def test_a_flow_that_is_too_small_already_fails_whatever_the_strainer_takes(job, verdict_of):
    made = job({"evaporator_strainer_inside": ("yes", ""), "evaporator_drop": ("40", "kPa")})
    assert verdict_of(made, "water.evaporator_flow").outcome is Outcome.FAIL


def test_what_a_blocked_strainer_makes_of_the_reading_is_said(job, assess):
    # (1.1)^0.5 - 1 = 4.88 %
    assert shown(assess, job())["Chilled water: 10 % more drop reads as"]["text"] == "4.9 %"


@pytest.mark.parametrize(
    ("drop", "unit", "outcome"),
    [
        ("14.9", "kPa", Outcome.PASS),
        ("15", "kPa", Outcome.PASS),
        ("15.1", "kPa", Outcome.FAIL),
        ("15", "L/s", Outcome.OPEN),
    ],
)
def test_the_drop_over_the_strainer(job, verdict_of, drop, unit, outcome):
    assert (
        verdict_of(
            job({"condenser_strainer_drop": (drop, unit)}), "water.condenser_strainer_drop"
        ).outcome
        is outcome
    )


@pytest.mark.parametrize("part", ["strainer_clean", "air"])
@pytest.mark.parametrize(
    ("answer", "outcome"), [("yes", Outcome.PASS), ("no", Outcome.FAIL), (None, Outcome.OPEN)]
)
def test_strainer_and_air_are_confirmed(job, verdict_of, part, answer, outcome):
    assert (
        verdict_of(
            job({f"condenser_{part}": (answer, "") if answer else None}), f"water.condenser_{part}"
        ).outcome
        is outcome
    )


@pytest.mark.parametrize(
    ("swing", "outcome"), [("5.9", Outcome.PASS), ("6", Outcome.PASS), ("6.1", Outcome.FAIL)]
)
def test_air_that_makes_the_drop_swing(job, verdict_of, swing, outcome):
    assert (
        verdict_of(job({"condenser_swing": (swing, "kPa")}), "water.condenser_swing").outcome
        is outcome
    )


@pytest.mark.parametrize(
    "change",
    [{"condenser_swing": ("6", "°C")}, {"condenser_swing": ("6", "kPa"), "condenser_drop": None}],
)
def test_a_swing_that_cannot_be_judged_is_open(job, verdict_of, change):
    assert verdict_of(job(change), "water.condenser_swing").outcome is Outcome.OPEN


# --- meter -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("meter", "outcome"),
    [
        ("68.1", Outcome.FAIL),
        ("68.19", Outcome.PASS),
        ("83.3", Outcome.PASS),
        ("83.4", Outcome.FAIL),
    ],
)
def test_flow_by_drop_against_the_meter_at_under_and_over_ten_percent(
    job, verdict_of, meter, outcome
):
    # 75 L/s by drop; 75/1.1 = 68.18, 75/0.9 = 83.33
    assert (
        verdict_of(job({"evaporator_meter": (meter, "L/s")}), "water.evaporator_meter").outcome
        is outcome
    )


def test_the_uncertainty_of_that_gap_agrees_with_monte_carlo(job, verdict_of):
    made = job({"evaporator_meter": ("73", "L/s", "F1"), "evaporator_drop": ("45", "kPa", "D1")})
    generator, n = np.random.default_rng(14), 400_000
    by_drop = 75 * ((45 + generator.uniform(-1, 1, n)) / 55) ** (
        0.5 + generator.uniform(-0.035, 0.035, n)
    )
    by_drop *= 1 + generator.uniform(-CURVE, CURVE, n)
    draws = by_drop / (73 * (1 + generator.uniform(-0.02, 0.02, n))) * 100
    assert verdict_of(made, "water.evaporator_meter").uncertainty.to(
        "percent"
    ).magnitude == pytest.approx(draws.std(), rel=0.01)


def test_without_a_meter_nothing_is_judged_of_it(job, assess):
    assert "water.evaporator_meter" not in {v.key for v in assess(job()).findings("water").verdicts}


@pytest.mark.parametrize(
    "change",
    [
        {"evaporator_meter": ("75", "kPa")},
        {"evaporator_meter": ("75", "L/s"), "evaporator_drop": None},
    ],
)
def test_a_meter_that_cannot_be_compared_is_open(job, verdict_of, change):
    assert verdict_of(job(change), "water.evaporator_meter").outcome is Outcome.OPEN


# --- flow switch -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("flow", "outcome"),
    [
        ("37.4", Outcome.FAIL),
        ("37.5", Outcome.PASS),
        ("37.6", Outcome.PASS),
        ("67.4", Outcome.PASS),
        ("67.5", Outcome.PASS),
        ("67.6", Outcome.FAIL),
    ],
)
def test_the_switch_opens_between_half_and_nine_tenths_of_design(job, verdict_of, flow, outcome):
    assert (
        verdict_of(
            job({"evaporator_opens_flow": (flow, "L/s"), "evaporator_opens_drop": None}),
            "water.evaporator_switch_opens",
        ).outcome
        is outcome
    )


@pytest.mark.parametrize(
    ("flow", "outcome"), [("44.9", Outcome.FAIL), ("45", Outcome.PASS), ("45.1", Outcome.PASS)]
)
def test_the_sheets_smallest_flow_is_the_lower_end(job, verdict_of, flow, outcome):
    found = verdict_of(
        job(
            {"evaporator_opens_flow": (flow, "L/s"), "evaporator_opens_drop": None},
            sheet={"evaporator.minimum_flow": "45 L/s"},
        ),
        "water.evaporator_switch_opens",
    )
    assert found.outcome is outcome and found.source == "machine sheet: minimum_flow"


def test_the_switch_is_read_by_drop_too(job, verdict_of):
    # 55 kPa * 0.6^2 = 19.8 kPa
    found = verdict_of(
        job({"evaporator_opens_drop": ("19.8", "kPa")}), "water.evaporator_switch_opens"
    )
    assert found.reading.to("percent").magnitude == pytest.approx(60)


@pytest.mark.parametrize(
    ("flow", "outcome"),
    # 24 kPa of 55 kPa at 75 L/s: 49.5 L/s; ten percent off at 45.0 and 55.0 L/s
    [("44.9", Outcome.UNPROVEN), ("45.1", Outcome.PASS), ("55.1", Outcome.UNPROVEN)],
)
def test_an_opening_read_by_meter_and_drop_is_proven_only_if_they_agree(
    job, verdict_of, flow, outcome
):
    made = job({"evaporator_opens_flow": (flow, "L/s")})
    assert verdict_of(made, "water.evaporator_switch_opens").outcome is outcome


def test_a_flow_read_by_meter_goes_before_one_by_drop(job, verdict_of):
    found = verdict_of(
        job({"evaporator_opens_flow": ("45", "L/s")}), "water.evaporator_switch_opens"
    )
    assert found.reading.to("percent").magnitude == pytest.approx(60)


@pytest.mark.parametrize(
    ("flow", "outcome"), [("71.2", Outcome.PASS), ("71.25", Outcome.PASS), ("71.3", Outcome.FAIL)]
)
def test_the_switch_closes_below_design(job, verdict_of, flow, outcome):
    assert (
        verdict_of(
            job({"evaporator_closes_flow": (flow, "L/s")}), "water.evaporator_switch_closes"
        ).outcome
        is outcome
    )


@pytest.mark.parametrize(
    ("closes", "outcome"), [("50.7", Outcome.FAIL), ("50.75", Outcome.PASS), ("50.8", Outcome.PASS)]
)
def test_the_switch_has_a_differential(job, verdict_of, closes, outcome):
    # one percent of 75 L/s above 50 L/s
    made = job({"evaporator_opens_flow": ("50", "L/s"), "evaporator_closes_flow": (closes, "L/s")})
    assert verdict_of(made, "water.evaporator_switch_differential").outcome is outcome


@pytest.mark.parametrize(
    ("gone", "key"),
    [
        ("opens", "switch_opens"),
        ("closes", "switch_closes"),
        ("opens", "switch_differential"),
        ("closes", "switch_differential"),
    ],
)
def test_a_switch_that_was_not_tried_is_open(job, verdict_of, gone, key):
    assert (
        verdict_of(job({f"evaporator_{gone}_drop": None}), f"water.evaporator_{key}").outcome
        is Outcome.OPEN
    )


def test_a_switch_read_in_a_wrong_unit_is_open(job, verdict_of):
    assert (
        verdict_of(
            job({"evaporator_opens_flow": ("45", "°C")}), "water.evaporator_switch_opens"
        ).outcome
        is Outcome.OPEN
    )


# --- liquid ------------------------------------------------------------------------------------

GLYCOL = {"evaporator.fluid": "propylene glycol", "evaporator.glycol_mass_fraction": "30 %"}
SHARE = {"evaporator_fluid": ("propylene glycol", ""), "evaporator_basis": ("mass", "")}


@pytest.mark.parametrize(
    ("share", "outcome"),
    [
        ("26.9", Outcome.FAIL),
        ("27", Outcome.PASS),
        ("27.1", Outcome.PASS),
        ("33", Outcome.PASS),
        ("33.1", Outcome.FAIL),
    ],
)
def test_the_glycol_share_at_under_and_over_three_percent(job, verdict_of, share, outcome):
    assert (
        verdict_of(
            job({**SHARE, "evaporator_share": (share, "%")}, sheet=GLYCOL), "water.evaporator_fluid"
        ).outcome
        is outcome
    )


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"evaporator_share": None}, "no share"),
        ({"evaporator_share": ("30", "°C")}, "no share"),
        ({"evaporator_share": ("70", "%")}, "a share of 70 %"),
    ],
)
def test_glycol_without_a_usable_share_is_open(job, verdict_of, change, told):
    found = verdict_of(job({**SHARE, **change}, sheet=GLYCOL), "water.evaporator_fluid")
    assert found.outcome is Outcome.OPEN and told in found.sentence


def test_another_liquid_than_that_of_the_selection_fails(job, verdict_of):
    found = verdict_of(job({**SHARE, "evaporator_share": ("30", "%")}), "water.evaporator_fluid")
    assert found.outcome is Outcome.FAIL and "the selection is for water" in found.sentence


def test_a_share_by_volume_against_a_sheet_by_mass_is_unproven(job, verdict_of):
    made = job(
        {**SHARE, "evaporator_basis": ("volume", ""), "evaporator_share": ("30", "%")}, sheet=GLYCOL
    )
    assert verdict_of(made, "water.evaporator_fluid").outcome is Outcome.UNPROVEN


@pytest.mark.parametrize(
    ("leaving", "outcome"),
    [("2.9 °C", Outcome.FAIL), ("3 °C", Outcome.PASS), ("3.1 °C", Outcome.PASS)],
)
def test_leaving_water_stands_clear_of_freezing(job, verdict_of, leaving, outcome):
    points = [
        {
            "load": "100 %",
            "capacity": "1760 kW",
            "power": "295 kW",
            "leaving_chilled": leaving,
            "entering_condenser": "30 °C",
        }
    ]
    assert (
        verdict_of(
            job(sheet={"selection.points": points}), "water.evaporator_freeze_margin"
        ).outcome
        is outcome
    )


def test_glycol_lowers_the_freezing_point_and_carries_less_heat(job, assess, verdict_of):
    made = job({**SHARE, "evaporator_share": ("30", "%")}, sheet=GLYCOL)
    figures = shown(assess, made)
    # propylene glycol 30 % by mass: freezing near -13 °C, heat capacity times density near 95 % of
    # water's (Melinder 2010)
    assert Q(figures["Chilled water: freezes at"]["number"], "kelvin").to(
        "degC"
    ).magnitude == pytest.approx(-13, abs=1)
    assert 92 < 100 * figures["Chilled water: heat carried against water"]["number"] < 97
    assert figures["Chilled water: drop against water at the same flow"]["number"] == pytest.approx(
        1.03, abs=0.01
    )
    assert (
        verdict_of(made, "water.evaporator_freeze_margin").reading.to("delta_degC").magnitude > 15
    )


def test_a_denser_liquid_than_the_selections_shows_more_drop_for_the_same_flow(job, assess):
    made = job({**SHARE, "evaporator_share": ("30", "%")})  # the sheet says water
    flow = (
        Q(shown(assess, made)["Chilled water: flow by drop"]["number"], "m**3/s")
        .to("L/s")
        .magnitude
    )
    ratio = shown(assess, made)["Chilled water: drop against water at the same flow"]["number"]
    assert flow == pytest.approx(75 / ratio**0.5, rel=1e-6)


def test_both_circuits_stand_in_one_table(job, assess):
    table = payload.stage_part(assess(job({"evaporator_meter": ("76", "L/s")})), "water")["tables"][
        0
    ]
    assert [row[0] for row in table["rows"]] == ["Chilled water", "Condenser water"]
    assert table["rows"][0][2:5] == ["75.0", "75.0", "76.0"]


def test_everything_is_shown_in_inch_pound_units_too(job, assess):
    text = " ".join(
        v["sentence"] for v in payload.stage_part(assess(job(system="I-P")), "water")["verdicts"]
    )
    assert "gpm" in text and "L/s" not in text and "°C" not in text
