"""The readings under load brought together: loads as typed, and loads chosen from a trend."""

from __future__ import annotations

from dataclasses import dataclass, replace

from startkit.errors import StartkitError
from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.procedure.circuits import taps
from startkit.procedure.entries import Entries
from startkit.stages.load_up import physics, several_loads, trend_findings, trend_windows
from startkit.stages.load_up.fields import POINT_KINDS
from startkit.stages.load_up.points import SIDES, Point, load_of, points
from startkit.stages.load_up.tolerance import limit_at
from startkit.stages.load_up.trend_windows import Steady
from startkit.verdict import Outcome, within


@dataclass(frozen=True)
class Loads:
    """What the stage's verdicts, figures and plots are made from.

    Parameters
    ----------
    points : tuple of Point
        One a load, typed or from a stretch of the trend.
    steady : Steady or None
        The trend that is named, with its steady stretches.
    problems : tuple of str
        What cannot be used, one sentence each.
    """

    points: tuple[Point, ...]
    steady: Steady | None
    problems: tuple[str, ...]


def collect(machine: Machine, limits: Limits, entries: Entries) -> Loads:
    """Read everything once; one sentence for each thing that cannot be used."""
    typed, problem = points(machine, entries)
    steady, chosen, remarks = _from_trend(machine, limits, entries)
    problems = tuple(each for each in (problem, *remarks) if each)
    checked = _checked(machine, limits, entries, (*typed, *chosen))
    return Loads(checked, steady, problems)


def _checked(
    machine: Machine, limits: Limits, entries: Entries, found: tuple[Point, ...]
) -> tuple[Point, ...]:
    """Each load with what physics forbids of it, alone and beside the others."""
    together = several_loads.contradictions(entries, found)
    return tuple(
        replace(
            p,
            contradictions=(*physics.contradictions(machine, entries, p), *together.get(n, ())),
            unbalanced=_unbalanced(machine, limits, entries, p),
        )
        for n, p in enumerate(found)
    )


def _unbalanced(machine: Machine, limits: Limits, entries: Entries, p: Point) -> bool:
    limit = limit_at(limits, "load_up.heat_balance", entries, machine, load_of(p))
    value, u = p.value("heat_balance"), p.u("heat_balance")
    if value is None:
        return False
    return within(value.to("percent"), limit.low, limit.high, u) is Outcome.FAIL


def _from_trend(
    machine: Machine, limits: Limits, entries: Entries
) -> tuple[Steady | None, tuple[Point, ...], tuple[str, ...]]:
    """What the named trend shows, the loads chosen from it, and what cannot be used."""
    trend, sentence = trend_windows.chosen_trend(entries)
    barometer = entries.job.barometer.quantity
    if trend is None or barometer is None:
        return None, (), (sentence,)
    try:
        shares = {
            side: taps(getattr(machine, side), entries.of("water"), side).net_share()
            for side in SIDES
        }
        steady = trend_windows.steady(machine, limits, trend, barometer, shares)
    except StartkitError as error:
        return None, (), (f"Trend {trend.name}: {error}",)
    chosen, problems = trend_windows.chosen(machine, entries, steady, POINT_KINDS)
    return steady, chosen, (*trend_findings.remarks(steady), *problems)
