"""Handover: settings as they are left, what is still open and whose it is, the baseline, and what
people state.
"""

from __future__ import annotations

from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.stage import Findings, Stage
from startkit.stages.handover import fields, findings, verdicts


def judge(machine: Machine, limits: Limits, entries: Entries) -> Findings:
    """Settings left, open items with owner and date, statements of technician and witness; the
    baseline from every stage's figures.
    """
    return Findings((), verdicts.judged(entries), entries.if_shown(findings.tables, entries))


STAGE = Stage(
    "handover",
    "Handover",
    "Settings as left, open items with their owners, the figures for comparison at the next visit,"
    " and each person's statement.",
    fields.FIELDS,
    judge,
    before="hand_over",
    compares=True,
    order=130,
    after="",
    cautions=(
        (
            "Do not hand over a machine whose safeties were bridged or simulated: remove every"
            " bridge, and check."
        ),
    ),
)
