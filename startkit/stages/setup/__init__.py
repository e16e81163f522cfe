"""Setup: the machine against its documents, people and roles, instruments, the site's barometer."""

from __future__ import annotations

from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.procedure import cautions
from startkit.procedure.entries import Entries
from startkit.procedure.stage import Findings, Stage
from startkit.stages.setup import findings, verdicts
from startkit.stages.setup.fields import FIELDS


def judge(machine: Machine, limits: Limits, entries: Entries) -> Findings:
    """Compare nameplate, order and sheet; check instruments and barometer."""
    return Findings(
        figures=entries.if_shown(findings.figures, entries),
        verdicts=verdicts.judged(machine, limits, entries),
        tables=entries.if_shown(findings.tables, entries),
    )


STAGE = Stage(
    "setup",
    "Setup",
    "Checks the machine against its documents; records people, instruments and barometric"
    " pressure.",
    FIELDS,
    judge,
    before="oil_pump",
    order=10,
    cautions=(
        "Read nameplates only from permitted areas; keep covers of energised equipment closed.",
        cautions.LIVE_PANELS,
    ),
)
