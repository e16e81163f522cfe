"""What is judged at the handover."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime

from startkit.facts.limits import PRACTICE
from startkit.procedure.entries import Entries
from startkit.procedure.judging import confirm
from startkit.procedure.people import SIGNING, Role
from startkit.procedure.reading import Row
from startkit.stages.handover.fields import BLOCKING, CLOSED
from startkit.stages.handover.readings import changed_elsewhere, waivers
from startkit.verdict import Outcome, Verdict

# --- verdicts ------------------------------------------------------------------------------------


def judged(entries: Entries) -> tuple[Verdict, ...]:
    """Settings, open items, instruction, statements."""
    return (
        _of(_settings(entries), "settings"),
        _of(_listed(entries), "nothing_open", "open_items"),
        *(_of(each, "open_items") for each in _blocking(entries)),
        confirm(
            entries,
            "instructed",
            "handover.instructed",
            "Operators instructed",
            good=f"Instructed{_whom(entries)}.",
            bad="No one was instructed.",
            next_step="Instruct the operators, or list it as an open item and waive it by name.",
        ),
        *(_of(_statement(entries, role), "statements") for role in SIGNING),
    )


def _of(verdict: Verdict, *names: str) -> Verdict:
    """The verdict with the fields that it rests on."""
    return replace(verdict, rests_on=tuple(f"handover.{name}" for name in names))


def _whom(entries: Entries) -> str:
    return f": {entries.text('instructed_who')}" if entries.text("instructed_who") else ""


def _settings(entries: Entries) -> Verdict:
    key, title = "handover.settings", "Settings as left"
    rows, elsewhere = entries.rows("settings"), list(changed_elsewhere(entries))
    half = [
        row.text("item") or f"row {row.index}"
        for row in rows
        if not all(row.text(column) for column in ("item", "as_left", "by"))
    ]
    if not rows:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.OPEN,
            sentence="No setting is entered"
            f" here{f'; {len(elsewhere)} are in other stages' if elsewhere else ''}.",
            next_step="Enter every adjustable setting as left, and who set it.",
            source=PRACTICE,
        )
    if half:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.OPEN,
            sentence=f"Not complete: {', '.join(half)}.",
            next_step="Enter the setting as left and who set it.",
            source=PRACTICE,
        )
    return Verdict(
        key=key,
        title=title,
        outcome=Outcome.PASS,
        sentence=f"{len(rows)} settings as"
        f" left{f', {len(elsewhere)} more from other stages' if elsewhere else ''}.",
        source=PRACTICE,
    )


def _open(row: Row) -> bool:
    return row.code("state") != CLOSED.code


def _listed(entries: Entries) -> Verdict:
    """Open items are listed, each with owner, date and severity; or someone states that there are
    none.
    """
    key, title = "handover.open_items", "Open items listed"
    rows, answer, waived = entries.rows("open_items"), entries.yes("nothing_open"), waivers(entries)
    if answer is None:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.OPEN,
            sentence=entries.reading("nothing_open").problem or "Not answered.",
            next_step="Enter whether anything is left open.",
            source=PRACTICE,
        )
    left = [row for row in rows if _open(row)]
    if answer and left:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.OPEN,
            sentence=f"The form says nothing is open, but {len(left)}"
            f" {'item is' if len(left) == 1 else 'items are'}.",
            next_step="Correct one or the other.",
            source=PRACTICE,
        )
    if answer and waived and not rows:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.UNPROVEN,
            sentence=f"The form says nothing is open, but {len(waived)} items were waived:"
            f" {', '.join(waived[:4])}.",
            next_step="List what was waived with its owner and date, or waive this with a reason.",
            source=PRACTICE,
        )
    if not answer and not rows:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.OPEN,
            sentence="Something is open, but nothing is listed.",
            next_step="List it with owner, date and severity.",
            source=PRACTICE,
        )
    return _complete(key, title, rows)


def _complete(key: str, title: str, rows: tuple[Row, ...]) -> Verdict:
    half = [
        row.text("item") or f"row {row.index}"
        for row in rows
        if not all(
            row.text(column) and not row.reading(column).problem
            for column in ("item", "owner", "due", "severity")
        )
    ]
    if half:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.OPEN,
            sentence=f"Without owner, date or severity: {', '.join(half)}.",
            next_step="Complete them: without an owner, an item does not get done.",
            source=PRACTICE,
        )
    past = [row.text("item") for row in rows if _open(row) and _already_due(row)]
    if past:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.OPEN,
            sentence=f"Due before it was entered: {', '.join(past)}.",
            next_step="Enter a date that can be kept.",
            source=PRACTICE,
        )
    count = sum(_open(row) for row in rows)
    return Verdict(
        key=key,
        title=title,
        outcome=Outcome.PASS,
        sentence=f"{count} open, each with owner and date." if count else "Nothing is left open.",
        source=PRACTICE,
    )


def _day(text: str) -> date | None:
    try:
        return datetime.fromisoformat(text).date()
    except ValueError:
        return None


def _already_due(row: Row) -> bool:
    due, entry = _day(row.text("due")), row.reading("due").entry
    entered = _day(entry.at) if entry is not None and entry.at else None
    return due is not None and entered is not None and due < entered


def _blocking(entries: Entries) -> tuple[Verdict, ...]:
    rows = [row for row in entries.rows("open_items") if row.code("severity") == BLOCKING.code]
    if not rows:
        return ()
    key, title = "handover.before", "What must be done before handing over"
    left = [row.text("item") for row in rows if _open(row)]
    if left:
        return (
            Verdict(
                key=key,
                title=title,
                outcome=Outcome.FAIL,
                sentence=f"Still open: {'; '.join(left)}.",
                next_step="Do it and close the item, or give it another severity with the owner's"
                " reason.",
                source=PRACTICE,
            ),
        )
    unnamed = [row.text("item") for row in rows if not row.text("closed_by")]
    if unnamed:
        return (
            Verdict(
                key=key,
                title=title,
                outcome=Outcome.OPEN,
                sentence=f"Closed, but not by whom: {'; '.join(unnamed)}.",
                next_step="Enter who closed it.",
                source=PRACTICE,
            ),
        )
    return (
        Verdict(
            key=key,
            title=title,
            outcome=Outcome.PASS,
            sentence=f"{len(rows)} closed.",
            source=PRACTICE,
        ),
    )


def _statement(entries: Entries, role: Role) -> Verdict:
    key, title = f"handover.{role.code}", f"Statement of the {role.label}"
    rows = [
        row
        for row in entries.rows("statements")
        if row.code("role") == role.code and row.text("name")
    ]
    if not rows:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.OPEN,
            sentence="None.",
            next_step=f"Have the {role.label} state in a sentence what they saw and did.",
            source=PRACTICE,
        )
    row = rows[-1]
    if not row.text("statement") or not row.text("date") or row.reading("date").problem:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.OPEN,
            sentence=f"{row.text('name')}: without statement or date.",
            next_step="Complete it.",
            source=PRACTICE,
        )
    stranger = _stranger(entries, row.text("name"), role)
    if stranger:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.OPEN,
            sentence=stranger,
            next_step="Enter the person with this role in the stage Setup, or correct the name.",
            source=PRACTICE,
        )
    return Verdict(
        key=key,
        title=title,
        outcome=Outcome.PASS,
        sentence=f"{row.text('name')}, {row.text('date')}.",
        source=PRACTICE,
    )


def _stranger(entries: Entries, name: str, role: Role) -> str:
    """A statement counts only from a person of this job, in their role; empty if it is one."""
    if any(p.name == name and p.code == role.code for p in entries.job.people):
        return ""
    return f"{name} is not entered as {role.label} in the stage Setup."
