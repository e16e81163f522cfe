"""The closed-position switch inched by hand: where it makes and breaks, for who has no recorder."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import replace

import pint

from startkit.facts.limits import PRACTICE
from startkit.procedure.entries import Entries
from startkit.procedure.reading import Reading, Row
from startkit.science.strokes import CLOSING
from startkit.stages.vanes.readings import Strokes
from startkit.units import Q
from startkit.verdict import Outcome, Verdict

# Correlation of two readings of one feedback at nearly one position. Common practice, no source.
ONE_FEEDBACK = 0.9


def makes(strokes: Strokes) -> tuple[int, int]:
    """How often the switch was tried by hand, and how often it did not make at the stop."""
    failed = sum(_missed(row) for row in strokes.jogs)
    return len(column(strokes, "made")) + failed, failed


def _missed(row: Row) -> bool:
    return not row.reading("made").taken and row.yes("clean") is False


def column(strokes: Strokes, name: str) -> tuple[Reading, ...]:
    """Feedback at which it made or broke, of the rows that have it."""
    cells = (row.reading(name) for row in strokes.jogs)
    return tuple(cell for cell in cells if cell.quantity is not None)


def mean(strokes: Strokes, name: str) -> Reading:
    """Mean feedback at which it made or broke; one instrument's error is in all of them."""
    return Reading.mean_of(column(strokes, name), 1.0)


def distance(strokes: Strokes) -> Reading:
    """How far from the stop it makes: mean make less the feedback at the closed ends."""
    closed = tuple(n for n in strokes.counted if strokes.direction(n) == CLOSING)
    ends = [r for r in strokes.readings("end_feedback", closed) if r.quantity is not None]
    made = column(strokes, "made")
    if not made or not ends:
        return Reading(items=("vanes.jogs", "vanes.strokes"))
    same = len({tag for r in (*made, *ends) for tag in r.instruments}) == 1
    found = mean(strokes, "made").less(Reading.mean_of(ends, 1.0), ONE_FEEDBACK if same else 0.0)
    return _scattered(found, made)


def differential(strokes: Strokes) -> Reading:
    """How much further open it breaks than it makes."""
    made, broke = column(strokes, "made"), column(strokes, "broke")
    if not made or not broke:
        return Reading(items=("vanes.jogs",))
    found = mean(strokes, "broke").less(mean(strokes, "made"), ONE_FEEDBACK)
    return _scattered(found, made, broke)


def spread(strokes: Strokes) -> Reading:
    """Standard deviation of the make, u(s) = s / sqrt(2 (n - 1)), JCGM 100:2008 E.4.3: with few
    tries it is hardly known, and its guard band is as wide.
    """
    made = column(strokes, "made")
    if len(made) < 2:
        return Reading(items=("vanes.jogs",))
    s = statistics.stdev(_percents(made))
    return Reading.derived(Q(s, "percent"), Q(s / math.sqrt(2 * (len(made) - 1)), "percent"), *made)


def _scattered(found: Reading, *columns: Sequence[Reading]) -> Reading:
    """With the scatter of the tries beside what the instrument adds; one try tells no scatter."""
    if found.quantity is None or found.u is None or any(len(each) < 2 for each in columns):
        return Reading.derived(found.quantity, None, found)
    parts = [statistics.stdev(_percents(each)) / math.sqrt(len(each)) for each in columns]
    u = math.hypot(float(found.u.to("percent").magnitude), *parts)
    return Reading.derived(found.quantity, Q(u, "percent"), found)


def _percents(readings: Sequence[Reading]) -> list[float]:
    return [float(_quantity(each).to("percent").magnitude) for each in readings]


def _quantity(reading: Reading) -> pint.Quantity:
    assert reading.quantity is not None  # rows without one were left out
    return reading.quantity


def note(entries: Entries, strokes: Strokes) -> str:
    """Where it makes and breaks, and in how many tries."""
    made, broke = column(strokes, "made"), column(strokes, "broke")
    if not made:
        return ""
    at = entries.show(mean(strokes, "made").quantity, "percent")
    off = entries.show(mean(strokes, "broke").quantity, "percent") if broke else "–"
    return (
        f"By hand, {len(made)} times: it makes closing at {at} feedback, breaks opening at {off}."
    )


def cleanly(strokes: Strokes) -> Verdict:
    """Whether it changed once each time, seen by eye at the panel."""
    answers = [row.yes("clean") for row in strokes.jogs]
    found = Verdict(
        key="vanes.switch_chatter",
        title="Switch makes and breaks cleanly",
        outcome=Outcome.PASS,
        sentence=f"One change each time, {len(answers)} times by eye.",
        source=PRACTICE,
        rests_on=("vanes.jogs",),
    )
    if False in answers:
        said = f"It flickered or did not make, {answers.count(False)} times of {len(answers)}."
        return _but(found, Outcome.FAIL, said, "Check contact, cam and wiring.")
    if None in answers or not answers:
        said = (
            "Whether it changed once each time is not entered."
            if answers
            else ("No trace shows the switch along a stroke, and it was not inched by hand.")
        )
        step = "Inch the vanes over the switch by hand, or record switch and feedback."
        return _but(found, Outcome.OPEN, said, step)
    return found


def _but(found: Verdict, outcome: Outcome, sentence: str, next_step: str) -> Verdict:
    return replace(found, outcome=outcome, sentence=sentence, next_step=next_step)
