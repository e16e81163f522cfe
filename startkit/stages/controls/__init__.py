"""Controls: do the sensors read true, and does every safety trip where it is set?"""

from __future__ import annotations

from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.procedure import cautions
from startkit.procedure.entries import Entries
from startkit.procedure.stage import Findings, Stage
from startkit.stages.controls import findings, readings, verdicts
from startkit.stages.controls.fields import FIELDS


def judge(machine: Machine, limits: Limits, entries: Entries) -> Findings:
    """Sensors against references; safeties and interlocks proven by their trips."""
    checked = readings.collect(entries)
    return Findings(
        verdicts=verdicts.judged(machine, limits, entries, checked),
        tables=entries.if_shown(findings.tables, checked),
    )


STAGE = Stage(
    "controls",
    "Controls",
    "Whether the sensors read true, and whether every safety was seen to trip at its setting.",
    FIELDS,
    judge,
    before="turn_shaft",
    order=50,
    after="",
    cautions=(cautions.SAFETIES, cautions.LIVE_PANELS),
)
