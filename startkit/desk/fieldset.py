"""The fieldset: a stage's fields and their present values, described for a form."""

# `Any` here: a state is JSON for the browser.
from __future__ import annotations

from typing import Any

from startkit.facts.instruments import can_read
from startkit.facts.instruments import faults as instrument_faults
from startkit.facts.journal import row_number
from startkit.facts.pictures import FOLDERS
from startkit.procedure.assessment import Assessment
from startkit.procedure.block import Block, read_block
from startkit.procedure.entries import Entries
from startkit.procedure.reading import Reading, Row
from startkit.procedure.site import INSTRUMENTS, PREFIX
from startkit.procedure.stage import PLAIN_KINDS, SERIES, TABLE, Column, Field
from startkit.units import KINDS, SYSTEMS, label

ROWS_SHOWN, PROBLEMS_SHOWN = 5, 5  # of a pasted series, as it was read
MOST_BUTTONS = 4  # more choices than this are a list, not buttons


def described(assessment: Assessment, stage: str) -> list[dict[str, Any]]:
    """The stage's groups of fields in order, each field with its state."""
    entries = assessment.stage_entries(stage)
    groups: dict[str, list[dict[str, Any]]] = {}
    for field in entries.asked:
        groups.setdefault(field.group, []).append(_field(field, entries))
    return [{"title": title, "fields": fields} for title, fields in groups.items()]


def states(assessment: Assessment, stage: str) -> dict[str, dict[str, Any]]:
    """Every field's state by name; what a form shows and may have to redraw."""
    entries = assessment.stage_entries(stage)
    return {field.name: state(field, entries) for field in entries.asked}


def _field(field: Field, entries: Entries) -> dict[str, Any]:
    return {
        "name": field.name,
        "question": field.question,
        "help": field.help,
        "required": field.required,
        **_control(field, entries),
        "rows": field.rows,
        "across": field.across,
        "columns": [_column(c, entries) for c in field.columns],
        "last": _last_rows(field, entries),
        "state": state(field, entries),
    }


def _column(column: Column, entries: Entries) -> dict[str, Any]:
    return {
        "name": column.name,
        "label": column.label,
        "help": column.help,
        "required": column.required,
        **_control(column, entries),
    }


def _control(declared: Field | Column, entries: Entries) -> dict[str, Any]:
    """Which control asks for it, in which units."""
    system = entries.job.system
    units = (
        [u for u in dict.fromkeys(label(declared.kind, s) for s in (system, *SYSTEMS)) if u]
        if declared.kind in KINDS
        else []
    )
    return {
        "control": _control_name(declared),
        "kind": declared.kind,
        "choices": list(declared.labels),
        "units": units,
        "buttons": len(declared.choices) <= MOST_BUTTONS,
    }


def _control_name(declared: Field | Column) -> str:
    if declared.kind in KINDS:
        return "reading"
    if declared.kind in (TABLE, SERIES):
        return declared.kind
    if isinstance(declared, Column) and declared.kind in FOLDERS:
        return "text"  # a cell has no room for a picture and takes the name of its file
    return declared.kind if declared.kind in PLAIN_KINDS else "text"


# --- the state of a field ----------------------------------------------------------------


def state(field: Field, entries: Entries) -> dict[str, Any]:
    """The state of one field: a value, a table's rows or a series' length."""
    if field.kind == TABLE:
        return _table_state(field, entries)
    if field.kind == SERIES:
        return _series_state(field, entries)
    what = f"{entries.declared.name}.{field.name}"
    return _value_state(entries.reading(field.name), what, entries, last_time(field, what, entries))


def last_time(declared: Field | Column, what: str, entries: Entries) -> str:
    """What was entered on the last visit, to be shown next to the empty field: days, people and
    pictures of then help no one.
    """
    helps = declared.kind in KINDS or declared.kind in ("text", "choice", "yes_no")
    return entries.job.last_visit.of(what) if helps else ""


def _last_rows(field: Field, entries: Entries) -> dict[str, dict[str, str]]:
    """Row -> column -> what was entered on the last visit, of a table."""
    prefix = f"{entries.declared.name}.{field.name}."
    columns = {column.name: column for column in field.columns}
    found: dict[str, dict[str, str]] = {}
    for what in entries.job.last_visit.values:
        row, _, name = what.removeprefix(prefix).partition(".")
        if what.startswith(prefix) and name in columns:
            said = last_time(columns[name], what, entries)
            found.setdefault(row, {}).update({name: f"last time {said}"} if said else {})
    return found


def _value_state(reading: Reading, what: str, entries: Entries, last: str = "") -> dict[str, Any]:
    # A value that was blanked has no reading, but its entry still counts for conflicts and history.
    newest = entries.job.latest.get(what)
    if newest is None:
        return {**_BLANK, "last": last} if last else _BLANK
    return {
        "value": reading.label if reading.choice is not None else newest.value,
        "unit": newest.unit,
        "seq": newest.seq,
        "who": newest.who,
        "at": newest.at[11:19],
        "day": newest.at[:10],
        "instrument": newest.instrument,
        "problem": reading.problem,
        "flag": reading.flag,
        "untrusted": reading.untrusted,
        "count": len(entries.job.state.history(what)),
        "last": "" if newest.value else last,
    }


_BLANK = {
    "value": "",
    "unit": "",
    "seq": 0,
    "who": "",
    "at": "",
    "day": "",
    "instrument": "",
    "problem": "",
    "flag": "",
    "untrusted": "",
    "count": 0,
    "last": "",
}


def _table_state(field: Field, entries: Entries) -> dict[str, Any]:
    prefix = f"{entries.declared.name}.{field.name}."
    rows = [
        {
            "index": row.index,
            "cells": _row_state(field, row, prefix, entries),
        }
        for row in entries.rows(field.name)
    ]
    return {"rows": rows, "highest": highest_row(prefix, entries)}


def _row_state(field: Field, row: Row, prefix: str, entries: Entries) -> dict[str, Any]:
    faults = (
        instrument_faults(row.text("kind"), {c.name: row.text(c.name) for c in field.columns})
        if prefix == f"{PREFIX}.{INSTRUMENTS.name}."
        else {}
    )
    cells = {
        c.name: _value_state(row.reading(c.name), f"{prefix}{row.index}.{c.name}", entries)
        for c in field.columns
    }
    for name, fault in faults.items():
        cells[name] = {**cells[name], "problem": cells[name]["problem"] or fault}
    return cells


def highest_row(prefix: str, entries: Entries) -> int:
    """The highest row number that was ever used; a removed row's number is not used again."""
    parts = (
        what[len(prefix) :].split(".")[0] for what in entries.job.latest if what.startswith(prefix)
    )
    return max((row_number(part) or 0 for part in parts), default=0)


def _series_state(field: Field, entries: Entries) -> dict[str, Any]:
    block = entries.block(field.name)
    found = _value_state(Reading(), f"{entries.declared.name}.{field.name}", entries)
    return {
        **found,
        "length": len(block),
        "read": as_read(field, block),
        "problems": list(block.problems[:PROBLEMS_SHOWN]),
        "more": max(0, len(block.problems) - PROBLEMS_SHOWN),
    }


def as_read(field: Field, block: Block) -> dict[str, Any]:
    """A pasted series as it was understood: heads with units, its first rows and the last one."""
    heads = [
        f"{column.label} [{unit}]" if (unit := block.units.get(column.name, "")) else column.label
        for column in field.columns
    ]
    texts = [block.texts.get(column.name, ()) for column in field.columns]
    length = len(block)
    # Only these few rows are built: this is asked for at every change of the stage.
    shown = [*range(min(length, ROWS_SHOWN - 1)), *([length - 1] if length >= ROWS_SHOWN else [])]
    rows = [[column[number] for column in texts] for number in shown if length]
    return {"heads": heads, "rows": rows, "length": length}


def read_series(text: str, field: Field, entries: Entries) -> dict[str, Any]:
    """How a text would be read as a series, before it is saved."""
    block = read_block(text, field, entries.job.system, entries.job.barometer.quantity)
    return {"read": as_read(field, block), "problems": list(block.problems[:PROBLEMS_SHOWN])}


# --- who enters, with what ---------------------------------------------------------------------


def instruments(assessment: Assessment, stage: str, chosen: dict[str, str]) -> list[dict[str, Any]]:
    """For each kind of reading of the stage: instruments that can take it, and the one chosen."""
    entries = assessment.stage_entries(stage)
    asked = [
        kind
        for field in entries.asked
        for kind in (field.kind, *(column.kind for column in field.columns))
    ]
    kinds = [kind for kind in dict.fromkeys(asked) if kind in KINDS]
    known = assessment.entries.instruments.values()
    fitting = {
        kind: [
            {"tag": i.tag, "text": " · ".join(w for w in (i.tag, i.name) if w)}
            for i in known
            if can_read(i.kind, kind)
        ]
        for kind in kinds
    }
    return [
        {
            "kind": kind,
            "label": kind.replace("_", " "),
            "chosen": chosen.get(kind, ""),
            "options": options,
        }
        for kind, options in fitting.items()
        if options
    ]


def people(assessment: Assessment) -> list[str]:
    """Names of the people on the job."""
    return list(dict.fromkeys(p.name for p in assessment.entries.people if p.name))
