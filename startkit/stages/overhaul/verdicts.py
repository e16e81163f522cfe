"""Verdicts of the stage Overhaul: each measurement as left, replaced parts, the last record."""

from __future__ import annotations

from startkit.facts.limits import Limit
from startkit.procedure import last_record
from startkit.procedure.entries import Entries, Row
from startkit.procedure.judging import check
from startkit.stages.overhaul.fields import MEASURED
from startkit.verdict import Outcome, Verdict

ENTERED = "entered on site"


def judged(entries: Entries, compared: last_record.Comparison) -> tuple[Verdict, ...]:
    """Clearances and run-outs as left, replaced parts, this visit's figures against the last."""
    return (
        *(v for name in MEASURED for v in _of_table(entries, name)),
        *_replacements(entries),
        last_record.verdict(entries, compared),
    )


def _of_table(entries: Entries, name: str) -> list[Verdict]:
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
