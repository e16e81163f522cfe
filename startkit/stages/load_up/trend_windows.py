"""Steady stretches of a trend: where all relevant readings were steady, shown to a person who
chooses; and the means over the chosen ones.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import pint

from startkit.errors import StartkitError
from startkit.facts.journal import Entry
from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.facts.trend.quality import STUCK, UNUSABLE
from startkit.facts.trend.trend import Trend
from startkit.procedure.entries import Entries
from startkit.procedure.reading import Reading, Row
from startkit.science import steadiness
from startkit.science.steadiness import Hunting, Tolerance
from startkit.stages.load_up.formulas import circuit
from startkit.stages.load_up.points import Point, point
from startkit.stages.load_up.trend_figures import NOTHING_BETWEEN, TrendFigures, figures
from startkit.units import KINDS, Q

TEMPERATURES = ("chilled_entering", "chilled_leaving", "condenser_entering", "condenser_leaving")
FLOWS, DRIVEN = ("evaporator_flow", "condenser_flow"), ("power", "current")
# of design power or full-load current, above which the machine counts as running (own default)
RUNNING = 0.05
SHOWN = ("load", "lift", "specific_power", "heat_balance")


@dataclass(frozen=True)
class Stretch:
    """A steady stretch: first and last index into the trend's clock, and the moments."""

    first: int
    last: int
    begin: float
    end: float


@dataclass(frozen=True)
class Swing:
    """Hunting found: of which reading, around which moment."""

    reading: str
    at: float
    hunting: Hunting


@dataclass(frozen=True)
class Steady:
    """What was found of a trend.

    Parameters
    ----------
    trend : Trend
    figures : TrendFigures
    stretches : tuple of Stretch
    window : float
        Length over which it was judged [s].
    swings : tuple of Swing
    spoiled : dict of str -> float
        Share of windows in which a reading was not steady.
    notes : tuple of str
        How it was judged, where that is not the ordinary way.
    """

    trend: Trend
    figures: TrendFigures
    stretches: tuple[Stretch, ...]
    window: float
    swings: tuple[Swing, ...]
    spoiled: Mapping[str, float]
    notes: tuple[str, ...]

    def within(self, first: int, last: int) -> bool:
        """True if these rows are inside one steady stretch."""
        return any(each.first <= first and last <= each.last for each in self.stretches)


# --- steady stretches -----------------------------------------------------------------------------


def chosen_trend(entries: Entries) -> tuple[Trend | None, str]:
    """The trend named in the stage, and one sentence if it is not available."""
    name, trends = entries.text("trend"), entries.job.trends
    if not name:
        waiting = (
            f"Imported but not used: {', '.join(trends)}. Enter a name in Trend to use it."
            if len(trends)
            else ""
        )
        return None, waiting
    if name not in trends:
        known = (
            f"imported are {', '.join(trends)}"
            if len(trends)
            else "none is imported; use the command trend"
        )
        return None, f"Trend: no trend is called {name!r}; {known}."
    return trends[name], ""


def steady(
    machine: Machine,
    limits: Limits,
    trend: Trend,
    barometer: pint.Quantity,
    net_shares: Mapping[str, float] = NOTHING_BETWEEN,
) -> Steady:
    """Where the machine ran and was steady, by the limits ``load_up.steady_*``.

    Raises
    ------
    ScienceError
        The trend lacks what steadiness is judged by.
    """
    # The same trend, limits and barometer: a job is judged anew at every entry.
    key = (
        trend.digest or id(trend),
        trend.columns and tuple(trend.columns.items()),
        str(barometer),
        tuple(str(limits[k]) for k in _KEYS),
        tuple(net_shares.items()),
    )
    return _found(_Asked(key, machine, limits, trend, barometer, net_shares))


_KEYS = tuple(
    f"load_up.steady_{name}"
    for name in ("window", "readings", "temperature", "flow", "power", "slope")
)


class _Asked:
    """The arguments of one search, alike if trend, limits and barometer are."""

    def __init__(
        self,
        key: tuple,
        machine: Machine,
        limits: Limits,
        trend: Trend,
        barometer: pint.Quantity,
        net_shares: Mapping[str, float],
    ) -> None:
        self.key = (*key, machine.machine.tag, machine.text)
        self.machine, self.limits, self.trend, self.barometer = machine, limits, trend, barometer
        self.net_shares = net_shares

    def __hash__(self) -> int:
        return hash(self.key)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Asked) and self.key == other.key


@lru_cache(maxsize=2)
def _found(asked: _Asked) -> Steady:
    machine, trend = asked.machine, asked.trend
    made = figures(machine, trend, asked.barometer, only=SHOWN, net_shares=asked.net_shares)
    tolerances = _tolerances(asked.limits, made)
    least = int(_bound(asked.limits["load_up.steady_readings"].low, "dimensionless"))
    shortest = _bound(asked.limits["load_up.steady_window"].low, "second")
    window = max(shortest, least * trend.step)
    swings = hunting(made, window, tolerances)
    longest = max((steadiness.PERIODS * each.hunting.period for each in swings), default=0.0)
    judged = max(window, min(longest, 4 * window))
    series = {name: made.readings[name] for name in tolerances}
    found = steadiness.steady(made.time, series, tolerances, judged, least)
    stretches = tuple(
        s
        for s in (
            Stretch(w.first, w.last, float(made.time[w.first]), float(made.time[w.last]))
            for w in found.windows
        )
        if _ran(machine, made, s)
    )
    return Steady(
        trend,
        made,
        stretches,
        judged,
        swings,
        found.spoiled,
        _notes(trend, window, judged, least, tolerances),
    )


def _bound(quantity: pint.Quantity | None, unit: str) -> float:
    """One side of a limit as a number; these limits have it by their defaults."""
    assert quantity is not None
    return float(quantity.to(unit).magnitude)


def _tolerances(limits: Limits, made: TrendFigures) -> dict[str, Tolerance]:
    """What each reading may do in a window; only readings that the trend has."""
    sd = _bound(limits["load_up.steady_temperature"].high, "delta_degC")
    slope = _bound(limits["load_up.steady_slope"].high, "delta_degC/second")
    flow, power = (
        _bound(limits[f"load_up.steady_{name}"].high, "dimensionless") for name in ("flow", "power")
    )
    found = {name: Tolerance(sd=sd, slope=slope) for name in TEMPERATURES if name in made.readings}
    found |= {name: Tolerance(relative_sd=flow) for name in FLOWS if name in made.readings}
    driven = next((name for name in DRIVEN if name in made.readings), "")
    return found | ({driven: Tolerance(relative_sd=power)} if driven else {})


def _ran(machine: Machine, made: TrendFigures, stretch: Stretch) -> bool:
    """A machine at rest is steady as well."""
    rows = slice(stretch.first, stretch.last + 1)
    for name, full in (
        ("power", machine.design.power.to("watt").magnitude),
        ("current", machine.motor.full_load_current.to("ampere").magnitude),
    ):
        if name in made.readings:
            return bool(np.nanmean(made.readings[name][rows]) > RUNNING * full)
    return True


def _notes(
    trend: Trend, window: float, judged: float, least: int, tolerances: Mapping[str, Tolerance]
) -> tuple[str, ...]:
    found = []
    if judged > window * 1.001:
        found.append(
            f"The machine hunts: a stretch must be steady for {judged / 60:.0f} min, two periods of"
            " the swing."
        )
    elif least * trend.step > 1000:
        found.append(
            f"A row every {trend.step:.0f} s: a stretch must be steady for {window / 60:.0f} min"
            f" to hold {least} readings."
        )
    lacking = [name for name in (*TEMPERATURES, *FLOWS) if name not in tolerances]
    if lacking:
        found.append(
            f"Steadiness is judged without {', '.join(name.replace('_', ' ') for name in lacking)},"
            " which the trend does not include."
        )
    return tuple(found)


# --- hunting --------------------------------------------------------------------------------------


def hunting(
    made: TrendFigures, window: float, tolerances: Mapping[str, Tolerance]
) -> tuple[Swing, ...]:
    """Regular swings larger than the tolerance, the largest of each reading, looked for piece by
    piece.
    """
    looked_at = [name for name in ("chilled_leaving", "power", "current") if name in tolerances]
    found = (_largest(made, name, 2 * window, tolerances[name]) for name in looked_at)
    return tuple(swing for swing in found if swing is not None)


def _largest(made: TrendFigures, name: str, length: float, tolerance: Tolerance) -> Swing | None:
    best: Swing | None = None
    time, values = made.time, made.readings[name]
    # Pieces overlap by half, so that a swing at the edge of one is inside the next.
    edges = np.searchsorted(time, np.arange(time[0], time[-1] + length, length / 2))
    for first, last in zip(edges, edges[2:], strict=False):
        step = max(1, (last - first) // 4000)
        rows = slice(first, last, step)
        if last - first < 2 * steadiness.LEAST or not np.isfinite(values[rows]).any():
            continue
        swing = steadiness.hunting(time[rows], values[rows])
        if (
            swing is not None
            and _matters(swing, tolerance, values[rows], length)
            and (best is None or swing.amplitude > best.hunting.amplitude)
        ):
            best = Swing(name, float(time[first:last].mean()), swing)
    return best


def _matters(swing: Hunting, tolerance: Tolerance, values: np.ndarray, length: float) -> bool:
    """A swing within the tolerance of a steady reading is none; one that hardly repeats in the
    piece is a drift.
    """
    allowed = (
        tolerance.sd
        if tolerance.sd is not None
        else (tolerance.relative_sd or 0.0) * float(np.nanmean(np.abs(values)))
    )
    return swing.amplitude > 2**0.5 * allowed and swing.period * 3 < length


# --- chosen stretches become points ---------------------------------------------------------------


def chosen(
    machine: Machine, entries: Entries, found: Steady, kinds: Mapping[str, str]
) -> tuple[tuple[Point, ...], tuple[str, ...]]:
    """A point for each stretch that a person chose: every reading its mean, with instrument and
    standard error of the mean.

    Parameters
    ----------
    kinds : mapping
        Kind of reading by the name of the stage's column.

    Returns
    -------
    tuple of Point, and a sentence for each stretch that cannot be used.
    """
    made, problems = [], []
    for row in entries.rows("windows"):
        try:
            made.append(_point(machine, entries, found, row, kinds))
        except StartkitError as error:
            problems.append(str(error))
    return tuple(made), tuple(problems)


def _point(
    machine: Machine, entries: Entries, found: Steady, row: Row, kinds: Mapping[str, str]
) -> Point:
    first, last = _rows(found, row)
    who = row.text("chosen_by")
    cells = {name: row.reading(name) for name in ("label", "begin", "end", "chosen_by")}
    scatter: dict[str, float] = {}
    for name, kind in kinds.items():
        # A flow without a meter is made from its pressure drop where the figures are made.
        if name in found.trend.columns or (name == "current" and name in found.figures.readings):
            cells[name], scatter[name] = _mean(entries, found, name, kind, first, last, row, who)
        else:
            cells[name] = Reading()
    steady = found.within(first, last) and bool(who)
    why = (
        ""
        if steady
        else "who chose it is not entered"
        if not who
        else "it reaches beyond the steady stretches"
    )
    begin = found.trend.moment(float(found.figures.time[first]))
    constants = circuit(machine, entries.of("water"))
    made = point(machine, entries, Row(row.index, cells), constants, scatter)
    return replace(made, label=row.text("label") or begin[5:16], steady=steady, unsteady=why)


def _rows(found: Steady, row: Row) -> tuple[int, int]:
    from startkit.errors import ReadingError

    where = f"Stretches of the trend, row {row.index}"
    texts = [row.text(name) for name in ("begin", "end")]
    if not all(texts):
        raise ReadingError(
            "begin or end is missing", where, "take both from the list of steady stretches"
        )
    begin, end = (found.trend.seconds(text) for text in texts)
    time, slack = found.figures.time, 0.5 * found.trend.step
    first, last = (
        int(np.searchsorted(time, begin - slack)),
        int(np.searchsorted(time, end + slack, side="right")) - 1,
    )
    if last - first + 1 < 3:
        raise ReadingError(
            f"the trend has no readings from {texts[0]} to {texts[1]}",
            where,
            f"it runs from {found.trend.moment(time[0])} to {found.trend.moment(time[-1])}",
        )
    return first, last


def _mean(
    entries: Entries, found: Steady, name: str, kind: str, first: int, last: int, row: Row, who: str
) -> tuple[Reading, float]:
    """The mean over a stretch as a reading, and its standard error [SI]."""
    from datetime import datetime

    what = f"{entries.declared.name}.windows.{row.index}.{name}"
    mean, error = mean_of(
        found.figures.time[first : last + 1], found.figures.readings[name][first : last + 1]
    )
    if not np.isfinite(mean):
        return Reading(what), 0.0
    column = found.trend.columns.get(name) or found.trend.columns["current_share"]
    quantity = Q(mean, str(Q(1, KINDS[kind].si.pint).to_base_units().units))
    day = found.trend.moment(float(found.figures.time[first]))
    u, untrusted = entries.uncertainty(
        column.instrument, quantity, kind, datetime.fromisoformat(day).date()
    )
    unit = "kPa abs" if column.reference == "absolute" else ""
    entry = Entry(what, entries.show(quantity, kind), unit, who, column.instrument, "", day)
    doubt = _doubt(found, column.point, first, last)
    return Reading(
        what,
        entry.value,
        quantity,
        u,
        untrusted=untrusted or doubt,
        entry=entry,
        items=tuple(
            f"{entries.declared.name}.windows.{row.index}.{end}" for end in ("begin", "end")
        ),
        instruments=(column.instrument,) if column.instrument else (),
    ), error


def _doubt(found: Steady, name: str, first: int, last: int) -> str:
    """What the marks of a stretch say against its mean."""
    flags = found.trend.quality[name][found.trend.rows[first : last + 1]]
    if np.count_nonzero(flags & STUCK) > flags.size / 2:
        return (
            f"the trend's {name.replace('_', ' ')} does not change at all: check whether the"
            " sensor is live"
        )
    if np.count_nonzero(flags & UNUSABLE) > flags.size / 4:
        return f"more than a quarter of the trend's {name.replace('_', ' ')} is marked as unusable"
    return ""


def mean_of(time: np.ndarray, values: np.ndarray) -> tuple[float, float]:
    """Mean and standard error of the mean of readings that are correlated.

    u = s / sqrt(n_eff),  n_eff = n (1 - r1) / (1 + r1)

    Source: JCGM 100:2008, 4.2.3; n_eff as in `steadiness.moving`.
    """
    known = np.isfinite(values)
    if np.count_nonzero(known) < 3:
        return float("nan"), 0.0
    t, x = time[known], values[known]
    line = steadiness.moving(t, x, float(t[-1] - t[0]), 3)
    r = float(line.lag_one[-1]) if np.isfinite(line.lag_one[-1]) else 0.0
    return float(x.mean()), float(x.std(ddof=1) / np.sqrt(x.size) * np.sqrt((1 + r) / (1 - r)))
