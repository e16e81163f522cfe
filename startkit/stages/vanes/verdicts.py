"""What is judged of the guide vanes, stroke by stroke set and for the closed proof as a whole."""

from __future__ import annotations

import math
from dataclasses import replace

import pint

from startkit.facts.limits import PRACTICE, Limit, Limits
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.judging import check, confirm
from startkit.procedure.reading import Reading
from startkit.science.closed_proof import SwitchResult, failure_bound, strokes_still_needed
from startkit.science.strokes import CLOSING, OPENING
from startkit.science.vane_calibration import StrokesResult
from startkit.stages.vanes.readings import Strokes
from startkit.units import Q
from startkit.verdict import COVERAGE, Outcome, Verdict, worst

# The parts without which the closed proof cannot be trusted; the others tell of the feedback alone.
PROOF = (
    "vanes.arrived",
    "vanes.switch_distance",
    "vanes.switch_spread",
    "vanes.switch_misses",
    "vanes.switch_chatter",
    "vanes.closed_seen",
)


def judged(
    machine: Machine, limits: Limits, entries: Entries, strokes: Strokes
) -> tuple[Verdict, ...]:
    """Every verdict of the stage; only strokes after the last adjustment count."""
    result = strokes.result(strokes.counted)
    parts = (
        *_travel(machine, limits, entries, strokes, result),
        _arrived(strokes, result, entries),
        *_feedback(limits, entries, result, strokes),
        *_switch(machine, limits, entries, strokes, result),
        confirm(
            entries,
            "closed_seen",
            "vanes.closed_seen",
            "Vanes seen closed",
            good="Seen closed on the stop with the switch made.",
            bad="The vanes were not closed while the switch said so.",
            next_step="Do not start. Set linkage and switch, then stroke again.",
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
    # After an adjustment the look at the vanes must be renewed as well.
    parts = tuple(_renewed(v, entries, strokes) for v in parts)
    return (*parts, _closed_proof(machine, parts))


def _renewed(judged: Verdict, entries: Entries, strokes: Strokes) -> Verdict:
    if (
        judged.key not in ("vanes.closed_seen", "vanes.open_seen")
        or judged.outcome is not Outcome.PASS
    ):
        return judged
    seen = entries.entry(judged.key.removeprefix("vanes."))
    adjusted = [row.reading("after_stroke").entry for row in entries.rows("adjustments")]
    if any(a is not None and seen is not None and a.seq > seen.seq for a in adjusted):
        return replace(
            judged,
            outcome=Outcome.OPEN,
            sentence="Seen before the last adjustment: it no longer counts.",
            next_step="Look again, and enter it again with the reason.",
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
) -> tuple[float, float | None, int] | None:
    """Mean travel time [s], its standard uncertainty and the number of strokes: traces and
    stopwatch together.
    """
    traced = (
        []
        if result is None
        else [
            (r.travel_time, r.u_travel_time)
            for r in result.each
            if r.direction == direction and r.travel_time is not None and r.form in ("step", "ramp")
        ]
    )
    by_hand = [
        (
            row.quantity("travel_time").to("second").magnitude,
            _reading_u(row.reading("travel_time").u),
        )
        for n, row in strokes.rows.items()
        if n in numbers
        and n not in strokes.records
        and row.text("direction") == direction
        and row.quantity("travel_time") is not None
    ]
    times = [t for t, _ in traced + by_hand]
    if not times:
        return None
    mean = sum(times) / len(times)
    spread = (
        sum((t - mean) ** 2 for t in times) / (len(times) - 1) / len(times)
        if len(times) > 1
        else 0.0
    )
    own = [u for _, u in traced + by_hand if u is not None]
    u = (
        math.sqrt(spread + sum(v * v for v in own) / max(len(own), 1) / len(times))
        if own or len(times) > 1
        else None
    )
    return mean, u, len(times)


def _untrusted(strokes: Strokes) -> str:
    """What is wrong with an instrument that a counted stroke was timed with."""
    rows = (strokes.rows[n] for n in strokes.counted if n in strokes.rows)
    return next(
        (cell.untrusted for row in rows for cell in row.cells.values() if cell.untrusted), ""
    )


def _reading_u(u: pint.Quantity | None) -> float | None:
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
    found = mean_time(strokes, result, direction, strokes.counted)
    if found is None:
        return check(entries, limit, None, next_step="", title=title)
    mean, u, n = found
    expected = due.to("second").magnitude
    deviation = Q((mean / expected - 1) * 100, "percent")
    reading = Reading(
        "",
        "",
        deviation,
        None if u is None else Q(u / expected * 100, "percent"),
        untrusted=_untrusted(strokes),
    )
    return check(
        entries,
        limit,
        reading,
        title=title,
        next_step="Check actuator, linkage and the travel time set in the drive.",
        note=(
            f"Mean of {n}: {entries.show(Q(mean, 'second'), 'time')}, sheet"
            f" {entries.show(due, 'time')}."
        ),
    )


def _arrived(strokes: Strokes, result: StrokesResult | None, entries: Entries) -> Verdict:
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
            sentence=f"The drive took {_named(believed)} as finished while the feedback had not"
            " arrived: its"
            " timer believed a stroke that the vanes did not make.",
            next_step="Do not trust the drive's own position. Find what holds the vanes back.",
        )
    if short:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.FAIL,
            sentence=f"{_named(short).capitalize()} did not come to rest at the commanded end.",
            next_step="Find what holds the vanes back: linkage, actuator torque, stop.",
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
            sentence=f"The record of {_named(cut)} ends before the vanes come to rest.",
            next_step="Record each stroke until the feedback has been still for some seconds, or"
            " enter the feedback at standstill.",
        )
    by_hand = [n for n in strokes.counted if n not in strokes.records]
    undirected = [n for n in by_hand if strokes.direction(n) not in (OPENING, CLOSING)]
    if undirected:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.OPEN,
            sentence=f"The direction of {_named(undirected)} is not entered.",
            next_step="Choose opening or closing.",
        )
    unknown = [n for n in by_hand if strokes.end_feedback(n) is None]
    if not unknown:
        return None
    return Verdict(
        key=key,
        title=title,
        outcome=Outcome.OPEN,
        sentence=f"No feedback at the end of {_named(unknown)}.",
        next_step="Enter the feedback at standstill, or paste the trace.",
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


def _named(numbers: list[int] | tuple[int, ...]) -> str:
    names = ", ".join(str(n) for n in numbers[:6]) + (
        f" and {len(numbers) - 6} more" if len(numbers) > 6 else ""
    )
    return f"stroke {names}" if len(numbers) == 1 else f"strokes {names}"


# --- feedback ----------------------------------------------------------------------------------


def _percent(value: float | None) -> pint.Quantity | None:
    return None if value is None else Q(value * 100, "percent")


def _u_feedback(entries: Entries) -> float:
    """Standard uncertainty of the feedback as an instrument [fraction]; 0 if none is named."""
    for name in ("trace", "trace_volts", "trace_ohms"):
        entry = entries.entry(name) if entries.has(name) else None
        instrument = entries.job.instruments.get(entry.instrument) if entry is not None else None
        if instrument is not None and instrument.kind == "percent":
            return float(
                instrument.standard_uncertainty(Q(100, "percent")).to("dimensionless").magnitude
            )
    return 0.0


def _feedback(
    limits: Limits, entries: Entries, result: StrokesResult | None, strokes: Strokes
) -> list[Verdict]:
    u = _u_feedback(entries)
    if result is None:
        return [_zero_by_hand(limits, entries, strokes)]
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
            result.noise,
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
            _percent(value),
            u=_percent(uncertainty),
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
                _percent(result.drift.slope * 10),
                u=_percent(result.drift.u_slope * 10),
                next_step=(
                    "The feedback zero walks from stroke to stroke: look for a slipping coupling or"
                    " sensor."
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
    zeros = [
        strokes.rows[n].quantity("end_feedback").to("percent").magnitude
        for n in strokes.counted
        if n in strokes.rows
        and strokes.rows[n].text("direction") == CLOSING
        and strokes.rows[n].quantity("end_feedback") is not None
    ]
    mean = Q(sum(zeros) / len(zeros), "percent") if zeros else None
    return check(
        entries,
        limits["vanes.zero"],
        mean,
        next_step="Set the feedback zero with the vanes on their closed stop, then stroke again.",
    )


# --- the closed-position switch ----------------------------------------------------------------


def _switch(
    machine: Machine,
    limits: Limits,
    entries: Entries,
    strokes: Strokes,
    result: StrokesResult | None,
) -> list[Verdict]:
    if machine.vanes.switch == "none":
        return []
    switch = result.switch if result is not None else None
    distance = switch.distance_from_stop if switch else None
    u = _u_distance(switch)
    return [
        check(
            entries,
            limits["vanes.switch_distance"],
            _percent(distance),
            u=_percent(u),
            next_step=(
                "Set the switch nearer to the closed stop: it makes while the vanes still stand"
                " open."
            ),
            note=(
                ""
                if switch is None or distance is None
                else (
                    f"It makes closing at {100 * (switch.make_mean or 0):.1f} % feedback, breaks"
                    f" opening at {_or_unknown(switch.break_mean)}."
                )
            ),
        ),
        check(
            entries,
            limits["vanes.switch_differential"],
            _percent(switch.differential if switch else None),
            u=_percent(u * math.sqrt(2) if u is not None else None),
            next_step="Check switch, cam and lever for play or wear.",
        ),
        check(
            entries,
            limits["vanes.switch_spread"],
            _percent(switch.distance_sd if switch else None),
            u=_percent(_u_sd(switch)),
            next_step=(
                "The switch makes at a different place each time: renew or re-fix switch and cam."
            ),
        ),
        _misses(limits["vanes.switch_misses"], entries, strokes),
        _chatter(switch),
    ]


def _or_unknown(value: float | None) -> str:
    return "a place not seen" if value is None else f"{100 * value:.1f} %"


def _u_distance(switch: SwitchResult | None) -> float | None:
    """Uncertainty of the mean distance: spread between strokes, and the sampling of one stroke.

    A recorder that starts with the command meets every stroke at the same instants: its sampling
    error is shared by all
    strokes and does not average out.
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


def _misses(limit: Limit, entries: Entries, strokes: Strokes) -> Verdict:
    """The bound on the chance that a closing stroke ends without its proof; few strokes are
    unproven, not failed.
    """
    trials, failed = closings(strokes, strokes.counted)
    if not trials:
        return check(entries, limit, None, next_step="", note="")
    bound = Q(failure_bound.si(len(failed), trials, 0.95) * 100, "percent")
    asked = float(limit.high.to("dimensionless").magnitude)
    said = (
        f"{trials} closings, {len(failed)} without the switch made: the chance of a miss is below"
        f" {entries.show(bound, 'percent', 0)} with 95 % confidence"
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
    if failed:
        return replace(
            base,
            outcome=Outcome.FAIL,
            sentence=f"{said}; it did not make in {_named(failed)}.",
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
            sentence=f"{said}. {trials} good strokes prove little.",
            next_step=f"Close the vanes {more} more times without a miss.",
        )
    return base


def _chatter(switch: SwitchResult | None) -> Verdict:
    key, title = "vanes.switch_chatter", "Switch makes and breaks cleanly"
    if switch is None or not (switch.trials or switch.break_strokes):
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.OPEN,
            sentence="No trace shows the switch along a stroke.",
            next_step="Record switch and feedback along the strokes.",
            source=PRACTICE,
        )
    if switch.chatter:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.FAIL,
            sentence=f"It changed {switch.chatter} times more than it should, in"
            f" {_named(switch.chattering_strokes)}.",
            next_step="Check contact, cam and wiring.",
            source=PRACTICE,
        )
    return Verdict(
        key=key,
        title=title,
        outcome=Outcome.PASS,
        sentence="One change a stroke.",
        source=PRACTICE,
    )


def _closed_proof(machine: Machine, parts: tuple[Verdict, ...]) -> Verdict:
    """The answer that the hold point asks for: may the closed proof be trusted?"""
    key, title = "vanes.closed_proof", "Closed proof may be trusted"
    needed = [v for v in parts if v.key in PROOF]
    if machine.vanes.switch == "none":
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.UNPROVEN,
            sentence="This machine has no closed-position switch: only the feedback and the eye"
            " speak.",
            next_step="Have the owner's engineer accept another proof, by name and reason.",
        )
    lacking = [v for v in needed if v.outcome is not Outcome.PASS]
    if not lacking:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.PASS,
            sentence="The switch makes only with the vanes on their stop, every time it was tried,"
            " and it"
            " was seen.",
        )
    outcome = worst([v.outcome for v in lacking])
    return Verdict(
        key=key,
        title=title,
        outcome=outcome,
        sentence="Not yet: "
        + "; ".join(f"{v.title.lower()} ({v.outcome.value})" for v in lacking)
        + ".",
        next_step=lacking[0].next_step,
    )


GUARD_NOTE = (
    f"Spread and distance are judged with a guard band of {COVERAGE:g} standard uncertainties."
)
