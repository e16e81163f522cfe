"""What of the strokes cannot all be true: table against trace, stroke against stroke, eye against
feedback.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from startkit.facts.limits import Limits
from startkit.procedure.contradiction import contradiction, where_wrong
from startkit.procedure.entries import Entries
from startkit.procedure.judging import check
from startkit.procedure.reading import Reading
from startkit.science.strokes import CLOSING, OPENING, STEP, Stroke
from startkit.science.vane_calibration import StrokesResult
from startkit.science.vanes import StrokeResult
from startkit.stages.vanes.fields import MADE, OPEN
from startkit.stages.vanes.readings import Strokes
from startkit.stages.vanes.switch import named
from startkit.units import Q
from startkit.verdict import Outcome, Verdict

# The parts of this module without which the closed proof cannot be trusted.
PROOF = ("vanes.copied_strokes", "vanes.table_against_trace", "vanes.part_strokes")
LEAST_ROWS = 10  # of a record that can be told from another (own default)
# Stopwatch times in one direction that are not all equal to the tenth: a hand scatters by some
# tenths of a second (common practice, no source).
LEAST_TIMES = 5


def contradictions(
    limits: Limits, entries: Entries, strokes: Strokes, result: StrokesResult | None
) -> list[Verdict]:
    """Every contradiction found; none where the entries agree."""
    each = () if result is None else result.each
    return [
        *_copied(strokes),
        *_table_against_trace(limits, entries, strokes, each),
        *_part_strokes(limits, entries, strokes, each),
    ]


# --- one record written down twice ----------------------------------------------------------------


def _copied(strokes: Strokes) -> Iterator[Verdict]:
    traced = [n for n in strokes.counted if n in strokes.records]
    copies = [
        group
        for direction in (OPENING, CLOSING)
        for group in _alike(strokes, [n for n in traced if strokes.direction(n) == direction])
    ]
    by_hand = [
        group for direction in (OPENING, CLOSING) if (group := _timed_alike(strokes, direction))
    ]
    if not copies and not by_hand:
        return
    said = [f"{_upper(named(group))} are the same in every row" for group in copies]
    said += [f"{_upper(named(group))} have one and the same travel time" for group in by_hand]
    yield contradiction(
        "vanes.copied_strokes",
        "Each stroke recorded by itself",
        f"{'; '.join(said)}: no two strokes are alike, so one was copied and proves only one"
        " stroke.",
        "Stroke the vanes again, and record each stroke.",
        strokes.of_strokes("travel_time", strokes.counted)[0].items or ("vanes.strokes",),
    )


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]


def _alike(strokes: Strokes, numbers: list[int]) -> list[list[int]]:
    """Strokes whose records are the same reading for reading."""
    seen: dict[bytes, list[int]] = {}
    for n in numbers:
        print_ = _fingerprint(strokes.records[n])
        if print_:
            seen.setdefault(print_, []).append(n)
    return [group for group in seen.values() if len(group) > 1]


def _fingerprint(record: Stroke) -> bytes:
    """What no other stroke repeats: its feedback row by row; empty if that says little."""
    moved = np.round(record.feedback, 6)
    if np.count_nonzero(np.diff(moved)) < LEAST_ROWS:
        return b""
    clock = b"" if record.time is None else np.round(np.diff(record.time), 3).tobytes()
    return moved.tobytes() + clock


def _timed_alike(strokes: Strokes, direction: str) -> list[int]:
    """Strokes by stopwatch with one time to the tenth of a second, where so many would scatter."""
    numbers = [n for n in strokes.counted if strokes.direction(n) == direction]
    timed = [n for n in numbers if n not in strokes.records and n in strokes.rows]
    texts = [strokes.rows[n].text("travel_time") for n in timed]
    known = [(n, text) for n, text in zip(timed, texts, strict=True) if text]
    fine = all("." in text or "," in text for _, text in known)
    if len(known) < LEAST_TIMES or not fine or len({text for _, text in known}) > 1:
        return []
    return [n for n, _ in known]


# --- the table against the trace ------------------------------------------------------------------


def _table_against_trace(
    limits: Limits, entries: Entries, strokes: Strokes, each: tuple[StrokeResult, ...]
) -> Iterator[Verdict]:
    said = [
        sentence
        for traced in each
        if traced.number in strokes.rows
        for sentence in (
            _switch(strokes, traced),
            _end(limits, entries, strokes, traced),
            _time(limits, entries, strokes, traced),
        )
        if sentence
    ]
    if not said:
        return
    more = f" And {len(said) - 3} more." if len(said) > 3 else ""
    yield contradiction(
        "vanes.table_against_trace",
        "Table and traces agree",
        " ".join(said[:3]) + more + " One of the two is of another stroke, or was not observed.",
        "Compare table and recorder stroke by stroke; leave empty what was not seen.",
        ("vanes.strokes", *strokes.figure(Q(0.0, "percent")).items),
    )


def _switch(strokes: Strokes, traced: StrokeResult) -> str:
    typed = strokes.rows[traced.number].code("switch_at_end")
    if not typed or traced.switch_at_end is None:
        return ""
    seen = MADE if traced.switch_at_end else OPEN
    if typed == seen.code:
        return ""
    return (
        f"Stroke {traced.number}: the table has the switch {typed} at the end, the trace"
        f" {seen.code}."
    )


def _end(limits: Limits, entries: Entries, strokes: Strokes, traced: StrokeResult) -> str:
    typed = strokes.rows[traced.number].reading("end_feedback")
    if typed.quantity is None or not traced.came_to_rest:
        return ""
    rest = Reading(
        quantity=Q(100 * traced.rest_position, "percent"),
        u=Q(100 * strokes.u_feedback, "percent"),
        taken=True,
    )
    apart = check(entries, limits["vanes.end_against_trace"], typed.less(rest), next_step="")
    if not where_wrong(apart):
        return ""
    return (
        f"Stroke {traced.number}: the table has {entries.show(typed.quantity, 'percent')} at the"
        f" end, the trace ends at {entries.show(rest.quantity, 'percent')}."
    )


def _time(limits: Limits, entries: Entries, strokes: Strokes, traced: StrokeResult) -> str:
    """The stopwatch runs until the vanes stop, the trace's time until they are at their end: what
    is typed may be either, or between.
    """
    typed = strokes.rows[traced.number].reading("travel_time")
    if typed.quantity is None or traced.travel_time is None or traced.form != STEP:
        return ""
    first, last = float(traced.travel_time), float(traced.time_to_rest or traced.travel_time)
    took = float(typed.quantity.to("second").magnitude)
    nearest = Q(min(max(took, first), last), "second")
    apart = check(entries, limits["vanes.time_against_trace"], typed.less(nearest), next_step="")
    if not where_wrong(apart):
        return ""
    return (
        f"Stroke {traced.number}: the table has {entries.show(typed.quantity, 'time')}, the trace"
        f" {entries.show(Q(first, 'second'), 'time')}."
    )


# --- strokes that begin elsewhere -----------------------------------------------------------------


def _part_strokes(
    limits: Limits, entries: Entries, strokes: Strokes, each: tuple[StrokeResult, ...]
) -> Iterator[Verdict]:
    begins = {OPENING: 0.0, CLOSING: 1.0}
    off = [
        (r.number, Q(100 * abs(r.start_position - begins[r.direction]), "percent"))
        for r in each
        if r.form == STEP
    ]
    u, limit = Q(100 * strokes.u_feedback, "percent"), limits["vanes.seen_closed"]
    part = [n for n, gap in off if where_wrong(check(entries, limit, gap, u=u, next_step=""))]
    if part:
        yield contradiction(
            "vanes.part_strokes",
            "Full strokes",
            f"{_upper(named(part))} did not begin at the other end, so the trace shows part of a"
            " stroke.",
            "Stroke from end to end; leave part strokes out of the trace.",
            strokes.figure(Q(0.0, "percent")).items,
            Outcome.UNPROVEN,
        )


# --- the eye --------------------------------------------------------------------------------------


def seen_at_the_ends(
    limits: Limits, entries: Entries, strokes: Strokes, answered: Verdict
) -> Verdict:
    """The answer “seen closed” or “seen open”, against the positions that were noted stroke by
    stroke: a position that is not the end turns the answer into a fail.
    """
    closed = answered.key == "vanes.closed_seen"
    direction = CLOSING if closed else OPENING
    noted = [
        (n, strokes.rows[n].reading("seen_position"))
        for n in strokes.counted
        if n in strokes.rows and strokes.direction(n) == direction
    ]
    noted = [(n, seen) for n, seen in noted if seen.quantity is not None]
    if not noted or answered.outcome is Outcome.OPEN:
        return answered
    limit = limits["vanes.seen_closed" if closed else "vanes.seen_open"]
    pick = Reading.largest_of if closed else Reading.smallest_of
    worst = check(entries, limit, pick(seen for _, seen in noted), next_step="")
    items = (*answered.rests_on, "vanes.strokes")
    if not where_wrong(worst) or worst.reading is None:
        return replace(answered, rests_on=items)
    off = [n for n, seen in noted if where_wrong(check(entries, limit, seen, next_step=""))]
    return replace(
        worst,
        key=answered.key,
        title=answered.title,
        sentence=f"Seen at {entries.show(worst.reading, 'percent')} in {named(off)}, which is not"
        f" the {'closed' if closed else 'open'} end.{_feedback_there(entries, strokes, off)}",
        next_step=(
            "Do not start. Look for a slipped linkage or a lever loose on its shaft, adjust, and"
            " stroke the vanes again."
        ),
        rests_on=items,
    )


def _feedback_there(entries: Entries, strokes: Strokes, numbers: list[int]) -> str:
    result = strokes.result(strokes.counted)
    rest = [r.rest_position for r in (() if result is None else result.each) if r.number in numbers]
    if not rest:
        return ""
    mean = Q(100 * float(np.mean(rest)), "percent")
    return (
        f" The feedback read {entries.show(mean, 'percent')} there: it follows the drive, not the"
        " vanes."
    )
