"""The three phases: one way for every stage to judge their unbalance and how sure it is."""

from __future__ import annotations

import pytest

from startkit.procedure import three_phase
from startkit.procedure.reading import Reading
from startkit.stages.electrical import STAGE as ELECTRICAL
from startkit.stages.first_start import STAGE as FIRST_START
from startkit.stages.setup import STAGE as SETUP
from startkit.units import Q
from startkit.verdict import Outcome

STAGES = {"setup": SETUP, "electrical": ELECTRICAL, "first_start": FIRST_START}
ELECTRICAL_LINES = ("v12", "v23", "v31")
RUNNING_LINES = ("voltage_12", "voltage_23", "voltage_31")


def volts(*values, tags=("U1", "U1", "U1"), u=0.7):
    return [
        Reading(
            what=f"x.v{n}",
            quantity=Q(value, "volt"),
            u=Q(u, "volt") if u else None,
            taken=True,
            instruments=(tag,) if tag else (),
        )
        for n, (value, tag) in enumerate(zip(values, tags, strict=True))
    ]


@pytest.fixture
def same_volts(make_job, put):
    """The same three voltages, with the same meter, in Electrical and in First start."""

    def make(*values, sheet=None):
        job = make_job(sheet, stages=STAGES)
        meter = {"tag": "U1", "kind": "voltage", "accuracy": "0.3 % of reading"}
        for column, text in {**meter, "due": "2027-06-30"}.items():
            put(job, f"setup.instruments.1.{column}", text)
        for stage, names in (("electrical", ELECTRICAL_LINES), ("first_start", RUNNING_LINES)):
            for name, value in zip(names, values, strict=True):
                put(job, f"{stage}.{name}", value, "V", instrument="U1")
        return job

    return make


@pytest.mark.parametrize("lines", [(400, 401, 399), (402.8, 400, 397.2), (404, 399, 397)])
def test_both_stages_judge_the_same_voltages_alike(same_volts, verdict_of, lines):
    job = same_volts(*lines)
    still, running = (
        verdict_of(job, key) for key in ("electrical.unbalance", "first_start.voltage_unbalance")
    )
    assert (still.outcome, still.reading) == (running.outcome, running.reading)
    assert still.uncertainty == running.uncertainty


def test_an_unbalance_of_seven_tenths_passes_with_one_meter(same_volts, verdict_of):
    found = verdict_of(same_volts(402.8, 400, 397.2), "first_start.voltage_unbalance")
    assert found.reading.to("percent").magnitude == pytest.approx(0.7)
    assert found.outcome is Outcome.PASS


def test_three_meters_are_less_sure_than_one():
    one = three_phase.unbalance(volts(404, 399, 397))
    three = three_phase.unbalance(volts(404, 399, 397, tags=("U1", "U2", "U3")))
    assert one.quantity == three.quantity
    # Errors that are shared for nine tenths: the square root of one tenth is left.
    assert (one.u / three.u).magnitude == pytest.approx(0.1**0.5, rel=0.02)


def test_readings_without_an_instrument_share_no_error():
    assert three_phase.correlation(volts(1, 1, 1, tags=("", "", ""))) == 0


def test_the_mean_of_one_meter_is_no_surer_than_its_shared_error():
    found = three_phase.mean(volts(400, 401, 399))
    assert found.quantity == Q(400, "volt")
    assert found.u.magnitude == pytest.approx(0.7 * ((1 + 2 * 0.9) / 3) ** 0.5)


def test_the_unbalance_rests_on_all_three_and_keeps_what_is_wrong_with_them():
    lines = volts(404, 399, 397)
    lines[2] = Reading(**{**vars(lines[2]), "untrusted": "instrument U1 was out of calibration"})
    found = three_phase.unbalance(lines)
    assert found.items == ("x.v0", "x.v1", "x.v2") and "calibration" in found.untrusted


def test_a_phase_that_is_missing_leaves_no_unbalance():
    lines = [*volts(404, 399, 397)[:2], Reading(what="x.v2")]
    found = three_phase.unbalance(lines)
    assert found.quantity is None and not found.taken and "x.v2" in found.items


def test_without_an_uncertainty_of_each_none_is_claimed():
    assert three_phase.unbalance(volts(404, 399, 397, u=0)).u is None


def test_a_dead_supply_has_no_unbalance():
    assert three_phase.unbalance(volts(0, 0, 0)).problem


def test_currents_are_judged_by_the_same_rule():
    found = three_phase.unbalance(
        [Reading(what=f"x.i{a}", quantity=Q(a, "ampere"), taken=True) for a in (105, 100, 95)]
    )
    assert found.quantity.to("percent").magnitude == pytest.approx(5)


@pytest.mark.parametrize(
    ("set_to", "outcome"), [("300", Outcome.PASS), ("450", Outcome.FAIL), ("301.1", Outcome.FAIL)]
)
def test_both_stages_judge_a_soft_starter_against_the_limit_of_its_sheet(
    make_job, put, verdict_of, set_to, outcome
):
    sheet = {"motor.starter": "soft start", "motor.starter_current_limit": "300 %"}
    job = make_job(sheet, stages=STAGES)
    put(job, "electrical.starter_limit", set_to, "%")
    for phase in (1, 2, 3):
        put(job, f"first_start.peak_l{phase}", float(set_to) * 5, "A")
    put(job, "first_start.peak_by", "meter with inrush function")
    assert verdict_of(job, "electrical.starter_limit").outcome is outcome
    found = verdict_of(job, "first_start.inrush")
    assert "1500" in found.sentence  # 300 % of 500 A
    assert found.outcome is (Outcome.PASS if float(set_to) < 375 else Outcome.FAIL)
