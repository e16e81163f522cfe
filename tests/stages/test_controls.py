"""Stage Controls: sensors as found and as left, safeties proven by their trips; at, under and over
each limit.
"""

from __future__ import annotations

import numpy as np
import pytest

from startkit.facts.machine import Safeties
from startkit.procedure import payload
from startkit.stages.controls import STAGE
from startkit.stages.controls.fields import REFUSALS, SAFETIES
from startkit.stages.electrical import STAGE as ELECTRICAL
from startkit.stages.setup import STAGE as SETUP
from startkit.stages.water import STAGE as WATER
from startkit.verdict import Outcome

THERMOMETER = {"tag": "T1", "kind": "temperature", "accuracy": "0.3 K", "due": "2027-06-30"}
GAUGE = {"tag": "P1", "kind": "gauge pressure", "accuracy": "3 kPa", "due": "2027-06-30"}
ALL = (THERMOMETER, GAUGE)
SIDES = {
    "condenser.design_pressure": "1250 kPa",
    "condenser.relief_setting": "1250 kPa",
    "safeties.high_discharge_temperature": {"setting": "95 °C", "source": "maker's sheet 7"},
    "safeties.high_bearing_temperature": {"setting": "85 °C", "source": "maker's sheet 7"},
}


def _safety(table, n, safety, setting, direction, seen, method="condition brought about"):
    cells = {
        "safety": (safety, ""),
        "setting": setting,
        "direction": (direction, ""),
        "seen": seen,
        "method": (method, ""),
        "reset": ("by hand", ""),
        "who": ("R. Ortega", ""),
    }
    return {f"{table}.{n}.{name}": value for name, value in cells.items()}


def _interlock(n, name):
    return {
        f"interlocks.{n}.safety": (name, ""),
        f"interlocks.{n}.seen": ("yes", ""),
        f"interlocks.{n}.method": ("condition brought about", ""),
        f"interlocks.{n}.reset": ("by hand", ""),
        f"interlocks.{n}.who": ("R. Ortega", ""),
    }


GOOD = {
    "temperature_sensors.1.sensor": ("leaving chilled water", ""),
    "temperature_sensors.1.panel": ("10.1", "°C"),
    "temperature_sensors.1.reference": ("10.0", "°C", "T1"),
    "temperature_sensors.1.accuracy": ("0.4", "K"),
    "pressure_sensors.1.sensor": ("condenser", ""),
    "pressure_sensors.1.panel": ("501", "kPa gauge"),
    "pressure_sensors.1.reference": ("500", "kPa gauge", "P1"),
    "pressure_sensors.1.accuracy": ("4", "kPa"),
    **_safety(
        "pressure_safeties",
        1,
        "high condenser pressure",
        ("1100", "kPa gauge"),
        "rising",
        ("1102", "kPa gauge"),
    ),
    **_safety(
        "pressure_safeties",
        2,
        "low evaporator pressure",
        ("200", "kPa gauge"),
        "falling",
        ("198", "kPa gauge"),
    ),
    **_safety(
        "temperature_safeties",
        1,
        "low leaving chilled water",
        ("4", "°C"),
        "falling",
        ("3.8", "°C"),
    ),
    **_safety(
        "temperature_safeties",
        2,
        "high motor winding temperature",
        ("110", "°C"),
        "rising",
        ("110.5", "°C"),
        "simulated at the sensor",
    ),
    **_safety(
        "temperature_safeties",
        3,
        "high discharge temperature",
        ("95", "°C"),
        "rising",
        ("95.2", "°C"),
    ),
    **_safety(
        "temperature_safeties", 4, "high bearing temperature", ("85", "°C"), "rising", ("85", "°C")
    ),
    **_safety(
        "current_safeties",
        1,
        "motor overcurrent",
        ("108", "%"),
        "rising",
        ("108.5", "%"),
        "simulated at the sensor",
    ),
    **_interlock(1, "evaporator water flow"),
    **_interlock(2, "condenser water flow"),
    **_interlock(3, "emergency stop"),
    **{
        f"refused_{name}": ("refused, condition really missing", "")
        for name in ("vanes", "oil", "evaporator", "condenser", "timer")
    },
    "refused_by": ("R. Ortega", ""),
}


@pytest.fixture
def job(make_job, put):
    """Controls in order, with changes laid over; None leaves an entry out."""
    two = {"setup": SETUP, "controls": STAGE, "electrical": ELECTRICAL, "water": WATER}

    def make(changes=None, sheet=None, system="SI", instruments=ALL, water=None, thermal_class="F"):
        made = make_job({**SIDES, **(sheet or {})}, system, stages=two)
        put(made, "electrical.thermal_class", thermal_class)
        for what, value in (water or {}).items():
            put(made, f"water.{what}", *value)
        for n, instrument in enumerate(instruments, 1):
            for name, value in instrument.items():
                put(made, f"setup.instruments.{n}.{name}", value)
        for what, entry in {**GOOD, **(changes or {})}.items():
            if entry is not None:
                put(
                    made,
                    f"controls.{what}",
                    entry[0],
                    entry[1],
                    instrument=entry[2] if len(entry) > 2 else "",
                )
        return made

    return make


# What a machine has besides, like the one sensor of each kind in `GOOD`.
OTHERS = {
    f"{table}.{n}.{column}": GOOD[f"{table}.1.{column}"]
    for table, count in (("temperature_sensors", 4), ("pressure_sensors", 2))
    for n in range(2, count + 1)
    for column in ("sensor", "panel", "reference", "accuracy")
}


def test_controls_in_order_pass_every_verdict(job, assess):
    found = assess(job(OTHERS)).findings("controls").verdicts
    assert {v.key: v.sentence for v in found if v.outcome is not Outcome.PASS} == {}


def test_an_empty_stage_is_open_everywhere(make_job, assess):
    found = assess(make_job(stages={"controls": STAGE})).findings("controls").verdicts
    assert {v.outcome for v in found} == {Outcome.OPEN}


# --- sensors -----------------------------------------------------------------------------------

SENSOR = "controls.temperature_sensors.1"


@pytest.mark.parametrize(
    ("panel", "outcome"),
    [
        ("9.49", Outcome.FAIL),
        ("9.5", Outcome.PASS),
        ("9.51", Outcome.PASS),
        ("10.49", Outcome.PASS),
        ("10.5", Outcome.PASS),
        ("10.51", Outcome.FAIL),
    ],
)
def test_the_tolerance_is_both_accuracies_combined(job, verdict_of, panel, outcome):
    # 0.4 K and 0.3 K: 0.5 K
    assert (
        verdict_of(job({"temperature_sensors.1.panel": (panel, "°C")}), SENSOR).outcome is outcome
    )


@pytest.mark.parametrize(
    ("panel", "outcome"),
    [
        ("494.9", Outcome.FAIL),
        ("495", Outcome.PASS),
        ("505", Outcome.PASS),
        ("505.1", Outcome.FAIL),
    ],
)
def test_a_pressure_sensor_likewise(job, verdict_of, panel, outcome):
    # 4 kPa and 3 kPa: 5 kPa
    assert (
        verdict_of(
            job({"pressure_sensors.1.panel": (panel, "kPa gauge")}), "controls.pressure_sensors.1"
        ).outcome
        is outcome
    )


def test_the_tolerance_agrees_with_monte_carlo(job, verdict_of):
    generator, n = np.random.default_rng(11), 400_000
    draws = generator.uniform(-0.4, 0.4, n) - generator.uniform(-0.3, 0.3, n)
    found = verdict_of(job(), SENSOR)
    # half-widths of rectangular errors: the standard deviation is the combined half-width over the
    # root of three
    assert found.high.to("delta_degC").magnitude / 3**0.5 == pytest.approx(draws.std(), rel=0.01)


@pytest.mark.parametrize("missing", ["panel", "reference", "accuracy"])
def test_a_sensor_that_lacks_a_reading_or_has_a_wrong_unit_is_open(job, verdict_of, missing):
    assert (
        verdict_of(job({f"temperature_sensors.1.{missing}": None}), SENSOR).outcome is Outcome.OPEN
    )
    found = verdict_of(job({f"temperature_sensors.1.{missing}": ("5", "kPa")}), SENSOR)
    assert found.outcome is Outcome.OPEN and "is not a unit" in found.sentence


def test_without_a_reference_instrument_nothing_is_proven(job, verdict_of):
    found = verdict_of(job({"temperature_sensors.1.reference": ("10.0", "°C")}), SENSOR)
    assert found.outcome is Outcome.UNPROVEN and "No reference instrument" in found.sentence


def test_a_reference_out_of_calibration_leaves_the_sensor_unproven(job, verdict_of):
    assert (
        verdict_of(job(instruments=({**THERMOMETER, "due": "2026-01-01"}, GAUGE)), SENSOR).outcome
        is Outcome.UNPROVEN
    )


def test_a_reference_hardly_better_than_the_sensor_is_said(job, verdict_of):
    assert "1.3 times as good as the sensor" in verdict_of(job(), SENSOR).sentence


OFF = {"temperature_sensors.1.panel": ("11.2", "°C")}


def test_a_sensor_that_is_off_fails_as_found(job, verdict_of):
    found = verdict_of(job(OFF), SENSOR)
    assert found.outcome is Outcome.FAIL and "Set an offset" in found.next_step


def test_an_offset_without_a_reading_as_left_is_open(job, verdict_of):
    found = verdict_of(job({**OFF, "temperature_sensors.1.offset": ("-1.2", "K")}), SENSOR)
    assert found.outcome is Outcome.OPEN and "nothing was read afterwards" in found.sentence


LEFT = {
    **OFF,
    "temperature_sensors.1.offset": ("-1.2", "K"),
    "temperature_sensors.1.left_reference": ("12.0", "°C", "T1"),
}


@pytest.mark.parametrize(
    ("left", "outcome"), [("12.5", Outcome.PASS), ("12.51", Outcome.FAIL), ("11.49", Outcome.FAIL)]
)
def test_after_an_offset_the_reading_as_left_decides(job, verdict_of, left, outcome):
    found = verdict_of(job({**LEFT, "temperature_sensors.1.left_panel": (left, "°C")}), SENSOR)
    assert found.outcome is outcome and "As found 1.20 K, offset −1.20 K" in found.sentence


def test_half_a_reading_as_left_is_open(job, verdict_of):
    assert verdict_of(job(LEFT), SENSOR).sentence == "Missing: one of the two readings as left."


def test_an_offset_of_the_wrong_sign_is_noticed(job, verdict_of):
    found = verdict_of(
        job(
            {
                **LEFT,
                "temperature_sensors.1.offset": ("1.2", "K"),
                "temperature_sensors.1.left_panel": ("12.1", "°C"),
            }
        ),
        SENSOR,
    )
    assert "check its sign" in found.sentence


def test_a_large_offset_is_remarked(job, verdict_of):
    large = {
        **LEFT,
        "temperature_sensors.1.panel": ("11.3", "°C"),
        "temperature_sensors.1.offset": ("-1.3", "K"),
        "temperature_sensors.1.left_panel": ("12.0", "°C"),
    }
    assert "more than three times" in verdict_of(job(large), SENSOR).sentence
    assert (
        "more than three times"
        not in verdict_of(
            job({**LEFT, "temperature_sensors.1.left_panel": ("12.0", "°C")}), SENSOR
        ).sentence
    )


def test_every_sensor_is_a_line_of_the_table(job, assess):
    table = next(
        t
        for t in payload.stage_part(
            assess(job({**LEFT, "temperature_sensors.1.left_panel": ("12.1", "°C")})), "controls"
        )["tables"]
        if t["title"].startswith("Temperature")
    )
    assert table["rows"] == [
        ["leaving chilled water", "1.20", "0.50", "2.40", "−1.20", "0.10", "0.20"]
    ]


def test_flow_and_current_sensors_are_judged_where_there_are_some(job, assess, verdict_of):
    assert not any(
        v.key.startswith("controls.flow") for v in assess(job()).findings("controls").verdicts
    )
    row = {
        "flow_sensors.1.sensor": ("chilled water", ""),
        "flow_sensors.1.panel": ("74", "L/s"),
        "flow_sensors.1.reference": ("75", "L/s"),
        "flow_sensors.1.accuracy": ("1.5", "L/s"),
    }
    assert (
        verdict_of(job(row), "controls.flow_sensors.1").outcome is Outcome.UNPROVEN
    )  # no reference instrument


# --- safeties ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("direction", "seen", "outcome"),
    [
        ("falling", "2.49", Outcome.FAIL),
        ("falling", "2.5", Outcome.PASS),
        ("falling", "5.5", Outcome.PASS),
        ("falling", "5.51", Outcome.FAIL),
        ("rising", "5.51", Outcome.FAIL),
        ("rising", "5.5", Outcome.PASS),
        ("rising", "2.5", Outcome.PASS),
        ("rising", "2.49", Outcome.FAIL),
    ],
)
def test_a_temperature_trip_at_under_and_over_its_tolerance(
    job, verdict_of, direction, seen, outcome
):
    made = job(
        {
            "temperature_safeties.1.safety": ("other", ""),
            "temperature_safeties.1.direction": (direction, ""),
            "temperature_safeties.1.seen": (seen, "°C"),
        }
    )
    assert verdict_of(made, "controls.temperature_safeties.1").outcome is outcome


def test_a_trip_that_comes_late_counts_in_the_direction_of_the_trip(job, verdict_of):
    late = verdict_of(
        job({"temperature_safeties.1.seen": ("2", "°C")}), "controls.temperature_safeties.1"
    )
    assert late.reading.to("delta_degC").magnitude == pytest.approx(
        2.0
    ) and late.sentence.startswith("2.00 K: above 1.50 K")


@pytest.mark.parametrize(
    ("seen", "outcome"),
    [
        ("1163.9", Outcome.FAIL),
        ("1164", Outcome.PASS),
        ("1236", Outcome.PASS),
        ("1236.1", Outcome.FAIL),
    ],
)
def test_a_pressure_trip_at_under_and_over_three_percent_of_the_absolute_setting(
    job, verdict_of, seen, outcome
):
    made = job(
        {
            "pressure_safeties.1.setting": ("1200", "kPa abs"),
            "pressure_safeties.1.seen": (seen, "kPa abs"),
        }
    )
    assert verdict_of(made, "controls.pressure_safeties.1").outcome is outcome


@pytest.mark.parametrize(
    ("seen", "outcome"),
    [
        ("104.9", Outcome.FAIL),
        ("105", Outcome.PASS),
        ("111", Outcome.PASS),
        ("111.1", Outcome.FAIL),
    ],
)
def test_a_current_trip_at_under_and_over_three_percent(job, verdict_of, seen, outcome):
    assert (
        verdict_of(
            job({"current_safeties.1.seen": (seen, "%")}), "controls.current_safeties.1"
        ).outcome
        is outcome
    )


@pytest.mark.parametrize(
    ("setting", "outcome"),
    [
        ("106.9", Outcome.FAIL),
        ("107", Outcome.PASS),
        ("109", Outcome.PASS),
        ("109.1", Outcome.FAIL),
        (None, Outcome.OPEN),
    ],
)
def test_the_overcurrent_setting_is_that_of_the_sheet(job, verdict_of, setting, outcome):
    assert (
        verdict_of(
            job({"current_safeties.1.setting": (setting, "%") if setting else None}),
            "controls.overcurrent_setting",
        ).outcome
        is outcome
    )


def test_an_overcurrent_setting_in_a_wrong_unit_is_open(job, verdict_of):
    assert (
        verdict_of(
            job({"current_safeties.1.setting": ("500", "A")}), "controls.overcurrent_setting"
        ).outcome
        is Outcome.OPEN
    )


def test_a_trip_in_a_wrong_unit_is_open(job, verdict_of):
    assert (
        verdict_of(
            job({"pressure_safeties.1.seen": ("1102", "°C")}), "controls.pressure_safeties.1"
        ).outcome
        is Outcome.OPEN
    )


UNSEEN = {"pressure_safeties.1.seen": None, "pressure_safeties.1.who": None}


def test_none_counts_as_proven_without_its_trip_seen(job, verdict_of):
    found = verdict_of(job(UNSEEN), "controls.pressure_safeties.1")
    assert found.outcome is Outcome.OPEN and found.sentence == "Its trip was not seen."


def test_a_reason_needs_a_name(job, verdict_of):
    reason = {
        **UNSEEN,
        "pressure_safeties.1.reason": ("relief set too close, tested at the maker's bench", ""),
    }
    assert verdict_of(job(reason), "controls.pressure_safeties.1").outcome is Outcome.OPEN
    found = verdict_of(
        job({**reason, "pressure_safeties.1.who": ("R. Ortega", "")}),
        "controls.pressure_safeties.1",
    )
    assert (
        found.outcome is Outcome.WAIVED
        and "by R. Ortega" in found.sentence
        and "bench" in found.sentence
    )


@pytest.mark.parametrize(
    ("column", "told"),
    [
        ("setting", "the setting"),
        ("direction", "rising or falling"),
        ("method", "how it was proven"),
        ("reset", "how it resets"),
        ("who", "by whom"),
    ],
)
def test_a_trip_whose_circumstances_are_not_told_is_open(job, verdict_of, column, told):
    found = verdict_of(job({f"pressure_safeties.1.{column}": None}), "controls.pressure_safeties.1")
    assert found.outcome is Outcome.OPEN and told in found.sentence


def test_what_was_only_forced_is_unproven(job, verdict_of):
    found = verdict_of(
        job({"pressure_safeties.1.method": ("forced in the controls", "")}),
        "controls.pressure_safeties.1",
    )
    assert (
        found.outcome is Outcome.UNPROVEN and "sensor and wiring were not proven" in found.sentence
    )


def test_a_forced_trip_that_is_off_fails_all_the_same(job, verdict_of):
    made = job(
        {
            "pressure_safeties.1.method": ("forced in the controls", ""),
            "pressure_safeties.1.seen": ("1500", "kPa gauge"),
        }
    )
    assert verdict_of(made, "controls.pressure_safeties.1").outcome is Outcome.FAIL


def test_a_trip_read_with_a_poor_gauge_near_its_tolerance_is_unproven(job, verdict_of):
    made = job(
        {
            "pressure_safeties.1.setting": ("1200", "kPa abs"),
            "pressure_safeties.1.seen": ("1235", "kPa abs", "P1"),
        }
    )
    assert verdict_of(made, "controls.pressure_safeties.1").outcome is Outcome.UNPROVEN


def test_the_uncertainty_of_a_trip_agrees_with_monte_carlo(job, verdict_of):
    found = verdict_of(
        job(
            {
                "pressure_safeties.1.setting": ("1200", "kPa abs"),
                "pressure_safeties.1.seen": ("1210", "kPa abs", "P1"),
            }
        ),
        "controls.pressure_safeties.1",
    )
    draws = (1210 + np.random.default_rng(12).uniform(-3, 3, 400_000)) / 1200 * 100
    assert found.uncertainty.to("percent").magnitude == pytest.approx(draws.std(), rel=0.01)


# --- interlocks and completeness ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("seen", "outcome"), [("yes", Outcome.PASS), ("no", Outcome.FAIL), (None, Outcome.OPEN)]
)
def test_an_interlock_is_seen_to_act(job, verdict_of, seen, outcome):
    assert (
        verdict_of(
            job({"interlocks.3.seen": (seen, "") if seen else None}), "controls.interlocks.3"
        ).outcome
        is outcome
    )


def test_an_interlock_that_was_not_tried_needs_name_and_reason(job, verdict_of):
    made = job({"interlocks.3.seen": None, "interlocks.3.reason": ("circuit not ready", "")})
    assert verdict_of(made, "controls.interlocks.3").outcome is Outcome.WAIVED


def test_a_forced_interlock_is_unproven(job, verdict_of):
    assert (
        verdict_of(
            job({"interlocks.1.method": ("forced in the controls", "")}), "controls.interlocks.1"
        ).outcome
        is Outcome.UNPROVEN
    )


def test_a_safety_that_every_machine_has_is_missed(job, verdict_of):
    gone = {what: None for what in GOOD if what.startswith("interlocks.3")}
    found = verdict_of(job(gone), "controls.listed")
    assert found.outcome is Outcome.OPEN and found.sentence == "Not listed: emergency stop."


def test_one_of_two_forms_of_a_safety_is_enough(job, verdict_of):
    other = {
        "pressure_safeties.2.safety": ("other", ""),
        "pressure_safeties.2.which": ("economiser pressure", ""),
    }
    assert (
        "low evaporator pressure or low evaporator refrigerant temperature"
        in verdict_of(job(other), "controls.listed").sentence
    )
    other["temperature_safeties.4.safety"] = ("low evaporator refrigerant temperature", "")
    told = verdict_of(job(other), "controls.listed").sentence
    assert told.startswith("Not listed: high oil temperature or high bearing temperature")
    assert "low evaporator pressure or" not in told


def test_another_safety_is_called_by_its_own_name(job, verdict_of):
    found = verdict_of(
        job(
            {
                "pressure_safeties.2.safety": ("other", ""),
                "pressure_safeties.2.which": ("economiser pressure", ""),
            }
        ),
        "controls.pressure_safeties.2",
    )
    assert found.title == "Trip: economiser pressure"


def test_controls_are_due_before_the_shaft_turns_and_may_be_worked_at_any_time(job, assess):
    found = assess(job({"interlocks.3.seen": None}))
    assert "controls.interlocks.3" in {v.key for v in found.hold("turn_shaft").in_the_way}
    assert "controls.interlocks.3" not in {v.key for v in found.hold("oil_pump").needed}
    assert found.early == {}


@pytest.mark.parametrize(
    ("factor", "trip", "outcome"),
    [
        (1.0, "115", Outcome.PASS),
        (1.0, "116", Outcome.UNPROVEN),
        (1.15, "125", Outcome.PASS),
        (1.15, "126", Outcome.UNPROVEN),
        (None, "126", Outcome.PASS),
    ],
)
def test_a_setting_that_the_service_factor_does_not_allow_is_unproven_though_the_sheet_says_so(
    job, verdict_of, factor, trip, outcome
):
    sheet = {"motor.service_factor": factor, "motor.overcurrent_trip": f"{trip} %"}
    entered = job({"current_safeties.1.setting": (trip, "%")}, sheet=sheet)
    found = verdict_of(entered, "controls.overcurrent_setting")
    assert found.outcome is outcome
    assert (outcome is Outcome.PASS) is ("service factor" not in found.sentence)


def test_a_reference_worse_than_the_sensor_proves_nothing(job, verdict_of):
    rough = {**THERMOMETER, "accuracy": "2 K"}
    found = verdict_of(job(instruments=(rough, GAUGE)), "controls.temperature_sensors.1")
    assert found.outcome is Outcome.UNPROVEN


def test_a_sensor_rests_on_what_was_read(job, verdict_of):
    found = verdict_of(job(), "controls.temperature_sensors.1")
    assert found.rests_on[:2] == (
        "controls.temperature_sensors.1.panel",
        "controls.temperature_sensors.1.reference",
    )


# --- settings against physics and the sheet -------------------------------------------------------


@pytest.mark.parametrize(
    ("setting", "outcome"),
    [
        ("1125", Outcome.PASS),  # 90 % of 1250 kPa
        ("1125.5", Outcome.FAIL),
        ("1900", Outcome.FAIL),
    ],
)
def test_the_high_pressure_trip_leaves_room_below_the_relief_setting(
    job, verdict_of, setting, outcome
):
    made = job({"pressure_safeties.1.setting": (setting, "kPa gauge")})
    assert verdict_of(made, "controls.high_pressure_setting_1").outcome is outcome


@pytest.mark.parametrize("lower", ["relief_setting", "design_pressure"])
def test_the_lower_of_relief_setting_and_design_pressure_counts(job, verdict_of, lower):
    made = job(sheet={f"condenser.{lower}": "1150 kPa"})
    assert verdict_of(made, "controls.high_pressure_setting_1").outcome is Outcome.FAIL


def test_a_sheet_without_relief_setting_leaves_the_high_pressure_trip_unproven(job, verdict_of):
    made = job(sheet={"condenser.design_pressure": None, "condenser.relief_setting": None})
    assert verdict_of(made, "controls.high_pressure_setting_1").outcome is Outcome.UNPROVEN


@pytest.mark.parametrize(
    ("setting", "outcome"),
    # R-134a saturates at 292.8 kPa abs at 0 °C (CoolProp); the standard barometer is 101.325 kPa.
    [("191.0", Outcome.FAIL), ("192.0", Outcome.PASS)],
)
def test_the_low_pressure_trip_saturates_above_the_freezing_point(
    job, verdict_of, setting, outcome
):
    made = job({"pressure_safeties.2.setting": (setting, "kPa gauge")})
    assert verdict_of(made, "controls.low_pressure_setting_2").outcome is outcome


@pytest.mark.parametrize(
    ("setting", "outcome"),
    [("1.9", Outcome.FAIL), ("2.0", Outcome.PASS), ("-3", Outcome.FAIL)],
)
def test_the_low_water_trip_is_above_the_freezing_point(job, verdict_of, setting, outcome):
    made = job({"temperature_safeties.1.setting": (setting, "°C")})
    assert verdict_of(made, "controls.low_water_setting_1").outcome is outcome


@pytest.mark.parametrize(
    ("setting", "outcome"),
    [("-0.05", Outcome.FAIL), ("0.05", Outcome.PASS), ("-3", Outcome.FAIL)],
)
def test_the_low_refrigerant_trip_is_above_the_freezing_point(job, verdict_of, setting, outcome):
    made = job(
        {
            "temperature_safeties.1.safety": ("low evaporator refrigerant temperature", ""),
            "temperature_safeties.1.setting": (setting, "°C"),
        }
    )
    assert verdict_of(made, "controls.low_refrigerant_setting_1").outcome is outcome


GLYCOL = {
    "evaporator_fluid": ("propylene glycol", ""),
    "evaporator_share": ("25", "%"),
    "evaporator_basis": ("mass", ""),
}


@pytest.mark.parametrize(
    ("setting", "outcome"),
    # 25 % propylene glycol by mass freezes at about -10 °C (data set of startkit.science.water).
    [("-3", Outcome.PASS), ("-9.5", Outcome.FAIL)],
)
def test_glycol_as_measured_lowers_the_freezing_point(job, verdict_of, setting, outcome):
    made = job({"temperature_safeties.1.setting": (setting, "°C")}, water=GLYCOL)
    found = verdict_of(made, "controls.low_water_setting_1")
    assert found.outcome is outcome
    assert "water.evaporator_share" in found.rests_on


def test_water_where_the_sheet_has_glycol_freezes_at_its_own_point(job, verdict_of):
    sheet = {
        "evaporator.fluid": "propylene glycol",
        "evaporator.glycol_mass_fraction": "25 %",
    }
    change = {"temperature_safeties.1.setting": ("-3", "°C")}
    assert verdict_of(job(change, sheet), "controls.low_water_setting_1").outcome is Outcome.PASS
    flows = {"evaporator_fluid": ("water", "")}
    found = verdict_of(job(change, sheet, water=flows), "controls.low_water_setting_1")
    assert found.outcome is Outcome.FAIL


@pytest.mark.parametrize(
    ("motor_class", "setting", "outcome"),
    [
        ("B", "130", Outcome.PASS),
        ("B", "131", Outcome.FAIL),
        ("F", "155", Outcome.PASS),
        ("F", "155.05", Outcome.FAIL),
        ("F", "156", Outcome.FAIL),
        ("", "110", Outcome.UNPROVEN),
        ("", "181", Outcome.FAIL),
    ],
)
def test_the_winding_trip_is_within_the_class_of_the_insulation(
    job, verdict_of, motor_class, setting, outcome
):
    made = job({"temperature_safeties.2.setting": (setting, "°C")}, thermal_class=motor_class)
    assert verdict_of(made, "controls.winding_setting_2").outcome is outcome


@pytest.mark.parametrize(("held", "outcome"), [("106 %", Outcome.PASS), ("106.1 %", Outcome.FAIL)])
def test_the_overcurrent_trip_is_above_the_drives_current_limit(job, verdict_of, held, outcome):
    sheet = {"motor.starter": "variable-speed drive", "motor.drive_current_limit": held}
    found = verdict_of(job(sheet=sheet), "controls.overcurrent_above_limit_1")
    assert found.outcome is outcome


@pytest.mark.parametrize(
    ("row", "direction"),
    [
        ("pressure_safeties.1", "falling"),
        ("pressure_safeties.2", "rising"),
        ("temperature_safeties.1", "rising"),
        ("temperature_safeties.2", "falling"),
        ("current_safeties.1", "falling"),
    ],
)
def test_a_trip_in_the_wrong_direction_fails(job, verdict_of, row, direction):
    found = verdict_of(job({f"{row}.direction": (direction, "")}), f"controls.{row}")
    assert found.outcome is Outcome.FAIL and "must trip" in found.sentence


@pytest.mark.parametrize("row", ["pressure_safeties.1", "current_safeties.1", "interlocks.3"])
def test_what_a_person_must_reset_may_not_reset_by_itself(job, verdict_of, row):
    found = verdict_of(job({f"{row}.reset": ("by itself", "")}), f"controls.{row}")
    assert found.outcome is Outcome.FAIL and "reset" in found.sentence


def test_a_flow_switch_may_reset_by_itself(job, verdict_of):
    made = job({"interlocks.1.reset": ("by itself", "")})
    assert verdict_of(made, "controls.interlocks.1").outcome is Outcome.PASS


def test_the_record_says_that_a_simulated_trip_did_not_prove_the_sensor(job, verdict_of):
    def told(row):
        return "sensor itself was not proven" in verdict_of(job(), f"controls.{row}").sentence

    assert told("current_safeties.1")  # simulated at the sensor
    assert not told("pressure_safeties.1")  # brought about


SHEET = {
    "safeties": {
        "high_condenser_pressure": {"setting": "1100 kPa", "source": "manual, page 3"},
        "low_leaving_chilled_water": {
            "setting": "4 °C",
            "reset": "by hand",
            "source": "manual, page 3",
        },
        "current_unbalance": {"setting": "20 %", "source": "manual, page 3"},
    }
}


@pytest.mark.parametrize(
    ("row", "setting", "unit", "outcome"),
    [
        ("pressure_safeties.1", "1100", "kPa gauge", Outcome.PASS),
        ("pressure_safeties.1", "1080", "kPa gauge", Outcome.FAIL),
        # 1 % of 1201.325 kPa abs is 12.01 kPa; the standard barometer is 101.325 kPa.
        ("pressure_safeties.1", "1087.9", "kPa gauge", Outcome.FAIL),
        ("pressure_safeties.1", "1088.1", "kPa gauge", Outcome.PASS),
        ("pressure_safeties.1", "1111.9", "kPa gauge", Outcome.PASS),
        ("pressure_safeties.1", "1112.1", "kPa gauge", Outcome.FAIL),
        ("temperature_safeties.1", "3.48", "°C", Outcome.FAIL),
        ("temperature_safeties.1", "3.52", "°C", Outcome.PASS),
        ("temperature_safeties.1", "4.48", "°C", Outcome.PASS),
        ("temperature_safeties.1", "4.5", "°C", Outcome.PASS),
        ("temperature_safeties.1", "4.52", "°C", Outcome.FAIL),
        ("temperature_safeties.1", "4.6", "°C", Outcome.FAIL),
        ("current_safeties.2", "18.95", "%", Outcome.FAIL),
        ("current_safeties.2", "19.05", "%", Outcome.PASS),
        ("current_safeties.2", "20.95", "%", Outcome.PASS),
        ("current_safeties.2", "21.05", "%", Outcome.FAIL),
    ],
)
def test_a_setting_is_that_of_the_sheet(job, verdict_of, row, setting, unit, outcome):
    changes = {
        "current_safeties.2.safety": ("current unbalance", ""),
        f"{row}.setting": (setting, unit),
    }
    made = job(changes, sheet=SHEET)
    found = verdict_of(made, f"controls.{row}_setting")
    assert found.outcome is outcome and "maker's figure" in found.source


def test_a_sheet_without_the_setting_asks_for_nothing_where_physics_bounds_it(job, assess):
    keys = {v.key for v in assess(job()).findings("controls").verdicts}
    assert "controls.pressure_safeties.1_setting" not in keys


def test_a_setting_that_neither_sheet_nor_physics_bounds_is_unproven(job, verdict_of):
    made = job(sheet={"safeties.high_discharge_temperature": None})
    found = verdict_of(made, "controls.temperature_safeties.3_setting")
    assert found.outcome is Outcome.UNPROVEN and "[safeties]" in found.next_step


def test_a_reset_by_hand_that_the_sheet_asks_for_is_kept(job, verdict_of):
    change = {"temperature_safeties.1.reset": ("by itself", "")}
    assert verdict_of(job(change), "controls.temperature_safeties.1").outcome is Outcome.PASS
    found = verdict_of(job(change, sheet=SHEET), "controls.temperature_safeties.1")
    assert found.outcome is Outcome.FAIL


def test_every_safety_of_the_sheet_can_be_chosen():
    offered = {choice.code for _, _, choices, _ in SAFETIES.values() for choice in choices}
    assert set(Safeties.model_fields) <= offered


# --- starts refused ------------------------------------------------------------------------------


@pytest.mark.parametrize("name", REFUSALS)
def test_a_start_that_was_not_refused_fails(job, verdict_of, name):
    found = verdict_of(job({name: ("not refused", "")}), f"controls.{name}")
    assert found.outcome is Outcome.FAIL


@pytest.mark.parametrize("name", REFUSALS)
def test_a_refusal_counts_only_with_the_condition_really_missing(job, verdict_of, name):
    found = verdict_of(job({name: ("refused, condition simulated", "")}), f"controls.{name}")
    # Before the first run no timer runs by itself.
    timer = name == "refused_timer"
    assert found.outcome is (Outcome.PASS if timer else Outcome.UNPROVEN)
    assert "simulated" in found.sentence


@pytest.mark.parametrize("lacking", ["refused_oil", "refused_by"])
def test_a_refusal_that_was_not_tried_or_has_no_name_is_open(job, verdict_of, lacking):
    assert verdict_of(job({lacking: None}), "controls.refused_oil").outcome is Outcome.OPEN


def test_a_sheet_without_timers_asks_for_no_timer(job, assess):
    sheet = {"motor.start_to_start": None, "motor.stop_to_start": None}
    keys = {v.key for v in assess(job(sheet=sheet)).findings("controls").verdicts}
    assert "controls.refused_timer" not in keys and "controls.refused_oil" in keys


def test_the_shaft_waits_for_the_starts_that_must_be_refused(job, assess):
    needed = {v.key for v in assess(job()).hold("turn_shaft").needed}
    assert {f"controls.{name}" for name in REFUSALS} <= needed


def test_the_list_counts_what_was_seen_apart_from_what_was_simulated(job, verdict_of):
    told = verdict_of(job(), "controls.listed").sentence
    assert "8 seen to act" in told and "2 simulated at the sensor" in told


def test_sensors_that_every_machine_has_are_all_compared(job, verdict_of):
    found = verdict_of(job(), "controls.temperature_sensors")
    assert found.outcome is Outcome.UNPROVEN and "entering and leaving" in found.sentence


def test_a_safety_listed_twice_is_another_one(job, verdict_of):
    row = {
        f"interlocks.9.{column}": value
        for column, value in (
            ("safety", ("emergency stop", "")),
            ("seen", ("yes", "")),
            ("method", ("condition brought about", "")),
            ("reset", ("by hand", "")),
            ("who", ("A. Tester", "")),
        )
    }
    found = verdict_of(job(row), "controls.listed_twice")
    assert found.outcome is Outcome.UNPROVEN and "emergency stop" in found.sentence
    assert verdict_of(job(), "controls.listed").outcome is Outcome.PASS


def test_every_safety_of_the_sheet_is_listed(job, verdict_of):
    trip = {"setting": "20 %", "source": "maker's manual"}
    found = verdict_of(job(sheet={"safeties.current_unbalance": trip}), "controls.listed")
    assert found.outcome is Outcome.OPEN and "current unbalance" in found.sentence
