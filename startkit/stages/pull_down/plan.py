"""The plan of a pull-down: what it rests on, and time and risk over the current limit."""

# `Any` here: a plan's arguments are quantities, curves and plain figures.
from __future__ import annotations

import math
from collections.abc import Callable, Set
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import pint

from startkit.errors import StartkitError
from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.selection import liquid_of
from startkit.procedure.series import clock, dead_sensors, on_even_clock
from startkit.science import machine_curve, pulldown, pulldown_course, ripple
from startkit.science.loop import Course, heat_capacity_from_ramp, loop_heat_capacity
from startkit.science.ripple import Ripple
from startkit.units import Q

DEFAULT, SHEET, TYPED = "default of this workbook", "machine sheet", "entered"
ROOT3 = math.sqrt(3)  # half-width to standard uncertainty, JCGM 100:2008, 4.3.7


@dataclass(frozen=True)
class Basis:
    """One figure that the plan rests on: value, half-width, and where it comes from."""

    name: str
    label: str
    value: pint.Quantity
    kind: str
    within: pint.Quantity | None = None
    origin: str = ""


@dataclass(frozen=True)
class Inputs:
    """Everything that the plan is calculated from, bare SI: equal inputs give the same plan."""

    start: float
    target: float
    heat_capacity: float
    u_heat_capacity: float
    load: float
    u_load: float
    u_capacity: float
    flow_capacity: float
    water_heat: float
    trip: float
    u_trip: float
    delay: float
    risk: float
    chosen: float | None


@dataclass(frozen=True)
class Swing:
    """How the current's swing is known, hashable: ``("trend", bytes, interval, level)`` or
    ``("range", low, high, looks, interval, level)``.
    """

    parts: tuple[Any, ...]


@dataclass(frozen=True)
class Planned:
    """A plan for which everything is known: time and chance of a trip, one row for each limit."""

    inputs: Inputs
    curve: Any
    rows: pulldown.Plan

    @property
    def proposed(self) -> float | None:
        """The limit to take [1]; None if there is none."""
        return None if math.isnan(self.rows.proposed) else float(self.rows.proposed)

    def at(self, limit: float, what: str) -> float:
        """`what` at a limit, interpolated linearly between the rows."""
        return float(np.interp(limit, self.rows.limit, getattr(self.rows, what)))


@dataclass(frozen=True)
class PullPlan:
    """What is known and what is missing; `planned` is None if anything it needs is missing."""

    basis: tuple[Basis, ...]
    lacking: tuple[str, ...]
    inputs: Inputs | None
    curve: Any
    ripple: Ripple | None
    swing_lacking: str
    planned: Planned | None
    hold: float | None  # s
    problems: tuple[str, ...]

    def figure(self, name: str) -> Basis | None:
        """One figure that the plan rests on; None if it is not known."""
        return next((basis for basis in self.basis if basis.name == name), None)

    @property
    def proposed(self) -> float | None:
        """The limit to take [1]; None if there is none, or no plan."""
        return None if self.planned is None else self.planned.proposed


def collect(machine: Machine, limits: Limits, entries: Entries) -> PullPlan:
    """Read everything once; one sentence for each thing that cannot be used."""
    problems: list[str] = []
    basis, lacking = _basis(machine, limits, entries)
    inputs = None if lacking else _guarded(lambda: _inputs(machine, entries, basis), problems)
    curve = _guarded(lambda: curve_of(machine, basis), problems)
    swing, swing_lacking = _swing(machine, entries, problems)
    found = None if swing is None else _guarded(lambda: _ripple(swing), problems)
    planned = None
    if inputs is not None and curve is not None and found is not None:
        rows = _guarded(lambda: _planned(inputs, curve, swing), problems)
        planned = None if rows is None else Planned(inputs, curve, rows)
    hold = entries.quantity("hold")
    return PullPlan(
        tuple(basis.values()),
        lacking,
        inputs,
        curve,
        found,
        swing_lacking,
        planned,
        None if hold is None else float(hold.to("second").magnitude),
        tuple(problems),
    )


def _guarded(work: Callable[[], Any], problems: list[str]) -> Any:
    try:
        return work()
    except StartkitError as error:
        problems.append(str(error))
        return None


# --- what it rests on ----------------------------------------------------------------------------


def _first(*candidates: tuple[pint.Quantity | None, str]) -> tuple[pint.Quantity | None, str]:
    """The first figure that is known, and where it comes from."""
    return next(((value, origin) for value, origin in candidates if value is not None), (None, ""))


def _basis(
    machine: Machine, limits: Limits, entries: Entries
) -> tuple[dict[str, Basis], tuple[str, ...]]:
    design, loop, accepted = machine.design, machine.loop, limits["pull_down.risk"]
    rows: dict[str, tuple[str, str, tuple[tuple[pint.Quantity | None, str], ...]]] = {
        "start": ("Water in the loop", "temperature", ((entries.quantity("start"), TYPED),)),
        "target": (
            "Leaving water at the end",
            "temperature",
            ((entries.quantity("target"), TYPED), (design.leaving_chilled, SHEET)),
        ),
        "volume": (
            "Loop volume",
            "loop_volume",
            ((entries.quantity("volume"), TYPED), (loop.volume, SHEET)),
        ),
        "ramp": ("Ramp already observed", "ramp", ((entries.quantity("ramp"), TYPED),)),
        "ramp_heat": (
            "Net heat during this ramp",
            "cooling",
            ((entries.quantity("ramp_heat"), TYPED),),
        ),
        "load": (
            "Connected load",
            "cooling",
            ((entries.quantity("load"), TYPED), (loop.connected_load, SHEET)),
        ),
        "flow": (
            "Chilled-water flow",
            "flow",
            ((entries.quantity("flow"), TYPED), (machine.evaporator.design_flow, SHEET)),
        ),
        "condenser_entering": (
            "Entering condenser water",
            "temperature",
            ((entries.quantity("condenser_entering"), TYPED), (design.entering_condenser, SHEET)),
        ),
        "growth": (
            "Growth of capacity and current per kelvin",
            "percent",
            (
                (entries.quantity("growth"), TYPED),
                (loop.capacity_growth, SHEET),
                (Q(0.0, "percent"), "not known: none assumed"),
            ),
        ),
        "capacity": ("Capacity at full load", "cooling", ((design.capacity, SHEET),)),
        "trip": ("Overcurrent trip", "percent", ((machine.motor.overcurrent_trip, SHEET),)),
        "delay": (
            "Time the overcurrent must last to trip",
            "time",
            (
                (entries.quantity("trip_delay"), TYPED),
                (machine.motor.overcurrent_delay, SHEET),
                (Q(0.0, "second"), DEFAULT),
            ),
        ),
        "risk": (
            "Chance of a trip accepted",
            "percent",
            ((entries.quantity("risk"), TYPED), (accepted.high, accepted.origin)),
        ),
    }
    found = {}
    for name, (label, kind, values) in rows.items():
        value, origin = _first(*values)
        if value is not None:
            found[name] = Basis(name, label, value, kind, _within(name, entries, value), origin)
    return found, _lacking(found.keys())


def _within(name: str, entries: Entries, value: pint.Quantity) -> pint.Quantity | None:
    """Half-width of what is not known better: typed, else the default."""
    shares = {
        "volume": ("volume_known", 20.0),
        "load": ("load_known", 25.0),
        "capacity": ("capacity_known", 10.0),
        "ramp": ("volume_known", 20.0),
    }
    if name not in (*shares, "trip"):
        return None
    if name == "trip":
        return _typed(entries, "trip_known", 1.0)
    share = _typed(entries, *shares[name])
    return (value * share.to("dimensionless")).to(value.units)


def _typed(entries: Entries, name: str, default: float) -> pint.Quantity:
    typed = entries.quantity(name)
    return typed if typed is not None else Q(default, "percent")


def _lacking(known: Set[str]) -> tuple[str, ...]:
    by_ramp = {"ramp", "ramp_heat"} <= known
    needed = {"start": "the water's temperature in the loop", "load": "the connected load"} | (
        {} if by_ramp else {"volume": "the loop's volume, or a ramp already observed with its heat"}
    )
    return tuple(said for name, said in needed.items() if name not in known)


def _inputs(machine: Machine, entries: Entries, basis: dict[str, Basis]) -> Inputs:
    """The basis in bare SI.

    Raises
    ------
    StartkitError
        The set point is not below the loop's water, or the loop has no heat capacity.
    """
    start, target = (
        float(basis[name].value.to("kelvin").magnitude) for name in ("start", "target")
    )
    if target >= start:
        raise StartkitError(
            "the set point is not below the water in the loop",
            "pull-down",
            "there is nothing to pull down: mark the stage as not applicable with this reason",
        )
    liquid, mean = liquid_of(machine.evaporator), Q((start + target) / 2, "kelvin")
    capacity, share = _heat_capacity(machine, basis, liquid, mean)
    chosen, load = entries.quantity("chosen"), basis["load"]
    warmth = water_heat(liquid, mean)
    return Inputs(
        start,
        target,
        capacity,
        capacity * share / ROOT3,
        _si(load.value),
        _half_width(load) / ROOT3,
        _relative(basis["capacity"]) / ROOT3,
        _si(basis["flow"].value) * warmth,
        warmth,
        _si(basis["trip"].value),
        _half_width(basis["trip"]) / ROOT3,
        _si(basis["delay"].value),
        _si(basis["risk"].value),
        None if chosen is None else _si(chosen),
    )


def _si(quantity: pint.Quantity) -> float:
    return float(quantity.to_base_units().magnitude)


def _half_width(basis: Basis) -> float:
    """In SI; nil for a figure that is taken as exact."""
    return 0.0 if basis.within is None else _si(basis.within)


def _relative(basis: Basis) -> float:
    """Half-width over value [1]."""
    return _half_width(basis) / _si(basis.value)


def _heat_capacity(
    machine: Machine, basis: dict[str, Basis], liquid: Any, mean: pint.Quantity
) -> tuple[float, float]:
    """Heat capacity of the loop [J/K] and its relative half-width; a ramp already seen goes before
    the volume.
    """
    from startkit.science import water

    if "ramp" in basis and "ramp_heat" in basis:
        return float(
            heat_capacity_from_ramp(basis["ramp_heat"].value, basis["ramp"].value).magnitude
        ), _relative(basis["ramp"])
    volume = basis["volume"]
    found = loop_heat_capacity(
        volume.value,
        water.density(mean, liquid),
        water.heat_capacity(mean, liquid),
        machine.loop.metal if machine.loop.metal is not None else Q(0.0, "kilogram"),
    )
    return float(found.magnitude), _relative(volume)


def water_heat(liquid: Any, at: pint.Quantity) -> float:
    """rho cp of the loop's water or glycol [J/m3 K]."""
    from startkit.science import water

    return float(
        water.density(at, liquid).to("kg/m**3").magnitude
        * water.heat_capacity(at, liquid).to("J/kg/delta_degC").magnitude
    )


def curve_of(machine: Machine, basis: dict[str, Basis]) -> Any:
    """The machine under a current limit: by the maker's curves if the sheet holds them, else by its
    part-load table.

    Raises
    ------
    StartkitError
        The table has too few rows, or its power does not rise with load.
    """
    curves = machine.curves
    if curves.given:
        least = (
            float(curves.least_load.to("dimensionless").magnitude)
            if curves.least_load is not None
            else 0.2
        )
        return machine_curve.machine_from_curves(
            curves.reference_capacity,
            Q(curves.reference_cop, "dimensionless"),
            curves.capacity,
            curves.power,
            curves.part_load,
            basis["condenser_entering"].value,
            curves.leaving_from,
            curves.leaving_to,
            least,
            full_load_input(machine),
        )
    rows, full = machine.selection.points, full_load_input(machine)
    loads: pint.Quantity = Q(
        [_si(row.capacity) / _si(machine.design.capacity) for row in rows], "dimensionless"
    )
    currents: pint.Quantity = Q([_si(row.power) / _si(full) for row in rows], "dimensionless")
    return machine_curve.machine_from_table(
        machine.design.capacity,
        machine.design.leaving_chilled,
        loads,
        currents,
        Q(_si(basis["growth"].value), "1/delta_degC"),
    )


def full_load_input(machine: Machine) -> pint.Quantity:
    """Input power at full-load current: of the motor where its efficiency is known, else of the
    selection's full load.

    Current is taken in proportion to power between there and part load (common practice, no
    source).
    """
    motor = machine.motor
    return (
        motor.rated_power / motor.efficiency.to("dimensionless")
        if motor.efficiency is not None
        else machine.design.power
    )


# --- the current's swing -------------------------------------------------------------------------


def _swing(machine: Machine, entries: Entries, problems: list[str]) -> tuple[Swing | None, str]:
    """From the trend if there is one, else from lowest and highest; or what is lacking."""
    full = float(machine.motor.full_load_current.to("ampere").magnitude)
    level = entries.quantity("trend_limit")
    held = None if level is None else _si(level)
    if entries.entry("current_trend") is not None:
        return _by_trend(entries, full, held, problems)
    low, high, watched = (
        entries.quantity(name) for name in ("current_low", "current_high", "watched")
    )
    if low is None or high is None or watched is None:
        return (
            None,
            "neither a trend of the current nor its lowest and highest with the time watched",
        )
    step = entries.quantity("display_step")
    interval = 2.0 if step is None else _si(step)
    return (
        Swing(
            (
                "range",
                _si(low) / full,
                _si(high) / full,
                max(int(_si(watched) / interval), 1),
                interval,
                held,
            )
        ),
        "",
    )


def _by_trend(
    entries: Entries, full: float, held: float | None, problems: list[str]
) -> tuple[Swing | None, str]:
    name, block = entries.fields["current_trend"].question, entries.block("current_trend")
    kept = clock(block, name)
    columns, dead = dead_sensors(block, kept.rows, name, {"current": "current"})
    problems += [*kept.problems, *dead]
    if len(kept.time) < 3:
        return None, "a trend of the current with more than two readings"
    interval, even = on_even_clock(kept.time, columns["current"] / full)
    return Swing(("trend", even.tobytes(), interval, held)), ""


@lru_cache(maxsize=8)
def _ripple(swing: Swing) -> Ripple:
    kind, *parts = swing.parts
    if kind == "trend":
        raw, interval, held = parts
        return ripple.ripple_from_trend.si(np.frombuffer(raw), interval, held)
    return ripple.ripple_from_range.si(*parts)


# --- the plan ------------------------------------------------------------------------------------

# The journal is judged anew at each entry; a plan takes most of a second and depends on these
# alone.


@lru_cache(maxsize=8)
def _planned(inputs: Inputs, curve: Any, swing: Swing) -> pulldown.Plan:
    limits = sorted(
        {*pulldown.LIMITS, *(() if inputs.chosen is None else (round(inputs.chosen, 4),))}
    )
    return pulldown.plan.si(
        curve,
        _ripple(swing),
        inputs.start,
        inputs.target,
        inputs.heat_capacity,
        inputs.load,
        inputs.trip,
        inputs.risk,
        inputs.delay,
        inputs.u_trip,
        inputs.u_heat_capacity,
        inputs.u_load,
        inputs.u_capacity,
        inputs.flow_capacity,
        limits=tuple(limits),
    )


@lru_cache(maxsize=32)
def course(inputs: Inputs, curve: Any, limit: float, hold: float) -> Course:
    """The planned course at one limit."""
    return pulldown_course.planned_course.si(
        curve,
        limit,
        inputs.start,
        inputs.target,
        inputs.heat_capacity,
        inputs.load,
        hold,
        flow_capacity=inputs.flow_capacity,
    )


__all__ = ["Basis", "Inputs", "Planned", "PullPlan", "collect", "course", "water_heat"]
