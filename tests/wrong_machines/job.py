"""What a row of wrong machines changes in an honest job."""

from __future__ import annotations

from dataclasses import replace
from fnmatch import fnmatchcase

from startkit.facts.journal import Entry
from startkit.procedure.assessment import Assessment
from tests.wrong_machines.rows import Row, SameAs
from workbook.judged import honest, released
from workbook.wrong_readings import judged_with

__all__ = ["gone_early", "honest", "released", "wrong"]  # what each test of a wrong machine needs


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


def gone_early(assessment: Assessment, row: Row) -> Assessment:
    """The job with what a row says, in the order of its times; each hold point is released as soon
    as it is clear, as somebody would who does not know better.
    """
    told = sorted(wrong(assessment, row).state.entries, key=lambda e: e.at)
    return released(assessment, told, f"{told[0].digest} {row.wrong}")


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
