"""Stage Electrical: winding, supply, connections, control power and starter; at, under and over
each limit.
"""

from __future__ import annotations

import numpy as np
import pytest

from startkit.facts import checklists
from startkit.procedure import payload
from startkit.procedure.registry import ordered, with_lists
from startkit.stages.electrical import STAGE
from startkit.stages.setup import STAGE as SETUP
from startkit.verdict import Outcome

TESTER = {"tag": "R1", "kind": "insulation", "accuracy": "5 % of reading", "due": "2027-06-30"}
THERMOMETER = {"tag": "T1", "kind": "temperature", "accuracy": "1 K", "due": "2027-06-30"}
METER = {"tag": "U1", "kind": "voltage", "accuracy": "0.3 % of reading", "due": "2027-06-30"}
ALL = (TESTER, THERMOMETER, METER)
CONTROL = {
    f"{item.name}{suffix}": (value, "")
    for each in checklists.shipped()
    if each.name == "control_power"
    for item in each.items
    if item.required
    for evidence in item.evidence
    for suffix, value in [
        (
            {"yes": "", "name": "_by", "photograph": "_photo"}[evidence],
            {"yes": "yes", "name": "R. Ortega", "photograph": "box.jpg"}[evidence],
        )
    ]
}
GOOD = {
    "winding_system": ("thermosetting", ""),
    "winding_kind": ("random-wound", ""),
    "thermal_class": ("F", ""),
    "under_vacuum": ("no", ""),
    "winding_temperature": ("20", "°C"),
    "insulation.1.place": ("all phases", ""),
    "insulation.1.test_voltage": ("500", "V"),
    "insulation.1.one_minute": ("200", "MΩ"),
    "insulation.1.ten_minutes": ("600", "MΩ"),
    "discharged": ("yes", ""),
    "v12": ("400", "V"),
    "v23": ("401", "V"),
    "v31": ("399", "V"),
    "frequency": ("50", "Hz"),
    "rotation": ("in the order that the motor's marking asks", ""),
    "connections.1.place": ("supply L1", ""),
    "connections.1.specified": ("40", "N·m"),
    "connections.1.applied": ("40", "N·m"),
    "control_rated": ("230", "V"),
    "control_voltage": ("231", "V"),
    "starter_seen": ("wye-delta", ""),
    **CONTROL,
}
FORM = {"winding_kind": ("form-wound", "")}
MEDIUM = {"motor.voltage": "4160 V", "motor.winding": "form-wound", "machine.drive": "open"}

STAGES = ordered(
    with_lists(
        [SETUP, STAGE], [each for each in checklists.shipped() if each.stage == "electrical"]
    )
)


@pytest.fixture
def job(make_job, put):
    """A motor and feed in order, with changes laid over; None leaves an entry out."""

    def make(changes=None, sheet=None, system="SI", instruments=ALL):
        made = make_job(sheet, system, stages=STAGES)
        for n, instrument in enumerate(instruments, 1):
            for name, value in instrument.items():
                put(made, f"setup.instruments.{n}.{name}", value)
        for what, entry in {**GOOD, **(changes or {})}.items():
            if entry is not None:
                put(
                    made,
                    f"electrical.{what}",
                    entry[0],
                    entry[1],
                    instrument=entry[2] if len(entry) > 2 else "",
                )
        return made

    return make


def shown(assess, made):
    return {f["label"]: f for f in payload.stage_part(assess(made), "electrical")["figures"]}


def test_a_sound_motor_and_feed_pass_every_verdict(job, assess):
    found = assess(job()).findings("electrical").verdicts
    # the polarisation index says nothing of a random winding
    assert {
        v.key: v.outcome for v in found if v.outcome is not Outcome.PASS and "as_taken" not in v.key
    } == {"electrical.polarisation": Outcome.NA}


def test_an_empty_stage_is_open_everywhere(make_job, assess):
    made = make_job({"motor.winding": None}, stages={"electrical": STAGES["electrical"]})
    assert {v.outcome for v in assess(made).findings("electrical").verdicts} == {Outcome.OPEN}


# --- insulation --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("megohm", "outcome"), [("19.99", Outcome.FAIL), ("20", Outcome.PASS), ("20.01", Outcome.PASS)]
)
def test_a_thermoplastic_winding_at_20_degrees_needs_four_times_the_minimum(
    job, verdict_of, megohm, outcome
):
    # K_t = 0.5^2: 20 Mohm at 20 °C is 5 Mohm at 40 °C
    made = job(
        {
            "winding_system": ("thermoplastic", ""),
            "insulation.1.one_minute": (megohm, "MΩ"),
            "insulation.1.ten_minutes": None,
        },
        sheet={"machine.drive": "open"},
    )
    assert verdict_of(made, "electrical.insulation").outcome is outcome


@pytest.mark.parametrize(("megohm", "outcome"), [("6.55", Outcome.FAIL), ("6.57", Outcome.PASS)])
def test_a_thermosetting_winding_is_corrected_by_its_own_form(job, verdict_of, megohm, outcome):
    # K_t(20 °C) = 0.7622: 6.560 Mohm is 5 Mohm at 40 °C
    made = job(
        {"insulation.1.one_minute": (megohm, "MΩ"), "insulation.1.ten_minutes": None},
        sheet={"machine.drive": "open"},
    )
    assert verdict_of(made, "electrical.insulation").outcome is outcome


@pytest.mark.parametrize(
    ("kind", "sheet", "at_40"),
    [
        ("older", MEDIUM, 5.16),
        ("form-wound", MEDIUM, 100.0),
        ("form-wound", {"machine.drive": "open"}, 5.0),
        ("random-wound", {"machine.drive": "open"}, 5.0),
    ],
)
def test_the_minimum_follows_kind_and_voltage(job, verdict_of, kind, sheet, at_40):
    for factor, outcome in ((0.999, Outcome.FAIL), (1.0, Outcome.PASS), (1.001, Outcome.PASS)):
        made = job(
            {
                "winding_kind": (kind, ""),
                "winding_temperature": ("40", "°C"),
                "insulation.1.one_minute": (f"{factor * at_40:.6f}", "MΩ"),
                "insulation.1.ten_minutes": None,
            },
            sheet=sheet,
        )
        assert verdict_of(made, "electrical.insulation").outcome is outcome


def test_the_system_must_be_chosen(job, verdict_of):
    found = verdict_of(job({"winding_system": None}), "electrical.insulation")
    assert found.outcome is Outcome.OPEN and "insulation system" in found.sentence


def test_an_insulation_system_that_is_none_of_the_choices_counts_as_not_chosen(job, verdict_of):
    found = verdict_of(job({"winding_system": ("0", "")}), "electrical.insulation")
    assert found.outcome is Outcome.OPEN and "insulation system" in found.sentence


def test_the_kind_must_be_chosen_or_stand_in_the_sheet(job, verdict_of):
    assert (
        verdict_of(job({"winding_kind": None}), "electrical.insulation").outcome is Outcome.PASS
    )  # the sheet says random-wound
    found = verdict_of(
        job({"winding_kind": None}, sheet={"motor.winding": None}), "electrical.insulation"
    )
    assert found.outcome is Outcome.OPEN and "kind of winding" in found.sentence


def test_a_hermetic_motor_below_the_general_table_defers_to_its_maker(job, verdict_of):
    low = {"insulation.1.one_minute": ("2", "MΩ"), "insulation.1.ten_minutes": None}
    found = verdict_of(job(low), "electrical.insulation")
    assert found.outcome is Outcome.UNPROVEN and "the maker's own minimum decides" in found.sentence
    assert (
        verdict_of(job(low, sheet={"machine.drive": "open"}), "electrical.insulation").outcome
        is Outcome.FAIL
    )


@pytest.mark.parametrize(("megohm", "outcome"), [("1.31", Outcome.FAIL), ("1.32", Outcome.PASS)])
def test_the_makers_minimum_in_the_sheet_decides(job, verdict_of, megohm, outcome):
    # 1 Mohm at 40 °C is 1.312 Mohm at 20 °C
    limit = {
        "limits": {"electrical.insulation": {"low": "1 MΩ", "source": "motor manual, page 12"}}
    }
    found = verdict_of(
        job(
            {"insulation.1.one_minute": (megohm, "MΩ"), "insulation.1.ten_minutes": None},
            sheet=limit,
        ),
        "electrical.insulation",
    )
    assert found.outcome is outcome and found.source == "machine sheet: motor manual, page 12"


def test_the_lowest_of_several_rows_counts(job, verdict_of):
    more = {
        "insulation.2.place": ("T2", ""),
        "insulation.2.test_voltage": ("500", "V"),
        "insulation.2.one_minute": ("3", "MΩ"),
    }
    found = verdict_of(job(more, sheet={"machine.drive": "open"}), "electrical.insulation")
    assert found.outcome is Outcome.FAIL and found.sentence.endswith(
        "T2: 3.0 MΩ at 20.0 °C, thermosetting, random-wound."
    )


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"insulation.1.one_minute": None}, "Not measured"),
        ({"winding_temperature": None}, "without the winding's temperature"),
        ({"insulation.1.one_minute": ("200", "V")}, "is not a unit of insulation"),
        ({"winding_temperature": ("20", "MΩ")}, "is not a unit of temperature"),
        ({"winding_temperature": ("5", "°C")}, "outside 10 to 85 °C"),
    ],
)
def test_a_reading_that_lacks_or_cannot_be_used_keeps_it_open(job, verdict_of, change, told):
    found = verdict_of(job(change), "electrical.insulation")
    assert found.outcome is Outcome.OPEN and told in found.sentence


@pytest.mark.parametrize("system", ["thermosetting", "thermoplastic"])
def test_the_uncertainty_at_40_degrees_agrees_with_monte_carlo(job, verdict_of, system):
    made = job(
        {
            "winding_system": (system, ""),
            "insulation.1.one_minute": ("200", "MΩ", "R1"),
            "winding_temperature": ("25", "°C", "T1"),
        }
    )
    generator, n = np.random.default_rng(2), 400_000
    r, t = 200e6 * (1 + generator.uniform(-0.05, 0.05, n)), 25 + generator.uniform(-1, 1, n)
    k = (
        np.exp(-1245 * (1 / (t + 273) - 1 / 313))
        if system == "thermosetting"
        else 0.5 ** ((40 - t) / 10)
    )
    found = verdict_of(made, "electrical.insulation")
    assert found.uncertainty.to("ohm").magnitude == pytest.approx((k * r).std(), rel=0.01)


def test_a_reading_near_the_minimum_is_unproven(job, verdict_of):
    made = job(
        {
            "insulation.1.one_minute": ("6.6", "MΩ", "R1"),
            "winding_temperature": ("20", "°C", "T1"),
            "insulation.1.ten_minutes": None,
        }
    )
    assert verdict_of(made, "electrical.insulation").outcome is Outcome.UNPROVEN


def test_a_tester_out_of_calibration_leaves_it_unproven(job, verdict_of):
    made = job(
        {"insulation.1.one_minute": ("200", "MΩ", "R1")},
        instruments=({**TESTER, "due": "2026-01-01"}, THERMOMETER, METER),
    )
    assert verdict_of(made, "electrical.insulation").outcome is Outcome.UNPROVEN


@pytest.mark.parametrize(
    ("answer", "outcome"), [("no", Outcome.PASS), ("yes", Outcome.FAIL), (None, Outcome.OPEN)]
)
def test_never_under_vacuum(job, verdict_of, answer, outcome):
    assert (
        verdict_of(
            job({"under_vacuum": (answer, "") if answer else None}), "electrical.not_under_vacuum"
        ).outcome
        is outcome
    )


def test_an_open_motor_is_not_asked_about_vacuum(job, assess):
    assert "electrical.not_under_vacuum" not in {
        v.key for v in assess(job(sheet={"machine.drive": "open"})).findings("electrical").verdicts
    }


@pytest.mark.parametrize(
    ("answer", "outcome"), [("yes", Outcome.PASS), ("no", Outcome.FAIL), (None, Outcome.OPEN)]
)
def test_the_winding_is_discharged_afterwards(job, verdict_of, answer, outcome):
    assert (
        verdict_of(
            job({"discharged": (answer, "") if answer else None}), "electrical.discharged"
        ).outcome
        is outcome
    )


def test_how_long_to_ground_the_winding_is_said(job, assess):
    assert shown(assess, job())["Ground the winding for at least"]["text"] == "40 min"
    assert (
        shown(assess, job({"insulation.1.ten_minutes": None}))["Ground the winding for at least"][
            "text"
        ]
        == "4 min"
    )


# --- polarisation index --------------------------------------------------------------------------


@pytest.mark.parametrize(("motor_class", "least"), [("A", 1.5), ("B", 2.0), ("F", 2.0), ("H", 2.0)])
def test_the_least_index_by_thermal_class(job, verdict_of, motor_class, least):
    for factor, outcome in ((0.999, Outcome.FAIL), (1.0, Outcome.PASS), (1.001, Outcome.PASS)):
        made = job(
            {
                **FORM,
                "thermal_class": (motor_class, ""),
                "insulation.1.ten_minutes": (f"{200 * least * factor}", "MΩ"),
            },
            sheet=MEDIUM,
        )
        assert verdict_of(made, "electrical.polarisation").outcome is outcome


def test_the_index_says_nothing_of_a_random_winding(job, verdict_of):
    found = verdict_of(job({"insulation.1.ten_minutes": ("210", "MΩ")}), "electrical.polarisation")
    assert (
        found.outcome is Outcome.NA
        and "random winding" in found.sentence
        and "1.05" in found.sentence
    )


@pytest.mark.parametrize(("megohm", "outcome"), [("6559", Outcome.FAIL), ("6561", Outcome.NA)])
def test_above_five_thousand_megohm_at_40_degrees_the_index_is_dropped(
    job, verdict_of, megohm, outcome
):
    # 5000 / 0.7622 = 6560 Mohm at 20 °C
    made = job(
        {
            **FORM,
            "insulation.1.one_minute": (megohm, "MΩ"),
            "insulation.1.ten_minutes": ("7000", "MΩ"),
        },
        sheet=MEDIUM,
    )
    assert verdict_of(made, "electrical.polarisation").outcome is outcome


def test_without_a_reading_after_ten_minutes_it_is_open(job, verdict_of):
    assert (
        verdict_of(
            job({**FORM, "insulation.1.ten_minutes": None}, sheet=MEDIUM), "electrical.polarisation"
        ).outcome
        is Outcome.OPEN
    )
    assert (
        verdict_of(job({"insulation.1.ten_minutes": None}), "electrical.polarisation").outcome
        is Outcome.NA
    )


def test_without_the_thermal_class_or_in_a_wrong_unit_it_is_open(job, verdict_of):
    assert (
        verdict_of(
            job({**FORM, "thermal_class": None}, sheet=MEDIUM), "electrical.polarisation"
        ).outcome
        is Outcome.OPEN
    )
    assert (
        verdict_of(
            job({**FORM, "insulation.1.ten_minutes": ("600", "A")}, sheet=MEDIUM),
            "electrical.polarisation",
        ).outcome
        is Outcome.OPEN
    )


def test_the_uncertainty_of_the_index_agrees_with_monte_carlo(job, verdict_of):
    made = job(
        {
            **FORM,
            "insulation.1.one_minute": ("200", "MΩ", "R1"),
            "insulation.1.ten_minutes": ("600", "MΩ", "R1"),
        },
        sheet=MEDIUM,
    )
    generator, n = np.random.default_rng(5), 400_000
    draws = 3 * (1 + generator.uniform(-0.05, 0.05, n)) / (1 + generator.uniform(-0.05, 0.05, n))
    assert verdict_of(made, "electrical.polarisation").uncertainty.magnitude == pytest.approx(
        draws.std(), rel=0.01
    )


# --- test voltage and dew point -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("sheet", "volts", "outcome"),
    [
        (None, "499", Outcome.FAIL),
        (None, "500", Outcome.PASS),
        (None, "501", Outcome.FAIL),
        (MEDIUM, "999", Outcome.FAIL),
        (MEDIUM, "1000", Outcome.PASS),
        (MEDIUM, "2500", Outcome.PASS),
        (MEDIUM, "2501", Outcome.FAIL),
    ],
)
def test_the_test_voltage_follows_the_rated_voltage(job, verdict_of, sheet, volts, outcome):
    assert (
        verdict_of(
            job({"insulation.1.test_voltage": (volts, "V")}, sheet=sheet), "electrical.test_voltage"
        ).outcome
        is outcome
    )


def test_a_test_voltage_that_lacks_or_has_a_wrong_unit_is_open(job, verdict_of):
    assert (
        verdict_of(job({"insulation.1.test_voltage": None}), "electrical.test_voltage").outcome
        is Outcome.OPEN
    )
    assert (
        verdict_of(
            job({"insulation.1.test_voltage": ("500", "Hz")}), "electrical.test_voltage"
        ).outcome
        is Outcome.OPEN
    )


@pytest.mark.parametrize(("winding", "outcome"), [("11.95", Outcome.FAIL), ("12.05", Outcome.PASS)])
def test_an_open_motors_winding_stands_above_the_dew_point(job, verdict_of, winding, outcome):
    # 20 °C and 60 %: dew point 12.0 °C (psychrometric tables)
    made = job(
        {
            "winding_temperature": (winding, "°C"),
            "room_temperature": ("20", "°C"),
            "room_humidity": ("60", "%"),
        },
        sheet={"machine.drive": "open"},
    )
    assert verdict_of(made, "electrical.dew_margin").outcome is outcome


@pytest.mark.parametrize(
    "change",
    [{"room_humidity": None}, {"room_humidity": ("60", "°C")}, {"room_humidity": ("140", "%")}],
)
def test_a_dew_point_without_its_readings_is_open(job, verdict_of, change):
    made = job(
        {"room_temperature": ("20", "°C"), "room_humidity": ("60", "%"), **change},
        sheet={"machine.drive": "open"},
    )
    assert verdict_of(made, "electrical.dew_margin").outcome is Outcome.OPEN


def test_the_air_at_a_hermetic_motor_is_not_asked_for(job, assess):
    assert "electrical.dew_margin" not in {
        v.key for v in assess(job()).findings("electrical").verdicts
    }


# --- supply ------------------------------------------------------------------------------------


def _lines(a, b, c, unit="V", tag=""):
    return {
        name: (str(v), unit, tag) for name, v in zip(("v12", "v23", "v31"), (a, b, c), strict=True)
    }


@pytest.mark.parametrize(
    ("lines", "outcome"),
    [
        ((404, 398, 398), Outcome.PASS),
        ((403.9, 398.05, 398.05), Outcome.PASS),
        ((404.1, 397.95, 397.95), Outcome.UNPROVEN),
        ((419.9, 390.05, 390.05), Outcome.UNPROVEN),
        ((420.1, 389.95, 389.95), Outcome.FAIL),
    ],
)
def test_voltage_unbalance_derates_above_one_percent_and_forbids_above_five(
    job, verdict_of, lines, outcome
):
    # mean 400 V: the largest deviation is 4 V
    assert verdict_of(job(_lines(*lines)), "electrical.unbalance").outcome is outcome


def test_unbalance_is_the_largest_deviation_from_the_mean_not_the_spread(job, assess):
    # 460, 467, 450 V: printed 1.96 %
    assert shown(assess, job(_lines(460, 467, 450)))["Voltage unbalance"]["text"] == "1.96 %"


@pytest.mark.parametrize(
    ("lines", "told"),
    [((416, 392, 392), "82 % of its rated power"), ((424, 388, 388), "not to be operated")],
)
def test_what_unbalance_costs_is_said(job, verdict_of, lines, told):
    assert told in verdict_of(job(_lines(*lines)), "electrical.unbalance").next_step


def test_the_uncertainty_of_the_unbalance_agrees_with_monte_carlo(job, verdict_of):
    made = job(_lines(404, 399, 397, tag="U1"))
    generator, n = np.random.default_rng(6), 400_000
    u = 0.003 / 3**0.5
    shared, own = generator.normal(0, u * 0.9**0.5, n), generator.normal(0, u * 0.1**0.5, (3, n))
    v = np.array([[404], [399], [397]]) * (1 + shared + own)
    draws = np.abs(v - v.mean(axis=0)).max(axis=0) / v.mean(axis=0) * 100
    found = verdict_of(made, "electrical.unbalance")
    assert found.uncertainty.to("percent").magnitude == pytest.approx(draws.std(), rel=0.03)


def test_three_meters_are_less_sure_of_an_unbalance_than_one(job, verdict_of):
    others = tuple({**METER, "tag": tag} for tag in ("U2", "U3"))
    one = verdict_of(job(_lines(404, 399, 397, tag="U1")), "electrical.unbalance").uncertainty
    three = {
        **_lines(404, 399, 397, tag="U1"),
        "v23": ("399", "V", "U2"),
        "v31": ("397", "V", "U3"),
    }
    assert (
        verdict_of(job(three, instruments=(*ALL, *others)), "electrical.unbalance").uncertainty
        > 2 * one
    )


@pytest.mark.parametrize("change", [{"v23": None}, {"v23": ("401", "A")}])
def test_a_line_that_lacks_or_has_a_wrong_unit_keeps_unbalance_and_voltage_open(
    job, verdict_of, change
):
    for key in ("electrical.unbalance", "electrical.voltage", "electrical.voltage_and_frequency"):
        assert verdict_of(job(change), key).outcome is Outcome.OPEN


def test_a_dead_supply_is_no_unbalance(job, verdict_of):
    assert verdict_of(job(_lines(0, 0, 0)), "electrical.unbalance").outcome is Outcome.OPEN


@pytest.mark.parametrize(
    ("volts", "outcome"),
    [
        (359.9, Outcome.FAIL),
        (360, Outcome.PASS),
        (360.1, Outcome.PASS),
        (439.9, Outcome.PASS),
        (440, Outcome.PASS),
        (440.1, Outcome.FAIL),
    ],
)
def test_voltage_at_under_and_over_ten_percent(job, verdict_of, volts, outcome):
    assert verdict_of(job(_lines(volts, volts, volts)), "electrical.voltage").outcome is outcome


@pytest.mark.parametrize(
    ("hertz", "outcome"),
    [
        ("47.49", Outcome.FAIL),
        ("47.5", Outcome.PASS),
        ("47.51", Outcome.PASS),
        ("52.5", Outcome.PASS),
        ("52.51", Outcome.FAIL),
    ],
)
def test_frequency_at_under_and_over_five_percent(job, verdict_of, hertz, outcome):
    assert verdict_of(job({"frequency": (hertz, "Hz")}), "electrical.frequency").outcome is outcome


@pytest.mark.parametrize(
    ("volts", "outcome"), [(423.9, Outcome.PASS), (424, Outcome.PASS), (424.1, Outcome.FAIL)]
)
def test_voltage_and_frequency_together_at_under_and_over_ten_percent(
    job, verdict_of, volts, outcome
):
    # frequency 4 % low leaves 6 % for the voltage, without signs
    made = job({**_lines(volts, volts, volts), "frequency": ("48", "Hz")})
    assert verdict_of(made, "electrical.voltage_and_frequency").outcome is outcome


@pytest.mark.parametrize("change", [{"frequency": None}, {"frequency": ("50", "V")}])
def test_a_frequency_that_lacks_or_has_a_wrong_unit_is_open(job, verdict_of, change):
    assert verdict_of(job(change), "electrical.frequency").outcome is Outcome.OPEN
    assert verdict_of(job(change), "electrical.voltage_and_frequency").outcome is Outcome.OPEN


def test_the_uncertainty_of_the_voltage_agrees_with_monte_carlo(job, verdict_of):
    generator, n = np.random.default_rng(8), 400_000
    u = 0.003 / 3**0.5
    draws = (
        generator.normal(0, u * 0.9**0.5, n)
        + generator.normal(0, u * 0.1**0.5, (3, n)).mean(axis=0)
    ) * 100
    assert verdict_of(job(_lines(400, 400, 400, tag="U1")), "electrical.voltage").uncertainty.to(
        "percent"
    ).magnitude == pytest.approx(draws.std(), rel=0.01)


@pytest.mark.parametrize(
    ("seen", "outcome"),
    [
        ("in the order that the motor's marking asks", Outcome.PASS),
        ("reversed", Outcome.FAIL),
        ("not checked", Outcome.OPEN),
        (None, Outcome.OPEN),
    ],
)
def test_phase_rotation_is_seen_before_the_motor_is_tried(job, verdict_of, seen, outcome):
    assert (
        verdict_of(job({"rotation": (seen, "") if seen else None}), "electrical.rotation").outcome
        is outcome
    )


# --- connections, control power, starter ----------------------------------------------------------


@pytest.mark.parametrize(
    ("applied", "outcome"),
    [
        ("35.9", Outcome.FAIL),
        ("36", Outcome.PASS),
        ("36.1", Outcome.PASS),
        ("43.9", Outcome.PASS),
        ("44", Outcome.PASS),
        ("44.1", Outcome.FAIL),
    ],
)
def test_torque_at_under_and_over_ten_percent(job, verdict_of, applied, outcome):
    assert (
        verdict_of(job({"connections.1.applied": (applied, "N·m")}), "electrical.torque").outcome
        is outcome
    )


def test_the_connection_that_is_furthest_off_counts(job, verdict_of):
    more = {
        "connections.2.place": ("motor T4", ""),
        "connections.2.specified": ("40", "N·m"),
        "connections.2.applied": ("30", "N·m"),
    }
    found = verdict_of(job(more), "electrical.torque")
    assert found.outcome is Outcome.FAIL and "motor T4" in found.sentence


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"connections.1.applied": None}, "No torque: supply L1"),
        ({"connections.1.applied": ("40", "kg")}, "is not a unit of torque"),
        (
            {
                "connections.1.place": None,
                "connections.1.specified": None,
                "connections.1.applied": None,
            },
            "No connection entered",
        ),
    ],
)
def test_a_torque_that_lacks_is_open(job, verdict_of, change, told):
    found = verdict_of(job(change), "electrical.torque")
    assert found.outcome is Outcome.OPEN and told in found.sentence


@pytest.mark.parametrize(
    ("volts", "outcome"),
    [
        ("206.9", Outcome.FAIL),
        ("207", Outcome.PASS),
        ("207.1", Outcome.PASS),
        ("253", Outcome.PASS),
        ("253.1", Outcome.FAIL),
        (None, Outcome.OPEN),
    ],
)
def test_control_voltage_at_under_and_over_ten_percent(job, verdict_of, volts, outcome):
    assert (
        verdict_of(
            job({"control_voltage": (volts, "V") if volts else None}), "electrical.control_voltage"
        ).outcome
        is outcome
    )


def test_a_control_voltage_in_a_wrong_unit_is_open(job, verdict_of):
    assert (
        verdict_of(job({"control_voltage": ("230", "A")}), "electrical.control_voltage").outcome
        is Outcome.OPEN
    )


@pytest.mark.parametrize(
    ("seen", "outcome"),
    [("wye-delta", Outcome.PASS), ("soft start", Outcome.FAIL), (None, Outcome.OPEN)],
)
def test_the_starter_is_that_of_the_sheet(job, verdict_of, seen, outcome):
    assert (
        verdict_of(
            job({"starter_seen": (seen, "") if seen else None}), "electrical.starter"
        ).outcome
        is outcome
    )


DRIVE = {"motor.starter": "variable-speed drive", "motor.drive_current_limit": "100 %"}
SOFT = {"motor.starter": "soft start", "motor.starter_current_limit": "300 %"}


@pytest.mark.parametrize(
    ("set_to", "unit", "outcome"),
    [
        ("98.9", "%", Outcome.FAIL),
        ("99", "%", Outcome.PASS),
        ("101", "%", Outcome.PASS),
        ("101.1", "%", Outcome.FAIL),
        ("100", "A", Outcome.OPEN),
    ],
)
def test_the_drives_current_limit_is_that_of_the_sheet(job, verdict_of, set_to, unit, outcome):
    made = job(
        {"starter_seen": ("variable-speed drive", ""), "starter_limit": (set_to, unit)}, sheet=DRIVE
    )
    assert verdict_of(made, "electrical.starter_limit").outcome is outcome


def test_a_current_limit_that_was_not_read_is_open(job, verdict_of):
    assert verdict_of(job(sheet=DRIVE), "electrical.starter_limit").outcome is Outcome.OPEN


@pytest.mark.parametrize(
    ("sheet", "change", "amperes"),
    [
        (None, None, 1000),
        ({"motor.starter": "across the line"}, None, 3000),
        ({"motor.starter": "autotransformer", "motor.autotransformer_tap": "65 %"}, None, 1260),
        (DRIVE, {"starter_limit": ("95", "%")}, 500),  # the sheet's limit, not the one entered
        (SOFT, {"starter_limit": ("450", "%")}, 1500),
    ],
)
def test_the_expected_starting_current_follows_the_starter(job, assess, sheet, change, amperes):
    # locked rotor 3000 A, full load 500 A; wye-delta a third, 65 % tap 0.42
    assert shown(assess, job(change, sheet=sheet))["Expected starting current"][
        "number"
    ] == pytest.approx(amperes)


def test_a_soft_starters_limit_is_judged_against_the_one_of_its_sheet(job, verdict_of):
    found = verdict_of(job({"starter_limit": ("450", "%")}, sheet=SOFT), "electrical.starter_limit")
    assert found.outcome is Outcome.FAIL and "Sheet 300" in found.sentence
    found = verdict_of(job({"starter_limit": ("300", "%")}, sheet=SOFT), "electrical.starter_limit")
    assert found.outcome is Outcome.PASS


def test_a_limit_that_the_sheet_does_not_give_proves_nothing(job, verdict_of):
    entered = job({"starter_limit": ("300", "%")}, sheet={"motor.starter": "soft start"})
    found = verdict_of(entered, "electrical.starter_limit")
    assert found.outcome is Outcome.UNPROVEN and "starter_current_limit" in found.next_step


@pytest.mark.parametrize(
    "sheet",
    [
        {"motor.locked_rotor_current": None},
        {"motor.starter": "autotransformer"},
        {"motor.starter": "soft start"},
    ],
)
def test_without_its_data_no_starting_current_is_claimed(job, assess, sheet):
    assert "Expected starting current" not in shown(assess, job(sheet=sheet))


def test_the_control_circuit_is_a_check_list(job, verdict_of):
    assert verdict_of(job(), "electrical.emergency_stop").outcome is Outcome.PASS
    assert (
        verdict_of(job({"emergency_stop": ("no", "")}), "electrical.emergency_stop").outcome
        is Outcome.FAIL
    )
    assert verdict_of(job({"wiring": None}), "electrical.wiring").outcome is Outcome.OPEN


def test_everything_is_shown_in_inch_pound_units_too(job, assess):
    text = " ".join(
        v["sentence"]
        for v in payload.stage_part(assess(job(system="I-P")), "electrical")["verdicts"]
    )
    assert "°F" in text and "°C" not in text
