"""Overhaul: what was opened and replaced, what was measured as found and as left, and what has
moved since the last record.
"""

from __future__ import annotations

from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.procedure import cautions, last_record
from startkit.procedure.entries import Entries
from startkit.procedure.stage import Findings, Stage
from startkit.stages.overhaul import findings, verdicts
from startkit.stages.overhaul.fields import FIELDS


def judge(machine: Machine, limits: Limits, entries: Entries) -> Findings:
    """Each measurement as left against its limit; this visit's figures against those of the last
    record.
    """
    compared = last_record.compare(entries)
    return Findings(
        verdicts=verdicts.judged(entries, compared),
        tables=findings.tables(entries, compared),
        remarks=compared.problems,
    )


STAGE = Stage(
    "overhaul",
    "Overhaul",
    "What was opened and replaced, whether clearances and run-outs are right as left, and what has"
    " moved since the last record.",
    FIELDS,
    judge,
    before="oil_pump",
    compares=True,
    order=25,
    cautions=(cautions.STORED_ENERGY, cautions.LIFTING, cautions.ROTATING, cautions.REFRIGERANT),
    applies=lambda machine: machine.machine.work == "overhauled",
)
