"""Figures at each load: from one column of readings, or one stretch of a trend, to capacity, power,
heat balance, approaches, each with its uncertainty.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from itertools import combinations

import pint

from startkit.errors import StartkitError
from startkit.facts.machine import Machine
from startkit.procedure.circuits import taps
from startkit.procedure.entries import Entries
from startkit.procedure.oil_readings import zero_of
from startkit.procedure.reading import Reading, Row
from startkit.science.uncertainty import Propagated, propagate
from startkit.stages.load_up.assumed import assumed
from startkit.stages.load_up.formulas import BY_KEY, FORMULAS, Circuit, Formula, circuit
from startkit.unit_registry import bare
from startkit.units import Q

# Within this range a small temperature difference carries its error in a bent way: JCGM 101 instead
# of first order.
SMALL_RANGE = 3.0  # [K]
SIDES = ("evaporator", "condenser")
GAUGES = ("evaporator_pressure", "condenser_pressure")


@dataclass(frozen=True)
class Parts:
    """What a reading's standard uncertainty is made of [SI]; `barometer` is shared by all gauge
    pressures, `tag` names the instrument.
    """

    instrument: float = 0.0
    scatter: float = 0.0
    barometer: float = 0.0
    tag: str = ""

    @property
    def total(self) -> float:
        return (self.instrument**2 + self.scatter**2 + self.barometer**2) ** 0.5


@dataclass(frozen=True)
class Point:
    """One load: its readings and what was made of them; `why_not` says why a figure is missing,
    `flows` what the pressure drops say, `contradictions` what of it physics forbids.
    """

    row: Row
    label: str
    steady: bool
    readings: dict[str, Reading]
    found: dict[str, Propagated]
    why_not: dict[str, str]
    flows: dict[str, Reading] = field(default_factory=dict)
    unsteady: str = ""
    contradictions: tuple[str, ...] = ()
    unbalanced: bool = False

    @property
    def usable(self) -> bool:
        """Steady, and no reading contradicts another."""
        return self.steady and not self.contradictions

    @property
    def why_withheld(self) -> str:
        """Why its figures are not kept as the machine's; empty if they are."""
        if self.contradictions:
            return "its readings contradict each other"
        if not self.steady:
            return "not steady"
        return "the heat balance does not close" if self.unbalanced else ""

    def value(self, key: str) -> pint.Quantity | None:
        return self.found[key].value if key in self.found else None

    def u(self, key: str) -> pint.Quantity | None:
        """Standard uncertainty; None if that of any reading is not known: a part of a budget is not
        a budget.
        """
        found = self.found.get(key)
        if found is None or not found.budget:
            return None
        needs = BY_KEY[key].needs if key in BY_KEY else ()
        whole = all(self.readings[n].u is not None for n in needs if n in self.readings)
        return found.u if whole else None

    def by_drop(self, side: str) -> bool:
        """True if the flow of that side was taken from its pressure drop, not from a meter."""
        flow = self.flows.get(side)
        return flow is not None and self.readings.get(f"{side}_flow") is flow

    def reading(self, key: str) -> Reading:
        """A figure as a reading, with what is wrong with an instrument that it rests on."""
        needs = BY_KEY[key].needs if key in BY_KEY else ()
        parents = [self.readings[name] for name in needs if name in self.readings]
        return Reading.derived(self.value(key), self.u(key), *parents)

    @property
    def confirmation(self) -> tuple[str, ...]:
        """Items by which a person confirms that the machine was steady."""
        names = ("steady", "steady_by", "begin", "end", "chosen_by")
        return tuple(item for name in names for item in self.row.reading(name).items if "." in item)


def point(
    machine: Machine,
    entries: Entries,
    row: Row,
    constants: Circuit,
    scatter: Mapping[str, float] | None = None,
) -> Point:
    """All figures of one column of readings.

    Parameters
    ----------
    scatter : mapping, optional
        Standard error of the mean by reading [SI], where each reading is a mean over a stretch.
    """
    raw = {name: row.reading(name) for name in row.cells}
    if "oil_differential" in raw:
        raw["oil_differential"] = zero_of(entries.of("lube")).corrected(raw["oil_differential"])
    flows = {
        side: _flow_by_drop(machine, entries, side, raw.get(f"{side}_drop", Reading()))
        for side in SIDES
    }
    parts = {name: _parts(name, reading, entries, scatter or {}) for name, reading in raw.items()}
    readings = {name: _with_total(reading, parts[name]) for name, reading in raw.items()}
    for side, flow in flows.items():
        if readings.get(f"{side}_flow", Reading()).quantity is None:
            # A flow that no meter gave is taken from its pressure drop.
            readings[f"{side}_flow"] = flow
    taken = {**readings, **assumed(machine, entries.of("water"))}
    found, why_not = _figures(taken, parts, constants, entries)
    label = row.text("label") or f"point {row.index}"
    return Point(
        row,
        label,
        row.yes("steady") is True and bool(row.text("steady_by")),
        readings,
        found,
        why_not,
        flows,
    )


def _figures(
    readings: dict[str, Reading], parts: dict[str, Parts], constants: Circuit, entries: Entries
) -> tuple[dict[str, Propagated], dict[str, str]]:
    found: dict[str, Propagated] = {}
    why_not: dict[str, str] = {}
    for formula in FORMULAS:
        missing = [n for n in formula.needs if readings.get(n, Reading()).quantity is None]
        if missing:
            why_not[formula.key] = f"needs {', '.join(n.replace('_', ' ') for n in missing)}"
            continue
        try:
            found[formula.key] = _figure(formula, readings, parts, constants, entries)
        except StartkitError as error:
            why_not[formula.key] = str(error)
    return found, why_not


def _parts(name: str, reading: Reading, entries: Entries, scatter: Mapping[str, float]) -> Parts:
    if reading.quantity is None or reading.u is None:
        return Parts()
    shared = entries.job.barometer.u
    gauge = name in GAUGES and shared is not None and not _said_absolute(reading)
    tag = reading.entry.instrument if reading.entry is not None else ""
    return Parts(
        float(reading.u.to_base_units().magnitude),
        scatter.get(name, 0.0),
        float(shared.to_base_units().magnitude) if gauge and shared is not None else 0.0,
        tag,
    )


def _said_absolute(reading: Reading) -> bool:
    unit = (reading.entry.unit if reading.entry is not None else "") + reading.text
    return "abs" in unit or "psia" in unit or "bara" in unit


def _with_total(reading: Reading, parts: Parts) -> Reading:
    if reading.u is None or not (parts.scatter or parts.barometer):
        return reading
    return replace(reading, u=Q(parts.total, reading.u.to_base_units().units))


def _flow_by_drop(machine: Machine, entries: Entries, side: str, drop: Reading) -> Reading:
    """Flow from an exchanger's pressure drop, by the taps as they were found in Water."""
    if drop.quantity is None or drop.quantity.magnitude <= 0:
        return Reading(items=drop.items)
    try:
        return taps(getattr(machine, side), entries.of("water"), side).flow(drop)
    except StartkitError:
        return Reading(items=drop.items)


def _figure(
    formula: Formula,
    readings: dict[str, Reading],
    parts: dict[str, Parts],
    constants: Circuit,
    entries: Entries,
) -> Propagated:
    needs = [(name, readings[name]) for name in formula.needs]
    values = {name: each.quantity for name, each in needs if each.quantity is not None}
    u = {name: each.u for name, each in needs if each.u is not None}
    correlation = _correlation(tuple(u), parts, entries)
    key = (
        formula.key,
        constants,
        *(tuple((n, q.magnitude, q.units) for n, q in given.items()) for given in (values, u)),
        tuple(correlation.items()),
    )
    if key not in _KEPT:
        if len(_KEPT) >= _MOST_KEPT:
            _KEPT.clear()
        method = "Monte Carlo" if u and _small_range(values) else "first order"
        _KEPT[key] = propagate(
            lambda **bare: formula.make(constants, **bare),
            values,
            u,
            correlation,
            method,
            formula.unit,
            trials=20_000,
        )
    return _KEPT[key]


# The same readings give the same figure: a job is judged anew at every entry, and only what changed
# is calculated again.
_KEPT: dict[tuple[object, ...], Propagated] = {}
_MOST_KEPT = 4000


def _small_range(values: dict[str, pint.Quantity]) -> bool:
    for side in ("chilled", "condenser"):
        entering, leaving = (values.get(f"{side}_{end}") for end in ("entering", "leaving"))
        if entering is None or leaving is None:
            continue
        if abs(bare(entering, "kelvin") - bare(leaving, "kelvin")) < SMALL_RANGE:
            return True
    return False


def _correlation(
    names: tuple[str, ...], parts: dict[str, Parts], entries: Entries
) -> dict[tuple[str, str], float]:
    """Correlations of readings taken with matched pairs, and of gauge pressures that share the
    barometer.
    """
    found = {}
    for first, second in combinations(names, 2):
        one, other = parts.get(first, Parts()), parts.get(second, Parts())
        covariance = (
            one.barometer * other.barometer
            + _pair(one.tag, other.tag, entries) * one.instrument * other.instrument
        )
        if covariance and one.total and other.total:
            found[first, second] = covariance / (one.total * other.total)
    return found


def _pair(first: str, second: str, entries: Entries) -> float:
    one, other = (entries.job.instruments.get(tag) for tag in (first, second))
    return 0.0 if one is None or other is None or first == second else one.correlation(other)


def points(machine: Machine, entries: Entries) -> tuple[tuple[Point, ...], str]:
    """Every load's point as typed, and one sentence if the machine's sheet does not allow figures
    at all.
    """
    try:
        constants = circuit(machine, entries.of("water"))
    except StartkitError as error:
        return (), str(error)
    return tuple(point(machine, entries, row, constants) for row in entries.rows("points")), ""


def load_of(found: Point) -> float | None:
    """Load as a fraction of the selection's full capacity."""
    value = found.value("load")
    return None if value is None else float(bare(value, "dimensionless"))


def top(found: tuple[Point, ...]) -> Point | None:
    """The highest load whose figures can be used; without one, the highest load."""
    known = [p for p in found if load_of(p) is not None]
    return max(known, key=lambda p: (not p.why_withheld, load_of(p)), default=None)
