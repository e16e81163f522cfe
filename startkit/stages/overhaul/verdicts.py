"""Verdicts of the stage Overhaul: each measurement as left, replaced parts, the last record."""

from __future__ import annotations

from dataclasses import replace

from startkit.facts.limits import Limit
from startkit.procedure import last_record
from startkit.procedure.entries import Entries
from startkit.procedure.judging import check
from startkit.procedure.reading import Row
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
                " one, mark it not applicable with your name and the reason.",
                rests_on=(f"overhaul.{name}",),
            )
        ]
    return [_verdict(entries, name, row) for row in rows]


def _verdict(entries: Entries, name: str, row: Row) -> Verdict:
    """As left against the limit of the row."""
    as_left, low, high = row.reading("as_left"), row.quantity("low"), row.quantity("high")
    limits = tuple(i for column in ("low", "high", "source") for i in row.reading(column).items)
    blank = Verdict(
        key=f"overhaul.{name}.{row.index}",
        title=f"{MEASURED[name][0]}: {row.text('place') or f'row {row.index}'}",
        outcome=Outcome.OPEN,
        sentence="",
        rests_on=(*as_left.items, *limits),
    )
    problem = next((cell.problem for cell in row.cells.values() if cell.problem), "")
    if problem:
        return replace(blank, sentence=problem, next_step="Correct the entry.")
    lacking = [
        word
        for word, missing in (
            ("as left", as_left.quantity is None),
            ("the limit", low is None and high is None),
            ("where the limit comes from", not row.text("source")),
        )
        if missing
    ]
    if lacking:
        told = f"Missing: {', '.join(lacking)}."
        return replace(blank, sentence=told, next_step="Enter what is missing.")
    found = row.quantity("as_found")
    return check(
        entries,
        Limit(
            blank.key, blank.title, "clearance", low, high, row.text("source"), "published", ENTERED
        ),
        as_left,
        next_step="Do not close the machine: put it right, and measure again.",
        note=(
            f"As found {entries.show(found, 'clearance')}."
            if found is not None
            else "Not measured as found."
        ),
        rests_on=limits,
    )


def _replacements(entries: Entries) -> tuple[Verdict, ...]:
    """A part that was replaced is known by its new number."""
    rows = entries.rows("replaced")
    if not rows:
        return ()
    unnamed = [
        row.text("part") or f"row {n}" for n, row in enumerate(rows, 1) if not row.text("new")
    ]
    found = Verdict(
        key="overhaul.replaced",
        title="Replaced parts are known by number",
        outcome=Outcome.PASS,
        sentence=f"{len(rows)} part{'s' if len(rows) > 1 else ''} replaced.",
        rests_on=tuple(item for row in rows for item in row.reading("new").items),
    )
    if not unnamed:
        return (found,)
    return (
        replace(
            found,
            outcome=Outcome.OPEN,
            sentence=f"No number: {', '.join(unnamed)}.",
            next_step="Enter the number of the new part.",
        ),
    )
