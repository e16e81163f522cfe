"""What is shown of the guide vanes: figures, tables of strokes and adjustments, plots."""

from __future__ import annotations

import pint

from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.stage import Figure, Heading, Table
from startkit.science.strokes import CLOSING, OPENING
from startkit.science.vane_calibration import StrokesResult
from startkit.science.vane_diagnosis import diagnose
from startkit.stages.vanes import jogs
from startkit.stages.vanes.readings import Strokes
from startkit.stages.vanes.switch import closings
from startkit.stages.vanes.verdicts import mean_time
from startkit.units import Q


def _percent(value: float | None) -> pint.Quantity | None:
    return None if value is None else Q(value * 100, "percent")


def figures(
    machine: Machine, limits: Limits, entries: Entries, strokes: Strokes
) -> tuple[Figure, ...]:
    """Figures of the strokes that count; those with a key are the baseline for the next visit."""
    result = strokes.result(strokes.counted)
    trials, failed = closings(strokes, strokes.counted)
    found = [
        _time(strokes, result, OPENING, "Opening time"),
        _time(strokes, result, CLOSING, "Closing time"),
    ]
    found.append(
        Figure(
            "Closings watched, and those without the switch made",
            f"{trials}, {len(failed)}",
            key="",
        )
    )
    found += _traced(result) if result is not None else ()
    if result is None or result.switch.make_mean is None:
        found += _by_hand(strokes)
    return tuple(f for f in found if f.value is not None)


def _by_hand(strokes: Strokes) -> tuple[Figure, ...]:
    """Where the switch was seen to make and break; figures for the next visit as from a trace."""
    seen = (
        ("Switch makes, closing, by hand", jogs.mean(strokes, "made"), "vanes.switch_make"),
        ("Switch breaks, opening, by hand", jogs.mean(strokes, "broke"), "vanes.switch_break"),
        ("Switch makes this far from the stop", jogs.distance(strokes), "vanes.switch_distance"),
    )
    return tuple(
        Figure(label, reading.quantity, "percent", reading.u, "", key)
        for label, reading, key in seen
    )


def _time(strokes: Strokes, result: StrokesResult | None, direction: str, label: str) -> Figure:
    mean, n = mean_time(strokes, result, direction, strokes.counted)
    return Figure(
        label,
        mean.quantity,
        "time",
        mean.u,
        f"mean of {n}",
        f"vanes.{direction}_time",
    )


def _traced(result: StrokesResult) -> tuple[Figure, ...]:
    switch = result.switch
    times = [r.dead_time for r in result.each if r.dead_time is not None]
    return (
        Figure(
            "Dead time",
            Q(sum(times) / len(times), "second") if times else None,
            "time",
            note="mean time from command to movement",
            digits=2,
        ),
        Figure(
            "Feedback with the vanes closed", _percent(result.zero), "percent", key="vanes.zero"
        ),
        Figure(
            "Feedback with the vanes open",
            _percent(result.open_end),
            "percent",
            key="vanes.open_end",
        ),
        Figure(
            "Largest deviation from the line",
            _percent(result.largest_deviation),
            "percent",
            key="vanes.linearity",
        ),
        Figure(
            "Hysteresis",
            _percent(result.hysteresis),
            "percent",
            _percent(result.u_hysteresis),
            "closing less opening",
            "vanes.hysteresis",
        ),
        Figure("Dead band", _percent(result.dead_band), "percent"),
        Figure(
            "Noise of the feedback",
            _percent(result.noise),
            "percent",
            note="standard deviation",
            digits=2,
        ),
        Figure(
            "Switch makes, closing", _percent(switch.make_mean), "percent", key="vanes.switch_make"
        ),
        Figure(
            "Switch breaks, opening",
            _percent(switch.break_mean),
            "percent",
            key="vanes.switch_break",
        ),
        Figure(
            "Switch makes this far from the stop",
            _percent(switch.distance_from_stop),
            "percent",
            key="vanes.switch_distance",
        ),
        Figure(
            "Spread of the make",
            _percent(switch.distance_sd),
            "percent",
            note="standard deviation between strokes",
            digits=2,
        ),
    )


# --- tables ------------------------------------------------------------------------------------


def tables(entries: Entries, strokes: Strokes) -> tuple[Table, ...]:
    """Stroke by stroke, then what the pattern suggests."""
    found = [_stroke_table(strokes)] if strokes.numbers else []
    return (*found, *_diagnosis(strokes))


def _stroke_table(strokes: Strokes) -> Table:
    head = (
        Heading("Stroke", "count"),
        Heading("Direction"),
        Heading("Counts"),
        Heading("Travel time", "time"),
        Heading("Dead time", "time", 2),
        Heading("Feedback at rest", "percent"),
        Heading("Switch at", "percent"),
        Heading("Switch at the end"),
        Heading("Remarks"),
    )
    result = strokes.result(strokes.numbers)
    by_number = {r.number: r for r in result.each} if result is not None else {}
    return Table(
        "Stroke by stroke",
        head,
        tuple(_stroke_row(strokes, n, by_number.get(n)) for n in strokes.numbers),
        "Strokes before the last adjustment stay on the record and do not count.",
    )


def _stroke_row(strokes: Strokes, number: int, traced) -> tuple:
    row = strokes.rows.get(number)
    counts = "yes" if number > strokes.last_adjustment else "no, adjusted since"
    made = strokes.switch_at_end(number)
    state = "–" if made is None else "made" if made else "open"
    if traced is None:
        return (
            Q(number, "dimensionless"),
            strokes.direction(number),
            counts,
            row.quantity("travel_time") if row is not None else None,
            None,
            row.quantity("end_feedback") if row is not None else None,
            None,
            state,
            "by hand",
        )
    time = traced.travel_time if traced.form in ("step", "ramp") else None
    position = traced.make_position if traced.direction == CLOSING else traced.break_position
    return (
        Q(number, "dimensionless"),
        traced.direction,
        counts,
        None if time is None else Q(time, "second"),
        None if traced.dead_time is None else Q(traced.dead_time, "second"),
        _percent(traced.rest_position),
        _percent(position),
        state,
        _remarks(traced),
    )


def _remarks(traced) -> str:
    said = []
    if traced.finished_without_arriving:
        said.append(f"drive finished at {100 * traced.feedback_at_finish:.0f} %")
    elif not traced.arrived:
        said.append("did not arrive")
    said += [f"stopped for {traced.stalled_time:.0f} s"] if traced.stalls else []
    said += [f"{len(traced.jumps)} jumps"] if traced.jumps else []
    said += [f"switch chattered {traced.chatter}"] if traced.chatter else []
    if traced.seen_mismatch is not None and abs(traced.seen_mismatch) > 0.03:
        said.append(f"seen {100 * traced.seen_mismatch:+.0f} % from feedback")
    return "; ".join(said) or traced.form


def _diagnosis(strokes: Strokes) -> tuple[Table, ...]:
    """What the pattern suggests, as found and as left."""
    sets = (
        (strokes.as_found, "as found"),
        (strokes.counted, "as left" if strokes.as_found else ""),
    )
    results = ((strokes.result(numbers), when) for numbers, when in sets)
    return tuple(_diagnosis_table(result, when) for result, when in results if result is not None)


def _diagnosis_table(result: StrokesResult, when: str) -> Table:
    found = diagnose(result)
    head = (
        Heading("Possible cause"),
        Heading("Evidence for it"),
        Heading("Left unexplained"),
        Heading("Next step"),
    )
    rows = tuple(
        (c.name, " ".join(c.evidence), " ".join(c.against) or "–", c.next_step)
        for c in found.candidates
    )
    missing = f" Not examined: {'; '.join(found.not_examined)}." if found.not_examined else ""
    return Table(
        titled("What the pattern of the strokes suggests", when),
        head,
        rows,
        found.sentence + missing,
    )


def titled(text: str, when: str) -> str:
    """A title, with as found or as left where the strokes were made in both states."""
    return f"{text}, {when}" if when else text
