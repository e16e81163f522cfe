"""The demonstration's machines and generated ones, a site in SI and one in I-P, in one run."""

from __future__ import annotations

import os
from collections.abc import Callable

import pypdf
import pytest

from startkit.fleet import new_jobs
from startkit.fleet.folder import Fleet
from startkit.fleet.run import Run
from tests.fleet.conftest import WHO, begin

GENERATED = int(os.environ.get("STARTKIT_FLEET_MACHINES", "3"))  # 30 in the nightly run


@pytest.mark.timeout(900)
def test_demonstration_and_generated_machines_of_two_sites_in_one_run(
    make_fleet: Callable[..., Fleet],
) -> None:
    fleet = make_fleet(GENERATED)
    listed = fleet.folder / "own.csv"
    listed.write_text("tag\nCH-1\nCH-2\nCH-3\n", encoding="utf-8")
    for plan in new_jobs.plans(fleet, listed):
        begin(new_jobs.make(plan, fleet, WHO, "2026-03-02T07:50:00.000+01:00"))
    done = list(Run(fleet).outcomes())
    assert len(done) == GENERATED + 3 and not [each for each in done if each.fault]
    letter, a4 = 0, 0
    for each in done:
        page = pypdf.PdfReader(fleet.jobs_folder / each.job / "records" / each.record).pages[0]
        width, text = float(page.mediabox.width), page.extract_text()
        assert ("Alder Pass Baths" in text) == (width == pytest.approx(612, abs=1)), each.job
        assert (" ton" in text) == ("Alder Pass Baths" in text)
        letter, a4 = letter + (width > 600), a4 + (width < 600)
    assert letter == 1 + (GENERATED + 1) // 3 and a4 == len(done) - letter
