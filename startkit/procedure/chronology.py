"""Times that cannot be: before the job began, or of a running machine while none of its starts
says that it ran.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from itertools import pairwise

from startkit.facts.job import State
from startkit.facts.journal import OF_THE_JOB
from startkit.procedure import site
from startkit.procedure.early_entries import due_after
from startkit.procedure.entries import Entries, Fault
from startkit.procedure.field import TABLE, Column, Field
from startkit.procedure.reading import Reading
from startkit.procedure.stage import Stage
from startkit.procedure.starts import Run, clock, moment, runs
from startkit.verdict import Outcome, Verdict

STARTS = "first_start"  # stage with the list of starts
# The panel's clock, the watch and the computer's differ, and times are noted to the minute: own
# default.
CLOCKS = timedelta(minutes=5)
# A job is one visit. After so long without an entry, or before the job began, what was read may
# not hold any more: own default.
PAUSE = timedelta(days=30)


def faults(entries: Entries) -> tuple[Fault, ...]:
    """Every time of the stage that cannot be, with its item."""
    stage = entries.declared
    if not isinstance(stage, Stage):
        return ()
    began = _began(entries.job.state_held)
    # Only where it matters: else each entry of a start would have every stage looked at anew.
    started = runs(entries.of(STARTS), []) if _asks_what_ran(entries) else ()
    return (
        *_of_an_earlier_visit(entries),
        *(
            Fault(reading.what, said)
            for field, declared, where, reading in _times(entries)
            if (said := _wrong(stage, field, declared, where, reading, began, started))
        ),
    )


def _of_an_earlier_visit(entries: Entries) -> Iterator[Fault]:
    """Readings that were taken long before the job began: they came from an old sheet or file."""
    first = entries.job.state_held.entries[0].moment if entries.job.state_held.entries else None
    for reading in entries.readings():
        when = reading.moment
        if first is not None and when is not None and first - when > PAUSE:
            yield Fault(
                reading.what,
                f"{reading.what} was read on {when:%Y-%m-%d}, {(first - when).days} days before"
                " this job began: a reading of an earlier visit proves nothing; read it again.",
            )


def paused(state: State) -> tuple[Verdict, ...]:
    """A verdict where the journal was left lying for so long that it is of two visits; none where
    it was not.
    """
    known = [
        (entry, at)
        for entry in state.entries
        if not entry.what.startswith(OF_THE_JOB) and (at := entry.moment) is not None
    ]
    gaps = [(after - before, before, after) for (_, before), (_, after) in pairwise(known)]
    longest, before, after = max(gaps, default=(timedelta(), None, None))
    if longest <= PAUSE or before is None or after is None:
        return ()
    return (
        Verdict(
            key=f"{site.PREFIX}.one_visit",
            title="All entries are of one visit",
            outcome=Outcome.UNPROVEN,
            sentence=f"Nothing was entered from {before:%Y-%m-%d} to {after:%Y-%m-%d},"
            f" {longest.days} days: what was proven before may no longer hold.",
            next_step=(
                "Make a job for this visit from the last record with `startkit import`, or have"
                " the gap waived."
            ),
            source="default of this workbook, no source: 30 days",
        ),
    )


def _began(state: State) -> datetime | None:
    """When the first entry was made, by the clock of its place; it never changes."""
    first = state.entries[0].moment if state.entries else None
    return first.replace(tzinfo=None) if first is not None else None


def _asks_what_ran(entries: Entries) -> bool:
    fields = entries.fields.values()
    return any(f.running or any(column.running for column in f.columns) for f in fields)


def _asks_for_times(field: Field) -> bool:
    return "moment" in (field.kind, *(column.kind for column in field.columns))


def _times(entries: Entries) -> Iterator[tuple[Field, Field | Column, str, Reading]]:
    """Every time that was entered and can be read."""
    for field in filter(_asks_for_times, entries.fields.values()):
        if field.kind != TABLE:
            yield field, field, field.question, entries.reading(field.name)
            continue
        for row in entries.rows(field.name):
            for column in field.columns:
                if column.kind == "moment":
                    where = f"{field.question}, row {row.index}, {column.label}"
                    yield field, column, where, row.reading(column.name)


def _wrong(
    stage: Stage,
    field: Field,
    declared: Field | Column,
    where: str,
    reading: Reading,
    began: datetime | None,
    started: tuple[Run, ...],
) -> str:
    when = moment(reading.text) if reading.text and not reading.problem else None
    own = declared.after is not None
    if when is None or due_after(stage, declared if own else field) is None:
        return ""
    if began is not None and when < began - CLOCKS:
        return (
            f"{where}: {clock(when)} is before this job began, {_shown(began, when)}; correct the"
            " time, or explain in a remark what ran before."
        )
    if declared.running and started and not any(_ran(run, when) for run in started):
        return (
            f"{where}: at {clock(when)} the machine was not running according to the list of"
            " starts; correct the time, or enter the start that is missing."
        )
    return ""


def _shown(began: datetime, when: datetime) -> str:
    """To the day, or to the minute where it was the same day."""
    return f"{began:%H:%M}" if began.date() == when.date() else f"{began:%Y-%m-%d}"


def _ran(run: Run, when: datetime) -> bool:
    return run.began - CLOCKS <= when and (run.ended is None or when <= run.ended + CLOCKS)
