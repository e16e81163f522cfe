"""Stage Setup: the machine against its papers, people, instruments, barometer; at, under and over
each limit.
"""

from __future__ import annotations

import pytest

from startkit.procedure import payload
from startkit.stages.setup import STAGE
from startkit.verdict import Outcome

GOOD = {
    "people.1.name": ("R. Ortega", ""),
    "people.1.role": ("technician", ""),
    "people.2.name": ("B. Jansen", ""),
    "people.2.role": ("owner's witness", ""),
    "instruments.1.tag": ("B1", ""),
    "instruments.1.kind": ("barometer", ""),
    "instruments.1.accuracy": ("0.1 kPa", ""),
    "instruments.1.due": ("2027-06-30", ""),
    "instruments.1.serial": ("4711", ""),
    "barometer": ("101", "kPa", "B1"),
    "nameplate_serial": ("0001", ""),
    "nameplate_refrigerant": ("HFC-134a", ""),
    "nameplate_voltage": ("400", "V"),
    "nameplate_current": ("500", "A"),
}


@pytest.fixture
def job(make_job, put):
    """A machine that agrees with its papers, with changes laid over; None leaves an entry out."""

    def make(changes=None, sheet=None, system="SI"):
        made = make_job(sheet, system, stages={"setup": STAGE})
        for what, entry in {**GOOD, **(changes or {})}.items():
            if entry is not None:
                put(
                    made,
                    f"setup.{what}",
                    entry[0],
                    entry[1],
                    instrument=entry[2] if len(entry) > 2 else "",
                )
        return made

    return make


def test_a_machine_that_agrees_with_its_papers_passes_every_verdict(job, assess):
    found = assess(job()).findings("setup").verdicts
    assert {v.key: v.sentence for v in found if v.outcome is not Outcome.PASS} == {}


def test_an_empty_stage_is_open_everywhere(make_job, assess):
    assert {
        v.outcome for v in assess(make_job(stages={"setup": STAGE})).findings("setup").verdicts
    } == {Outcome.OPEN}


# --- nameplate and order -----------------------------------------------------------------------

BAND = [
    ("nameplate_voltage", "V", 400, 1),
    ("nameplate_current", "A", 500, 1),
    ("nameplate_frequency", "Hz", 50, 0.5),
    ("nameplate_charge", "kg", 500, 2),
    ("order_capacity", "kW", 1760, 1),
    ("order_refrigerant_charge", "kg", 500, 2),
    ("order_voltage", "V", 400, 1),
]


@pytest.mark.parametrize(("name", "unit", "due", "percent"), BAND)
def test_a_figure_at_under_and_over_its_band(job, verdict_of, name, unit, due, percent):
    for factor, outcome in (
        (1, Outcome.PASS),
        (-1, Outcome.PASS),
        (0.999, Outcome.PASS),
        (-0.999, Outcome.PASS),
        (1.001, Outcome.FAIL),
        (-1.001, Outcome.FAIL),
    ):
        value = due * (1 + factor * percent / 100)
        found = verdict_of(job({name: (f"{value:.9g}", unit)}), f"setup.{name}")
        assert found.outcome is outcome, (name, factor, found.sentence)


@pytest.mark.parametrize("name", [row[0] for row in BAND])
def test_a_figure_in_a_wrong_unit_is_open(job, verdict_of, name):
    assert verdict_of(job({name: ("5", "°C")}), f"setup.{name}").outcome is Outcome.OPEN


@pytest.mark.parametrize("name", ["nameplate_voltage", "nameplate_current"])
def test_the_motors_nameplate_must_be_read(job, verdict_of, name):
    assert verdict_of(job({name: None}), f"setup.{name}").outcome is Outcome.OPEN


@pytest.mark.parametrize(
    "name",
    [
        "nameplate_frequency",
        "nameplate_charge",
        "order_capacity",
        "order_refrigerant_charge",
        "order_voltage",
        "order_leaving_chilled",
        "order_refrigerant",
        "model",
    ],
)
def test_what_was_not_looked_up_is_not_judged(job, assess, name):
    assert f"setup.{name}" not in {v.key for v in assess(job()).findings("setup").verdicts}


@pytest.mark.parametrize(
    ("celsius", "outcome"),
    [("6.9", Outcome.PASS), ("6.89", Outcome.FAIL), ("7.1", Outcome.PASS), ("7.11", Outcome.FAIL)],
)
def test_leaving_water_on_the_order_at_under_and_over_a_tenth_of_a_kelvin(
    job, verdict_of, celsius, outcome
):
    assert (
        verdict_of(
            job({"order_leaving_chilled": (celsius, "°C")}), "setup.order_leaving_chilled"
        ).outcome
        is outcome
    )


def test_leaving_water_in_a_wrong_unit_is_open(job, verdict_of):
    assert (
        verdict_of(
            job({"order_leaving_chilled": ("7", "kW")}), "setup.order_leaving_chilled"
        ).outcome
        is Outcome.OPEN
    )


@pytest.mark.parametrize(
    ("serial", "outcome"),
    [("0001", Outcome.PASS), ("00 01", Outcome.PASS), ("0002", Outcome.FAIL), (None, Outcome.OPEN)],
)
def test_the_serial_number_is_that_of_the_sheet(job, verdict_of, serial, outcome):
    assert (
        verdict_of(
            job({"nameplate_serial": (serial, "") if serial else None}), "setup.serial"
        ).outcome
        is outcome
    )


@pytest.mark.parametrize(
    ("field", "key"),
    [("nameplate_refrigerant", "refrigerant"), ("order_refrigerant", "order_refrigerant")],
)
@pytest.mark.parametrize(
    ("refrigerant", "outcome"),
    [("r134A", Outcome.PASS), ("R-22", Outcome.FAIL), ("R-9", Outcome.OPEN)],
)
def test_the_refrigerant_is_that_of_the_sheet_however_it_is_written(
    job, verdict_of, field, key, refrigerant, outcome
):
    found = verdict_of(job({field: (refrigerant, "")}), f"setup.{key}")
    assert found.outcome is outcome
    assert outcome is not Outcome.FAIL or found.sentence.startswith(
        f"The {field.split('_')[0]} says R-22"
    )


@pytest.mark.parametrize(("model", "outcome"), [("OV-450", Outcome.PASS), ("OV 500", Outcome.FAIL)])
def test_the_model_is_compared_where_the_sheet_has_one(job, verdict_of, model, outcome):
    assert (
        verdict_of(
            job({"nameplate_model": (model, "")}, sheet={"machine.model": "OV 450"}), "setup.model"
        ).outcome
        is outcome
    )


# --- people and instruments -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("gone", "told"), [("people.1.role", "technician"), ("people.2.role", "owner's witness")]
)
def test_technician_and_witness_are_named(job, verdict_of, gone, told):
    found = verdict_of(job({gone: ("other", "")}), "setup.people")
    assert found.outcome is Outcome.OPEN and told in found.sentence


@pytest.mark.parametrize(
    ("due", "outcome"),
    [
        ("2026-11-24", Outcome.FAIL),
        ("2026-11-25", Outcome.PASS),
        ("2026-11-26", Outcome.PASS),
        (None, Outcome.UNPROVEN),
    ],
)
def test_an_instrument_is_in_calibration_up_to_its_due_day(job, verdict_of, due, outcome):
    # entered on 2026-11-25
    assert (
        verdict_of(
            job({"instruments.1.due": (due, "") if due else None}), "setup.instruments"
        ).outcome
        is outcome
    )


@pytest.mark.parametrize(
    "change",
    [
        {"instruments.1.accuracy": ("good", "")},
        {"instruments.1.kind": ("colour", "")},
        {"instruments.1.tag": None},
    ],
)
def test_an_instrument_that_cannot_be_read_keeps_the_stage_open(job, verdict_of, change):
    assert verdict_of(job(change), "setup.instruments").outcome is Outcome.OPEN


def test_every_instrument_is_listed_with_the_readings_that_rest_on_it(job, assess):
    table = payload.stage_part(assess(job()), "setup")["tables"][0]
    assert table["rows"] == [["B1", "", "4711", "0.1 kPa", "2027-06-30", "1"]]


# --- barometer -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kilopascal", "outcome"),
    [
        ("99.324", Outcome.FAIL),
        ("99.325", Outcome.PASS),
        ("103.325", Outcome.PASS),
        ("103.326", Outcome.FAIL),
    ],
)
def test_the_barometer_at_under_and_over_two_kilopascal_from_the_standard_atmosphere(
    job, verdict_of, kilopascal, outcome
):
    assert verdict_of(job({"barometer": (kilopascal, "kPa")}), "setup.barometer").outcome is outcome


def test_without_a_barometer_reading_the_elevation_serves_with_a_larger_uncertainty(
    job, verdict_of
):
    found = verdict_of(job({"barometer": None}), "setup.barometer")
    assert (
        found.outcome is Outcome.OPEN
        and "101.33 kPa abs from elevation" in found.sentence
        and "± 2.00 kPa" in found.sentence
    )


def test_a_barometer_in_a_wrong_unit_is_open(job, verdict_of):
    assert verdict_of(job({"barometer": ("101", "°C")}), "setup.barometer").outcome is Outcome.OPEN


def test_a_barometer_out_of_calibration_is_unproven(job, verdict_of):
    assert (
        verdict_of(job({"instruments.1.due": ("2026-01-01", "")}), "setup.barometer").outcome
        is Outcome.UNPROVEN
    )


def test_a_barometer_near_the_limit_is_unproven_within_its_uncertainty(job, verdict_of):
    assert (
        verdict_of(job({"barometer": ("99.4", "kPa", "B1")}), "setup.barometer").outcome
        is Outcome.UNPROVEN
    )


def test_at_the_elevation_of_the_site(job, verdict_of):
    # standard atmosphere at 1600 m: 83.5 kPa (ISO 2533)
    assert (
        verdict_of(
            job({"barometer": ("84", "kPa")}, sheet={"site.elevation": "1600 m"}), "setup.barometer"
        ).outcome
        is Outcome.PASS
    )
    assert (
        verdict_of(
            job({"barometer": ("101", "kPa")}, sheet={"site.elevation": "1600 m"}),
            "setup.barometer",
        ).outcome
        is Outcome.FAIL
    )


@pytest.mark.parametrize(
    ("kind", "accuracy", "range_", "outcome"),
    [
        ("temperature", "0.005 K", "", Outcome.PASS),
        ("temperature", "0.0049 K", "", Outcome.UNPROVEN),
        ("barometer", "0.005 kPa", "", Outcome.PASS),
        ("barometer", "0.0049 kPa", "", Outcome.UNPROVEN),
        ("pressure", "0.01 % of range", "0 to 1000 kPa", Outcome.PASS),
        ("pressure", "0.009 % of range", "0 to 1000 kPa", Outcome.UNPROVEN),
        ("pressure", "0.1 kPa", "0 to 1000 kPa", Outcome.PASS),
        ("pressure", "0.09 kPa", "0 to 1000 kPa", Outcome.UNPROVEN),
        ("flow", "0.1 % of reading", "", Outcome.PASS),
        ("flow", "0.09 % of reading", "", Outcome.UNPROVEN),
    ],
)
def test_an_accuracy_that_no_field_instrument_has_is_asked_about(
    job, verdict_of, kind, accuracy, range_, outcome
):
    changed = {"kind": kind, "accuracy": accuracy, "range": range_}
    changes = {f"instruments.1.{name}": (value, "") for name, value in changed.items() if value}
    assert verdict_of(job(changes), "setup.instruments").outcome is outcome


@pytest.mark.parametrize(
    ("due", "outcome"), [("2028-11-25", Outcome.PASS), ("2028-11-26", Outcome.UNPROVEN)]
)
def test_a_calibration_that_lasts_more_than_two_years_is_asked_about(job, verdict_of, due, outcome):
    found = verdict_of(job({"instruments.1.due": (due, "")}), "setup.instruments")
    assert found.outcome is outcome
