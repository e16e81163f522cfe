"""Times that cannot be: before the job, while nothing ran, of an earlier visit, of two visits."""

from __future__ import annotations

import pytest

from startkit.procedure.chronology import PAUSE, faults
from startkit.verdict import Outcome

DAY = "2026-11-25"


@pytest.fixture
def said(make_job, put, assess):
    """What is wrong with the times of a stage, after a first entry at 08:00 and these."""

    def make(stage: str, entries: dict[str, str]) -> str:
        job = make_job()
        put(job, "job.machine", "T-1", at=f"{DAY}T08:00:00+00:00")
        for what, value in entries.items():
            put(job, what, value, at=f"{DAY}T20:00:00+00:00")
        return " ".join(f.sentence for f in faults(assess(job).stage_entries(stage)))

    return make


RUN = {
    "first_start.starts.1.started": f"{DAY} 10:00",
    "first_start.starts.1.stopped": f"{DAY} 11:00",
}


@pytest.mark.parametrize(("started", "wrong"), [("07:54", True), ("07:56", False)])
def test_a_start_before_the_job_began_is_a_fault(said, started, wrong):
    entries = {"first_start.starts.1.started": f"{DAY} {started}"}
    assert ("before this job began" in said("first_start", entries)) is wrong


@pytest.mark.parametrize(
    ("read", "wrong"), [("09:54", True), ("09:56", False), ("11:04", False), ("11:06", True)]
)
def test_a_load_is_read_while_a_start_of_the_list_ran(said, read, wrong):
    found = said("load_up", {**RUN, "load_up.points.1.moment": f"{DAY} {read}"})
    assert ("not running" in found) is wrong


def test_a_trip_has_its_run_in_the_list_of_starts(said):
    assert "enter the start" in said("trips", {**RUN, "trips.events.1.at": f"{DAY} 14:00"})
    assert said("trips", {**RUN, "trips.events.1.at": f"{DAY} 10:30"}) == ""


def test_without_a_list_of_starts_nothing_is_held_against_it(said):
    assert said("load_up", {"load_up.points.1.moment": f"{DAY} 10:30"}) == ""


def test_what_happened_before_the_machine_was_started_may_be_older_than_the_job(said):
    assert said("lube", {"lube.heater_on_since": "2026-11-24 08:00"}) == ""


@pytest.mark.parametrize(("day", "wrong"), [("2026-10-25", True), ("2026-10-27", False)])
def test_a_reading_of_an_earlier_visit_is_a_fault(make_job, put, assess, day, wrong):
    job = make_job()
    put(job, "job.machine", "T-1", at=f"{DAY}T08:00:00+00:00")
    put(job, "taken.lube.sump_temperature", f"{day}T08:00:00+00:00")
    put(job, "lube.sump_temperature", "51", "°C")
    found = faults(assess(job).stage_entries("lube"))
    assert any("earlier visit" in fault.sentence for fault in found) is wrong
    assert PAUSE.days == 30


@pytest.mark.parametrize(
    ("later", "paused"), [("2026-12-25T08:00:00", False), ("2026-12-25T08:00:01", True)]
)
def test_a_job_left_lying_is_of_two_visits_until_somebody_waives_it(
    make_job, put, assess, later, paused
):
    job = make_job()
    put(job, "lube.sight_glass", "clear", at=f"{DAY}T08:00:00+00:00")
    put(job, "lube.oil_charge", "40", "L", at=f"{later}+00:00")
    found = [v for v in assess(job).findings("setup").verdicts if v.key == "setup.one_visit"]
    assert [v.outcome for v in found] == ([Outcome.UNPROVEN] if paused else [])
