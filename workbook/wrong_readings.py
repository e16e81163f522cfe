"""A job entered wrongly in the ways people get it wrong, and which verdicts notice.

A slip is one mistake made with one entry, or with two that were swapped: a unit or decimal slip, a
gauge pressure read as absolute, a stale copy, a sign, an instrument left out, a choice turned
round, a value or a row left out. The job is judged again with each slip; a slip is noticed if some
verdict that was settled no longer is.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from itertools import count
from typing import Any

from startkit.facts.job import ROW_REMOVED, State
from startkit.facts.journal import Entry
from startkit.procedure.assessment import Assessment
from startkit.procedure.reading import Reading
from startkit.procedure.stage import SERIES, TABLE, Column, Field
from startkit.units import KINDS
from startkit.verdict import COVERAGE, Outcome

GAUGE = ("gauge_pressure",)
PAIRS = (("entering", "leaving"), ("before", "after"), ("supply", "sump"), ("start", "end"))
_NUMBERS = count()


@dataclass(frozen=True)
class Slip:
    """One mistake.

    Parameters
    ----------
    sort : str
        ``"decimal"``, ``"unit"``, ``"gauge for absolute"``, ``"sign"``, ``"swapped"``,
        ``"stale copy"``, ``"no instrument"``, ``"choice"``, ``"left out"``, ``"row left out"``.
    what : str
        Item.
    shown : str
        What was entered and what is entered now.
    edits : mapping of str -> Entry or None
        Item -> the entry in its place; None: it was never entered.
    size : float
        Change over the guard band of the reading; infinite where it has none.
    """

    sort: str
    what: str
    shown: str
    edits: Mapping[str, Entry | None] = field(compare=False)
    size: float = float("inf")


def judged_with(assessment: Assessment, edits: Mapping[str, Entry | None]) -> Assessment:
    """The job as if it had been entered like this from the start."""
    number = next(_NUMBERS)
    entries = [_entered(entry, edits, number) for entry in assessment.state.entries]
    known = {entry.what for entry in assessment.state.entries}
    last = assessment.state.entries[-1].seq if assessment.state.entries else 0
    entries += [
        replace(entry, seq=last + n, digest=f"{entry.digest}+{number}.{n}")
        for n, entry in enumerate((e for w, e in edits.items() if e and w not in known), 1)
    ]
    kept = [entry for entry in entries if entry is not None]
    touched = {what.split(".", 1)[0] for what in edits}
    return replace(assessment, state=State(tuple(_renewed(kept, touched, number))))


def _renewed(entries: list[Entry], touched: set[str], number: int) -> list[Entry]:
    """The entries with a new digest for the newest of each stage that was touched, by which what
    was remembered of the stage no longer counts.
    """
    newest = {entry.what.split(".", 1)[0]: n for n, entry in enumerate(entries)}
    for stage, n in newest.items():
        if stage in touched:
            entries[n] = replace(entries[n], digest=f"{entries[n].digest}+{number}")
    return entries


def _entered(entry: Entry, edits: Mapping[str, Entry | None], number: int) -> Entry | None:
    if entry.what not in edits:
        return entry
    new = edits[entry.what]
    if new is None:
        return None
    return replace(
        entry,
        value=new.value,
        unit=new.unit,
        instrument=new.instrument,
        who=new.who,
        at=new.at,
        digest=f"{entry.digest}+{number}",
    )


def outcomes(assessment: Assessment) -> dict[str, Outcome]:
    """Outcome by verdict key."""
    return {verdict.key: verdict.outcome for _, verdict in assessment.verdicts()}


def noticed_by(before: Mapping[str, Outcome], after: Mapping[str, Outcome]) -> list[str]:
    """Keys of the verdicts that were settled, or not there, and are unsettled now."""
    return [
        key
        for key, outcome in after.items()
        if not outcome.settled and (key not in before or before[key].settled)
    ]


# --- the slips of a job ---------------------------------------------------------------------------


def slips(assessment: Assessment) -> Iterator[Slip]:
    """Every slip that can be made with what a job holds."""
    for name in assessment.stages:
        entries = assessment.stage_entries(name)
        for declared in entries.fields.values():
            if declared.kind == TABLE:
                yield from _of_table(assessment, name, declared)
            elif declared.kind != SERIES:
                item = f"{name}.{declared.name}"
                yield from _of_item(assessment, item, declared, entries.reading(declared.name))
        yield from _swapped_fields(assessment, name)


def _of_table(assessment: Assessment, name: str, declared: Field) -> Iterator[Slip]:
    rows = assessment.stage_entries(name).rows(declared.name)
    latest = assessment.state.latest
    for n, row in enumerate(rows):
        prefix = f"{name}.{declared.name}.{row.index}."
        for column in declared.columns:
            what = prefix + column.name
            if what not in latest:
                continue
            yield from _of_item(assessment, what, column, row.reading(column.name))
            stale = latest.get(f"{name}.{declared.name}.{rows[n - 1].index}.{column.name}")
            if n and column.kind in KINDS and stale and stale.value != latest[what].value:
                yield _slip("stale copy", latest[what], stale.value, stale.unit, row, column)
        yield from _swapped(latest, {c.name: prefix + c.name for c in declared.columns})
        cells = {what: None for what in latest if what.startswith(prefix)}
        yield Slip("row left out", prefix.rstrip("."), "the row was never entered", cells)


def _of_item(
    assessment: Assessment, what: str, declared: Field | Column, reading: Any
) -> Iterator[Slip]:
    entry = assessment.state.latest.get(what)
    if entry is None or entry.value in ("", ROW_REMOVED):
        return
    if declared.kind in KINDS:
        yield from _of_number(assessment, entry, declared)
    elif declared.kind == "yes_no" and entry.value in ("yes", "no"):
        other = "no" if entry.value == "yes" else "yes"
        yield Slip("choice", what, f"{other} for {entry.value}", {what: _like(entry, other)})
    elif declared.kind == "choice":
        for other in _neighbours(declared.labels, reading.label):
            edits = {what: _like(entry, other)}
            yield Slip("choice", what, f"{other} for {entry.value}", edits)
    yield Slip("left out", what, "never entered", {what: None})


def _neighbours(labels: tuple[str, ...], chosen: str) -> Iterator[str]:
    """The other labels; of a long list those just before and after, where a finger slips to."""
    at = labels.index(chosen) if chosen in labels else 0
    near = (at - 1, at + 1) if len(labels) > 5 else range(len(labels))
    yield from (labels[n] for n in near if n != at and 0 <= n < len(labels))


def _like(entry: Entry, value: str, unit: str | None = None) -> Entry:
    return replace(entry, value=value, unit=entry.unit if unit is None else unit)


def _of_number(assessment: Assessment, entry: Entry, declared: Field | Column) -> Iterator[Slip]:
    for sort, value, unit in _numbers(assessment, entry, declared):
        yield Slip(
            sort,
            entry.what,
            f"{value} {unit} for {entry.value} {entry.unit}",
            {entry.what: _like(entry, value, unit)},
        )
    if entry.instrument:
        edits = {entry.what: replace(entry, instrument="")}
        yield Slip("no instrument", entry.what, f"without {entry.instrument}", edits)


def _numbers(
    assessment: Assessment, entry: Entry, declared: Field | Column
) -> Iterator[tuple[str, str, str]]:
    try:
        number = float(entry.value.replace(",", "."))
    except ValueError:
        return
    decimals = len(entry.value.partition(".")[2])
    for sort, factor in (("decimal", 10.0), ("decimal", 0.1), ("sign", -1.0)):
        if number:
            yield sort, f"{number * factor:.{max(decimals, 1)}f}", entry.unit
    kind = KINDS[declared.kind]
    for unit in {kind.si.label, kind.ip.label} - {entry.unit}:
        if entry.unit:
            yield "unit", entry.value, unit
    if declared.kind in GAUGE and assessment.entries.barometer.quantity is not None:
        air = assessment.entries.barometer.quantity.to("kPa").magnitude
        if entry.unit.startswith("kPa"):
            yield "gauge for absolute", f"{number + air:.1f}", entry.unit
            yield "gauge for absolute", f"{number - air:.1f}", entry.unit


def sized(assessment: Assessment, slip: Slip) -> Slip:
    """The slip with how far it moves a reading, in guard bands; infinite where it has none."""
    if not all(slip.edits.values()) or slip.sort in ("no instrument", "choice"):
        return slip
    moved = judged_with(assessment, slip.edits)
    sizes = [_bands(_reading(assessment, what), _reading(moved, what)) for what in slip.edits]
    return replace(slip, size=max(sizes))


def _bands(before: Reading, after: Reading) -> float:
    if before.quantity is None or after.quantity is None:
        return float("inf")
    gap = abs((after.quantity.to_base_units() - before.quantity.to_base_units()).magnitude)
    guard = 0.0 if before.u is None else COVERAGE * abs(before.u.to_base_units().magnitude)
    if not guard:
        return float("inf") if gap else 0.0
    return float(gap / guard)


def _reading(assessment: Assessment, what: str) -> Reading:
    stage, name, *rest = what.split(".")
    entries = assessment.stage_entries(stage)
    if not rest:
        return entries.reading(name)
    rows = {row.index: row for row in entries.rows(name)}
    return rows[int(rest[0])].reading(rest[1])


def _slip(sort: str, entry: Entry, value: str, unit: str, row: Any, column: Column) -> Slip:
    shown = f"{value} {unit} for {entry.value} {entry.unit}"
    return Slip(sort, entry.what, shown, {entry.what: _like(entry, value, unit)})


def _swapped_fields(assessment: Assessment, name: str) -> Iterator[Slip]:
    fields = assessment.stage_entries(name).fields
    yield from _swapped(assessment.state.latest, {f: f"{name}.{f}" for f in fields})


def _swapped(latest: Mapping[str, Entry], items: Mapping[str, str]) -> Iterator[Slip]:
    for name, partner in _partners(items):
        one, other = latest.get(items[name]), latest.get(items[partner])
        if one and other and one.value != other.value:
            edits = {
                one.what: _like(one, other.value, other.unit),
                other.what: _like(other, one.value, one.unit),
            }
            yield Slip("swapped", one.what, f"with {other.what}", edits)


def _partners(names: Iterable[str]) -> Iterator[tuple[str, str]]:
    known = list(names)
    for name in known:
        for here, there in PAIRS:
            partner = name.replace(here, there)
            if here in name and partner != name and partner in known:
                yield name, partner
