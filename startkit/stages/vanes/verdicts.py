"""What is judged of the guide vanes, stroke by stroke set and for the closed proof as a whole."""

from __future__ import annotations

import math
from dataclasses import replace

import pint

from startkit.facts.limits import Limit, Limits
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.judging import check, confirm, resting_on
from startkit.procedure.reading import Reading
from startkit.science.strokes import CLOSING, OPENING
from startkit.science.vane_calibration import StrokesResult
from startkit.stages.vanes import contradictions
from startkit.stages.vanes.readings import Strokes
from startkit.stages.vanes.switch import named, percent, switch_verdicts
from startkit.units import Q
from startkit.verdict import Outcome, Verdict, worst

# The parts without which the closed proof cannot be trusted; the others concern only the feedback.
PROOF = (
    "vanes.arrived",
    "vanes.switch_distance",
    "vanes.switch_spread",
    "vanes.switch_misses",
    "vanes.switch_chatter",
    "vanes.closed_seen",
    *contradictions.PROOF,
)


def judged(
    machine: Machine, limits: Limits, entries: Entries, strokes: Strokes
) -> tuple[Verdict, ...]:
    """Every verdict of the stage; only strokes after the last adjustment count."""
    result = strokes.result(strokes.counted)
    parts = (
        *_travel(machine, limits, entries, strokes, result),
        resting_on(
            _arrived(strokes, result),
            Reading(items=("vanes.strokes",)),
            *strokes.of_strokes("end_feedback", strokes.counted),
        ),
        *_feedback(limits, entries, result, strokes),
        *switch_verdicts(machine, limits, entries, strokes, result),
        *contradictions.contradictions(limits, entries, strokes, result),
        confirm(
            entries,
            "closed_seen",
            "vanes.closed_seen",
            "Vanes seen closed",
            good="Seen closed on the stop with the switch made.",
            bad="The switch was made but the vanes were not closed.",
            next_step="Do not start. Adjust linkage and switch, then stroke the vanes again.",
        ),
        confirm(
            entries,
            "open_seen",
            "vanes.open_seen",
            "Vanes seen open",
            good="Seen fully open.",
            bad="The vanes do not open fully.",
            next_step="Check linkage and actuator stroke.",
        ),
    )
    # After an adjustment the vanes must be checked again as well.
    parts = tuple(_seen(limits, entries, strokes, v) for v in parts)
    return (*parts, _closed_proof(machine, parts))


def _seen(limits: Limits, entries: Entries, strokes: Strokes, judged: Verdict) -> Verdict:
    """What the eye saw: since the last adjustment, and at the end itself."""
    if judged.key not in ("vanes.closed_seen", "vanes.open_seen"):
        return judged
    since = _seen_since_adjustment(judged, entries)
    return contradictions.seen_at_the_ends(limits, entries, strokes, since)


def _seen_since_adjustment(judged: Verdict, entries: Entries) -> Verdict:
    if judged.outcome is not Outcome.PASS:
        return judged
    seen = entries.entry(judged.key.removeprefix("vanes."))
    adjusted = [row.reading("after_stroke").entry for row in entries.rows("adjustments")]
    if any(a is not None and seen is not None and a.seq > seen.seq for a in adjusted):
        return replace(
            judged,
            outcome=Outcome.OPEN,
            sentence="Seen before the last adjustment: it no longer counts.",
            next_step="Look at the vanes again, and enter the answer again with a reason.",
        )
    return judged


# --- travel ------------------------------------------------------------------------------------


def _travel(
    machine: Machine,
    limits: Limits,
    entries: Entries,
    strokes: Strokes,
    result: StrokesResult | None,
) -> list[Verdict]:
    pairs = (
        ("vanes.opening_time", OPENING, machine.vanes.opening_time, "Opening time"),
        ("vanes.closing_time", CLOSING, machine.vanes.closing_time, "Closing time"),
    )
    return [
        _travel_time(limits[key], entries, strokes, result, direction, due, title)
        for key, direction, due, title in pairs
    ]


def mean_time(
    strokes: Strokes, result: StrokesResult | None, direction: str, numbers: tuple[int, ...]
) -> tuple[Reading, int]:
    """Mean travel time with its standard uncertainty, and the number of strokes: traces and
    stopwatch together.
    """
    traced = (
        []
        if result is None
        else [
            (float(r.travel_time), r.u_travel_time)
            for r in result.each
            if r.direction == direction and r.travel_time is not None and r.form in ("step", "ramp")
        ]
    )
    by_hand = strokes.readings(
        "travel_time", tuple(n for n in numbers if strokes.direction(n) == direction)
    )
    typed = [
        (float(each.quantity.to("second").magnitude), _seconds(each.u))
        for each in by_hand
        if each.quantity is not None
    ]
    times = [t for t, _ in traced + typed]
    if not times:
        return Reading(items=("vanes.strokes",)), 0
    mean = sum(times) / len(times)
    u = _u_mean(times, mean, [u for _, u in traced + typed if u is not None])
    spread = None if u is None else Q(u, "second")
    parents = [each for each in by_hand if each.quantity is not None]
    if traced:
        by_trace = strokes.figure(Q(mean, "second"), spread)
        parents, spread = [*parents, by_trace], by_trace.u
    return Reading.derived(Q(mean, "second"), spread, *parents), len(times)


def _u_mean(times: list[float], mean: float, own: list[float]) -> float | None:
    """From the spread of the strokes and the uncertainty of each; None if neither is known."""
    n = len(times)
    if not own and n < 2:
        return None
    spread = sum((t - mean) ** 2 for t in times) / (n - 1) / n if n > 1 else 0.0
    return math.sqrt(spread + sum(v * v for v in own) / max(len(own), 1) / n)


def _seconds(u: pint.Quantity | None) -> float | None:
    return None if u is None else float(u.to("second").magnitude)


def _travel_time(
    limit: Limit,
    entries: Entries,
    strokes: Strokes,
    result: StrokesResult | None,
    direction: str,
    due: pint.Quantity,
    title: str,
) -> Verdict:
    mean, n = mean_time(strokes, result, direction, strokes.counted)
    if mean.quantity is None:
        return check(entries, limit, mean, next_step="", title=title)
    return check(
        entries,
        limit,
        mean.deviation_from(due),
        title=title,
        next_step="Check the actuator, the linkage and the travel time set in the drive.",
        note=(
            f"Mean of {n}: {entries.show(mean.quantity, 'time')}, sheet"
            f" {entries.show(due, 'time')}."
        ),
    )


def _arrived(strokes: Strokes, result: StrokesResult | None) -> Verdict:
    key, title = "vanes.arrived", "Every stroke reached its end"
    if not strokes.counted:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.OPEN,
            sentence=(
                "No stroke since the last adjustment."
                if strokes.last_adjustment
                else "No stroke entered."
            ),
            next_step="Stroke the vanes full open and full closed.",
        )
    short = _short_strokes(strokes, result)
    believed = (
        [] if result is None else [r.number for r in result.each if r.finished_without_arriving]
    )
    if believed:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.FAIL,
            sentence=f"The drive reported {named(believed)} as finished before the feedback had"
            " arrived: it relies on its timer, not on the vanes.",
            next_step="Do not trust the position shown by the drive. Find what is holding the"
            " vanes back.",
        )
    if short:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.FAIL,
            sentence=f"{named(short).capitalize()} did not reach the commanded end.",
            next_step="Find what is holding the vanes back: linkage, actuator torque or stop.",
        )
    return _not_shown(strokes, result) or Verdict(
        key=key,
        title=title,
        outcome=Outcome.PASS,
        sentence=f"{len(strokes.counted)} strokes, each came to rest at its end.",
    )


def _not_shown(strokes: Strokes, result: StrokesResult | None) -> Verdict | None:
    """What is missing to show that every stroke reached its end; None if nothing is."""
    key, title = "vanes.arrived", "Every stroke reached its end"
    cut = [n for n in _cut_short(result) if strokes.end_feedback(n) is None]
    if cut:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.UNPROVEN,
            sentence=f"The record of {named(cut)} ends before the vanes come to rest.",
            next_step="Record each stroke until the feedback has been constant for some seconds, or"
            " enter the final feedback.",
        )
    by_hand = [n for n in strokes.counted if n not in strokes.records]
    undirected = [n for n in by_hand if strokes.direction(n) not in (OPENING, CLOSING)]
    if undirected:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.OPEN,
            sentence=f"The direction of {named(undirected)} is not entered.",
            next_step="Choose opening or closing.",
        )
    unknown = [n for n in by_hand if strokes.end_feedback(n) is None]
    if not unknown:
        return None
    return Verdict(
        key=key,
        title=title,
        outcome=Outcome.OPEN,
        sentence=f"No feedback at the end of {named(unknown)}.",
        next_step="Enter the final feedback, or paste the trace.",
    )


def _cut_short(result: StrokesResult | None) -> list[int]:
    """Traced strokes whose record ends before rest is seen: they show no end position."""
    return [] if result is None else [r.number for r in result.each if not r.came_to_rest]


END_BAND = 0.05  # of travel, for a position read by hand; common practice, no source


def _short_strokes(strokes: Strokes, result: StrokesResult | None) -> list[int]:
    """Strokes that stopped more than the end band away from their end."""
    cut = _cut_short(result)
    each = () if result is None else result.each
    short = [r.number for r in each if r.came_to_rest and not r.arrived]
    for n in strokes.counted:
        feedback, direction = strokes.end_feedback(n), strokes.direction(n)
        if (n in strokes.records and n not in cut) or feedback is None:
            continue
        # A direction that cannot be read is neither: it must not judge the stroke.
        end = {OPENING: 1.0, CLOSING: 0.0}.get(direction)
        if end is not None and abs(feedback - end) > END_BAND:
            short.append(n)
    return sorted(short)


def _feedback(
    limits: Limits, entries: Entries, result: StrokesResult | None, strokes: Strokes
) -> list[Verdict]:
    u = strokes.u_feedback
    if result is None:
        return [_zero_by_hand(limits, entries, strokes)]
    # The instrument's own error counts where a position is judged; in a difference of two positions
    # (hysteresis, drift) it cancels.
    n = max(len(result.zeros), 1)
    u_zero = math.hypot(u, (result.zero_sd or 0.0) / math.sqrt(n))
    items = (
        (
            "vanes.zero",
            result.zero,
            u_zero,
            "Set the feedback zero with the vanes on their closed stop, then stroke again.",
        ),
        (
            "vanes.open_end",
            result.open_end,
            math.hypot(u, result.noise),
            "Set the feedback span with the vanes fully open, then stroke again.",
        ),
        (
            "vanes.linearity",
            result.largest_deviation,
            math.hypot(u, result.noise),
            "Check linkage geometry and the feedback sensor; move the vanes in steps of 10 %.",
        ),
        (
            "vanes.hysteresis",
            result.hysteresis,
            result.u_hysteresis or 0.0,
            "Look for play in linkage and couplings.",
        ),
    )
    found = [
        check(
            entries,
            limits[key],
            strokes.figure(percent(value), percent(uncertainty)),
            next_step=step,
            note=_note(key, result),
        )
        for key, value, uncertainty, step in items
    ]
    if result.drift is not None and math.isfinite(result.drift.u_slope):
        found.append(
            check(
                entries,
                limits["vanes.zero_drift"],
                strokes.figure(
                    percent(result.drift.slope * 10), percent(result.drift.u_slope * 10)
                ),
                next_step=(
                    "The feedback zero drifts from stroke to stroke: look for a slipping coupling"
                    " or sensor."
                ),
            )
        )
    return found


def _note(key: str, result: StrokesResult) -> str:
    if key == "vanes.linearity" and result.largest_deviation is None:
        return "Only full strokes were made: move the vanes in steps, or make a slow ramp."
    if key == "vanes.linearity":
        return f"At {100 * (result.deviation_at or 0):.0f} % command."
    if key == "vanes.hysteresis" and result.hysteresis is not None:
        return f"At {100 * (result.hysteresis_at or 0):.0f} % command, closing less opening."
    return ""


def _zero_by_hand(limits: Limits, entries: Entries, strokes: Strokes) -> Verdict:
    closings_ = tuple(n for n in strokes.counted if strokes.direction(n) == CLOSING)
    zeros = [
        each for each in strokes.readings("end_feedback", closings_) if each.quantity is not None
    ]
    # One instrument reads them all: its error is in every one of them.
    mean = Reading.mean_of(zeros, 1.0) if zeros else Reading(items=("vanes.strokes",))
    return check(
        entries,
        limits["vanes.zero"],
        mean,
        next_step="Set the feedback zero with the vanes on their closed stop, then stroke again.",
    )


def _closed_proof(machine: Machine, parts: tuple[Verdict, ...]) -> Verdict:
    """The answer that the hold point asks for: may the closed proof be trusted?"""
    key, title = "vanes.closed_proof", "Closed proof may be trusted"
    needed = [v for v in parts if v.key in PROOF]
    items = tuple(dict.fromkeys(item for v in needed for item in v.rests_on))
    if machine.vanes.switch == "none":
        return Verdict(
            key=key,
            title=title,
            rests_on=items,
            outcome=Outcome.UNPROVEN,
            sentence="This machine has no closed-position switch: there is only the feedback and"
            " what was seen.",
            next_step="Have the owner's engineer accept another proof, by name and reason.",
        )
    lacking = [v for v in needed if v.outcome is not Outcome.PASS]
    if not lacking:
        return Verdict(
            key=key,
            title=title,
            rests_on=items,
            outcome=Outcome.PASS,
            sentence="The switch makes only with the vanes on their stop, every time it was tried,"
            " and this was seen.",
        )
    outcome = worst([v.outcome for v in lacking])
    return Verdict(
        key=key,
        title=title,
        rests_on=items,
        outcome=outcome,
        sentence="Not yet: "
        + "; ".join(f"{v.title.lower()} ({v.outcome.value})" for v in lacking)
        + ".",
        next_step=lacking[0].next_step,
    )
