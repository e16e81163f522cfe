"""A job in memory for the tests of stages: an invented machine, entries put one by one, judged
without a disk.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

import pytest

from startkit.facts import limits as limits_
from startkit.facts import machine as machine_
from startkit.facts.job import State
from startkit.facts.journal import Entry
from startkit.procedure.assessment import Assessment
from startkit.procedure.registry import stages as registered
from startkit.procedure.stage import Stage
from startkit.units import SI

SHEET = """
[machine]
tag = "T-1"
serial = "0001"
refrigerant = "R-134a"
refrigerant_charge = "500 kg"
[site]
plant = "Test hall"
elevation = "0 m"
machinery_room_area = "120 m²"
[motor]
rated_power = "300 kW"
voltage = "400 V"
frequency = "50 Hz"
full_load_current = "500 A"
locked_rotor_current = "3000 A"
starter = "wye-delta"
speed = "2960 r/min"
poles = 2
winding = "random-wound"
run_up_time = "20 s"
overcurrent_trip = "108 %"
start_to_start = "30 min"
stop_to_start = "5 min"
vibration_group = 2
support = "rigid"
[vanes]
opening_time = "40 s"
closing_time = "40 s"
[oil]
kind = "polyol ester"
grade = "ISO VG 68"
charge = "40 L"
viscosity_40 = "68 mm²/s"
viscosity_100 = "8.6 mm²/s"
pump = "fixed speed"
differential_set_point = "150 kPa"
low_trip = "100 kPa"
filter_drop_clean = "20 kPa"
filter_drop_change = "100 kPa"
pre_lube_time = "30 s"
post_lube_time = "60 s"
coast_down_time = "90 s"
[evaporator]
design_flow = "75 L/s"
design_pressure_drop = "55 kPa"
design_pressure = "1200 kPa"
relief_setting = "1200 kPa"
[condenser]
design_flow = "95 L/s"
design_pressure_drop = "60 kPa"
design_pressure = "1200 kPa"
relief_setting = "1200 kPa"
[loop]
volume = "50 m³"
connected_load = "200 kW"
[selection]
document = "Test selection"
[[selection.points]]
load = "100 %"
capacity = "1760 kW"
power = "295 kW"
entering_chilled = "12.5 °C"
leaving_chilled = "7.0 °C"
entering_condenser = "30.0 °C"
leaving_condenser = "35.2 °C"
evaporator_approach = "1.1 K"
condenser_approach = "1.1 K"
[[selection.points]]
load = "50 %"
capacity = "880 kW"
power = "79.3 kW"
entering_chilled = "9.75 °C"
leaving_chilled = "7.0 °C"
entering_condenser = "19.0 °C"
leaving_condenser = "21.4 °C"
"""


@dataclass
class JobInMemory:
    """Machine, limits, stages and the entries so far; each entry a minute after the one before."""

    machine: machine_.Machine
    limits: limits_.Limits
    stages: dict[str, Stage]
    system: str = SI
    entries: list[Entry] = field(default_factory=list)


def exact(limits: limits_.Limits) -> limits_.Limits:
    """Limits that take readings without an instrument as exact: most tests are about one figure at
    one limit. What a missing instrument does is tested in test_judging and test_calibration_counts.
    """
    unmeasured = {key: replace(limit, measured=False) for key, limit in limits.items()}
    return limits_.Limits(unmeasured, limits.exemptions, limits.releases)


def _changed(table: dict[str, Any], changes: dict[str, Any]) -> dict[str, Any]:
    """The sheet with ``"motor.starter": "soft start"`` written over it; None takes a key out;
    ``"limits"`` is laid in whole.
    """
    for dotted, value in changes.items():
        if dotted == "limits":
            table["limits"] = value
            continue
        *path, last = dotted.split(".")
        section = table
        for part in path:
            section = section.setdefault(part, {})
        section.pop(last, None) if value is None else section.update({last: value})
    return table


@pytest.fixture
def make_job() -> Callable[..., JobInMemory]:
    """``make_job({"motor.starter": "soft start"}, system="I-P", stages={...})``."""

    def make(
        sheet_changes: dict[str, Any] | None = None,
        system: str = SI,
        stages: dict[str, Stage] | None = None,
    ) -> JobInMemory:
        machine = machine_.from_table(
            _changed(tomllib.loads(SHEET), sheet_changes or {}), "sheet.toml", SHEET
        )
        limits = exact(machine.limits_over(limits_.defaults(), "sheet.toml"))
        every = registered() if stages is None else stages
        return JobInMemory(
            machine,
            limits,
            {name: stage for name, stage in every.items() if stage.applies(machine)},
            system,
        )

    return make


def _entered(seq: int, value: str) -> str:
    """A minute after the entry before; what names a later time is entered when that has come."""
    at = f"2026-11-25T{8 + seq // 3600:02d}:{seq // 60 % 60:02d}:{seq % 60:02d}"
    happened = value.replace(" ", "T") if value[:10] == at[:10] else at
    return f"{max(at, f'{happened}:00'[:19])}+00:00"


@pytest.fixture
def put() -> Callable[..., None]:
    """``put(job, "stage.field", value, unit, who=, instrument=, note=, at=)``; dotted rows as in
    the journal: ``stage.table.1.column``.
    """

    def write(
        job: JobInMemory,
        what: str,
        value: Any,
        unit: str = "",
        who: str = "A. Tester",
        instrument: str = "",
        note: str = "",
        at: str = "",
    ) -> None:
        seq = len(job.entries) + 1
        job.entries.append(
            Entry(
                what,
                str(value),
                unit,
                who,
                instrument,
                note,
                at or _entered(seq, str(value)),
                seq,
            )
        )

    return write


@pytest.fixture
def assess() -> Callable[[JobInMemory], Assessment]:
    """The whole job judged as it stands."""
    return lambda job: Assessment(
        job.machine, job.limits, job.stages, State(tuple(job.entries)), job.system
    )


@pytest.fixture
def verdict_of(assess: Callable[[JobInMemory], Assessment]) -> Callable[[JobInMemory, str], Any]:
    """``verdict_of(job, "stage.item")``: that one verdict, waivers laid over it."""

    def find(job: JobInMemory, key: str) -> Any:
        found = {v.key: v for v in assess(job).findings(key.split(".")[0]).verdicts}
        assert key in found, f"{key} is not among {', '.join(found)}"
        return found[key]

    return find
