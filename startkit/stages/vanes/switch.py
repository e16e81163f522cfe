"""What is judged of the closed-position switch: where it makes, how evenly, and every time."""

from __future__ import annotations

import math
from dataclasses import replace

import pint

from startkit.facts.limits import PRACTICE, Limit, Limits
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.judging import check, resting_on
from startkit.procedure.reading import Reading
from startkit.science.closed_proof import SwitchResult, failure_bound, strokes_still_needed
from startkit.science.strokes import CLOSING, OPENING
from startkit.science.vane_calibration import StrokesResult
from startkit.stages.vanes import jogs
from startkit.stages.vanes.readings import Strokes
from startkit.units import Q
from startkit.verdict import Outcome, Verdict


def named(numbers: list[int] | tuple[int, ...]) -> str:
    """Stroke numbers as a phrase."""
    names = ", ".join(str(n) for n in numbers[:6]) + (
        f" and {len(numbers) - 6} more" if len(numbers) > 6 else ""
    )
    return f"stroke {names}" if len(numbers) == 1 else f"strokes {names}"


def percent(value: float | None) -> pint.Quantity | None:
    """A fraction as a percentage."""
    return None if value is None else Q(value * 100, "percent")


def switch_verdicts(
    machine: Machine,
    limits: Limits,
    entries: Entries,
    strokes: Strokes,
    result: StrokesResult | None,
) -> list[Verdict]:
    """Every verdict on the closed-position switch."""
    if machine.vanes.switch == "none":
        return []
    switch = result.switch if result is not None else None
    if switch is None or not (switch.trials or switch.break_strokes):
        return _by_hand(limits, entries, strokes)
    distance = switch.distance_from_stop if switch else None
    u = _u_distance(switch)
    shown = (
        strokes.figure(
            percent(distance), percent(None if u is None else math.hypot(u, strokes.u_feedback))
        ),
        strokes.figure(
            percent(switch.differential), percent(u * math.sqrt(2) if u is not None else None)
        ),
        strokes.figure(percent(switch.distance_sd), percent(_u_sd(switch))),
    )
    note = (
        f"It makes closing at {100 * (switch.make_mean or 0):.1f} % feedback, breaks opening at"
        f" {_or_unknown(switch.break_mean)}."
    )
    return [
        *_positions(limits, entries, shown, "" if distance is None else note),
        _misses(limits["vanes.switch_misses"], entries, strokes, (0, 0)),
        resting_on(
            _still_made(strokes) or _chatter(switch),
            strokes.figure(Q(0.0, "percent")),
            *strokes.of_strokes("switch_at_end", strokes.counted),
        ),
    ]


def _by_hand(limits: Limits, entries: Entries, strokes: Strokes) -> list[Verdict]:
    """The same from what was read while the switch was inched: the eye has no recorder's trace."""
    shown = jogs.distance(strokes), jogs.differential(strokes), jogs.spread(strokes)
    return [
        *_positions(limits, entries, shown, jogs.note(entries, strokes)),
        _misses(limits["vanes.switch_misses"], entries, strokes, jogs.makes(strokes)),
        resting_on(
            _still_made(strokes) or jogs.cleanly(strokes),
            *strokes.of_strokes("switch_at_end", strokes.counted),
        ),
    ]


def _positions(
    limits: Limits, entries: Entries, shown: tuple[Reading, Reading, Reading], note: str
) -> list[Verdict]:
    """Distance from the stop, differential and spread, however they were found."""
    steps = (
        "Set the switch nearer to the closed stop: it makes while the vanes are still open.",
        "Check switch, cam and lever for play or wear.",
        "The switch makes at a different position each time: refit or replace switch and cam.",
    )
    names = ("switch_distance", "switch_differential", "switch_spread")
    return [
        check(
            entries,
            limits[f"vanes.{name}"],
            reading,
            next_step=step,
            note=note if name == "switch_distance" else "",
        )
        for name, reading, step in zip(names, shown, steps, strict=True)
    ]


def _or_unknown(value: float | None) -> str:
    return "an unknown position" if value is None else f"{100 * value:.1f} %"


def _u_distance(switch: SwitchResult | None) -> float | None:
    """Uncertainty of the mean distance: spread between strokes, and the sampling of one stroke.

    A recorder that starts with the command samples every stroke at the same instants: its sampling
    error is common to all strokes and does not average out.
    """
    if switch is None or switch.distance_from_stop is None:
        return None
    return math.hypot(
        switch.u_position,
        (switch.distance_sd or 0.0) / math.sqrt(max(len(switch.makes_from_rest), 1)),
    )


def _u_sd(switch: SwitchResult | None) -> float | None:
    """u(s) = s / sqrt(2 (n - 1)), JCGM 100:2008 E.4.3."""
    if switch is None or switch.distance_sd is None:
        return None
    return switch.distance_sd / math.sqrt(2 * (len(switch.makes_from_rest) - 1))


def closings(strokes: Strokes, numbers: tuple[int, ...]) -> tuple[int, list[int]]:
    """Closing strokes whose switch was watched, and those in which it did not make."""
    watched = [
        n
        for n in numbers
        if strokes.direction(n) == CLOSING and strokes.switch_at_end(n) is not None
    ]
    return len(watched), [n for n in watched if not strokes.switch_at_end(n)]


def _misses(limit: Limit, entries: Entries, strokes: Strokes, by_hand: tuple[int, int]) -> Verdict:
    """The bound on the chance that a closing ends without its proof; few are unproven, not failed.

    `by_hand`: how often it was inched over the switch, and how often that did not make.
    """
    rests = (
        Reading(items=("vanes.strokes", *(("vanes.jogs",) if by_hand[0] else ()))),
        *strokes.of_strokes("switch_at_end", strokes.counted),
        *(jogs.column(strokes, "made") if by_hand[0] else ()),
    )
    watched, missed = closings(strokes, strokes.counted)
    trials, failures = watched + by_hand[0], len(missed) + by_hand[1]
    if not trials or limit.high is None:
        return resting_on(check(entries, limit, None, next_step=""), *rests)
    told = [named(missed)] if missed else []
    told += [f"{by_hand[1]} tries by hand"] if by_hand[1] else []
    kinds = f", {by_hand[0]} of them by hand" if by_hand[0] else ""
    said = f"{trials} closings{kinds}, {failures} without the switch made"
    return resting_on(
        _bounded(limit, entries, (failures, trials), said, " and ".join(told)), *rests
    )


def _bounded(
    limit: Limit, entries: Entries, counted: tuple[int, int], told: str, missed: str
) -> Verdict:
    failures, trials = counted
    assert limit.high is not None  # without one nothing is judged
    bound = Q(failure_bound.si(failures, trials, 0.95) * 100, "percent")
    asked = float(limit.high.to("dimensionless").magnitude)
    said = (
        f"{told}: the chance of a miss is below {entries.show(bound, 'percent', 0)} with 95 %"
        " confidence"
    )
    base = Verdict(
        key=limit.key,
        title=limit.title,
        outcome=Outcome.PASS,
        sentence=f"{said}.",
        next_step="",
        reading=bound,
        uncertainty=None,
        kind="percent",
        low=None,
        high=limit.high,
        source=limit.origin,
    )
    if failures:
        return replace(
            base,
            outcome=Outcome.FAIL,
            sentence=f"{said}; it did not make in {missed}.",
            next_step=(
                "Find why it did not make. Adjust, then stroke again; earlier strokes no longer"
                " count."
            ),
        )
    if bound > limit.high:
        more = strokes_still_needed.si(0, trials, asked, 0.95)
        return replace(
            base,
            outcome=Outcome.UNPROVEN,
            sentence=f"{said}. {trials} good closings are too few.",
            next_step=f"Make {more} more closings without a miss.",
        )
    return base


def _still_made(strokes: Strokes) -> Verdict | None:
    """That the switch was made at the end of opening strokes; None if it was not."""
    still_made = [
        n
        for n in strokes.counted
        if strokes.direction(n) == OPENING and strokes.switch_at_end(n) is True
    ]
    if not still_made:
        return None
    return Verdict(
        key=CHATTER[0],
        title=CHATTER[1],
        outcome=Outcome.FAIL,
        sentence=f"It was still made with the vanes open, at the end of {named(still_made)}: a"
        " switch that is always made proves nothing.",
        next_step="Check contact, cam and wiring; look for a jumper over the switch.",
        source=PRACTICE,
    )


CHATTER = ("vanes.switch_chatter", "Switch makes and breaks cleanly")


def _chatter(switch: SwitchResult) -> Verdict:
    key, title = CHATTER
    if switch.chatter:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.FAIL,
            sentence=f"It changed {switch.chatter} times more than it should, in"
            f" {named(switch.chattering_strokes)}.",
            next_step="Check contact, cam and wiring.",
            source=PRACTICE,
        )
    return Verdict(
        key=key,
        title=title,
        outcome=Outcome.PASS,
        sentence="One change per stroke.",
        source=PRACTICE,
    )
