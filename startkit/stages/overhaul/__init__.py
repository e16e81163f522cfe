"""Overhaul: what was opened and renewed, what was measured as found and as left, and what has moved
since the last record.
"""

from __future__ import annotations

from startkit.facts.limits import Limit, Limits
from startkit.facts.machine import Machine
from startkit.procedure import cautions, last_record
from startkit.procedure.entries import Entries, Row
from startkit.procedure.judging import check
from startkit.procedure.stage import Column, Field, Findings, Heading, Stage, Table
from startkit.verdict import Outcome, Verdict

ENTERED = "entered on site"
# Table of each kind of measurement: its title and whether it has a lower limit.
MEASURED = {"clearances": ("Clearance", True), "run_outs": ("Run-out", False)}


def _length(name: str, label: str, required: bool = False) -> Column:
    return Column(name, label, "clearance", plausible=("0 mm", "10 mm"), required=required)


def _measured(name: str, question: str, help: str) -> Field:
    limits = (_length("low", "At least"),) if MEASURED[name][1] else ()
    return Field(
        name,
        question,
        "table",
        help,
        rows=4,
        group="Measured",
        columns=(
            Column("place", "Where", required=True),
            _length("as_found", "As found"),
            _length("as_left", "As left", True),
            *limits,
            _length("high", "At most", not limits),
            Column("source", "Limit from", help="Document and page", required=True),
            Column("who", "By", "person"),
        ),
    )


FIELDS = (
    Field(
        "opened",
        "What was opened",
        "table",
        "Every cover, shell, joint and box, and how it looked inside.",
        group="Opened",
        columns=(
            Column("part", "Part", required=True),
            Column("reason", "Why"),
            Column("found", "As found"),
            Column("who", "By", "person"),
        ),
    ),
    Field(
        "replaced",
        "What was replaced",
        "table",
        required=False,
        group="Replaced",
        columns=(
            Column("part", "Part", required=True),
            Column("old", "Old part number"),
            Column("new", "New part number", required=True),
            Column("reason", "Why"),
            Column("who", "By", "person"),
        ),
    ),
    _measured(
        "clearances",
        "Clearances",
        "Bearings, seals, impeller, thrust: with feeler, plastic strip or dial gauge, as the maker"
        " says.",
    ),
    _measured(
        "run_outs", "Run-outs", "Shaft, coupling, impeller: full dial reading over one turn."
    ),
    Field(
        "baseline",
        "Figures of the last record",
        "table",
        "Name as the stage shows it, and the value with its unit. Not needed if the data of the"
        " last record lie in the job's folder as baseline.json.",
        required=False,
        rows=2,
        group="Last record",
        columns=(
            Column("figure", "Figure", required=True),
            Column("value", "Value with unit", required=True),
        ),
    ),
)


def judge(machine: Machine, limits: Limits, entries: Entries) -> Findings:
    """Each measurement as left against its limit; this visit's figures against those of the last
    record.
    """
    compared = last_record.compare(entries)
    return Findings(
        verdicts=(
            *(v for name in MEASURED for v in _verdicts(entries, name)),
            *_replacements(entries),
            last_record.verdict(entries, compared),
        ),
        tables=(
            *(t for name in MEASURED for t in _table(entries, name)),
            *last_record.tables(entries, compared),
        ),
        remarks=compared.problems,
    )


def _verdicts(entries: Entries, name: str) -> list[Verdict]:
    rows = entries.rows(name)
    if not rows:
        words = MEASURED[name][0].lower()
        return [
            Verdict(
                key=f"overhaul.{name}",
                title=f"{MEASURED[name][0]}s",
                outcome=Outcome.OPEN,
                sentence=f"No {words} entered.",
                next_step="Measure before the machine is closed; if nothing was opened that has"
                " one, say so"
                " by name.",
            )
        ]
    return [_verdict(entries, name, row) for row in rows]


def _verdict(entries: Entries, name: str, row: Row) -> Verdict:
    """As left against the limit of the row."""
    key, title = (
        f"overhaul.{name}.{row.index}",
        f"{MEASURED[name][0]}: {row.text('place') or f'row {row.index}'}",
    )
    blank = Verdict(key=key, title=title, outcome=Outcome.OPEN, sentence="")
    problem = next((cell.problem for cell in row.cells.values() if cell.problem), "")
    if problem:
        return Verdict(
            key=key,
            title=title,
            outcome=blank.outcome,
            sentence=problem,
            next_step="Correct the entry.",
        )
    low, high = row.quantity("low"), row.quantity("high")
    lacking = [
        word
        for word, missing in (
            ("as left", row.quantity("as_left") is None),
            ("the limit", low is None and high is None),
            ("where the limit comes from", not row.text("source")),
        )
        if missing
    ]
    if lacking:
        return Verdict(
            key=key,
            title=title,
            outcome=blank.outcome,
            sentence=f"Missing: {', '.join(lacking)}.",
            next_step="Enter what is missing.",
        )
    limit = Limit(key, title, "clearance", low, high, row.text("source"), "published", ENTERED)
    found = row.quantity("as_found")
    note = (
        f"As found {entries.show(found, 'clearance')}."
        if found is not None
        else "Not measured as found."
    )
    return check(
        entries,
        limit,
        row.reading("as_left"),
        next_step="Do not close the machine: put it right, and measure again.",
        note=note,
    )


def _replacements(entries: Entries) -> tuple[Verdict, ...]:
    """A part that was replaced is known by its new number."""
    rows = entries.rows("replaced")
    if not rows:
        return ()
    key, title = "overhaul.replaced", "Replaced parts are known by number"
    unnamed = [
        row.text("part") or f"row {n}" for n, row in enumerate(rows, 1) if not row.text("new")
    ]
    if unnamed:
        return (
            Verdict(
                key=key,
                title=title,
                outcome=Outcome.OPEN,
                sentence=f"No number: {', '.join(unnamed)}.",
                next_step="Enter the number of the new part.",
            ),
        )
    return (
        Verdict(
            key=key,
            title=title,
            outcome=Outcome.PASS,
            sentence=f"{len(rows)} part{'s' if len(rows) > 1 else ''} replaced.",
        ),
    )


def _table(entries: Entries, name: str) -> tuple[Table, ...]:
    rows = tuple(
        (
            row.text("place"),
            row.quantity("as_found"),
            row.quantity("as_left"),
            row.quantity("low"),
            row.quantity("high"),
            row.text("source"),
        )
        for row in entries.rows(name)
    )
    head = (
        Heading("Where"),
        Heading("As found", "clearance"),
        Heading("As left", "clearance"),
        Heading("At least", "clearance"),
        Heading("At most", "clearance"),
        Heading("Limit from"),
    )
    return (Table(f"{MEASURED[name][0]}s", head, rows),) if rows else ()


STAGE = Stage(
    "overhaul",
    "Overhaul",
    "What was opened and replaced, whether clearances and run-outs are right as left, and what has"
    " moved since the last record.",
    FIELDS,
    judge,
    before="oil_pump",
    order=25,
    cautions=(cautions.STORED_ENERGY, cautions.LIFTING, cautions.ROTATING, cautions.REFRIGERANT),
    applies=lambda machine: machine.machine.work == "overhauled",
)
