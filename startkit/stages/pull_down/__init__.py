"""Pull-down: which current limit, for how long, brings a warm loop down without a trip, and how it
went.
"""

from __future__ import annotations

from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.procedure import cautions
from startkit.procedure.entries import Entries
from startkit.procedure.stage import Findings, Stage
from startkit.stages.pull_down import fields, findings, plots, readings, verdicts
from startkit.stages.pull_down import plan as planning


def judge(machine: Machine, limits: Limits, entries: Entries) -> Findings:
    """Time and risk over the current limit, the limit to take; then the readings compared with the
    plan, loop and load re-estimated, time remaining.
    """
    plan = planning.collect(machine, limits, entries)
    seen = readings.follow(machine, entries, plan)
    return Findings(
        entries.if_shown(findings.figures, entries, plan, seen),
        verdicts.judged(machine, limits, entries, plan, seen),
        entries.if_shown(findings.tables, machine, entries, plan, seen),
        entries.if_shown(plots.plotted, machine, entries, plan, seen),
        findings.remarks(plan, seen),
    )


STAGE = Stage(
    "pull_down",
    "Pull-down",
    "Which current limit, held for how long, brings the warm loop down without an overcurrent trip,"
    " and how the pull-down went.",
    fields.FIELDS,
    judge,
    before="hand_over",
    order=100,
    after="load",
    cautions=(
        "Set the current limit before the start, not while the current is rising.",
        (
            "Do not judge approach, superheat or capacity while the water temperature is still"
            " falling: nothing is steady."
        ),
        "Do not raise the overcurrent trip to get through a pull-down.",
        cautions.ROTATING,
    ),
)
