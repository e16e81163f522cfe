"""Which slips some verdict notices, and which it cannot be asked to.

A slip counts if a verdict rests on what was entered, or the stage asks for it, and if it moves a
reading by more than its guard band. What does not count is said with its reason.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fnmatch import fnmatchcase
from zlib import crc32

from startkit.facts.instruments import can_read
from startkit.procedure.assessment import Assessment
from startkit.verdict import Outcome
from workbook.wrong_readings import Slip, judged_with, noticed_by, outcomes, sized, slips

SMALL = "it moves no reading by more than its guard band"
REMARK = "no verdict rests on it, and the stage does not ask for it: a remark"
OPTIONAL = "it may be left out, and then nothing that passes rests on it"
SAME = "an instrument of the one kind reads the other as well"

# Why a slip that is left goes unnoticed: sort, item, reason; the first that fits.
WHY = (
    ("choice", "*.method", "only who proved it knows how; no other entry tells"),
    ("choice", "*.reset", "neither sheet nor standard says how this one resets"),
    ("choice", "*.people.*.role", "only the person knows, where there is no statement"),
    ("choice", "controls.*.safety", "either may be on the machine; the sheet does not list it"),
    ("choice", "tightness.test_gas", "either gas is right"),
    ("choice", "electrical.thermal_class", "the sheet does not give the class"),
    ("choice", "shut_down.left_as", "only who left it knows"),
    ("row left out", "controls.interlocks.*", "the sheet does not say that the machine has it"),
    ("stale copy", "*", "it is as near as another honest reading of this machine would be"),
    ("swapped", "*", "the two are so near that either order is an honest machine"),
    ("*", "*", "what is judged stays inside its limits with it"),
)


@dataclass(frozen=True)
class Tried:
    """One slip, judged.

    Parameters
    ----------
    stage, sort, what, shown : str
        Stage; the rest as in `Slip`.
    size : float
        Change over guard band.
    rests : bool
        Whether a verdict, and with it a hold point, rests on what was entered.
    by : tuple of str
        Verdicts that notice.
    apart : str
        Why it does not count; empty if it does.
    """

    stage: str
    sort: str
    what: str
    shown: str
    size: float
    rests: bool
    by: tuple[str, ...]
    apart: str = ""

    @property
    def noticed(self) -> bool:
        return bool(self.by)

    @property
    def why_not(self) -> str:
        """Why it goes unnoticed."""
        return next(
            reason
            for sort, item, reason in WHY
            if fnmatchcase(self.sort, sort) and fnmatchcase(self.what, item)
        )


def drawn(assessment: Assessment, share: float) -> Iterator[Slip]:
    """A share of a job's slips, the same at every call; a smaller share is part of a larger one."""
    for slip in slips(assessment):
        if crc32(f"{slip.sort} {slip.what} {slip.shown}".encode()) % 10_000 < share * 10_000:
            yield slip


def tried(assessment: Assessment, chosen: Iterable[Slip]) -> Iterator[Tried]:
    """The slips, each judged."""
    before = outcomes(assessment)
    rested = {item for _, verdict in assessment.verdicts() for item in verdict.rests_on}
    asked = set(_asked(assessment))
    for bare in chosen:
        slip = sized(assessment, bare)
        after = judged_with(assessment, slip.edits)
        rests = _resting(rested, slip)
        by = tuple(noticed_by(before, outcomes(after)))
        required = any(what in asked for what in slip.edits)
        yield Tried(
            slip.what.split(".", 1)[0],
            slip.sort,
            slip.what,
            slip.shown,
            slip.size,
            rests,
            by,
            "" if by else _apart(slip, rests, required, after),
        )


def _resting(items: Iterable[str], slip: Slip) -> bool:
    """Whether one of the items, which verdicts rest on, holds what was entered."""
    names = (slip.what, *slip.edits)
    return any(what == item or what.startswith(f"{item}.") for what in names for item in items)


def _asked(assessment: Assessment) -> Iterator[str]:
    """Items that a stage asks for: required fields, and required columns of rows."""
    for name in assessment.stages:
        entries = assessment.stage_entries(name)
        for declared in entries.fields.values():
            if declared.required:
                yield f"{name}.{declared.name}"
            for column in declared.columns:
                if column.required:
                    yield from (
                        f"{name}.{declared.name}.{row.index}.{column.name}"
                        for row in entries.rows(declared.name)
                    )


def _apart(slip: Slip, rests: bool, required: bool, after: Assessment) -> str:
    """Why a slip that no verdict notices does not count; empty if it does."""
    if slip.size <= 1:
        return SMALL
    if not rests and not required:
        return REMARK
    if fnmatchcase(slip.what, "setup.instruments.*.kind"):
        new, _, old = (each.replace(" ", "_") for each in slip.shown.partition(" for "))
        return SAME if can_read(new, old) and can_read(old, new) else ""
    if slip.sort in ("left out", "row left out") and not required:
        passing = {
            item
            for _, verdict in after.verdicts()
            if verdict.outcome is Outcome.PASS
            for item in verdict.rests_on
        }
        return "" if _resting(passing, slip) else OPTIONAL
    return ""
