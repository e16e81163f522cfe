"""Stage Trips: a trip without its cause keeps the machine from its load, and the story is told in
order.
"""

from __future__ import annotations

import numpy as np
import pytest

from startkit.science.trip_causes import AGAINST, ENOUGH, VANES, WARM_LOOP
from startkit.stages.first_start import STAGE as FIRST_START
from startkit.stages.trips import STAGE
from startkit.verdict import Outcome

TRIP = {
    "any": "yes",
    "events.1.trip": "1",
    "events.1.at": "2026-11-25 14:22",
    "events.1.message": "Motor current high",
    "events.1.kind": "overcurrent",
    "events.1.latched": "starter",
    "events.1.reset": "by hand at the starter or drive",
    "events.1.reset_by": "A. Tester",
    "events.1.restarted": "2026-11-25 15:10",
    "events.1.result": "ran on",
    "causes.1.trip": "1",
    "causes.1.cause": "Limit too near the trip",
    "causes.1.shown_by": "Trend: 98 % with swings of 11 %",
    "causes.1.changed": "Current limit",
    "causes.1.as_found": "100 %",
    "causes.1.as_left": "80 %",
    "causes.1.by": "A. Tester",
}
VALUES = {
    "values.1.trip": ("1", ""),
    "values.1.since_start": ("900", "s"),
    "values.1.limit": ("100", "%"),
    "values.1.current": ("541", "A"),
    "values.1.vanes": ("60", "%"),
    "values.1.entering": ("24", "°C"),
    "values.1.leaving": ("19", "°C"),
    "values.1.leaving_condenser": ("33", "°C"),
    "values.1.voltage_12": ("400", "V"),
    "values.1.voltage_23": ("400", "V"),
    "values.1.voltage_31": ("400", "V"),
}


@pytest.fixture
def job(make_job, put):
    def make(changes=None, values=None, drop=()):
        made = make_job(stages={"first_start": FIRST_START, "trips": STAGE})
        for what, value in {**TRIP, **(changes or {})}.items():
            if what not in drop:
                put(made, f"trips.{what}", value)
        for what, (value, unit) in (values or {}).items():
            put(made, f"trips.{what}", value, unit)
        return made

    return make


def test_a_trip_with_cause_proof_reset_and_restart_is_settled(job, verdict_of):
    assert verdict_of(job(), "trips.1").outcome is Outcome.PASS
    assert verdict_of(job(), "trips.entered").outcome is Outcome.PASS


@pytest.mark.parametrize(
    ("missing", "said"),
    [
        ("causes.1.cause", "its cause"),
        ("events.1.message", "first-out message"),
        ("events.1.latched", "latched"),
        ("events.1.at", "when it occurred"),
        ("events.1.reset", "how it was reset"),
        ("events.1.result", "restart"),
        ("events.1.kind", "its kind"),
    ],
)
def test_each_missing_part_keeps_the_trip_open(job, verdict_of, missing, said):
    found = verdict_of(job(drop=(missing,)), "trips.1")
    assert found.outcome is Outcome.OPEN and said in found.sentence


def test_a_trip_without_a_cause_keeps_clear_to_load_closed(job, assess):
    hold = assess(job(drop=("causes.1.cause",))).hold("load")
    assert not hold.is_clear and any(v.key == "trips.1" for v in hold.in_the_way)
    assert all(v.key != "trips.1" for v in assess(job()).hold("load").in_the_way)


def test_a_cause_that_no_reading_shows_is_unproven(job, verdict_of):
    assert verdict_of(job(drop=("causes.1.shown_by",)), "trips.1").outcome is Outcome.UNPROVEN


def test_a_trip_that_came_again_is_settled_by_the_next_one_only(job, verdict_of):
    again = {"events.1.result": "tripped again"}
    assert verdict_of(job(again), "trips.1").outcome is Outcome.OPEN
    second = {
        **{k.replace(".1.", ".2."): v for k, v in TRIP.items() if k != "any"},
        "events.2.trip": "2",
        "causes.2.trip": "2",
        **again,
    }
    settled = verdict_of(job(second), "trips.1")
    assert settled.outcome is Outcome.PASS
    assert {"trips.events.1.result", "trips.causes.2.cause"} <= set(settled.rests_on)
    assert verdict_of(job(second, drop=("causes.2.cause",)), "trips.1").outcome is Outcome.UNPROVEN


def test_no_trip_must_be_said(make_job, put, verdict_of):
    made = make_job(stages={"first_start": FIRST_START, "trips": STAGE})
    assert verdict_of(made, "trips.entered").outcome is Outcome.OPEN
    put(made, "trips.any", "no")
    assert verdict_of(made, "trips.entered").outcome is Outcome.PASS


def test_a_start_that_ended_by_a_trip_asks_for_its_sheet(make_job, put, verdict_of):
    made = make_job(stages={"first_start": FIRST_START, "trips": STAGE})
    put(made, "trips.any", "no")
    put(made, "first_start.starts.1.started", "2026-11-25 14:00")
    put(made, "first_start.starts.1.end", "trip")
    found = verdict_of(made, "trips.entered")
    assert found.outcome is Outcome.OPEN
    assert found.rests_on == ("first_start.starts.1.end", "trips.any", "trips.events")


def test_yes_without_a_trip_is_open_and_no_with_one_too(job, make_job, put, verdict_of):
    made = make_job(stages={"first_start": FIRST_START, "trips": STAGE})
    put(made, "trips.any", "yes")
    assert verdict_of(made, "trips.entered").outcome is Outcome.OPEN
    assert verdict_of(job({"any": "no"}), "trips.entered").outcome is Outcome.OPEN


def test_candidates_are_ranked_from_the_readings(job, assess):
    found = assess(job(values=VALUES)).findings("trips")
    table = next(t for t in found.tables if "candidates" in t.title)
    assert table.rows[0][0] == WARM_LOOP and table.rows[0][1] == ENOUGH
    assert next(r for r in table.rows if r[0] == "lift high")[1] == AGAINST
    low = {
        **VALUES,
        "values.1.entering": ("12", "°C"),
        "values.1.voltage_12": ("365", "V"),
        "values.1.voltage_23": ("366", "V"),
        "values.1.voltage_31": ("365", "V"),
    }
    assert (
        next(
            t for t in assess(job(values=low)).findings("trips").tables if "candidates" in t.title
        ).rows[0][0]
        == "voltage low"
    )


def test_vanes_open_in_the_run_up_come_first(job, assess):
    early = {**VALUES, "values.1.since_start": ("9", "s"), "values.1.vanes": ("25", "%")}
    table = next(
        t for t in assess(job(values=early)).findings("trips").tables if "candidates" in t.title
    )
    assert table.rows[0][:2] == (VANES, ENOUGH)


def test_the_last_minutes_stand_in_for_what_was_not_typed(job, assess):
    rows = [f"1;{10 * i};{480 + 8 * (-1) ** i};55;{24 - i / 10};19;150" for i in range(30)] + [
        "1;300;545;58;21;16;149"
    ]
    made = job({"minutes": "\n".join(rows)})
    found = assess(made).findings("trips")
    readings = next(t for t in found.tables if t.title == "Readings at the trip").rows[0]
    assert readings[3].to("ampere").magnitude == 545 and readings[5].to(
        "degC"
    ).magnitude == pytest.approx(21)
    assert [p.title for p in found.plots] == [
        "Current before trip 1",
        "Vane position before trip 1",
        "Chilled water before trip 1",
        "Oil differential before trip 1",
    ]
    assert found.plots[0].lines[0].x[-1] == 0


def test_the_story_is_told_in_order(job, put, assess):
    made = job()
    put(made, "first_start.starts.1.started", "2026-11-25 14:05")
    put(made, "first_start.starts.1.end", "trip")
    story = next(
        t for t in assess(made).findings("trips").tables if t.title == "Sequence of events"
    )
    assert [row[1] for row in story.rows] == [
        "Start (trip)",
        "Trip 1",
        "Cause of trip 1",
        "Changed after trip 1",
        "Reset of trip 1",
        "Restart after trip 1",
    ]
    assert "100 % → 80 % by A. Tester" in story.rows[3][2]


def test_a_row_of_no_trip_is_said(job, assess):
    remarks = " ".join(
        assess(job({"causes.2.trip": "5", "causes.2.cause": "x"})).findings("trips").remarks
    )
    assert "there is no trip 5" in remarks


def test_it_is_drawn_in_either_system(job, assess):
    from startkit.procedure.payload import stage_part

    made = job(values=VALUES)
    for system in ("SI", "I-P"):
        made.system = system
        assert stage_part(assess(made), "trips")["tables"]


def test_a_climbing_current_is_not_taken_for_a_swing(job, assess):
    from startkit.stages.trips.readings import collect, evidence

    rng = np.random.default_rng(2)
    rows = [
        f"1;{2 * i};{300 + 0.8 * 2 * i + rng.normal(0, 5):.2f};55;24;19;150" for i in range(120)
    ]
    made = job({"minutes": "\n".join(rows)})
    found = evidence(
        made.machine, collect(made.machine, assess(made).stage_entries("trips")).trips[0]
    )
    assert found.swing == pytest.approx(5 / 500, rel=0.25)


# --- what supports a cause, and what cannot be true ----------------------------------------------


@pytest.mark.parametrize("said", ["unknown", "Nothing.", "n/a", "?", "not known"])
def test_a_cause_that_says_nothing_is_none(job, verdict_of, said):
    found = verdict_of(job({"causes.1.cause": said}), "trips.1")
    assert found.outcome is Outcome.OPEN and "its cause" in found.sentence
    assert verdict_of(job({"causes.1.shown_by": said}), "trips.1").outcome is Outcome.UNPROVEN


def test_a_cause_without_any_reading_is_unproven(job, verdict_of):
    found = verdict_of(job({"causes.1.shown_by": "seen on the panel"}), "trips.1")
    assert found.outcome is Outcome.UNPROVEN and "no reading" in found.sentence
    read = job({"causes.1.shown_by": "seen on the panel"}, VALUES)
    assert verdict_of(read, "trips.1").outcome is Outcome.PASS


@pytest.mark.parametrize(
    ("group", "outcome"),
    [
        ("limit too near the trip in a warm loop", Outcome.PASS),
        ("voltage unbalanced", Outcome.UNPROVEN),
        ("vanes not closed at start", Outcome.UNPROVEN),
        ("limiter or vanes hunting", Outcome.UNPROVEN),
        ("something else", Outcome.PASS),
    ],
)
def test_the_kind_of_cause_is_held_against_the_readings(job, verdict_of, group, outcome):
    assert verdict_of(job({"causes.1.group": group}, VALUES), "trips.1").outcome is outcome


def swinging(size, period=28, seconds=300):
    """The last minutes: current of a 500 A motor and vanes that swing."""
    rows = [
        f"1\t{t}\t{500 + 5 * wave:.2f}\t{69 + wave:.3f}\t\t\t"
        for t in range(seconds)
        for wave in (size * np.sin(2 * np.pi * t / period),)
    ]
    return "\n".join(["trip\ttime (s)\tcurrent (A)\tvanes (%)\tentering\tleaving\toil", *rows])


@pytest.mark.parametrize(
    ("size", "outcome"), [(4.9, Outcome.PASS), (5.3, Outcome.UNPROVEN), (12, Outcome.UNPROVEN)]
)
def test_hunting_before_a_trip_is_said_and_asks_for_a_cause_that_deals_with_it(
    job, put, verdict_of, size, outcome
):
    made = job({}, VALUES)
    put(made, "trips.minutes", swinging(size))
    found = verdict_of(made, "trips.1")
    assert found.outcome is outcome
    assert ("every 28" in found.sentence) is (outcome is Outcome.UNPROVEN)
    put(made, "trips.causes.1.group", "limiter or vanes hunting")
    assert verdict_of(made, "trips.1").outcome is Outcome.PASS


def wrong_with(job, assess, changes=None, values=None):
    made = job(changes, {**VALUES, **(values or {})})
    return {v.key for v in assess(made).findings("trips").verdicts}


@pytest.mark.parametrize(
    ("key", "column", "unit", "inside", "outside_"),
    [
        ("current_least", "current", "A", "459.5", "458.5"),
        ("current_most", "current", "A", "3749", "3751"),
    ],
)
def test_the_current_at_the_trip_can_be_one_of_this_motor_and_of_this_trip(
    job, assess, key, column, unit, inside, outside_
):
    found = [
        f"trips.1.{key}" in wrong_with(job, assess, {}, {f"values.1.{column}": (value, unit)})
        for value in (inside, outside_)
    ]
    assert found == [False, True]


def test_a_low_oil_trip_had_low_oil(job, assess):
    low = {"events.1.kind": "low oil differential", "events.1.message": "Low oil differential"}
    for value, wrong in (("119.9", False), ("120.1", True)):
        found = wrong_with(job, assess, low, {"values.1.oil": (value, "kPa")})
        assert ("trips.1.oil_most" in found) is wrong


def test_a_trip_in_the_run_up_with_open_vanes_was_no_start_with_closed_ones(job, assess):
    def found(vanes, changes=None, since="4"):
        values = {"values.1.since_start": (since, "s"), "values.1.vanes": (vanes, "%")}
        return "trips.1.vanes_at_start" in wrong_with(job, assess, changes, values)

    assert [found("4.9"), found("5.1"), found("30", since="900")] == [False, True, False]
    assert not found("30", {"causes.1.group": "vanes not closed at start"})


@pytest.mark.parametrize(
    ("seconds", "wrong"), [(989, False), (991, True), (811, False), (809, True)]
)
def test_the_time_since_the_start_is_that_of_the_moments(job, put, assess, seconds, wrong):
    made = job({}, {**VALUES, "values.1.since_start": (str(seconds), "s")})
    put(made, "first_start.starts.1.started", "2026-11-25 14:07")  # 900 s before the trip
    keys = {v.key for v in assess(made).findings("trips").verdicts}
    assert ("trips.1.since_start" in keys) is wrong


def test_a_message_of_another_kind_was_not_the_first(job, assess):
    assert "trips.1.first_fault" in wrong_with(job, assess, {"events.1.message": "Low oil press."})
    assert "trips.1.first_fault" not in wrong_with(job, assess, {"events.1.message": "E 17"})
