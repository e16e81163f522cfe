"""Recovery of the truth: readings of the model through instruments with errors, and how often a
figure's 95 % interval contains the truth.

Errors are drawn in two ways. *Normal*: each reading off by a normal error of the standard
uncertainty that its instrument's accuracy means; then a 95 % interval has to hold the truth
in 95 of 100 runs. *As stated*: each instrument off by one constant share of its stated accuracy,
evenly likely within it, as accuracies are printed; a figure that rests on a single instrument then
always lies within it, which is what an interval of 1.96 standard uncertainties makes of a
rectangle.

What the stage assumes without an instrument is drawn in the same way: the maker's curve where flow
comes from the pressure drop, the share and the properties of glycol, the losses of a drive.
"""

from __future__ import annotations

import math
import tempfile
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from startkit.facts import machine as machine_
from startkit.facts.job import State
from startkit.facts.journal import Entry
from startkit.facts.limits import defaults
from startkit.facts.machine import Machine
from startkit.procedure.circuits import CURVE, EXPONENT_U
from startkit.procedure.entries import JobEntries
from startkit.procedure.registry import stages
from startkit.science.performance import cooling_capacity
from startkit.science.water import GLYCOL_CP_U, Liquid
from startkit.stages.load_up import assumed
from startkit.stages.load_up.points import Point, points
from workbook.chiller_model import CELSIUS, Conditions, Steady
from workbook.fluids import refrigerant
from workbook.machines import MACHINES, Modelled
from workbook.people import SENSORS
from workbook.sensors_model import Sensor, stream

SHEETS = Path(__file__).resolve().parent / "plant" / "machines"
SHEET = SHEETS / "CH-1.toml"
LOADS = (0.985, 0.755, 0.505, 0.262)
NORMAL, STATED = "normal", "as stated"
_AT = "2026-04-16T10:00:00.000-04:00"
# Figures compared with the truth, with how they follow from it.
FIGURES = {
    "capacity": lambda s, m: s.capacity,
    "rejected": lambda s, m: s.rejection,
    "power": lambda s, m: s.power,
    "heat_balance": lambda s, m: 0.0,
    "heat_balance_rejected": lambda s, m: 0.0,
    "specific_power": lambda s, m: s.power / s.capacity,
    "cop": lambda s, m: s.capacity / s.power,
    "evaporator_approach": lambda s, m: s.evaporator_approach,
    "condenser_approach": lambda s, m: s.condenser_approach,
    "suction_superheat": lambda s, m: s.suction_temperature - s.evaporator_saturation,
    "discharge_superheat": lambda s, m: s.discharge_temperature - s.condenser_saturation,
    "subcooling": lambda s, m: _bubble(s, m) - s.liquid_temperature,
    "lift": lambda s, m: s.lift,
    "pressure_ratio": lambda s, m: s.condenser_pressure / s.evaporator_pressure,
    "evaporator_ua": lambda s, m: (
        s.capacity / _mean(s.entering_chilled - s.evaporator_saturation, s.evaporator_approach)
    ),
    "condenser_ua": lambda s, m: (
        s.rejection
        / _mean(s.condenser_saturation - s.conditions.entering_condenser, s.condenser_approach)
    ),
    "current": lambda s, m: s.current / m.full_load_current,
}


def _bubble(s: Steady, m: Modelled) -> float:
    return refrigerant(m.design.refrigerant).saturation_temperature(s.condenser_pressure, 0.0)


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


@dataclass(frozen=True)
class Case:
    """What a run is made with: machine, flow by meter or by drop, glycol in the chilled water.

    Parameters
    ----------
    name, tag : str
        As printed, and the machine's.
    barometer : float
        [kPa] at the site.
    metered : bool
        Flows read at meters; else from the pressure drops, off the maker's curve.
    glycol : float
        Share of propylene glycol by mass in the chilled water; 0: water.
    """

    name: str
    tag: str = "CH-1"
    barometer: float = 101.08
    metered: bool = True
    glycol: float = 0.0

    @property
    def machine(self) -> Modelled:
        return MACHINES[self.tag]

    def sheet(self) -> Machine:
        """The machine's sheet with the liquid of this case."""
        text = (SHEETS / f"{self.tag}.toml").read_text(encoding="utf-8")
        if self.glycol:
            liquid = f'fluid = "propylene glycol"\nglycol_mass_fraction = "{100 * self.glycol:g} %"'
            text = text.replace('fluid = "water"', liquid, 1)
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / f"{self.tag}.toml"
            path.write_text(text, encoding="utf-8")
            return machine_.load(path)


METERED = Case("CH-1, variable-speed drive, flows by meter")
CASES = (
    METERED,
    Case("CH-1, flows by pressure drop", metered=False),
    Case("CH-1, 25 % propylene glycol, flows by meter", glycol=0.25),
    Case("CH-1, 25 % propylene glycol, flows by pressure drop", metered=False, glycol=0.25),
    Case("CH-2, low pressure at 5,250 ft, flows by meter", "CH-2", 83.45),
    Case("CH-2, flows by pressure drop", "CH-2", 83.45, metered=False),
)


def coverage(
    runs: int,
    errors: str = NORMAL,
    seed: int = 600,
    loads: tuple[float, ...] = LOADS,
    case: Case = METERED,
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
    case : Case
    """
    sheet = case.sheet()
    hits: dict[str, list[tuple[bool, float]]] = {key: [] for key in FIGURES}
    for run in range(runs):
        truth = steady(case.tag, loads[run % len(loads)])
        rng = stream(seed, errors, run)
        passes = _drawn_power_share(sheet, errors, rng)
        found = _measured(case, sheet, truth, passes, errors, rng)
        for key, true_value in FIGURES.items():
            result = found.found.get(key)
            if result is not None:
                value, low, high, u = (
                    float(each.to_base_units().magnitude)
                    for each in (result.value, result.low, result.high, result.u)
                )
                due = float(true_value(truth, case.machine)) * BY_POWER.get(key, lambda share: 1.0)(
                    passes
                )
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


# The model's power all reaches refrigerant or water: what the meter reads is more by the losses.
BY_POWER = {
    "power": lambda share: 1 / share,
    "specific_power": lambda share: 1 / share,
    "cop": lambda share: share,
}


def _drawn(errors: str, half_width: float, rng: np.random.Generator) -> float:
    """A deviation for something known within a half-width."""
    if errors == STATED:
        return float(rng.uniform(-half_width, half_width))
    return float(rng.normal(0.0, half_width / 3**0.5))


def _drawn_power_share(sheet: Machine, errors: str, rng: np.random.Generator) -> float:
    """Share of the input power that reaches refrigerant or water, by the losses assumed."""
    return math.prod(x.passes + _drawn(errors, x.within, rng) for x in assumed.losses(sheet))


@cache
def steady(tag: str, load: float) -> Steady:
    """The truth of one machine at one load."""
    machine = MACHINES[tag]
    design = machine.conditions
    condenser = float(np.interp(load, *zip(*sorted(machine.relief.items()), strict=True)))
    return machine.as_built.steady(
        Conditions(
            load * design.capacity,
            design.leaving_chilled,
            CELSIUS + condenser,
            design.chilled_flow,
            design.condenser_flow,
        )
    )


def _measured(
    case: Case,
    sheet: Machine,
    s: Steady,
    power_share: float,
    errors: str,
    rng: np.random.Generator,
) -> Point:
    """The figures that the load-up makes of one set of readings."""
    cells = _cells(case, s)
    cells["power"] = ("WM-1", s.power / 1e3 / power_share)
    if case.glycol:
        cells["chilled_entering"] = ("TW-1", _entering_with_glycol(case, s, errors, rng) - CELSIUS)
    if not case.metered:
        cells |= _drops(sheet, s, errors, rng)
    bias = {tag: rng.uniform(-1, 1, 2) for tag in SENSORS}
    rows = [Entry("setup.barometer", f"{case.barometer}", "kPa", at=_AT)]
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


def _cells(case: Case, s: Steady) -> dict[str, tuple[str, float]]:
    """Instrument and true value in the instrument's unit."""
    at = s.conditions
    flows = {
        "evaporator_flow": ("FW-1", at.chilled_flow * 1e3),
        "condenser_flow": ("FW-2", at.condenser_flow * 1e3),
    }
    return {
        **(flows if case.metered else {}),
        "chilled_entering": ("TW-1", s.entering_chilled - CELSIUS),
        "chilled_leaving": ("TW-2", at.leaving_chilled - CELSIUS),
        "condenser_entering": ("TW-3", at.entering_condenser - CELSIUS),
        "condenser_leaving": ("TW-4", s.leaving_condenser - CELSIUS),
        "evaporator_pressure": ("PE-1", s.evaporator_pressure / 1e3 - case.barometer),
        "condenser_pressure": ("PC-1", s.condenser_total_pressure / 1e3 - case.barometer),
        "suction_temperature": ("TR-1", s.suction_temperature - CELSIUS),
        "discharge_temperature": ("TR-1", s.discharge_temperature - CELSIUS),
        "liquid_temperature": ("TR-1", s.liquid_temperature - CELSIUS),
        "current": ("AM-1", s.current),
    }


def _drops(
    sheet: Machine, s: Steady, errors: str, rng: np.random.Generator
) -> dict[str, tuple[str, float]]:
    """Pressure drops of these flows in exchangers not quite on their maker's curves."""
    found = {}
    for side, flow in (
        ("evaporator", s.conditions.chilled_flow),
        ("condenser", s.conditions.condenser_flow),
    ):
        design = getattr(sheet, side)
        exponent = design.flow_exponent + _drawn(errors, 3**0.5 * EXPONENT_U, rng)
        curve = 1 + _drawn(errors, CURVE, rng)
        ratio = flow / (curve * design.design_flow.to("meter**3/second").magnitude)
        drop = design.design_pressure_drop.to("kilopascal").magnitude * ratio ** (1 / exponent)
        found[f"{side}_drop"] = ("PW-1", float(drop))
    return found


def _entering_with_glycol(case: Case, s: Steady, errors: str, rng: np.random.Generator) -> float:
    """Entering chilled water [K] that carries the same capacity with a glycol whose share and
    properties are a little off those of the sheet.
    """
    share = case.glycol + _drawn(errors, 3**0.5 * assumed.SHARE_U, rng)
    tables = 1 + _drawn(errors, 3**0.5 * GLYCOL_CP_U, rng)
    of = Liquid("propylene glycol", share)
    leaving, flow = s.conditions.leaving_chilled, s.conditions.chilled_flow
    entering = leaving + 5.0
    for _ in range(6):  # the properties change little with temperature
        per_kelvin = cooling_capacity.si(flow, entering, leaving, None, of) / (entering - leaving)
        entering = leaving + s.capacity / (tables * per_kelvin)
    return float(entering)


def _with_error(
    sensor: Sensor, value: float, errors: str, bias: np.ndarray, rng: np.random.Generator
) -> float:
    if errors == STATED:
        return float(value * (1 + sensor.of_reading * bias[1]) + sensor.constant * bias[0])
    return float(
        value + rng.normal(0.0, (sensor.constant + sensor.of_reading * abs(value)) / 3**0.5)
    )
