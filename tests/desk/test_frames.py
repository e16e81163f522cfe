"""A job's data as pandas frames."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from startkit.desk import open_book
from startkit.errors import JobError
from startkit.facts.job import Job
from startkit.facts.journal import Entry

ROOT = Path(__file__).parents[2]


@pytest.fixture
def book(tmp_path: Path):
    job = Job.create(
        tmp_path / "J",
        ROOT / "workbook" / "plant" / "machines" / "CH-1.toml",
        ROOT / "templates" / "new-machine.ipynb",
        who="Ana",
    )
    job.record(
        [
            Entry("vanes.strokes.1.number", "1", "", "Ana"),
            Entry("vanes.strokes.1.travel_time", "41,5", "s", "Ana"),
            Entry("vanes.strokes.1.direction", "closing", "", "Ana"),
            Entry("load_up.points.1.label", "100 %", "", "Ana"),
            Entry("load_up.points.1.chilled_leaving", "44", "°F", "Ana"),
            Entry("load_up.points.1.power", "broken", "kW", "Ana"),
            Entry(
                "vanes.trace",
                "stroke\ttime (s)\tcommand (%)\tfeedback"
                " (%)\tswitch\n1\t0\t0\t0\tmade\n1\t1\t100\t2\topen",
                "",
                "Ana",
            ),
            Entry("setup.barometer", "101.2", "kPa", "Ana"),
        ]
    )
    return open_book(job.folder, "form")


def test_the_journal_is_a_frame_with_a_row_an_entry(book) -> None:
    frame = book.frame()
    assert len(frame) == len(book.job.state().entries) and frame.loc[1, "what"] == "job.machine"


def test_a_table_is_a_frame_in_the_units_of_the_job(book) -> None:
    frame = book.frame("load_up.points")
    assert frame.loc[1, "chilled_leaving [°C]"] == pytest.approx(6.667, abs=1e-3)
    assert np.isnan(frame.loc[1, "power [kW]"]), "what cannot be read is not a number"
    assert book.frame("vanes.strokes").loc[1, "travel_time [s]"] == 41.5


def test_a_pasted_series_is_a_frame(book) -> None:
    frame = book.frame("vanes.trace")
    assert list(frame["command"]) == [0.0, 1.0] and list(frame["switch"]) == ["made", "open"]


def test_figures_are_a_frame_by_their_key(book) -> None:
    assert book.frame("figures").loc["barometer", "value"] == pytest.approx(101.2)


def test_an_unknown_part_names_the_known_ones(book) -> None:
    with pytest.raises(JobError, match=r"load_up\.points"):
        book.frame("load_up.pionts")
