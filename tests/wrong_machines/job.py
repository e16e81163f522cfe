"""Honest jobs judged in memory, and what a row of wrong machines changes in them."""

from __future__ import annotations

from dataclasses import replace
from fnmatch import fnmatchcase
from functools import cache
from pathlib import Path

from startkit.facts import limits as limits_
from startkit.facts import machine as machine_
from startkit.facts.job import State
from startkit.facts.journal import Entry
from startkit.procedure import registry
from startkit.procedure.assessment import Assessment
from tests.wrong_machines.rows import Row, SameAs
from workbook.honest_job import HonestJob
from workbook.wrong_readings import judged_with

MACHINES = Path(__file__).parents[2] / "workbook" / "plant" / "machines"


@cache
def honest(tag: str, seed: int = 1, recorder: bool = True) -> Assessment:
    """A whole honest job on one machine of the plant; without a recorder, by eyes, panel and
    stopwatch.
    """
    sheet = machine_.load(MACHINES / f"{tag}.toml")
    entries = tuple(
        replace(entry, seq=n, digest=f"{tag}.{seed}.{recorder}.{n}")
        for n, entry in enumerate(HonestJob(sheet, seed, recorder).entries(), 1)
    )
    stages = {name: stage for name, stage in registry.stages().items() if stage.applies(sheet)}
    state = State(entries)
    limits = sheet.limits_over(limits_.defaults(), "machine sheet")
    return Assessment(sheet, limits, stages, state, shown=False)


def wrong(assessment: Assessment, row: Row) -> Assessment:
    """The job with what a row says in place of what was entered."""
    latest = assessment.state.latest
    edits: dict[str, Entry | None] = {}
    for pattern, value in row.set.items():
        found = [what for what in latest if fnmatchcase(what, pattern)]
        assert found, f"{row.wrong}: no item is called {pattern}"
        for what in found:
            edits[what] = _changed(latest, latest[what], value)
    for what, text in (row.add or {}).items():
        number, _, unit = (
            text.partition(" ") if text[:1].isdigit() and "°" in text else (text, "", "")
        )
        edits[what] = Entry(
            what, number, unit, "Ngozi Halvorsen", "", "", "2026-04-15T12:30:00-04:00"
        )
    return judged_with(assessment, edits)


def _changed(latest: dict[str, Entry], entry: Entry, value: object) -> Entry | None:
    if value is None:
        return None
    if isinstance(value, SameAs):
        name = entry.what.rsplit(".", 1)[1]
        other = latest.get(value.prefix + name, latest.get(value.prefix))
        return entry if other is None else replace(entry, value=other.value, unit=other.unit)
    if callable(value):
        return value(entry)
    return replace(entry, value=str(value))
