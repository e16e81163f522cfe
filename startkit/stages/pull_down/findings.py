"""What is shown of the pull-down: figures, what the plan rests on, time and risk by limit, the
readings, what it cannot know.
"""

from __future__ import annotations

import math

import numpy as np
import pint

from startkit.errors import StartkitError
from startkit.facts.limits import PRACTICE
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.stage import Figure, Heading, Table
from startkit.science import pulldown
from startkit.science.loop_estimate import LoopEstimate
from startkit.stages.pull_down.plan import Planned, PullPlan, course
from startkit.stages.pull_down.readings import SHOWN, Seen
from startkit.stages.pull_down.verdicts import chance, took
from startkit.units import Q

NOT_STEADY = "not steady, not judged"


def remarks(plan: PullPlan, seen: Seen | None) -> tuple[str, ...]:
    """Faults of the readings and of the plan, one sentence each."""
    return tuple(dict.fromkeys((*plan.problems, *(seen.problems if seen is not None else ()))))


# --- figures -------------------------------------------------------------------------------------


def figures(entries: Entries, plan: PullPlan, seen: Seen | None) -> tuple[Figure, ...]:
    """Plan first, then what was seen; those with a key are the baseline for the next visit."""
    found = (
        *_planned(entries, plan),
        *_swing(plan),
        *(_seen(entries, plan, seen) if seen is not None else ()),
    )
    return tuple(f for f in found if f.value is not None)


def _minutes(seconds: float | None) -> pint.Quantity | None:
    return None if seconds is None or not math.isfinite(seconds) else Q(seconds, "second")


def _planned(entries: Entries, plan: PullPlan) -> tuple[Figure, ...]:
    planned = plan.planned
    if planned is None:
        return ()
    proposed = planned.proposed
    rule = " to ".join(f"{100 * part:.0f}" for part in pulldown.RULE_OF_THUMB)
    check = f"for comparison: about {rule} % is common practice, no source"
    if proposed is None:
        return (Figure("Current limit proposed", f"none: {planned.rows.why}", note=check),)
    return (
        Figure(
            "Current limit proposed",
            Q(100 * proposed, "percent"),
            "percent",
            note=f"{planned.rows.why}; {check}",
            digits=0,
        ),
        Figure("Hold it for", _minutes(float(planned.rows.hold)), "minutes", digits=0),
        Figure(
            "Then restore 100 % over",
            _minutes(float(planned.rows.ramp)),
            "minutes",
            note=PRACTICE,
            digits=0,
        ),
        Figure(
            "Time to set point at the proposed limit",
            _minutes(planned.at(proposed, "time")),
            "minutes",
            note=_interval(entries, planned, proposed),
            digits=0,
        ),
        Figure(
            "Chance of a trip at the proposed limit",
            chance(planned.at(proposed, "probability")),
            note=(
                f"90 % interval {chance(planned.at(proposed, 'probability_low'))} to"
                f" {chance(planned.at(proposed, 'probability_high'))}"
            ),
        ),
    )


def _interval(entries: Entries, planned: Planned, limit: float) -> str:
    ends = [planned.at(limit, name) for name in ("time_low", "time_high")]
    return "90 % interval " + " to ".join(
        "never" if not math.isfinite(end) else entries.show(Q(end, "second"), "minutes", 0)
        for end in ends
    )


def _swing(plan: PullPlan) -> tuple[Figure, ...]:
    swing = plan.ripple
    if swing is None:
        return ()
    worth = f"{swing.count} readings, equivalent to {swing.effective:.0f} independent ones"
    found = (
        Figure(
            "Swing of the current, standard deviation",
            Q(100 * float(swing.sigma), "percent"),
            "percent",
            note=f"of full-load current; {worth}",
            key="pull_down.swing",
            digits=2,
        ),
        Figure(
            "Correlation of neighbouring readings",
            Q(float(swing.correlation), "dimensionless"),
            "ratio",
            digits=2,
        ),
        Figure(
            "Mean above the limit",
            Q(100 * float(swing.offset), "percent"),
            "percent",
            note="of full-load current",
            digits=2,
        ),
    )
    hunting = Figure(
        "Periodic swing",
        Q(100 * float(swing.amplitude), "percent"),
        "percent",
        note=f"of full-load current, every {float(swing.period):.0f} s",
        digits=2,
    )
    return (*found, hunting) if swing.amplitude else found


def _seen(entries: Entries, plan: PullPlan, seen: Seen) -> tuple[Figure, ...]:
    found: list[Figure] = [
        Figure(
            "Set point reached after",
            _minutes(took(entries, seen)),
            "minutes",
            key="pull_down.time",
            digits=0,
        )
    ]
    if seen.estimate is not None:
        found += _estimated(plan, seen.estimate)
    if seen.remaining is not None:
        ends = " to ".join(
            "never" if not math.isfinite(end) else entries.show(Q(end, "second"), "minutes", 0)
            for end in (seen.remaining.low, seen.remaining.high)
        )
        value = _minutes(seen.remaining.time)
        found.append(
            Figure(
                "Time remaining",
                value if value is not None else "never at this limit",
                "minutes",
                note=f"from the last reading; 90 % interval {ends}",
                digits=0,
            )
        )
    return (*found, *_against_plan(plan, seen))


def _estimated(plan: PullPlan, guess: LoopEstimate) -> list[Figure]:
    told = (
        ""
        if guess.separable
        else "; the readings alone cannot separate loop and load, so the figures of the plan are"
        " used too"
    )
    size = []
    if plan.inputs is not None:
        volume, u = (
            Q(part / plan.inputs.water_heat, "m**3")
            for part in (guess.heat_capacity, guess.u_heat_capacity)
        )
        size = [
            Figure(
                "Loop as a volume of water, from the readings",
                volume,
                "loop_volume",
                u,
                f"metal counted as water{told}",
                "pull_down.volume",
            )
        ]
    return [
        *size,
        Figure(
            "Connected load, from the readings",
            Q(guess.load, "watt"),
            "cooling",
            Q(guess.u_load, "watt"),
            told.removeprefix("; "),
            "pull_down.load",
        ),
    ]


def _against_plan(plan: PullPlan, seen: Seen) -> tuple[Figure, ...]:
    """Leaving water at the last reading, less what was planned for that minute."""
    rows = np.flatnonzero(np.isfinite(seen.columns["leaving"]))
    if plan.inputs is None or plan.curve is None or plan.inputs.chosen is None or not rows.size:
        return ()
    try:
        planned = course(
            plan.inputs,
            plan.curve,
            plan.inputs.chosen,
            plan.hold if plan.hold is not None else math.inf,
        )
    except StartkitError:
        return ()
    last = int(rows[-1])
    if seen.time[last] > planned.time[-1]:
        return ()
    gap = seen.columns["leaving"][last] - np.interp(seen.time[last], planned.time, planned.leaving)
    return (
        Figure(
            "Leaving water, measured less planned",
            Q(float(gap), "delta_degC"),
            "temperature_difference",
            note=f"at minute {seen.time[last] / 60:.0f}, last reading",
            digits=1,
        ),
    )


# --- tables ------------------------------------------------------------------------------------


def tables(
    machine: Machine, entries: Entries, plan: PullPlan, seen: Seen | None
) -> tuple[Table, ...]:
    """The plan by limit, what it rests on and cannot know, and the readings."""
    found = [
        _by_limit(plan),
        _basis(entries, plan),
        _cannot_know(machine, plan),
        _readings(machine, entries, seen),
    ]
    return tuple(table for table in found if table is not None)


def _by_limit(plan: PullPlan) -> Table | None:
    if plan.planned is None:
        return None
    head = (
        Heading("Current limit", "percent", 0),
        Heading("Time to set point", "minutes", 0),
        Heading("from", "minutes", 0),
        Heading("to", "minutes", 0),
        Heading("Chance of a trip"),
        Heading("from"),
        Heading("to"),
        Heading(""),
    )
    rows = tuple(_at_limit(plan.planned, row) for row in range(len(plan.planned.rows.limit)))
    return Table(
        "Time and chance of a trip by current limit",
        head,
        rows,
        "From and to: 90 % interval. Limits in percent of full-load current.",
    )


def _at_limit(planned: Planned, row: int) -> tuple:
    p, limit = planned.rows, float(planned.rows.limit[row])
    times = (_minutes(float(part[row])) for part in (p.time, p.time_low, p.time_high))
    chances = (
        chance(float(part[row])) for part in (p.probability, p.probability_low, p.probability_high)
    )
    return (
        Q(100 * limit, "percent"),
        *("never" if time is None else time for time in times),
        *chances,
        _mark(planned, limit),
    )


def _mark(planned: Planned, limit: float) -> str:
    marks = [
        word
        for word, at in (("proposed", planned.proposed), ("chosen", planned.inputs.chosen))
        if at is not None and abs(at - limit) < 1e-6
    ]
    return ", ".join(marks)


def _basis(entries: Entries, plan: PullPlan) -> Table:
    head = (
        Heading("Input"),
        Heading("Value"),
        Heading("Known within"),
        Heading("From"),
    )
    rows = tuple(
        (
            b.label,
            entries.show(b.value, b.kind),
            "–" if b.within is None else f"± {entries.show(b.within, b.kind)}",
            b.origin,
        )
        for b in plan.basis
    )
    return Table(
        "Basis of the plan",
        head,
        rows,
        "Plus or minus is the half-width of a rectangular distribution (JCGM 100:2008, 4.3.7).",
    )


def _cannot_know(machine: Machine, plan: PullPlan) -> Table | None:
    planned = plan.planned
    if planned is None:
        return None
    said = list(pulldown.CANNOT_KNOW)
    if machine.curves.given:
        ends = np.array([planned.inputs.start, planned.inputs.target])
        inside = bool(planned.curve.inside(ends))
        said += (
            []
            if inside
            else [
                "the machine outside the water temperatures over which its curves were fitted:"
                " there the value at the end of their range is used"
            ]
        )
    else:
        said.append(
            "the machine at warm water and at today's condenser water: its part-load table is for"
            " the temperatures of the selection; current is taken as proportional to power"
        )
        said += (
            []
            if planned.curve.growth
            else [
                "how much more it cools and draws with warmer water: no growth is assumed, which"
                " makes the time longer and the current at full vanes lower"
            ]
        )
    return Table(
        "What the plan cannot know",
        (Heading(""),),
        tuple((line[0].upper() + line[1:] + ".",) for line in said),
    )


# --- the readings ---------------------------------------------------------------------------------


def _readings(machine: Machine, entries: Entries, seen: Seen | None) -> Table | None:
    """Up to twelve rows; approach and superheat carry the words that they are not judged until the
    machine is steady.
    """
    if seen is None:
        return None
    picked = np.unique(
        np.linspace(0, len(seen.time) - 1, min(SHOWN, len(seen.time))).round().astype(int)
    )
    head = (
        Heading("Minute", "minutes", 0),
        Heading("Entering chilled", "temperature"),
        Heading("Leaving chilled", "temperature"),
        Heading("Heat taken", "cooling"),
        Heading("Current", "current"),
        Heading("Limit", "percent", 0),
        Heading("Evaporator approach"),
        Heading("Superheat"),
        Heading("Condenser approach"),
    )
    rows = tuple(_reading(machine, entries, seen, int(row)) for row in picked)
    gaps = "".join(
        f" No readings from minute {a / 60:.0f} to {b / 60:.0f}: nothing is filled in."
        for a, b in seen.gaps
    )
    return Table(
        "Readings of the pull-down",
        head,
        rows,
        f"Approach and superheat are judged only once leaving water and current are steady.{gaps}",
    )


def _reading(machine: Machine, entries: Entries, seen: Seen, row: int) -> tuple:
    heat = seen.heat[row]
    judged = [
        _judged(entries, value, bool(seen.steady[row])) for value in _approaches(machine, seen, row)
    ]
    return (
        Q(float(seen.time[row]), "second"),
        seen.quantity("entering", row),
        seen.quantity("leaving", row),
        None if np.isnan(heat) else Q(float(heat), "watt"),
        seen.quantity("current", row),
        seen.quantity("limit", row),
        *judged,
    )


def _judged(entries: Entries, value: float | None, steady: bool) -> str:
    if value is None:
        return "–"
    shown = entries.show(Q(value, "delta_degC"), "temperature_difference", 1)
    return shown if steady else f"{shown} ({NOT_STEADY})"


def _approaches(
    machine: Machine, seen: Seen, row: int
) -> tuple[float | None, float | None, float | None]:
    """Evaporator approach, superheat, condenser approach [K]."""
    evaporator, condenser = (
        _dew(machine, seen.quantity(name, row))
        for name in ("evaporator_pressure", "condenser_pressure")
    )
    return (
        _less(seen, "leaving", row, evaporator),
        _less(seen, "suction", row, evaporator),
        None if (gap := _less(seen, "leaving_condenser", row, condenser)) is None else -gap,
    )


def _dew(machine: Machine, pressure: pint.Quantity | None) -> float | None:
    if pressure is None:
        return None
    from startkit.science.refrigerant import dew_temperature

    try:
        return float(dew_temperature(machine.machine.refrigerant, pressure).to("kelvin").magnitude)
    except StartkitError:
        return None


def _less(seen: Seen, column: str, row: int, saturation: float | None) -> float | None:
    value = seen.columns[column][row]
    return None if saturation is None or np.isnan(value) else float(value - saturation)
