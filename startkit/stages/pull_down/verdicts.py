"""What is judged of the pull-down: the limit chosen, whether it came down without a trip, the limit
restored.
"""

from __future__ import annotations

from dataclasses import replace

import pint

from startkit.facts.limits import PRACTICE, Limits
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.judging import check, resting_on
from startkit.procedure.reading import Reading
from startkit.procedure.starts import moment
from startkit.stages.pull_down.contradictions import contradictions
from startkit.stages.pull_down.fields import REACHED, RUNNING, TRIPPED
from startkit.stages.pull_down.hunting import hunting
from startkit.stages.pull_down.plan import Planned, PullPlan
from startkit.stages.pull_down.readings import Seen
from startkit.units import Q
from startkit.verdict import Outcome, Verdict


def judged(
    machine: Machine, limits: Limits, entries: Entries, plan: PullPlan, seen: Seen | None
) -> tuple[Verdict, ...]:
    """Every verdict of the stage."""
    return (
        resting_on(_chosen(limits, entries, plan), *_planned_from(entries)),
        resting_on(_came_down(entries, plan, seen), *_seen_from(entries)),
        check(
            entries,
            limits["pull_down.limit_left"],
            entries.reading("limit_left"),
            next_step="Restore the limit in steps, or waive it with the reason it stays.",
        ),
        *hunting(machine, limits, entries, seen),
        *contradictions(machine, limits, entries, plan, seen),
    )


_INPUTS = (
    "chosen",
    "start",
    "target",
    "volume",
    "ramp",
    "ramp_heat",
    "load",
    "flow",
    "condenser_entering",
    "growth",
    "trip_delay",
    "risk",
)


def _planned_from(entries: Entries) -> tuple[Reading, ...]:
    """What was entered for the plan; of a pasted current the series."""
    typed = [entries.reading(name) for name in _INPUTS]
    block = entries.block("current_trend")
    current = block.reading(("time", "current"), Q(0.0, "ampere"))
    return (
        typed[0],
        *(each for each in typed[1:] if each.taken),
        *([current] if len(block) else []),
    )


def _seen_from(entries: Entries) -> tuple[Reading, ...]:
    """What was entered of the pull-down: the time it took as typed, else what shows it."""
    typed, block = entries.reading("reached"), entries.block("trend")
    shown = [
        *([block.reading(("minute", "leaving"), Q(0.0, "kelvin"))] if len(block) else []),
        *(row.reading(name) for row in entries.rows("readings") for name in ("minute", "leaving")),
    ]
    return (
        Reading(items=entries.of("trips").items("events", "at")),
        entries.reading("began"),
        *([typed] if typed.taken or not shown else shown),
        entries.reading("ended"),
    )


# --- the limit chosen -----------------------------------------------------------------------------


def _percent(part: float) -> pint.Quantity:
    return Q(100 * part, "percent")


def _chosen(limits: Limits, entries: Entries, plan: PullPlan) -> Verdict:
    """The risk of the limit chosen, at the upper end of its interval, against the risk accepted."""
    limit = limits["pull_down.risk"]
    chosen = entries.reading("chosen")
    blank = Verdict(
        key=limit.key,
        title=limit.title,
        outcome=Outcome.OPEN,
        sentence=chosen.problem or f"No limit is chosen.{_proposal(entries, plan.planned)}",
        next_step="Choose the current limit and enter it before the start.",
        source=limit.origin,
    )
    if chosen.quantity is None:
        return blank
    if plan.lacking:
        return blank.left_open(
            f"No plan without {'; '.join(plan.lacking)}.",
            "Enter what is missing here or in the sheet.",
        )
    if plan.swing_lacking:
        return blank.unproven(
            f"{entries.show(chosen.quantity, 'percent', 0)} chosen, but the risk is not"
            f" known without the swing of the current: {plan.swing_lacking}.",
            "Run at a low limit for ten minutes, record the current, and enter it.",
        )
    if plan.planned is None:
        return blank.left_open(
            " ".join(plan.problems) or "No plan could be made.",
            "Correct the entries of the plan.",
        )
    part = float(chosen.quantity.to("dimensionless").magnitude)
    found = _risk(entries, plan.planned, part, limit.key, limit.title)
    accepted = plan.figure("risk")
    return replace(found, source=limit.origin if accepted is None else accepted.origin)


def _risk(entries: Entries, planned: Planned, chosen: float, key: str, title: str) -> Verdict:
    accepted = planned.inputs.risk
    best, low, high = (
        planned.at(chosen, name) for name in ("probability", "probability_low", "probability_high")
    )
    outcome = (
        Outcome.PASS if high <= accepted else Outcome.FAIL if low > accepted else Outcome.UNPROVEN
    )
    shown = ", ".join(
        (
            (
                f"{entries.show(_percent(chosen), 'percent', 0)} chosen: chance of a trip"
                f" {chance(best)}"
            ),
            f"90 % interval {chance(low)} to {chance(high)}",
        )
    )
    step = (
        ""
        if outcome is Outcome.PASS
        else f"Take a lower limit, or wait until the water is colder.{_proposal(entries, planned)}"
    )
    return Verdict(
        key=key,
        title=title,
        outcome=outcome,
        sentence=f"{shown}; accepted {chance(accepted)}.",
        next_step=step,
        reading=_percent(best),
        uncertainty=None,
        kind="percent",
        low=None,
        high=_percent(accepted),
    )


def chance(part: float) -> str:
    """A probability as a person reads it: no more digits than it is worth."""
    percent = 100 * part
    if percent < 0.01:
        return "under 0.01 %"
    return (
        f"{percent:.2f} %"
        if percent < 1
        else f"{percent:.1f} %"
        if percent < 10
        else f"{percent:.0f} %"
    )


def _proposal(entries: Entries, planned: Planned | None) -> str:
    if planned is None:
        return ""
    if planned.proposed is None:
        return f" No proposal: {planned.rows.why}."
    return f" The plan proposes {entries.show(_percent(planned.proposed), 'percent', 0)}."


# --- the pull-down -------------------------------------------------------------------------------


def _came_down(entries: Entries, plan: PullPlan, seen: Seen | None) -> Verdict:
    ended = entries.reading("ended")
    go = (
        ""
        if seen is None or seen.remaining is None
        else f" Time remaining {_minutes(entries, seen.remaining.time)}."
    )
    blank = Verdict(
        key="pull_down.reached",
        title="Set point reached without a trip",
        outcome=Outcome.OPEN,
        sentence=(ended.problem or ("Still running." if ended.taken else "Not entered.")) + go,
        next_step="Enter how it ended.",
        source=PRACTICE,
    )
    if ended.problem or not ended.taken or ended.code == RUNNING.code:
        return blank
    tripped = trips_since(entries)
    if ended.code == REACHED.code and tripped:
        return blank.failed(
            f"Trip {tripped[0]} occurred after the pull-down began at {entries.text('began')}.",
            "If a later attempt succeeded, enter when it began and its readings.",
        )
    if ended.code == REACHED.code:
        return _as_planned(entries, plan, seen, blank)
    if ended.code == TRIPPED.code:
        return blank.failed(
            "It tripped on overcurrent.",
            "Enter the trip and its cause; start again at a lower limit when a start is due.",
        )
    return blank.failed(
        f"The set point was not reached: {ended.label}.", "Find out why, and pull down again."
    )


def trips_since(entries: Entries) -> tuple[str, ...]:
    """Numbers of the trips that came after the pull-down began."""
    began = moment(entries.text("began"))
    rows = [
        (row.text("trip"), moment(row.text("at"))) for row in entries.of("trips").rows("events")
    ]
    return tuple(
        number for number, at in rows if began is not None and at is not None and at >= began
    )


def took(entries: Entries, seen: Seen | None) -> float | None:
    """How long the pull-down took [s]: as typed, else as the readings show it."""
    typed = entries.quantity("reached")
    return (
        float(typed.to("second").magnitude)
        if typed is not None
        else None
        if seen is None
        else seen.reached
    )


def _as_planned(entries: Entries, plan: PullPlan, seen: Seen | None, blank: Verdict) -> Verdict:
    time = took(entries, seen)
    if seen is not None and seen.reached is None and entries.quantity("reached") is None:
        return blank.unproven(
            "The form says the set point was reached, yet no reading shows it.",
            "Enter the reading, or the minutes it took.",
        )
    if time is None:
        return blank.left_open(
            "The time it took is not entered.", "Enter the readings, or the minutes it took."
        )
    said = f"Reached after {_minutes(entries, time)}."
    planned = plan.planned
    if planned is not None and planned.inputs.chosen is not None:
        low, middle, high = (
            planned.at(planned.inputs.chosen, name) for name in ("time_low", "time", "time_high")
        )
        where = "within it" if low <= time <= high else "sooner" if time < low else "later"
        said += (
            f" Planned {_minutes(entries, middle)}, 90 % interval {_minutes(entries, low)} to"
            f" {_minutes(entries, high)}: {where}."
        )
    return blank.passed(said)


def _minutes(entries: Entries, seconds: float) -> str:
    return (
        entries.show(Q(seconds, "second"), "minutes", 0)
        if seconds != float("inf")
        else "never at this limit"
    )
