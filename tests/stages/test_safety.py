"""Stage Safety: ventilation at, under and over the rule, the detector, confirmations by name,
cautions that defer.
"""

from __future__ import annotations

import numpy as np
import pytest

from startkit.facts import checklists
from startkit.procedure import payload
from startkit.procedure.registry import ordered, with_lists
from startkit.stages.safety import STAGE
from startkit.stages.setup import STAGE as SETUP
from startkit.verdict import Outcome

# 500 kg: 0.07 sqrt(500) = 1.5652 m3/s; 100 sqrt(1102.3) = 3320.1 cfm
GOOD = {
    "emergency_installed": ("1.8", "m³/s"),
    "detector_alarm": ("500", "ppm"),
    "lock_out": ("yes", ""),
    "lock_out_by": ("R. Ortega", ""),
    "lock_out_list_text": ("main Q1 lock 12, pump Q3 lock 13", ""),
    "detector": ("yes", ""),
    "detector_by": ("R. Ortega", ""),
    "ventilation": ("yes", ""),
    "ventilation_by": ("R. Ortega", ""),
    "relief": ("yes", ""),
    "relief_by": ("R. Ortega", ""),
    "relief_devices": ("yes", ""),
    "relief_devices_by": ("R. Ortega", ""),
    "relief_devices_photo": ("relief.jpg", ""),
    "ppe": ("yes", ""),
    "ppe_by": ("R. Ortega", ""),
    "who_may_energise_text": ("R. Ortega, electrician", ""),
}
FAN = {"tag": "V1", "kind": "air flow", "accuracy": "3 % of reading", "due": "2027-06-30"}

STAGES = ordered(
    with_lists([SETUP, STAGE], [each for each in checklists.shipped() if each.stage == "safety"])
)


@pytest.fixture
def job(make_job, put):
    """A room in which everything is right, with changes laid over; None leaves an entry out."""

    def make(changes=None, sheet=None, system="SI", instruments=()):
        made = make_job(sheet, system, stages=STAGES)
        for n, instrument in enumerate(instruments, 1):
            for name, value in instrument.items():
                put(made, f"setup.instruments.{n}.{name}", value)
        for what, entry in {**GOOD, **(changes or {})}.items():
            if entry is not None:
                put(
                    made,
                    f"safety.{what}",
                    entry[0],
                    entry[1],
                    instrument=entry[2] if len(entry) > 2 else "",
                )
        return made

    return make


def test_a_room_in_order_passes_every_verdict(job, assess):
    found = assess(job()).findings("safety").verdicts
    assert {v.key: v.sentence for v in found if v.outcome is not Outcome.PASS} == {}


def test_an_empty_stage_is_open_everywhere(make_job, assess):
    found = assess(make_job(stages={"safety": STAGES["safety"]})).findings("safety").verdicts
    assert {v.outcome for v in found} == {Outcome.OPEN}


# --- emergency ventilation -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("installed", "outcome"),
    [
        (("1.5651", "m³/s"), Outcome.FAIL),
        (("1.5653", "m³/s"), Outcome.PASS),
        (("1.5654", "m³/s"), Outcome.PASS),
    ],
)
def test_emergency_exhaust_just_under_and_over_the_rule_in_si(job, verdict_of, installed, outcome):
    assert (
        verdict_of(job({"emergency_installed": installed}), "safety.emergency_exhaust").outcome
        is outcome
    )


def test_emergency_exhaust_at_the_rule_itself_passes(job, verdict_of):
    # 900 kg: 0.07 sqrt(900) = 2.1 exactly
    assert (
        verdict_of(
            job({"room_charge": ("900", "kg"), "emergency_installed": ("2.1", "m³/s")}),
            "safety.emergency_exhaust",
        ).outcome
        is Outcome.PASS
    )


@pytest.mark.parametrize(
    ("kilograms", "outcome"),
    [("489", Outcome.FAIL), ("490", Outcome.PASS), ("500", Outcome.PASS), ("2000", Outcome.PASS)],
)
def test_the_charge_of_the_room_is_not_less_than_the_machines_own(
    job, verdict_of, kilograms, outcome
):
    made = job({"room_charge": (kilograms, "kg")})  # the sheet's own charge is 500 kg
    assert verdict_of(made, "safety.room_charge").outcome is outcome


def test_a_charge_entered_too_small_does_not_make_the_exhaust_large_enough(job, verdict_of):
    # 500 kg: 0.07 sqrt(500) = 1.565 m3/s
    made = job({"room_charge": ("5", "kg"), "emergency_installed": ("1.4", "m³/s")})
    assert verdict_of(made, "safety.emergency_exhaust").outcome is Outcome.FAIL


@pytest.mark.parametrize(("installed", "outcome"), [("4471", Outcome.FAIL), ("4473", Outcome.PASS)])
def test_emergency_exhaust_just_under_and_over_the_rule_in_inch_pound(
    job, verdict_of, installed, outcome
):
    # 2000 lb: 100 sqrt(2000) = 4472.1 cfm
    made = job(
        {"room_charge": ("2000", "lb"), "emergency_installed": (installed, "cfm")}, system="I-P"
    )
    assert verdict_of(made, "safety.emergency_exhaust").outcome is outcome


def test_the_form_of_the_local_code_can_be_chosen_against_the_units_of_the_job(job, verdict_of):
    # 2000 lb = 907.18 kg: 0.07 sqrt(907.18) = 2.10836 m3/s, but 4472.14 cfm = 2.11061 m3/s
    between = {"room_charge": ("2000", "lb"), "emergency_installed": ("2.1095", "m³/s")}
    assert verdict_of(job(between), "safety.emergency_exhaust").outcome is Outcome.PASS
    assert (
        verdict_of(
            job({**between, "exhaust_form": ("I-P: 100 √lb, in cfm", "")}),
            "safety.emergency_exhaust",
        ).outcome
        is Outcome.FAIL
    )


def test_the_largest_system_in_the_room_counts_before_the_sheet(job, verdict_of):
    assert (
        verdict_of(job({"room_charge": ("900", "kg")}), "safety.emergency_exhaust").outcome
        is Outcome.FAIL
    )


def test_a_room_whose_exhaust_was_not_measured_is_open(job, verdict_of):
    assert (
        verdict_of(job({"emergency_installed": None}), "safety.emergency_exhaust").outcome
        is Outcome.OPEN
    )


def test_an_exhaust_in_a_wrong_unit_is_open_and_says_so(job, verdict_of):
    found = verdict_of(job({"emergency_installed": ("1.8", "kPa")}), "safety.emergency_exhaust")
    assert found.outcome is Outcome.OPEN and "is not a unit of air flow" in found.sentence


def test_without_any_charge_there_is_no_rule(job, verdict_of):
    found = verdict_of(job(sheet={"machine.refrigerant_charge": None}), "safety.emergency_exhaust")
    assert "charge is not known" in found.sentence


def test_a_share_inside_the_instruments_uncertainty_is_unproven(job, verdict_of):
    found = verdict_of(
        job({"emergency_installed": ("1.6", "m³/s", "V1")}, instruments=(FAN,)),
        "safety.emergency_exhaust",
    )
    assert found.outcome is Outcome.UNPROVEN


def test_the_uncertainty_of_the_share_agrees_with_monte_carlo(job, verdict_of):
    found = verdict_of(
        job({"emergency_installed": ("1.8", "m³/s", "V1")}, instruments=(FAN,)),
        "safety.emergency_exhaust",
    )
    generator = np.random.default_rng(4)
    draws = 100 * (1.8 * (1 + 0.03 * generator.uniform(-1, 1, 200_000)) / (0.07 * np.sqrt(500)))
    assert found.uncertainty.to("percent").magnitude == pytest.approx(draws.std(), rel=0.01)


def test_a_balancer_out_of_calibration_leaves_the_exhaust_unproven(job, verdict_of):
    found = verdict_of(
        job(
            {"emergency_installed": ("3", "m³/s", "V1")},
            instruments=({**FAN, "due": "2026-01-01"},),
        ),
        "safety.emergency_exhaust",
    )
    assert found.outcome is Outcome.UNPROVEN and "out of calibration" in found.sentence


def test_both_forms_are_shown(job, assess):
    shown = {f["label"]: f["text"] for f in payload.stage_part(assess(job()), "safety")["figures"]}
    assert shown["Emergency exhaust needed, SI form"] == "1.565 m³/s"
    assert shown["Emergency exhaust needed, I-P form"] == "1.567 m³/s"


# --- normal ventilation --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("installed", "outcome"),
    [("0.2999", Outcome.FAIL), ("0.3", Outcome.PASS), ("0.3001", Outcome.PASS)],
)
def test_normal_exhaust_follows_the_floor(job, verdict_of, installed, outcome):
    # 120 m2: 0.0025 * 120 = 0.3 m3/s
    assert (
        verdict_of(job({"normal_installed": (installed, "m³/s")}), "safety.normal_exhaust").outcome
        is outcome
    )


def test_normal_exhaust_follows_the_heat_where_that_asks_for_more(job, verdict_of):
    # 10 kW / (1.2 * 1006 * 10) = 0.828 m3/s
    assert (
        verdict_of(
            job({"normal_installed": ("0.5", "m³/s"), "room_heat": ("10", "kW")}),
            "safety.normal_exhaust",
        ).outcome
        is Outcome.FAIL
    )


def test_normal_exhaust_that_nobody_measured_is_not_judged(job, assess):
    assert "safety.normal_exhaust" not in {v.key for v in assess(job()).findings("safety").verdicts}


def test_normal_exhaust_in_a_wrong_unit_is_open(job, verdict_of):
    assert (
        verdict_of(job({"normal_installed": ("0.5", "kg")}), "safety.normal_exhaust").outcome
        is Outcome.OPEN
    )


# --- detector -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("alarm", "outcome"), [("999", Outcome.PASS), ("1000", Outcome.PASS), ("1001", Outcome.FAIL)]
)
def test_the_detector_alarms_at_the_exposure_limit_or_below(job, verdict_of, alarm, outcome):
    assert (
        verdict_of(job({"detector_alarm": (alarm, "ppm")}), "safety.detector_alarm").outcome
        is outcome
    )


def test_another_refrigerant_has_another_exposure_limit(job, verdict_of):
    made = job({"detector_alarm": ("60", "ppm")}, sheet={"machine.refrigerant": "R-123"})
    assert verdict_of(made, "safety.detector_alarm").outcome is Outcome.FAIL


def test_a_detector_that_was_not_read_is_open(job, verdict_of):
    assert (
        verdict_of(job({"detector_alarm": None}), "safety.detector_alarm").outcome is Outcome.OPEN
    )
    assert (
        verdict_of(job({"detector_alarm": ("500", "°C")}), "safety.detector_alarm").outcome
        is Outcome.OPEN
    )


def test_a_refrigerant_without_known_limits_leaves_the_detector_unproven(job, verdict_of, assess):
    made = job(sheet={"machine.refrigerant": "R-9999"})
    assert verdict_of(made, "safety.detector_alarm").outcome is Outcome.UNPROVEN
    assert any("R-9999" in remark for remark in assess(made).findings("safety").remarks)


@pytest.mark.parametrize(
    ("refrigerant", "told"), [("R-1234ze(E)", "It burns"), ("R-123", "toxic at low concentrations")]
)
def test_hazards_of_the_safety_group_are_said(job, assess, refrigerant, told):
    assert any(
        told in remark
        for remark in (
            assess(job(sheet={"machine.refrigerant": refrigerant})).findings("safety").remarks
        )
    )


def test_what_a_whole_charge_would_do_to_the_room_is_shown(job, assess):
    # 500 kg in 500 m3 = 1000 g/m3 over 210 g/m3
    shown = {
        f["label"]: f["text"]
        for f in payload.stage_part(assess(job({"room_volume": ("500", "m³")})), "safety")[
            "figures"
        ]
    }
    assert shown["If the whole charge escaped"] == "4.8"


# --- confirmed by name -------------------------------------------------------------------------


def test_a_confirmation_says_by_whom(job, verdict_of):
    assert "confirmed by R. Ortega" in verdict_of(job(), "safety.lock_out").sentence


def test_a_yes_without_a_name_is_open(job, verdict_of):
    found = verdict_of(job({"lock_out_by": None}), "safety.lock_out")
    assert found.outcome is Outcome.OPEN and found.sentence == "Missing: who confirmed it."


def test_a_no_fails_with_what_to_do(job, verdict_of):
    found = verdict_of(job({"lock_out": ("no", "")}), "safety.lock_out")
    assert found.outcome is Outcome.FAIL and found.next_step.startswith("Lock out and tag")


def test_a_missing_photograph_is_named(job, verdict_of):
    assert (
        verdict_of(job({"relief_devices_photo": None}), "safety.relief_devices").sentence
        == "Missing: the photograph."
    )


def test_an_optional_item_is_judged_once_it_was_touched(job, assess):
    def keys(made):
        return {v.key for v in assess(made).findings("safety").verdicts}

    assert "safety.lifting_plan" not in keys(job())
    assert "safety.lifting_plan" in keys(job({"lifting_plan": ("yes", "")}))


def test_without_lock_out_it_is_not_clear_to_run_the_oil_pump(job, assess):
    made = job({"lock_out": ("no", "")})
    assert "safety.lock_out" in {v.key for v in assess(made).hold("oil_pump").in_the_way}


def test_every_caution_leaves_the_decision_to_code_maker_and_licensed_people():
    from startkit.procedure.cautions import EVERY

    for caution in EVERY:
        words = caution.lower()
        assert "licensed" in words and ("local code" in words or "manual" in words), caution
