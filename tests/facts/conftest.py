"""A sheet and a job to try things on."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from startkit.facts.job import Job

SHEET = """
[machine]
tag = "CH-9"
serial = "A-17"
refrigerant = "R-134a"

[site]
plant = "Test bench"
elevation = "100 m"

[motor]
rated_power = "300 kW"
voltage = "400 V"
frequency = "50 Hz"
full_load_current = "480 A"
starter = "wye-delta"
run_up_time = "12 s"
overcurrent_trip = "105 %"

[vanes]
opening_time = "42 s"
closing_time = "42 s"

[oil]
kind = "POE"
differential_set_point = "150 kPa"
low_trip = "100 kPa"

[evaporator]
design_flow = "75 L/s"
design_pressure_drop = "55 kPa"

[condenser]
design_flow = "90 L/s"
design_pressure_drop = "60 kPa"

[selection]
document = "selection 1"

[[selection.points]]
load = "100 %"
capacity = "1750 kW"
power = "300 kW"
leaving_chilled = "6.7 °C"
entering_condenser = "29.4 °C"

[limits]
"vanes.closing_time" = { low = "-10 %", high = "10 %", source = "data sheet, page 3" }
"""


@pytest.fixture
def sheet(tmp_path: Path) -> Callable[..., Path]:
    """Writes the sheet, with one text replaced by another."""

    def write(old: str = "", new: str = "", name: str = "sheet.toml") -> Path:
        path = tmp_path / name
        assert not old or old in SHEET
        path.write_text(SHEET.replace(old, new) if old else SHEET, encoding="utf-8")
        return path

    return write


@pytest.fixture
def job(tmp_path: Path, sheet: Callable[..., Path]) -> Job:
    template = tmp_path / "plain.ipynb"
    template.write_text(
        '{"cells": [], "metadata": {}, "nbformat": 4, "nbformat_minor": 5}', encoding="utf-8"
    )
    return Job.create(tmp_path / "CH-9 start-up", sheet(), template, who="Ana")
