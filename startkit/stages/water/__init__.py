"""Water: does enough of the right liquid flow through both exchangers, and is its flow proven?"""

from __future__ import annotations

from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.procedure import cautions
from startkit.procedure.entries import Entries
from startkit.procedure.stage import Findings, Stage
from startkit.stages.water import findings, readings, verdicts
from startkit.stages.water.fields import FIELDS


def judge(machine: Machine, limits: Limits, entries: Entries) -> Findings:
    """Liquid, flow by drop and by meter, strainer, air, flow switch, for both circuits."""
    circuits = readings.collect(machine, entries)
    return Findings(
        figures=entries.if_shown(findings.figures, entries, circuits),
        verdicts=verdicts.judged(machine, limits, entries, circuits),
        tables=entries.if_shown(findings.tables, circuits),
        remarks=tuple(f"{c.title}: {c.problem}" for c in circuits if c.problem),
    )


STAGE = Stage(
    "water",
    "Water circuits",
    "Whether enough of the right liquid flows through both heat exchangers, and whether flow is"
    " proven.",
    FIELDS,
    judge,
    before="turn_shaft",
    order=60,
    after="",
    cautions=(cautions.WATER_CIRCUITS, cautions.ROTATING),
)
