"""What is judged at the handover."""

from __future__ import annotations

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
        _settings(entries),
        _listed(entries),
        *_blocking(entries),
        confirm(
            entries,
            "instructed",
            "handover.instructed",
            "Operators instructed",
            good=f"Instructed{_whom(entries)}.",
            bad="No one was instructed.",
            next_step="Instruct the operators, or list it as an open item and waive it by name.",
        ),
        *(_statement(entries, role) for role in SIGNING),
        *_other_roles(entries),
    )


def _other_roles(entries: Entries) -> tuple[Verdict, ...]:
    """Statements in another role than the person has on this job."""
    roles = {p.name: p.code for p in entries.job.people if p.name and p.code}
    wrong = [
        f"{row.text('name')} as {row.text('role')}"
        for row in entries.rows("statements")
        if row.code("role") and roles.get(row.text("name"), row.code("role")) != row.code("role")
    ]
    if not wrong:
        return ()
    return (
        Verdict(
            key="handover.roles",
            title="Statements in the roles of the job",
            outcome=Outcome.UNPROVEN,
            sentence=f"In Setup the role is another: {'; '.join(wrong)}.",
            next_step="Correct the role here or in Setup.",
            source=PRACTICE,
            rests_on=("handover.statements", "setup.people"),
        ),
    )


def _whom(entries: Entries) -> str:
    return f": {entries.text('instructed_who')}" if entries.text("instructed_who") else ""


_OF_A_SETTING = ("item", "as_left", "by")


def _settings(entries: Entries) -> Verdict:
    rows, elsewhere = entries.rows("settings"), list(changed_elsewhere(entries))
    half = [
        row.text("item") or f"row {row.index}"
        for row in rows
        if not all(row.text(column) for column in _OF_A_SETTING)
    ]
    blank = Verdict(
        key="handover.settings",
        title="Settings as left",
        outcome=Outcome.OPEN,
        sentence="No setting is entered"
        f" here{f'; {len(elsewhere)} are in other stages' if elsewhere else ''}.",
        next_step="Enter every adjustable setting as left, and who set it.",
        source=PRACTICE,
        rests_on=entries.items("settings", *_OF_A_SETTING),
    )
    if not rows:
        return blank
    if half:
        return blank.left_open(
            f"Not complete: {', '.join(half)}.", "Enter the setting as left and who set it."
        )
    return blank.passed(
        f"{len(rows)} settings as"
        f" left{f', {len(elsewhere)} more from other stages' if elsewhere else ''}."
    )


def _open(row: Row) -> bool:
    return row.code("state") != CLOSED.code


def _listed(entries: Entries) -> Verdict:
    """Open items are listed, each with owner, date and severity; or someone states that there are
    none.
    """
    rows, answer, waived = entries.rows("open_items"), entries.yes("nothing_open"), waivers(entries)
    asked = entries.reading("nothing_open")
    blank = Verdict(
        key="handover.open_items",
        title="Open items listed",
        outcome=Outcome.OPEN,
        sentence=asked.problem or "Not answered.",
        next_step="Enter whether anything is left open.",
        source=PRACTICE,
        rests_on=(*asked.items, *entries.items("open_items", *_OF_AN_ITEM, "state")),
    )
    if answer is None:
        return blank
    left = [row for row in rows if _open(row)]
    if answer and left:
        return blank.left_open(
            f"The form says nothing is open, but {len(left)}"
            f" {'item is' if len(left) == 1 else 'items are'}.",
            "Correct one or the other.",
        )
    if answer and waived and not rows:
        return blank.unproven(
            f"The form says nothing is open, but {len(waived)} items were waived:"
            f" {', '.join(waived[:4])}.",
            "List what was waived with its owner and date, or waive this with a reason.",
        )
    if not answer and not rows:
        return blank.left_open(
            "Something is open, but nothing is listed.", "List it with owner, date and severity."
        )
    return _complete(blank, rows)


_OF_AN_ITEM = ("item", "owner", "due", "severity")


def _complete(blank: Verdict, rows: tuple[Row, ...]) -> Verdict:
    half = [
        row.text("item") or f"row {row.index}"
        for row in rows
        if not all(row.text(column) and not row.reading(column).problem for column in _OF_AN_ITEM)
    ]
    if half:
        return blank.left_open(
            f"Without owner, date or severity: {', '.join(half)}.",
            "Complete them: without an owner, an item does not get done.",
        )
    past = [row.text("item") for row in rows if _open(row) and _already_due(row)]
    if past:
        return blank.left_open(
            f"Due before it was entered: {', '.join(past)}.", "Enter a date that can be kept."
        )
    count = sum(_open(row) for row in rows)
    return blank.passed(
        f"{count} open, each with owner and date." if count else "Nothing is left open."
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
    left = [row.text("item") for row in rows if _open(row)]
    unnamed = [row.text("item") for row in rows if not row.text("closed_by")]
    blank = Verdict(
        key="handover.before",
        title="What must be done before handing over",
        outcome=Outcome.OPEN,
        sentence=f"Closed, but not by whom: {'; '.join(unnamed)}.",
        next_step="Enter who closed it.",
        source=PRACTICE,
        rests_on=entries.items("open_items", "item", "severity", "state", "closed_by"),
    )
    if left:
        return (
            blank.failed(
                f"Still open: {'; '.join(left)}.",
                "Do it and close the item, or give it another severity with the owner's reason.",
            ),
        )
    return (blank if unnamed else blank.passed(f"{len(rows)} closed."),)


def _statement(entries: Entries, role: Role) -> Verdict:
    rows = [
        row
        for row in entries.rows("statements")
        if row.code("role") == role.code and row.text("name")
    ]
    blank = Verdict(
        key=f"handover.{role.code}",
        title=f"Statement of the {role.label}",
        outcome=Outcome.OPEN,
        sentence="None.",
        next_step=f"Have the {role.label} state in a sentence what they saw and did.",
        source=PRACTICE,
        rests_on=rows[-1].items("role", "name", "statement", "date")
        if rows
        else entries.items("statements", "role"),
    )
    if not rows:
        return blank
    row = rows[-1]
    if not row.text("statement") or not row.text("date") or row.reading("date").problem:
        return blank.left_open(f"{row.text('name')}: without statement or date.", "Complete it.")
    stranger = _stranger(entries, row.text("name"), role)
    if stranger:
        return blank.left_open(
            stranger, "Enter the person with this role in the stage Setup, or correct the name."
        )
    return blank.passed(f"{row.text('name')}, {row.text('date')}.")


def _stranger(entries: Entries, name: str, role: Role) -> str:
    """A statement counts only from a person of this job, in their role; empty if it is one."""
    if any(p.name == name and p.code == role.code for p in entries.job.people):
        return ""
    return f"{name} is not entered as {role.label} in the stage Setup."
