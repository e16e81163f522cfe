"""Recovery of the truth: readings of the model through instruments with errors, and how often a
figure's 95 % interval holds what was so.

Errors are drawn in two ways. *Normal*: each reading off by a normal error of the standard
uncertainty that its
instrument's accuracy stands for; then a 95 % interval has to hold the truth in 95 of 100 runs. *As
stated*:
each instrument off by one constant share of its stated accuracy, evenly likely within it, as
accuracies are
printed; a figure that hangs on a single instrument then lies within its interval always, which is
what an interval of
1.96 standard uncertainties makes of a rectangle.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from startkit.facts import machine as machine_
from startkit.facts.job import State
from startkit.facts.journal import Entry
from startkit.facts.limits import defaults
from startkit.facts.machine import Machine
from startkit.procedure.entries import JobEntries
from startkit.procedure.registry import stages
from startkit.stages.load_up.points import Point, points
from workbook.chiller_model import CELSIUS, Conditions, Steady
from workbook.fluids import refrigerant
from workbook.machines import CH1
from workbook.people import SENSORS
from workbook.sensors_model import Sensor, stream

SHEET = Path(__file__).resolve().parent / "plant" / "machines" / "CH-1.toml"
BAROMETER = 101.08  # kPa
LOADS = (0.985, 0.755, 0.505, 0.262)
NORMAL, STATED = "normal", "as stated"
_AT = "2026-04-16T10:00:00.000-04:00"
# Figures held against the truth, with how they follow from it.
FIGURES = {
    "capacity": lambda s: s.capacity,
    "rejected": lambda s: s.rejection,
    "power": lambda s: s.power,
    "heat_balance": lambda s: 0.0,
    "heat_balance_rejected": lambda s: 0.0,
    "specific_power": lambda s: s.power / s.capacity,
    "cop": lambda s: s.capacity / s.power,
    "evaporator_approach": lambda s: s.evaporator_approach,
    "condenser_approach": lambda s: s.condenser_approach,
    "suction_superheat": lambda s: s.suction_temperature - s.evaporator_saturation,
    "discharge_superheat": lambda s: s.discharge_temperature - s.condenser_saturation,
    "subcooling": lambda s: _bubble(s) - s.liquid_temperature,
    "lift": lambda s: s.lift,
    "pressure_ratio": lambda s: s.condenser_pressure / s.evaporator_pressure,
    "evaporator_ua": lambda s: (
        s.capacity / _mean(s.entering_chilled - s.evaporator_saturation, s.evaporator_approach)
    ),
    "condenser_ua": lambda s: (
        s.rejection
        / _mean(s.condenser_saturation - s.conditions.entering_condenser, s.condenser_approach)
    ),
    "current": lambda s: s.current / CH1.full_load_current,
}


def _bubble(s: Steady) -> float:
    return refrigerant(CH1.design.refrigerant).saturation_temperature(s.condenser_pressure, 0.0)


def _mean(first: float, second: float) -> float:
    return (first - second) / float(np.log(first / second))


@dataclass(frozen=True)
class Held:
    """How often one figure's interval held the truth.

    Parameters
    ----------
    key : str
    runs, held : int
    off : float
        Mean deviation over its standard uncertainty: far from zero would be a bias of the formulas.
    """

    key: str
    runs: int
    held: int
    off: float

    @property
    def share(self) -> float:
        return self.held / self.runs if self.runs else float("nan")


def coverage(
    runs: int, errors: str = NORMAL, seed: int = 600, loads: tuple[float, ...] = LOADS
) -> dict[str, Held]:
    """Coverage of every figure over so many runs, each with fresh errors, the loads in turn.

    Parameters
    ----------
    runs : int
    errors : str
        `NORMAL` or `STATED`.
    seed : int
    loads : tuple of float
        Shares of design capacity.
    """
    sheet = machine_.load(SHEET)
    hits: dict[str, list[tuple[bool, float]]] = {key: [] for key in FIGURES}
    for run in range(runs):
        truth = steady(loads[run % len(loads)])
        found = _measured(sheet, truth, errors, stream(seed, errors, run))
        for key, true_value in FIGURES.items():
            result = found.found.get(key)
            if result is not None:
                value, low, high, u = (
                    float(each.to_base_units().magnitude)
                    for each in (result.value, result.low, result.high, result.u)
                )
                due = float(true_value(truth))
                hits[key].append((low <= due <= high, (value - due) / u))
    return {
        key: Held(
            key,
            len(rows),
            sum(hit for hit, _ in rows),
            float(np.mean([off for _, off in rows])) if rows else 0.0,
        )
        for key, rows in hits.items()
    }


@cache
def steady(load: float) -> Steady:
    """The truth at one load."""
    design = CH1.conditions
    condenser = float(np.interp(load, *zip(*sorted(CH1.relief.items()), strict=True)))
    return CH1.as_built.steady(
        Conditions(
            load * design.capacity,
            design.leaving_chilled,
            CELSIUS + condenser,
            design.chilled_flow,
            design.condenser_flow,
        )
    )


def _measured(sheet: Machine, s: Steady, errors: str, rng: np.random.Generator) -> Point:
    """The figures that the load-up makes of one set of readings."""
    cells = _cells(s)
    bias = {tag: rng.uniform(-1, 1, 2) for tag in SENSORS}
    rows = [Entry("setup.barometer", f"{BAROMETER}", "kPa", at=_AT)]
    for n, sensor in enumerate(SENSORS.values(), 1):
        rows += [
            Entry(f"setup.instruments.{n}.{column}", value, at=_AT)
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
    for name, (tag, value) in cells.items():
        shown = _with_error(SENSORS[tag], value, errors, bias[tag], rng)
        rows.append(
            Entry(
                f"load_up.points.1.{name}",
                f"{shown:.9f}",
                SENSORS[tag].unit,
                "A. Tester",
                tag,
                at=_AT,
            )
        )
    rows += [
        Entry(f"load_up.points.1.{name}", value, "", "A. Tester", at=_AT)
        for name, value in (("label", "one"), ("steady", "yes"), ("steady_by", "A. Tester"))
    ]
    entries = JobEntries(_stages(), State(tuple(rows)), sheet, limits=_limits())
    return points(sheet, entries.stage("load_up"))[0][0]


@cache
def _stages():
    return stages()


@cache
def _limits():
    return defaults()


def _cells(s: Steady) -> dict[str, tuple[str, float]]:
    """Instrument and true value in the instrument's unit."""
    at = s.conditions
    return {
        "chilled_entering": ("TW-1", s.entering_chilled - CELSIUS),
        "chilled_leaving": ("TW-2", at.leaving_chilled - CELSIUS),
        "evaporator_flow": ("FW-1", at.chilled_flow * 1e3),
        "condenser_entering": ("TW-3", at.entering_condenser - CELSIUS),
        "condenser_leaving": ("TW-4", s.leaving_condenser - CELSIUS),
        "condenser_flow": ("FW-2", at.condenser_flow * 1e3),
        "evaporator_pressure": ("PE-1", s.evaporator_pressure / 1e3 - BAROMETER),
        "condenser_pressure": ("PC-1", s.condenser_total_pressure / 1e3 - BAROMETER),
        "suction_temperature": ("TR-1", s.suction_temperature - CELSIUS),
        "discharge_temperature": ("TR-1", s.discharge_temperature - CELSIUS),
        "liquid_temperature": ("TR-1", s.liquid_temperature - CELSIUS),
        "power": ("WM-1", s.power / 1e3),
        "current": ("AM-1", s.current),
    }


def _with_error(
    sensor: Sensor, value: float, errors: str, bias: np.ndarray, rng: np.random.Generator
) -> float:
    if errors == STATED:
        return float(value * (1 + sensor.of_reading * bias[1]) + sensor.constant * bias[0])
    return float(
        value + rng.normal(0.0, (sensor.constant + sensor.of_reading * abs(value)) / 3**0.5)
    )
