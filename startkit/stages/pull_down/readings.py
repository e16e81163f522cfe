"""The pull-down as it was seen: readings by hand and by trend, loop and load re-estimated, time
still to go.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import pint

from startkit.errors import StartkitError
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.reading import Row
from startkit.procedure.selection import liquid_of
from startkit.procedure.series import clock, dead_sensors
from startkit.science import loop_estimate, pulldown, pulldown_course, steadiness
from startkit.science.loop_estimate import LoopEstimate
from startkit.science.pulldown_course import Remaining
from startkit.stages.pull_down.plan import PullPlan, water_heat
from startkit.units import Q

COLUMNS = {
    "entering": "entering chilled water",
    "leaving": "leaving chilled water",
    "flow": "flow",
    "current": "current",
    "limit": "current limit",
    "evaporator_pressure": "evaporator pressure",
    "suction": "suction temperature",
    "condenser_pressure": "condenser pressure",
    "leaving_condenser": "leaving condenser water",
}
ARRIVED = 0.3  # K above the set point from which it counts as reached (own default)
# When the machine counts as steady: over this time, leaving water and current may do no more than
# this (own defaults).
WINDOW, SLOPE, SWING = 900.0, 0.02 / 60, 0.03  # s, K/s, share of the mean
BY_HAND_WINDOW, BY_HAND_RANGE, BY_HAND_ROWS = (
    1140.0,
    0.3,
    3,
)  # s, K, rows: ten-minute steps cannot show a slope's uncertainty
FLOW_ASSUMED = (
    0.05  # half-width of a flow that was not measured: the selection's is used (own default)
)
SHOWN = 12  # rows in the table of readings


@dataclass(frozen=True)
class Seen:
    """What was measured, and what follows from it.

    Parameters
    ----------
    time : numpy.ndarray
        Since the pull-down began [s].
    columns : dict of str -> numpy.ndarray
        [SI], not a number where not read.
    heat : numpy.ndarray
        Taken by the evaporator [W].
    steady : numpy.ndarray of bool
    estimate : LoopEstimate or None
    remaining : Remaining or None
        Time still to go from the last reading [s].
    reached : float or None
        When the leaving water was at set point [s].
    gaps : tuple of (float, float)
    problems : tuple of str
    """

    time: np.ndarray
    columns: dict[str, np.ndarray]
    heat: np.ndarray
    steady: np.ndarray
    estimate: LoopEstimate | None
    remaining: Remaining | None
    reached: float | None
    gaps: tuple[tuple[float, float], ...]
    problems: tuple[str, ...]

    @property
    def loop(self) -> np.ndarray:
        """Mean temperature of the water [K]."""
        return (self.columns["entering"] + self.columns["leaving"]) / 2

    def quantity(self, column: str, row: int) -> pint.Quantity | None:
        """One column of the readings as a quantity."""
        value, units = (
            self.columns[column][row],
            {
                "flow": "m**3/s",
                "current": "ampere",
                "limit": "dimensionless",
                "evaporator_pressure": "pascal",
                "condenser_pressure": "pascal",
            },
        )
        return None if np.isnan(value) else Q(float(value), units.get(column, "kelvin"))


def follow(machine: Machine, entries: Entries, plan: PullPlan) -> Seen | None:
    """Everything read of the pull-down so far; None if nothing was."""
    problems: list[str] = []
    time, columns, gaps = _together(entries, problems)
    if not len(time):
        return None
    flow = np.where(
        np.isfinite(columns["flow"]),
        columns["flow"],
        float(_flow(machine, entries).to("m**3/s").magnitude),
    )
    heat = flow * _heat_per_flow(machine, columns) * (columns["entering"] - columns["leaving"])
    found = Seen(
        time,
        columns,
        heat,
        _steady(time, columns),
        None,
        None,
        _reached(plan, time, columns["leaving"]),
        gaps,
        (),
    )
    estimate = _widened(_estimated(plan, found, problems), found, _u_heat(entries, found))
    remaining = _remaining(plan, found, estimate, problems)
    return Seen(
        time, columns, heat, found.steady, estimate, remaining, found.reached, gaps, tuple(problems)
    )


# --- readings together ----------------------------------------------------------------------------


def _together(
    entries: Entries, problems: list[str]
) -> tuple[np.ndarray, dict[str, np.ndarray], tuple[tuple[float, float], ...]]:
    """Trend and rows by hand on one clock; a moment in both counts once, as the trend has it."""
    block, name = entries.block("trend"), entries.fields["trend"].question
    kept = clock(block, name, "minute")
    columns, dead = (
        dead_sensors(block, kept.rows, name, COLUMNS, expect_still=("limit",))
        if len(block)
        else ({}, ())
    )
    problems += [*kept.problems, *dead]
    hand_time, hand = _by_hand(entries, kept.time, problems)
    time = np.concatenate([kept.time, hand_time])
    order = np.argsort(time)
    joined = {
        key: np.concatenate([columns.get(key, np.full(len(kept.time), np.nan)), hand[key]])[order]
        for key in COLUMNS
    }
    return time[order], joined, kept.gaps


def _by_hand(
    entries: Entries, taken: np.ndarray, problems: list[str]
) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    rows: list[Row] = []
    seconds: list[float] = []
    seen = set(taken.tolist())
    for row in entries.rows("readings"):
        minute = row.quantity("minute")
        if minute is None:
            problems.append(
                f"Readings by hand, row {row.index}: no minute; count from the beginning of the"
                " pull-down."
            )
        elif float(minute.to("second").magnitude) in seen:
            problems.append(
                f"Readings by hand, row {row.index}: minute {minute.to('minute').magnitude:g}"
                " is entered twice; only the first counts."
            )
        else:
            seconds.append(float(minute.to("second").magnitude))
            seen.add(seconds[-1])
            rows.append(row)
    return np.array(seconds, dtype=float), {
        key: np.array([_in_si(row.quantity(key)) for row in rows], dtype=float) for key in COLUMNS
    }


def _in_si(quantity: pint.Quantity | None) -> float:
    """Bare SI; not a number where nothing was read."""
    return math.nan if quantity is None else float(quantity.to_base_units().magnitude)


def _flow(machine: Machine, entries: Entries) -> pint.Quantity:
    typed = entries.quantity("flow")
    return typed if typed is not None else machine.evaporator.design_flow


def _heat_per_flow(machine: Machine, columns: dict[str, np.ndarray]) -> float:
    """rho cp at the mean of all readings [J/m3 K]: it changes by less than a percent over a
    pull-down.
    """
    known = np.concatenate([columns["entering"], columns["leaving"]])
    known = known[np.isfinite(known)]
    return (
        water_heat(liquid_of(machine.evaporator), Q(float(known.mean()), "kelvin"))
        if known.size
        else float("nan")
    )


# --- steady or not --------------------------------------------------------------------------------


def _steady(time: np.ndarray, columns: dict[str, np.ndarray]) -> np.ndarray:
    """True where leaving water and current were steady: by the moving window where readings
    are close, else by the last three.
    """
    if len(time) >= steadiness.LEAST and np.median(np.diff(time)) * steadiness.LEAST <= WINDOW:
        tolerances = {"leaving": steadiness.Tolerance(slope=SLOPE)}
        if np.isfinite(columns["current"]).any():
            tolerances["current"] = steadiness.Tolerance(relative_sd=SWING)
        return steadiness.steady(time, columns, tolerances, WINDOW).steady
    return np.array([_steady_by_hand(time, columns, row) for row in range(len(time))], dtype=bool)


def _steady_by_hand(time: np.ndarray, columns: dict[str, np.ndarray], row: int) -> bool:
    first = row - BY_HAND_ROWS + 1
    if first < 0 or time[row] - time[first] < BY_HAND_WINDOW:
        return False
    water, current = (columns[name][first : row + 1] for name in ("leaving", "current"))
    if not np.isfinite(water).all() or np.ptp(water) > BY_HAND_RANGE:
        return False
    known = current[np.isfinite(current)]
    return known.size < 2 or bool(np.ptp(known) <= 2 * SWING * known.mean())


# --- loop, load, time to go -----------------------------------------------------------------------


def _reached(plan: PullPlan, time: np.ndarray, leaving: np.ndarray) -> float | None:
    target = plan.figure("target")
    if target is None:
        return None
    there = np.flatnonzero(leaving <= float(target.value.to("kelvin").magnitude) + ARRIVED)
    return float(time[there[0]]) if there.size else None


def _estimated(plan: PullPlan, seen: Seen, problems: list[str]) -> LoopEstimate | None:
    """Heat capacity and load by least squares; the plan's figures count as two more readings."""
    known = np.isfinite(seen.loop) & np.isfinite(seen.heat)
    if known.sum() < 5:
        if len(seen.time) >= 5:
            problems.append(
                "Fewer than five rows have both water temperatures: loop and load cannot be"
                " estimated yet."
            )
        return None
    prior = (
        ()
        if plan.inputs is None
        else (
            plan.inputs.heat_capacity,
            plan.inputs.u_heat_capacity,
            plan.inputs.load,
            plan.inputs.u_load,
        )
    )
    try:
        return _estimate(
            seen.time[known].tobytes(),
            seen.loop[known].tobytes(),
            seen.heat[known].tobytes(),
            prior,
        )
    except StartkitError as error:
        problems.append(str(error))
        return None


def _u_heat(entries: Entries, seen: Seen) -> float:
    """Relative standard uncertainty of the heat taken: both thermometers, taken as independent, and
    the flow.
    """
    instruments = [
        entries.job.instruments.get(entry.instrument)
        for entry in (entries.entry("trend"),)
        if entry is not None
    ]
    from_trend = [
        i.standard_uncertainty(Q(283.15, "kelvin"))
        for i in instruments
        if i is not None and i.kind == "temperature"
    ]
    by_hand = [
        u
        for row in entries.rows("readings")
        for name in ("entering", "leaving")
        if (u := row.reading(name).u) is not None
    ]
    thermometers = max(
        (float(u.to("delta_degC").magnitude) for u in (*from_trend, *by_hand)), default=0.0
    )
    span = seen.columns["entering"] - seen.columns["leaving"]
    known = span[np.isfinite(span)]
    share = math.sqrt(2) * thermometers / max(float(np.median(known)), 0.1) if known.size else 0.0
    return math.hypot(share, _u_flow(entries, seen))


def _u_flow(entries: Entries, seen: Seen) -> float:
    typed = entries.reading("flow")
    if typed.quantity is not None or np.isfinite(seen.columns["flow"]).any():
        return (
            float((typed.u / typed.quantity).to("dimensionless").magnitude)
            if typed.u is not None
            else 0.0
        )
    return FLOW_ASSUMED / math.sqrt(3)


def _widened(estimate: LoopEstimate | None, seen: Seen, u_heat: float) -> LoopEstimate | None:
    """Heat that is read a part too high makes loop and load that part larger: what the scatter of
    the readings cannot show.
    """
    if estimate is None:
        return None
    taken = float(np.nanmean(seen.heat))
    return replace(
        estimate,
        u_heat_capacity=math.hypot(estimate.u_heat_capacity, estimate.heat_capacity * u_heat),
        u_load=math.hypot(estimate.u_load, taken * u_heat),
    )


@lru_cache(maxsize=8)
def _estimate(
    time: bytes, temperature: bytes, heat: bytes, prior: tuple[float, ...]
) -> LoopEstimate:
    names = ("planned_heat_capacity", "u_planned_heat_capacity", "planned_load", "u_planned_load")
    return loop_estimate.estimate.si(
        *(np.frombuffer(part) for part in (time, temperature, heat)),
        **dict(zip(names, prior, strict=False)),
    )


def _remaining(
    plan: PullPlan, seen: Seen, estimate: LoopEstimate | None, problems: list[str]
) -> Remaining | None:
    """From the last reading with both temperatures, at the limit then in force."""
    rows = np.flatnonzero(np.isfinite(seen.loop))
    if (
        estimate is None
        or plan.inputs is None
        or plan.curve is None
        or seen.reached is not None
        or not rows.size
    ):
        return None
    limits = seen.columns["limit"][np.isfinite(seen.columns["limit"])]
    limit = float(limits[-1]) if limits.size else plan.inputs.chosen
    if limit is None:
        problems.append(
            "Neither a limit in the readings nor a chosen one: the time remaining cannot be"
            " estimated."
        )
        return None
    return _to_go(
        plan.curve,
        limit,
        float(seen.loop[rows[-1]]),
        plan.inputs.target,
        estimate,
        plan.inputs.u_capacity,
        plan.inputs.flow_capacity,
    )


@lru_cache(maxsize=8)
def _to_go(
    curve: pulldown.Machine,
    limit: float,
    now: float,
    target: float,
    estimate: LoopEstimate,
    u_capacity: float,
    flow_capacity: float,
) -> Remaining:
    return pulldown_course.time_to_go.si(
        curve, limit, now, target, estimate, u_capacity, flow_capacity
    )
