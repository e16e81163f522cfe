"""What cannot be true of several loads together: copies, a current that does not follow the power,
loads while the machine stood still.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import combinations
from math import hypot, isclose

import pint

from startkit.procedure import starts
from startkit.procedure.entries import Entries
from startkit.procedure.reading import Reading
from startkit.stages.load_up.fields import POINT_KINDS
from startkit.stages.load_up.physics import SURE
from startkit.stages.load_up.points import Point
from startkit.verdict import Outcome, Verdict

# Common practice, no source.
COPIED = 0.8  # share of equal readings from which a load is a copy
LEAST_COMPARED = 6
FALLS = 0.9  # a fall of power or current to this share is one that the other must follow
FOLLOWS = 0.25  # of the fall
CLOCKS = timedelta(minutes=2)  # between two watches
SAME_FIGURES = 6  # equal to those of the last visit, to the last digit

Said = tuple[int, str]  # place of the load, sentence without its full stop


def contradictions(entries: Entries, points: tuple[Point, ...]) -> dict[int, tuple[str, ...]]:
    """What cannot be true of each load beside the others, by its place."""
    found: dict[int, list[str]] = defaultdict(list)
    for place, sentence in (
        *_copies(points),
        *_current_and_power(points),
        *_standing_still(entries, points),
        *_last_visit(entries, points),
    ):
        found[place].append(sentence)
    return {place: tuple(said) for place, said in found.items()}


def _copies(points: tuple[Point, ...]) -> Iterator[Said]:
    for (_, one), (n, other) in combinations(enumerate(points), 2):
        texts = [
            (one.row.text(name), other.row.text(name))
            for name in POINT_KINDS
            if one.row.reading(name).text and other.row.reading(name).text
        ]
        same = sum(first == second for first, second in texts)
        if len(texts) >= LEAST_COMPARED and same >= COPIED * len(texts):
            yield n, f"{same} of its {len(texts)} readings are those of {one.label}: a copy"
        elif _moment(one) and _moment(one) == _moment(other):
            yield n, f"it was read at the same moment as {one.label}"


def _moment(p: Point) -> str:
    return p.row.text("moment")


def _current_and_power(points: tuple[Point, ...]) -> Iterator[Said]:
    """Where the power falls from one load to another the current falls too, and the reverse."""
    for (_, one), (n, other) in combinations(enumerate(points), 2):
        pairs = [_fall(one, other, name) for name in ("power", "current")]
        if None in pairs:
            continue
        (power, u_power), (current, u_current) = (pair for pair in pairs if pair is not None)
        spread = SURE * hypot(u_power, u_current)
        for moved, still in ((power, current), (current, power)):
            falls = min(moved, 1 / moved)
            followed = still if moved < 1 else 1 / still
            if falls < FALLS and followed > 1 - FOLLOWS * (1 - falls) + spread:
                yield (
                    n,
                    f"against {one.label} power is {100 * power:.0f} % and current"
                    f" {100 * current:.0f} %, which do not fit: one of the two was copied or"
                    " misread",
                )
                break


def _fall(one: Point, other: Point, name: str) -> tuple[float, float] | None:
    """A reading of one load over that of another, with its relative uncertainty."""
    read = [p.readings.get(name, Reading()) for p in (one, other)]
    sizes = [
        float(each.quantity.to_base_units().magnitude) for each in read if each.quantity is not None
    ]
    if len(sizes) < len(read) or min(sizes) <= 0:
        return None
    us = [
        0.0 if each.u is None else float(each.u.to_base_units().magnitude) / size
        for each, size in zip(read, sizes, strict=True)
    ]
    return sizes[1] / sizes[0], hypot(*us)


def _standing_still(entries: Entries, points: tuple[Point, ...]) -> Iterator[Said]:
    """A load is read during one of the runs in the table of starts."""
    runs = starts.runs(entries.of("first_start"), [])
    if not runs:
        return
    for n, p in enumerate(points):
        at = starts.moment(_moment(p))
        if at is None or any(_during(at, run) for run in runs):
            continue
        when = starts.clock(at)
        if at < runs[0].began:
            yield n, f"it was read at {when}, before the first start"
        else:
            yield (
                n,
                (
                    f"it was read at {when}, when the machine was stopped according to the table of"
                    " starts"
                ),
            )


def _during(at: datetime, run: starts.Run) -> bool:
    return run.began - CLOCKS <= at and (run.ended is None or at <= run.ended + CLOCKS)


def _last_visit(entries: Entries, points: tuple[Point, ...]) -> Iterator[Said]:
    """A load whose figures are, to the last digit, those of the last record."""
    before = {
        key.partition(".")[2]: figure.value
        for key, figure in entries.job.baseline.figures.items()
        if key.startswith("load_up.")
    }
    for n, p in enumerate(points):
        if _equal(p, before.items()) >= SAME_FIGURES:
            yield n, "its figures are, to the last digit, those of the last visit: a copy"


def _equal(p: Point, figures: Iterable[tuple[str, pint.Quantity]]) -> int:
    count = 0
    for key, value in figures:
        now = p.value(key)
        if now is not None:
            sizes = (float(each.to_base_units().magnitude) for each in (now, value))
            count += isclose(*sizes, rel_tol=1e-9)
    return count


# --- the verdict ---------------------------------------------------------------------------------


def together(found: tuple[Point, ...]) -> Verdict:
    """That what was read at each load can be true together."""
    forbidden = [(p, said) for p in found for said in p.contradictions]
    verdict = Verdict(
        key="load_up.together",
        title="Readings that can be true together",
        outcome=Outcome.PASS,
        sentence=f"{len(found)} loads: no reading contradicts another.",
        source="first and second law, saturation of the refrigerant",
        rests_on=tuple(item for p in found for item in _read(p)) or ("load_up.points",),
    )
    if not found:
        return replace(
            verdict,
            outcome=Outcome.OPEN,
            sentence="No load has been read.",
            next_step="Load step by step and read.",
        )
    if not forbidden:
        return verdict
    told = "; ".join(f"at {p.label} {said}" for p, said in forbidden[:3])
    more = f"; and {len(forbidden) - 3} more" if len(forbidden) > 3 else ""
    return replace(
        verdict,
        outcome=Outcome.FAIL,
        sentence=f"{told[0].upper()}{told[1:]}{more}.",
        next_step="Read again what is listed; until then that load is shown but not used.",
        rests_on=tuple(dict.fromkeys(item for p, _ in forbidden for item in _read(p))),
    )


def _read(p: Point) -> tuple[str, ...]:
    """Items of every reading that was taken at a load."""
    return tuple(
        item for name in POINT_KINDS for item in p.row.reading(name).items if p.row.text(name)
    )
