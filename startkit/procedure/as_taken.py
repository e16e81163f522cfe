"""Readings as they were taken: what is doubtful about each of them before anything is judged."""

from __future__ import annotations

from collections.abc import Iterator

from startkit.facts.limits import PRACTICE
from startkit.procedure.entries import Entries
from startkit.procedure.field import SERIES, TABLE, Column, Field
from startkit.procedure.reading import Reading, Row
from startkit.verdict import Outcome, Verdict

Doubt = tuple[str, str]  # item, sentence without its full stop
NAMED = 3  # doubts written out; the rest are counted


def as_taken(entries: Entries) -> Verdict | None:
    """That readings of a stage are doubtful as they were taken: outside what is usual, without the
    instrument that they need, or missing in a row. None if none is.
    """
    doubts = tuple(_doubts(entries))
    if not doubts:
        return None
    told = "; ".join(sentence for _, sentence in doubts[:NAMED])
    more = f"; and {len(doubts) - NAMED} more" if len(doubts) > NAMED else ""
    return Verdict(
        key=f"{entries.declared.name}.as_taken",
        title="Readings as they were taken",
        outcome=Outcome.UNPROVEN,
        sentence=f"{told}{more}.",
        next_step="Correct the entry or read again. If it is right as it is, let it be waived with"
        " the reason.",
        source=PRACTICE,
        rests_on=tuple(dict.fromkeys(item for item, _ in doubts)),
    )


def _doubts(entries: Entries) -> Iterator[Doubt]:
    for declared in entries.fields.values():
        if declared.kind == TABLE:
            yield from _of_table(entries, declared, entries.rows(declared.name))
        elif declared.kind == SERIES:
            yield from _of_series(entries, declared)
        else:
            yield from _of_reading(
                entries, entries.reading(declared.name), declared, declared.question
            )


def _of_table(entries: Entries, declared: Field, rows: tuple[Row, ...]) -> Iterator[Doubt]:
    for column in declared.columns:
        some = column.measured and any(row.reading(column.name).taken for row in rows)
        for row in rows:
            reading = row.reading(column.name)
            where = f"{declared.question}, row {row.index}, {column.label}"
            if not reading.taken and (some or column.required):
                why = "still empty" if column.required else "missing, though other rows have it"
                yield reading.what, f"{where}: {why}"
            yield from _of_reading(entries, reading, column, where)


def _of_series(entries: Entries, declared: Field) -> Iterator[Doubt]:
    entry = entries.entry(declared.name)
    if entry is None:
        return
    tags = (entry.instrument,) if entry.instrument else ()
    why = _of_instruments(entries, tags, declared.measured)
    if why:
        yield f"{entries.declared.name}.{declared.name}", f"{declared.question}: {why}"


def _of_reading(
    entries: Entries, reading: Reading, declared: Field | Column, where: str
) -> Iterator[Doubt]:
    if not reading.taken or reading.problem:
        return
    if reading.flag:
        yield reading.what, f"{where}: {reading.text} {_unit(reading)} is {reading.flag}"
    why = reading.untrusted or _of_instruments(entries, reading.instruments, declared.measured)
    if why:
        yield reading.what, f"{where}: {why}"


def _of_instruments(entries: Entries, tags: tuple[str, ...], measured: bool) -> str:
    """What is wrong with how an instrument is named; empty if nothing is."""
    if measured and not tags:
        return "no instrument is named"
    unknown = next((tag for tag in tags if tag not in entries.job.instruments), "")
    return f"instrument {unknown} is not on the list" if unknown else ""


def _unit(reading: Reading) -> str:
    return reading.entry.unit if reading.entry is not None else ""
