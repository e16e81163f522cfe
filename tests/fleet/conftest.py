"""Small fleets of invented machines."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from startkit.facts.job import Job
from startkit.facts.journal import Entry
from startkit.fleet import folder as folder_
from startkit.fleet import new_jobs
from startkit.fleet.folder import Fleet

PLANT = Path(__file__).parents[2] / "workbook" / "plant"
WHO = "R. Calder"


def begin(folder: Path, tag: str = "") -> Job:
    """A few entries in a job, so that it has begun."""
    job = Job(folder)
    job.record(
        [
            Entry("setup.people.1.name", WHO, who=WHO, at="2026-03-02T08:00:00.000+01:00"),
            Entry("setup.people.1.role", "technician", who=WHO, at="2026-03-02T08:00:10.000+01:00"),
            Entry(
                "setup.nameplate_serial",
                job.machine.machine.serial,
                who=WHO,
                at="2026-03-02T08:01:00.000+01:00",
            ),
        ]
    )
    return job


@pytest.fixture
def plant(tmp_path: Path) -> Path:
    """The demonstration's plant without jobs."""
    target = tmp_path / "fleet"
    shutil.copytree(PLANT, target)
    return target


@pytest.fixture
def make_fleet(plant: Path) -> Callable[..., Fleet]:
    """``make_fleet(count)``: machines alike to those of the demonstration, a site in SI and one in
    I-P, their jobs begun.
    """

    def make(count: int, begun: bool = True) -> Fleet:
        text = (
            (plant / "fleet.toml")
            .read_text(encoding="utf-8")
            .replace('plant = "Alder Pass Baths"', 'plant = "Alder Pass Baths"\nunits = "I-P"')
        )
        (plant / "fleet.toml").write_text(text, encoding="utf-8")
        like = ("CH-1", "CH-2", "CH-3")
        rows = [f"CH-{n + 10},{like[n % 3]},,N-{n:04d}," for n in range(count)]
        listed = plant.parent / "list.csv"
        listed.write_text(
            "\n".join(["tag,like,job,machine.serial,site.plant", *rows]) + "\n", encoding="utf-8"
        )
        fleet = new_jobs.start(plant)
        for plan in new_jobs.plans(fleet, listed) if rows else ():
            made = new_jobs.make(plan, fleet, WHO, "2026-03-02T07:50:00.000+01:00")
            if begun:
                begin(made)
        return folder_.load(plant)

    return make
