"""What was entered in a stage, as display-ready data: values, provenance, corrections."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

from startkit.facts import taken
from startkit.facts.journal import Entry
from startkit.facts.pictures import is_addition
from startkit.procedure.early_entries import Mark
from startkit.procedure.entries import Entries
from startkit.procedure.field import SERIES, TABLE, Field
from startkit.procedure.reading import Reading, Row
from startkit.units import KINDS, label

Early = Mapping[int, Mark]  # number of each entry that was made too early, and why


def entered(entries: Entries, early: Early) -> list[dict[str, object]]:
    """Every single field of the stage: as typed, by whom, when, with what, corrections, whether too
    early.
    """
    single = (f for f in entries.asked if f.kind not in (TABLE, SERIES))
    return [_entered_field(f, entries, early) for f in single]


def _entered_field(field: Field, entries: Entries, early: Early) -> dict[str, object]:
    reading = entries.reading(field.name)
    history = entries.job.state.history(f"{entries.declared.name}.{field.name}")
    return {
        "name": field.name,
        "question": field.question,
        "kind": field.kind,
        "required": field.required,
        "group": field.group,
        "choices": list(field.labels),
        "value": reading.text,
        "unit": _unit_shown(reading, field, entries),
        **_provenance(reading.entry),
        "flag": reading.flag,
        "problem": reading.problem,
        "untrusted": reading.untrusted,
        "early": _early(reading.entry, early),
        "taken": _taken(reading.entry, entries),
        "last": "" if reading.text else entries.job.last_visit.of(reading.what),
        "corrections": [
            correction(before, after)
            for before, after in pairwise(history)
            if is_correction(before, after)
        ],
    }


def _unit_shown(reading: Reading, field: Field, entries: Entries) -> str:
    if field.kind not in KINDS:
        return ""
    return (
        reading.entry.unit if reading.entry is not None else label(field.kind, entries.job.system)
    )


def _early(entry: Entry | None, early: Early) -> str:
    return early[entry.seq].sentence if entry is not None and entry.seq in early else ""


def _taken(entry: Entry | None, entries: Entries) -> str:
    """Both times of a reading that was entered long after it was taken."""
    if entry is None:
        return ""
    return taken.sentence(entries.job.state_held.taken(entry), entry.at)


def _provenance(entry: Entry | None) -> dict[str, str]:
    if entry is None:
        return {"who": "", "when": "", "instrument": "", "note": ""}
    return {"who": entry.who, "when": entry.at, "instrument": entry.instrument, "note": entry.note}


def is_correction(before: Entry, after: Entry) -> bool:
    """True if a value was replaced; an additional picture replaces none."""
    return bool(before.value) and not is_addition(before.value, after.value)


def correction(before: Entry, after: Entry) -> dict[str, str]:
    """One correction: from what, to what, by whom, when and why."""
    return {
        "what": after.what,
        "from": f"{before.value} {before.unit}".strip(),
        "to": f"{after.value} {after.unit}".strip() or "blank",
        "who": after.who,
        "when": after.at,
        "why": after.note,
    }


def entered_tables(entries: Entries, early: Early) -> list[dict[str, object]]:
    """The table fields as they were filled; a pasted series by its length and ends."""
    tables = [_entered_table(f, entries, early) for f in entries.asked if f.kind == TABLE]
    return tables + [_entered_series(f, entries, early) for f in entries.asked if f.kind == SERIES]


def _entered_table(field: Field, entries: Entries, early: Early) -> dict[str, object]:
    system = entries.job.system
    rows = entries.rows(field.name)
    columns = [
        {
            "label": c.label,
            "unit": label(c.kind, system) if c.kind in KINDS else "",
            "align": "decimal" if c.kind in KINDS else "left",
        }
        for c in field.columns
    ]
    provenance = sorted(
        {
            (cell.entry.who, cell.entry.at[:10])
            for row in rows
            for cell in row.cells.values()
            if cell.entry is not None
        }
    )
    return {
        "name": field.name,
        "question": field.question,
        "columns": columns,
        "required": field.required,
        "rows": [
            [_typed(row.cells[c.name], entries, c.kind) for c in field.columns] for row in rows
        ],
        "flags": [
            f"row {n}, {c.label}:"
            f" {row.cells[c.name].flag or row.cells[c.name].problem or row.cells[c.name].untrusted}"
            for n, row in enumerate(rows, 1)
            for c in field.columns
            if row.cells[c.name].flag or row.cells[c.name].problem or row.cells[c.name].untrusted
        ]
        + _taken_rows(rows, entries),
        "who": ", ".join(dict.fromkeys(who for who, _ in provenance if who)),
        "when": ", ".join(dict.fromkeys(day for _, day in provenance)),
        "corrections": _table_corrections(field, entries),
        "blank_rows": field.rows,
        "early": _early_rows(rows, early),
    }


def _taken_rows(rows: Sequence[Row], entries: Entries) -> list[str]:
    """``"row 3: taken 2026-11-24 09:10, entered 2026-11-25 14:00"``."""
    found = (
        (n, next((said for c in row.cells.values() if (said := _taken(c.entry, entries))), ""))
        for n, row in enumerate(rows, 1)
    )
    return [f"row {n}: {said}" for n, said in found if said]


def _early_rows(rows: Sequence[Row], early: Early) -> list[str]:
    """``"row 3: entered before it was clear to turn the shaft"``."""
    found = (
        (n, next((said for cell in row.cells.values() if (said := _early(cell.entry, early))), ""))
        for n, row in enumerate(rows, 1)
    )
    return [f"row {n}: {said}" for n, said in found if said]


def _typed(reading: Reading, entries: Entries, kind: str) -> str:
    """As typed; with its unit where that is not the one in the head."""
    if reading.entry is None or kind not in KINDS:
        return reading.text
    unit = reading.entry.unit
    return (
        reading.text if unit in ("", label(kind, entries.job.system)) else f"{reading.text} {unit}"
    )


def _table_corrections(field: Field, entries: Entries) -> list[dict[str, str]]:
    prefix = f"{entries.declared.name}.{field.name}."
    seen: dict[str, Entry] = {}
    found = []
    for entry in entries.job.state.entries:
        if entry.what.startswith(prefix):
            before = seen.get(entry.what)
            if before is not None and before.value:
                found.append(correction(before, entry))
            seen[entry.what] = entry
    return found


def _entered_series(field: Field, entries: Entries, early: Early) -> dict[str, object]:
    block = entries.block(field.name)
    found = entries.entry(field.name)
    names = [c.name for c in field.columns]
    picked = [i for i in (0, 1, len(block) - 1) if 0 <= i < len(block)]
    rows = [[block.texts[n][i] for n in names] for i in dict.fromkeys(picked)]
    return {
        "name": field.name,
        "question": field.question,
        "required": field.required,
        "blank_rows": field.rows,
        "columns": [
            {
                "label": c.label,
                "unit": label(c.kind, entries.job.system) if c.kind in KINDS else "",
                "align": "left",
            }
            for c in field.columns
        ],
        "rows": rows,
        "flags": [*block.problems, *([said] if (said := _taken(found, entries)) else [])],
        "who": found.who if found else "",
        "when": found.at[:10] if found else "",
        "early": [said] if (said := _early(found, early)) else [],
        "corrections": [],
        "note": (
            f"{len(block)} rows; first two and last shown, all are in the attached journal"
            if len(block) > 3
            else ""
        ),
    }
