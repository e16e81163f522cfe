"""A stretch of an imported trend becomes a series: its readings in the job's units, what is marked
left empty.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from startkit.cli import main
from startkit.desk.stretch import enter_stretch
from startkit.errors import JobError, ReadingError
from startkit.facts.job import Job
from startkit.facts.journal import Entry
from startkit.facts.plugins import find_template
from startkit.facts.trend import column_map
from startkit.facts.trend.guess import guess_file
from startkit.facts.trend.importer import import_file
from startkit.procedure.assessment import of_job as assess
from tests.facts.test_trend import BEGIN, export, plant

SHEET = Path(__file__).parents[2] / "workbook" / "plant" / "machines" / "CH-1.toml"
BAROMETER = 101.0e3


def moment(row: int) -> str:
    minutes = BEGIN.hour * 60 + BEGIN.minute + 10 * row // 60
    return f"{BEGIN:%Y-%m-%d} {minutes // 60:02}:{minutes % 60:02}:{10 * row % 60:02}"


@pytest.fixture(params=["SI", "I-P"])
def job(tmp_path: Path, request: pytest.FixtureRequest) -> Job:
    made = Job.create(tmp_path / "job", SHEET, find_template("new-machine"), request.param)
    made.record(Entry("setup.barometer", "101.0", "kPa", who="Ana"))
    columns = plant()
    columns["CHWS Temp (°C)"][50] = 0.0
    path = export(tmp_path, columns)
    target = tmp_path / "map.toml"
    target.write_text(
        column_map.text(guess_file(path, made.machine)).replace(
            "confirmed = false", "confirmed = true"
        ),
        encoding="utf-8",
    )
    import_file(made, path, target, "Ana")
    return made


def block(job: Job, stage: str, name: str):
    return assess(Job(job.folder)).stage_entries(stage).block(name)


def test_the_readings_of_the_stretch_stand_in_the_series_to_the_last_digit_that_counts(job: Job):
    (name,) = job.trends
    _, told = enter_stretch(job.folder, "pull_down.trend", name, moment(40), moment(60), "Ana")
    found, taken = block(job, "pull_down", "trend"), job.trends[name]
    assert len(found) == 21 and found.problems == ()
    assert found.columns["minute"] == pytest.approx(np.arange(21) * 10.0)
    assert found.columns["entering"] == pytest.approx(
        taken.usable("chilled_entering")[40:61], rel=1e-6
    )
    assert found.columns["evaporator_pressure"] == pytest.approx(
        taken.usable("evaporator_pressure")[40:61]
        + (BAROMETER if taken.gauge("evaporator_pressure") else 0),
        rel=1e-6,
    )
    assert any(line.startswith("Current, highest phase: not in") for line in told)


def test_a_reading_that_is_marked_is_left_empty_and_told(job: Job):
    (name,) = job.trends
    (entry,), told = enter_stretch(
        job.folder, "pull_down.trend", name, moment(40), moment(60), "Ana"
    )
    leaving = block(job, "pull_down", "trend").columns["leaving"]
    assert np.flatnonzero(np.isnan(leaving)).tolist() == [10]
    assert any(line.startswith("Leaving chilled water: 20 readings, 1 ") for line in told)
    assert (
        entry.note.startswith(f"from the trend {name}, ") and job.trends[name].digest in entry.note
    )


def test_the_minutes_of_a_second_trip_are_added_below_those_of_the_first(job: Job):
    (name,) = job.trends
    enter_stretch(job.folder, "trips.minutes", name, moment(0), moment(4), "Ana", {"trip": "1"})
    enter_stretch(
        job.folder, "trips.minutes", name, moment(100), moment(103), "Ana", {"trip": "2"}, add=True
    )
    found = block(job, "trips", "minutes")
    assert found.columns["trip"].tolist() == [1] * 5 + [2] * 4 and found.problems == ()
    assert found.columns["time"].tolist() == [0, 10, 20, 30, 40, 0, 10, 20, 30]


@pytest.mark.parametrize(
    ("item", "begin", "end", "who", "given", "error", "told"),
    [
        (
            "vanes.trace",
            moment(0),
            moment(9),
            "Ana",
            {},
            JobError,
            "cannot be filled from a trend.*use one of .*trips.minutes",
        ),
        (
            "trips.nothing",
            moment(0),
            moment(9),
            "Ana",
            {},
            JobError,
            "cannot be filled from a trend",
        ),
        (
            "trips.minutes",
            "2031-01-01",
            "2031-01-02",
            "Ana",
            {},
            ReadingError,
            "has no row from 2031-01-01.*it runs from",
        ),
        (
            "trips.minutes",
            "yesterday",
            moment(9),
            "Ana",
            {},
            ReadingError,
            "is not a date and time",
        ),
        ("trips.minutes", moment(0), moment(9), "", {}, ReadingError, "is named"),
        (
            "trips.minutes",
            moment(0),
            moment(9),
            "Ana",
            {"number": "1"},
            ReadingError,
            "'number' is not a column.*trip, time",
        ),
    ],
)
def test_what_cannot_be_done_is_one_sentence_and_nothing_is_written(
    job: Job, item, begin, end, who, given, error, told
):
    (name,) = job.trends
    before = len(job.state().entries)
    with pytest.raises(error, match=rf"(?s){told}"):
        enter_stretch(job.folder, item, name, begin, end, who, given)
    assert len(Job(job.folder).state().entries) == before


def test_an_unknown_trend_is_named_with_those_that_are_there(job: Job):
    with pytest.raises(JobError, match=r"'other'.*panel"):
        enter_stretch(job.folder, "trips.minutes", "other", moment(0), moment(9), "Ana")


def test_the_command_says_what_it_did(job: Job):
    (name,) = job.trends
    ran = CliRunner().invoke(
        main,
        [
            "stretch",
            str(job.folder),
            "trips.minutes",
            name,
            "--from",
            moment(0),
            "--to",
            moment(9),
            "--with",
            "trip=1",
            "--who",
            "Ana",
        ],
    )
    assert (
        ran.exit_code == 0
        and "1 entry saved" in ran.output
        and "Entering chilled water: 10 readings." in ran.output
    )
    assert (
        CliRunner()
        .invoke(
            main,
            [
                "stretch",
                str(job.folder),
                "trips.minutes",
                name,
                "--from",
                "a",
                "--to",
                "b",
                "--with",
                "trip",
            ],
        )
        .exit_code
        == 2
    )
