"""Shut-down: do the vanes come back to closed, does the shaft run out freely under oil, and is the
next start held back?
"""

from __future__ import annotations

from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.procedure import cautions
from startkit.procedure.entries import Entries
from startkit.procedure.stage import Findings, Stage
from startkit.stages.shut_down import fields, findings, readings, verdicts


def judge(machine: Machine, limits: Limits, entries: Entries) -> Findings:
    """Vanes back to closed and proven, coast-down, post-lube, heater, restart timer."""
    down = readings.collect(machine, entries)
    return Findings(
        entries.if_shown(findings.figures, entries, down),
        verdicts.judged(machine, limits, entries, down),
        entries.if_shown(findings.tables, entries, down),
        (),
        down.problems,
    )


STAGE = Stage(
    "shut_down",
    "Shut-down",
    "Whether the vanes close and are proven closed, the shaft coasts down freely with oil pressure,"
    " and the next start is blocked for as long as it must be.",
    fields.FIELDS,
    judge,
    before="hand_over",
    order=120,
    after="turn_shaft",
    cautions=(
        "Stop from the machine's own panel. Stay clear of the shaft until it has stopped.",
        "The oil pump and its heater may run on: do not isolate them before post-lube is complete.",
        cautions.ROTATING,
    ),
)
