"""A hold point passed, as display-ready data: who released it and when, and what came early."""

# `Any` here: a hold point's state as JSON.
from __future__ import annotations

from typing import Any

from startkit.procedure.assessment import Assessment
from startkit.procedure.early_entries import Mark
from startkit.procedure.field import Field
from startkit.procedure.holds import HoldPoint, HoldState
from startkit.procedure.releases import GIVEN, Release, few

MOST = 6  # events named of a hold point; the rest are counted


def released(assessment: Assessment, state: HoldState) -> dict[str, Any]:
    """The release of a hold point as data, and in one sentence; no sentence where there is nothing
    to release yet.
    """
    given = assessment.release(state.hold.name)
    if given is None:
        return {"released": None, "release": "Not released." if state.is_clear else ""}
    roles = {p.name: p.role for p in assessment.entries.people}
    data = {
        "who": given.entry.who,
        "role": roles.get(given.entry.who, ""),
        "witness": given.witness.who if given.witness is not None else "",
        "when": given.entry.at,
        "digest": given.entry.value,
        "state": given.state,
        "counts": given.counts,
        "why": given.why,
    }
    return {"released": data, "release": _sentence(given, data)}


def _sentence(given: Release, data: dict[str, Any]) -> str:
    who = f"{data['who']} ({data['role']})" if data["role"] else data["who"]
    seen = f", witnessed by {data['witness']}" if data["witness"] else ""
    by = f"by {who}, {data['when'][:16].replace('T', ' ')}{seen}"
    if given.state == GIVEN:
        return f"Released {by}."
    if given.counts:
        return f"Released {by}, on other readings: {given.why}."
    word = "has lapsed" if given.state == "lapsed" else "does not count"
    return f"The release {by} {word}: {given.why}."


def to_release(assessment: Assessment) -> HoldPoint | None:
    """The first hold point that is clear and waits for somebody to release it."""
    if not assessment.by_release:
        return None
    for state in assessment.holds():
        if not assessment.is_passed(state.hold.name):
            return state.hold if state.is_clear else None
    return None


# --- what came early ------------------------------------------------------------------------------


def early_lines(assessment: Assessment, hold: HoldPoint) -> list[str]:
    """What was done or entered before a hold point was passed: starts, loads and other events with
    their times, the rest by number; whatever was corrected since.
    """
    marks = {seq: mark for seq, mark in assessment.early.items() if mark.hold == hold}
    if not marks:
        return []
    events: list[str] = []
    counts: dict[str, int] = {}
    for entry in assessment.state.entries:
        if entry.seq not in marks or not entry.value:
            continue
        stage, _, rest = entry.what.partition(".")
        counts[stage] = counts.get(stage, 0) + 1
        if event := _event(assessment, stage, rest, entry.value, marks[entry.seq]):
            events.append(event)
    named = list(dict.fromkeys(events))
    titles = (f"{assessment.stages[name].title} {n}" for name, n in counts.items())
    several = "1 entry" if sum(counts.values()) == 1 else f"{sum(counts.values())} entries"
    lines = [f"{several} made too early: {', '.join(titles)}."] if counts else []
    return lines + ([f"{few(named, MOST)}."] if named else [])


def _event(assessment: Assessment, stage: str, rest: str, value: str, mark: Mark) -> str:
    """``"starts, row 1, started 2026-04-15 10:34"``; empty for what names no time."""
    name, *cell = rest.split(".")
    field = next((f for f in assessment.stages[stage].fields if f.name == name), None)
    if field is None:
        return ""
    if mark.happened and mark.happened != value:
        return f"{_where(field, cell)}, taken {mark.happened[:16].replace('T', ' ')}"
    column = next((c for c in field.columns if len(cell) == 2 and c.name == cell[1]), field)
    return f"{_where(field, cell)} {value}" if column.kind == "moment" else ""


def _where(field: Field, cell: list[str]) -> str:
    if len(cell) != 2:
        return field.question
    label = next((c.label for c in field.columns if c.name == cell[1]), cell[1])
    return f"{field.question}, row {cell[0]}, {label.lower()}"
