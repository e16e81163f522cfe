"""Whether current or leaving water hunted in the pull-down."""

from __future__ import annotations

from startkit.facts.limits import PRACTICE, Limits
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.hunting_readings import Watched, sizes, swings, too_large, watched
from startkit.procedure.series import clock
from startkit.science.hunting import LEAST, Swing
from startkit.stages.pull_down.readings import Seen
from startkit.verdict import Outcome, Verdict

COLUMNS = ("current", "leaving")


def hunting(
    machine: Machine, limits: Limits, entries: Entries, seen: Seen | None
) -> tuple[Verdict, ...]:
    """One verdict on every record that is dense enough to show a swing; none without one."""
    kinds = watched(machine.motor.full_load_current)
    records = [*_current_trend(entries), *_readings(seen)]
    if not records:
        return ()
    judged = [
        each for item, found in records for each in _judged(entries, limits, item, found, kinds)
    ]
    large, said = too_large(judged), "; ".join(words for words, _ in judged)
    found = Verdict(
        key="pull_down.hunting",
        title="Nothing hunted in the pull-down",
        outcome=Outcome.PASS,
        sentence=f"No larger than it may be: {said}." if said else "Nothing swings periodically.",
        source=PRACTICE,
        rests_on=tuple(item for item, _ in records),
    )
    if not large:
        return (found,)
    return (
        found.failed(
            f"It hunts: {'; '.join(large)}.",
            "Slow the vanes down near the limit, or widen the band in which they hold; record the"
            " current again. Hunting adds to every crest of the current, and wears the linkage.",
        ),
    )


def _judged(
    entries: Entries, limits: Limits, item: str, found: dict[str, Swing], kinds: dict[str, Watched]
) -> list[tuple[str, Verdict]]:
    return sizes(entries, limits, "pull_down", found, kinds, (item,))


def _current_trend(entries: Entries) -> list[tuple[str, dict[str, Swing]]]:
    block = entries.block("current_trend")
    if len(block) < LEAST:
        return []
    kept = clock(block, "")
    return [(block.item, swings(kept.time, {"current": block.columns["current"][kept.rows]}))]


def _readings(seen: Seen | None) -> list[tuple[str, dict[str, Swing]]]:
    if seen is None or len(seen.time) < LEAST:
        return []
    columns = {name: seen.columns[name] for name in COLUMNS}
    return [("pull_down.trend", swings(seen.time, columns))]
