"""Plots of the pull-down: risk and time over the limit, temperature over time for three limits with
what was seen.
"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np

from startkit.errors import StartkitError
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.stage import Line, Plot, Rule
from startkit.stages.pull_down.plan import Inputs, Planned, PullPlan, course
from startkit.stages.pull_down.readings import Seen
from startkit.stages.pull_down.verdicts import chance
from startkit.units import Q


def plotted(
    machine: Machine, entries: Entries, plan: PullPlan, seen: Seen | None
) -> tuple[Plot, ...]:
    """The plan's plots, then the course."""
    found = (
        *((_risk(plan.planned), _time(entries, plan.planned)) if plan.planned is not None else ()),
        _course(entries, plan, seen),
        _current(machine, plan, seen),
    )
    return tuple(plot for plot in found if plot is not None)


def _marks(planned: Planned) -> tuple[Rule, ...]:
    return tuple(
        Rule(label, at, "x")
        for label, at in (("proposed", planned.proposed), ("chosen", planned.inputs.chosen))
        if at is not None
    )


def _floats(values: np.ndarray) -> list[float]:
    return [float(v) for v in values]


def _risk(planned: Planned) -> Plot:
    p = planned.rows
    lines = (
        Line(
            "90 % interval",
            _floats(p.limit),
            _floats(p.probability),
            "band",
            emphasis="quiet",
            low=_floats(p.probability_low),
            high=_floats(p.probability_high),
        ),
        Line(
            "chance of a trip",
            _floats(p.limit),
            _floats(np.clip(p.probability, 0, 1)),
            "line and points",
        ),
    )
    said = ", ".join(
        f"{100 * float(limit):.0f} %: {chance(float(c))}"
        for limit, c in zip(p.limit, p.probability, strict=True)
        if round(100 * float(limit)) in (40, 60, 80, 100)
    )
    return Plot(
        "Chance of an overcurrent trip over the current limit",
        "Current limit, of full-load current",
        "percent",
        "Chance of a trip",
        "percent",
        lines,
        (Rule("accepted", planned.inputs.risk), *_marks(planned)),
        f"Chance of a trip by current limit; {said}.",
    )


def _time(entries: Entries, planned: Planned) -> Plot | None:
    p = planned.rows
    reached = np.isfinite(p.time)
    if not reached.any():
        return None
    # Where the upper end is never reached the band ends: infinity is not drawn.
    banded = reached & np.isfinite(p.time_high)
    band = (
        (
            Line(
                "90 % interval",
                _floats(p.limit[banded]),
                _floats(p.time[banded]),
                "band",
                emphasis="quiet",
                low=_floats(p.time_low[banded]),
                high=_floats(p.time_high[banded]),
            ),
        )
        if banded.any()
        else ()
    )
    line = Line(
        "time to set point", _floats(p.limit[reached]), _floats(p.time[reached]), "line and points"
    )
    ends = [entries.show(Q(float(p.time[reached][i]), "second"), "minutes", 0) for i in (0, -1)]
    return Plot(
        "Time to set point over the current limit",
        "Current limit, of full-load current",
        "percent",
        "Time",
        "minutes",
        (*band, line),
        _marks(planned),
        f"Time to set point falls from {ends[0]} at the lowest limit that reaches it to {ends[1]}"
        " at the highest.",
    )


def _three(inputs: Inputs, plan: PullPlan) -> list[tuple[float, float]]:
    """Three limits with the time each is held: the one to take, one clearly below, and full."""
    main = (
        inputs.chosen
        if inputs.chosen is not None
        else plan.proposed
        if plan.proposed is not None
        else 0.8
    )
    hold = plan.hold if plan.hold is not None else math.inf
    return [
        (0.6 if main > 0.7 else 0.4, math.inf),
        (main, hold),
        (1.0 if main < 0.95 else 0.8, math.inf),
    ]


def _course(entries: Entries, plan: PullPlan, seen: Seen | None) -> Plot | None:
    """Leaving water as planned for three limits, and as seen."""
    lines: list[Line] = []
    if plan.inputs is not None and plan.curve is not None:
        for (limit, hold), emphasis in zip(
            _three(plan.inputs, plan), ("second", "main", "third"), strict=True
        ):
            try:
                planned = course(plan.inputs, plan.curve, limit, hold)
            except StartkitError:
                continue
            lines.append(
                Line(
                    f"planned at {100 * limit:.0f} %",
                    _floats(planned.time),
                    _floats(planned.leaving),
                    "line",
                    emphasis=emphasis,
                )
            )
    if seen is not None:
        lines += _seen_lines(seen)
    if not lines:
        return None
    rules = (Rule("set point", plan.inputs.target),) if plan.inputs is not None else ()
    return Plot(
        "Leaving chilled water over time",
        "Time since the pull-down began",
        "minutes",
        "Leaving chilled water",
        "temperature",
        tuple(lines),
        rules,
        _said(entries, plan, seen),
    )


def _seen_lines(seen: Seen) -> list[Line]:
    """The readings, broken where there is a gap: the space between is not bridged."""
    known = np.isfinite(seen.columns["leaving"])
    breaks = [0, *(int(np.searchsorted(seen.time, b)) for _, b in seen.gaps), len(seen.time)]
    lines: list[Line] = []
    for first, last in pairwise(breaks):
        part = np.arange(first, last)[known[first:last]]
        if part.size:
            lines.append(
                Line(
                    "measured" if not lines else "",
                    _floats(seen.time[part]),
                    _floats(seen.columns["leaving"][part]),
                    "line and points" if len(seen.time) <= 60 else "line",
                    emphasis="quiet",
                )
            )
    return lines


def _said(entries: Entries, plan: PullPlan, seen: Seen | None) -> str:
    parts = []
    if plan.inputs is not None:
        parts.append(
            f"Planned from {entries.show(Q(plan.inputs.start, 'kelvin'), 'temperature')} to"
            f" {entries.show(Q(plan.inputs.target, 'kelvin'), 'temperature')}"
        )
    if seen is not None:
        rows = np.flatnonzero(np.isfinite(seen.columns["leaving"]))
        if rows.size:
            last = Q(float(seen.columns["leaving"][rows[-1]]), "kelvin")
            parts.append(
                f"last reading {entries.show(last, 'temperature')} at minute"
                f" {seen.time[rows[-1]] / 60:.0f}"
            )
    return "; ".join(parts) + "."


def _current(machine: Machine, plan: PullPlan, seen: Seen | None) -> Plot | None:
    """Current and its limit over the pull-down."""
    if seen is None or not np.isfinite(seen.columns["current"]).any():
        return None
    full = float(machine.motor.full_load_current.to("ampere").magnitude)
    lines = [
        Line(
            "current, highest phase",
            _floats(seen.time),
            _floats(seen.columns["current"] / full),
            "line",
        )
    ]
    if np.isfinite(seen.columns["limit"]).any():
        known = np.isfinite(seen.columns["limit"])
        lines.append(
            Line(
                "limit",
                _floats(seen.time[known]),
                _floats(seen.columns["limit"][known]),
                "step",
                emphasis="second",
            )
        )
    trip = float(machine.motor.overcurrent_trip.to("dimensionless").magnitude)
    top = float(np.nanmax(seen.columns["current"])) / full
    return Plot(
        "Current over the pull-down",
        "Time since the pull-down began",
        "minutes",
        "Of full-load current",
        "percent",
        tuple(lines),
        (Rule("overcurrent trip", trip),),
        f"Current of the highest phase over the pull-down; highest {100 * top:.0f} % of full-load"
        f" current, trip {100 * trip:.0f} %.",
    )
