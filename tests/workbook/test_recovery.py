"""The truth of the model found again: from single readings with the errors of instruments, and from
a panel's trend with its faults.
"""

from __future__ import annotations

import re
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest

from startkit.facts.job import Job
from startkit.facts.journal import Entry
from startkit.facts.plugins import find_template
from startkit.facts.trend.importer import import_file
from startkit.facts.trend.quality import DUPLICATE, LACKING, SPIKE, ZERO
from startkit.procedure.assessment import of_job as assess
from startkit.stages.load_up.fields import COLUMNS
from startkit.stages.load_up.points import load_of
from startkit.stages.load_up.trend_windows import chosen, steady
from startkit.units import KINDS
from workbook.machines import CH1
from workbook.measured import Measured
from workbook.people import SENSORS
from workbook.recovery import CASES, FIGURES, NORMAL, SHEET, coverage
from workbook.trend_model import confirmed_map, load_up_day

PROOF = Path(__file__).parents[2] / "workbook" / "proof" / "coverage.md"
RUNS = 60


KEYS = ("Capacity", "Power for capacity", "Heat balance, of the mean")


@pytest.mark.parametrize("case", CASES[:2], ids=lambda case: case.name)
def test_every_interval_holds_the_truth_about_as_often_as_it_says(case):
    found = coverage(RUNS, NORMAL, seed=4, case=case)
    scatter = (0.95 * 0.05 / RUNS) ** 0.5
    for key, held in found.items():
        assert held.share > 0.95 - 4.5 * scatter, key
        assert abs(held.off) < 4.5 / held.runs**0.5 + (0.2 if key.endswith("ua") else 0.0), key
    # All figures together: neither too narrow nor comfortably wide.
    together = np.mean([held.share for held in found.values()])
    assert 0.92 < together < 0.98


def test_the_full_run_on_record_covers_every_case():
    titles = re.findall(r"^## (.+)$", PROOF.read_text(encoding="utf-8"), re.MULTILINE)
    assert titles == [case.name for case in CASES]


def test_the_full_run_on_record_lies_between_93_and_97_percent():
    """Every figure of the first case; capacity, power for capacity and heat balance of them all."""
    pages = PROOF.read_text(encoding="utf-8").split("\n## ")[1:]
    for n, page in enumerate(pages):
        rows = re.findall(
            r"^\| ([^|]+?) \| ([\d.]+) \| ([+-][\d.]+) \|.*\| (\d+) \|$", page, re.MULTILINE
        )
        assert len(rows) == len(FIGURES)
        for name, share, off, runs in rows:
            if n == 0 or name in KEYS:
                assert 93 <= float(share) <= 97, (n, name)
            # A UA bends with its mean temperature difference, and the readings that leave it most
            # in doubt are not counted: it leans.
            if "UA" not in name:
                assert abs(float(off)) < 4 / int(runs) ** 0.5, (n, name)
                assert int(runs) >= 500, (n, name)


# --- from a trend ---------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def measured() -> Measured:
    return Measured()


@pytest.fixture(scope="module")
def job(tmp_path_factory, measured) -> Job:
    """A job of CH-1 with the instruments of the story and the panel's export of the load-up day."""
    folder = tmp_path_factory.mktemp("recovery")
    made = Job.create(
        folder / "CH-1",
        SHEET,
        find_template("new-machine"),
        who="A. Tester",
        at="2026-04-14T07:40:00.000-04:00",
    )
    rows = [Entry("setup.barometer", f"{measured.truth.barometer}", "kPa", "A. Tester", "BA-1")]
    for n, sensor in enumerate(SENSORS.values(), 1):
        rows += [
            Entry(f"setup.instruments.{n}.{column}", value, who="A. Tester")
            for column, value in (
                ("tag", sensor.tag),
                ("name", sensor.name),
                ("kind", sensor.kind),
                ("range", sensor.range),
                ("accuracy", sensor.accuracy),
                ("due", sensor.due),
            )
            if value
        ]
    made.record(rows)
    path, map_path = folder / "load-up.csv", folder / "load-up.toml"
    path.write_text(load_up_day(measured).text, encoding="utf-8")
    map_path.write_text(confirmed_map(path, made.machine), encoding="utf-8")
    import_file(made, path, map_path, "A. Tester")
    made.record(Entry("load_up.trend", "load-up", who="A. Tester"))
    return made


def test_every_column_of_the_export_is_recognised(job):
    found = job.trends["load-up"]
    assert set(found.columns) == {
        "chilled_entering",
        "chilled_leaving",
        "condenser_entering",
        "condenser_leaving",
        "evaporator_flow",
        "condenser_flow",
        "evaporator_pressure",
        "condenser_pressure",
        "suction_temperature",
        "discharge_temperature",
        "liquid_temperature",
        "power",
        "current",
        "vane_position",
        "speed",
        "oil_differential",
        "oil_temperature",
    }


def test_the_faults_put_into_the_export_are_marked_and_nothing_else(job, measured):
    marks = job.trends["load-up"].marks()
    head, *rows = (line.split(",") for line in load_up_day(measured).text.splitlines())
    cells = {name: [row[i] for row in rows] for i, name in enumerate(head)}
    assert marks["chilled_leaving"][ZERO] == cells["Evap LWT (°C)"].count("0.00") >= 5
    assert marks["evaporator_flow"][ZERO] == cells["CHW Flow (L/s)"].count("0.00") >= 5
    assert marks["condenser_pressure"][LACKING] == cells["Cond Press (kPa)"].count("Bad") >= 5
    assert marks["power"][LACKING] == cells["Power (kW)"].count("") >= 5
    assert marks["power"][SPIKE] == marks["condenser_leaving"][SPIKE] == 1
    assert marks["power"][DUPLICATE] == 1
    allowed = {
        "chilled_leaving": {ZERO},
        "evaporator_flow": {ZERO},
        "condenser_pressure": {LACKING},
        "power": {LACKING, SPIKE},
        "condenser_leaving": {SPIKE},
    }
    for point, found in marks.items():
        assert set(found) - {DUPLICATE, 128} == allowed.get(point, set()), point
    assert len(job.trends["load-up"].gaps) == 1


def test_steady_stretches_lie_inside_the_holds_and_out_of_the_hunting(job, measured):
    found = steady(
        job.machine, job.limits, job.trends["load-up"], assess(job).entries.barometer.quantity
    )
    holds = load_up_day(measured).holds
    assert len(found.stretches) == len(holds)
    for stretch, (_, begin, end) in zip(found.stretches, holds, strict=True):
        first, last = (found.trend.moment(each) for each in (stretch.begin, stretch.end))
        # A stretch may overlap the hunting or the change by what the tolerance hides in its window:
        # some two minutes.
        assert (found.trend.seconds(first) - found.trend.seconds(begin.isoformat(" "))) >= 600
        assert (found.trend.seconds(last) - found.trend.seconds(end.isoformat(" "))) <= 240
    assert [swing.reading for swing in found.swings] == ["chilled_leaving"]
    assert found.swings[0].hunting.period == pytest.approx(240, rel=0.05)


def test_the_figures_of_chosen_stretches_lie_within_their_uncertainty_of_the_truth(job, measured):
    rows = []
    for n, (_, begin, end) in enumerate(load_up_day(measured).holds, 1):
        rows += [
            Entry(f"load_up.windows.{n}.{column}", value, who="A. Tester")
            for column, value in (
                ("begin", (begin + timedelta(minutes=20)).isoformat(" ")),
                ("end", (end - timedelta(minutes=2)).isoformat(" ")),
                ("chosen_by", "A. Tester"),
            )
        ]
    job.record(rows)
    assessment = assess(job)
    entries = assessment.stage_entries("load_up")
    found = steady(
        job.machine, job.limits, job.trends["load-up"], assessment.entries.barometer.quantity
    )
    kinds = {column.name: column.kind for column in COLUMNS if column.kind in KINDS}
    points, problems = chosen(job.machine, entries, found, kinds)
    assert not problems and all(point.steady for point in points)
    off = []
    for point, load in zip(points, measured.truth.loads, strict=True):
        assert load_of(point) == pytest.approx(load, abs=0.02)
        for key, true_value in FIGURES.items():
            value, u = point.value(key), point.u(key)
            if value is not None:
                off.append(
                    (
                        float(value.to_base_units().magnitude)
                        - float(true_value(measured.steady[load], CH1))
                    )
                    / float(u.to_base_units().magnitude)
                )
    assert np.mean(np.abs(off) < 2.0) > 0.9
    assert np.max(np.abs(off)) < 3.5
