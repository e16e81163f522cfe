"""What is shown of a trend: its steady stretches in a table, the overview with the stretches in it,
and what its marks say.
"""

from __future__ import annotations

import numpy as np

from startkit.facts.trend.quality import CLOCK, DUPLICATE, GAP, WORDS
from startkit.procedure.entries import Entries
from startkit.procedure.stage import Heading, Table
from startkit.science.steadiness import PERIODS
from startkit.stages.load_up.formulas import BY_KEY
from startkit.stages.load_up.trend_windows import SHOWN, TEMPERATURES, Steady, Stretch, Swing
from startkit.units import Q

MOST_STRETCHES, MOST_MARKED = 40, 12


def tables(entries: Entries, seen: Steady) -> tuple[Table, ...]:
    """Steady stretches to choose from, hunting, and marked readings."""
    return tuple(
        found
        for found in (_stretches(entries, seen), _swings(entries, seen), _marked(seen))
        if found is not None
    )


def _stretches(entries: Entries, seen: Steady) -> Table:
    keys = [key for key in SHOWN if key in seen.figures.found]
    head = (
        Heading("Begin"),
        Heading("End"),
        Heading("Minutes", "minutes", 0),
        *(Heading(BY_KEY[key].label, BY_KEY[key].kind, BY_KEY[key].digits) for key in keys),
    )
    longest = sorted(seen.stretches, key=lambda each: each.begin - each.end)[:MOST_STRETCHES]
    rows = tuple(_row(seen, each, keys) for each in sorted(longest, key=lambda each: each.begin))
    left = len(seen.stretches) - len(rows)
    note = (
        f"All relevant readings were steady for at least {seen.window / 60:.0f} min. Enter begin"
        " and end of those to use, or of a part of one, in Stretches to use."
        + (f" {left} shorter ones are not listed." if left else "")
        + _spoiled(seen)
        + "".join(f" {each}" for each in (*seen.notes, *_bare(seen)))
    )
    return Table(f"Steady stretches of the trend {seen.trend.name}", head, rows, note)


def _bare(seen: Steady) -> tuple[str, ...]:
    bare = [column.column for column in seen.trend.columns.values() if not column.instrument]
    return (
        (
            (
                f"{len(bare)} of {len(seen.trend.columns)} columns have no instrument in the map:"
                " their readings carry no uncertainty."
            ),
        )
        if bare
        else ()
    )


def _spoiled(seen: Steady) -> str:
    """What kept the trend from being steady, where that was most of it."""
    worst = sorted(
        ((share, name) for name, share in seen.spoiled.items() if share > 0.5), reverse=True
    )[:3]
    return (
        " Most often unsteady: "
        + ", ".join(
            f"{name.replace('_', ' ')} ({100 * share:.0f} % of the time)" for share, name in worst
        )
        + "."
        if worst
        else ""
    )


def _row(seen: Steady, each: Stretch, keys: list[str]) -> tuple[object, ...]:
    rows = slice(each.first, each.last + 1)
    means = (_mean(seen.figures.found[key][rows], BY_KEY[key].unit) for key in keys)
    return (
        seen.trend.moment(each.begin),
        seen.trend.moment(each.end),
        Q((each.end - each.begin) / 60, "minute"),
        *means,
    )


def _mean(values: np.ndarray, unit: str) -> object:
    good = values[np.isfinite(values)]
    return Q(float(good.mean()), unit) if good.size else None


def _marked(seen: Steady) -> Table | None:
    """Points with marked readings; a mark deletes nothing."""
    of_rows: dict[int, int] = {}
    rows = []
    for point, marks in seen.trend.marks().items():
        # What is wrong with a stamp is wrong for every point.
        of_rows |= {mark: count for mark, count in marks.items() if mark in (CLOCK, DUPLICATE)}
        own = {mark: count for mark, count in marks.items() if mark not in (GAP, CLOCK, DUPLICATE)}
        rows += [
            (
                point.replace("_", " "),
                seen.trend.columns[point].column,
                WORDS[mark],
                Q(count, "dimensionless"),
            )
            for mark, count in own.items()
        ]
    rows += [("all", "", WORDS[mark], Q(count, "dimensionless")) for mark, count in of_rows.items()]
    rows.sort(key=lambda row: -row[3].magnitude)
    if not rows:
        return None
    head = (Heading("Point"), Heading("Column"), Heading("Mark"), Heading("Rows", "count", 0))
    left = len(rows) - MOST_MARKED
    return Table(
        f"Marked readings of the trend {seen.trend.name}",
        head,
        tuple(rows[:MOST_MARKED]),
        "Marked readings are kept in the file and left out of the figures; those that do not change"
        " are used, but treated as doubtful."
        + (f" {left} more marks are not listed." if left > 0 else ""),
    )


def remarks(seen: Steady) -> tuple[str, ...]:
    """What of the file could not be read."""
    return tuple(f"Trend {seen.trend.name}: {each}" for each in seen.trend.problems[:4])


def _swings(entries: Entries, seen: Steady) -> Table | None:
    """Hunting found, the largest swing of each reading."""
    if not seen.swings:
        return None
    head = (
        Heading("Reading"),
        Heading("Around"),
        Heading("Swing"),
        Heading("Period", "minutes", 1),
    )
    return Table(
        f"Hunting in the trend {seen.trend.name}",
        head,
        tuple(_swing(entries, seen, each) for each in seen.swings),
        f"A steady stretch must span {PERIODS:g} periods of any hunting.",
    )


def _swing(entries: Entries, seen: Steady, swing: Swing) -> tuple[object, ...]:
    size = (
        entries.show(Q(swing.hunting.amplitude, "delta_degC"), "temperature_difference")
        if swing.reading in TEMPERATURES
        else f"{100 * swing.hunting.amplitude / _level(seen, swing.reading):.1f} %"
    )
    return (
        swing.reading.replace("_", " "),
        seen.trend.moment(swing.at),
        f"± {size}",
        Q(swing.hunting.period, "second"),
    )


def _level(seen: Steady, name: str) -> float:
    return max(float(np.nanmean(np.abs(seen.figures.readings[name]))), 1e-12)
