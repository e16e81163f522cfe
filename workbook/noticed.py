"""Which slips some verdict notices, and which it cannot be asked to.

A slip counts if a verdict rests on what was entered, or the stage asks for it, and if it moves a
reading by more than its guard band. What does not count is said with its reason.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from startkit.procedure.assessment import Assessment
from workbook.wrong_readings import Slip, judged_with, noticed_by, outcomes, sized, slips

SMALL = "moves no reading by more than its guard band"
REMARK = "no verdict rests on it, and the stage does not ask for it: a remark"


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


def tried(assessment: Assessment, chosen: Iterable[Slip] | None = None) -> Iterator[Tried]:
    """Every slip of a job, or those chosen, each judged."""
    before = outcomes(assessment)
    rested = {item for _, verdict in assessment.verdicts() for item in verdict.rests_on}
    asked = set(_asked(assessment))
    for bare in slips(assessment) if chosen is None else chosen:
        slip = sized(assessment, bare)
        after = outcomes(judged_with(assessment, slip.edits))
        rests = any(_covers(item, what) for what in (slip.what, *slip.edits) for item in rested)
        yield Tried(
            slip.what.split(".", 1)[0],
            slip.sort,
            slip.what,
            slip.shown,
            slip.size,
            rests,
            tuple(noticed_by(before, after)),
            _apart(slip, rests or any(what in asked for what in slip.edits)),
        )


def _covers(item: str, what: str) -> bool:
    """Whether a verdict that rests on an item rests on what was entered in it."""
    return what == item or what.startswith(f"{item}.")


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


def _apart(slip: Slip, asked: bool) -> str:
    if slip.size <= 1:
        return SMALL
    return "" if asked else REMARK
