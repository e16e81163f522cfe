"""Trips: each one in order, its cause found before the machine is loaded."""

from __future__ import annotations

from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.procedure import cautions
from startkit.procedure.entries import Entries
from startkit.procedure.stage import Findings, Stage
from startkit.stages.trips import fields, findings, plots, readings, verdicts


def judge(machine: Machine, limits: Limits, entries: Entries) -> Findings:
    """Every trip with its readings, cause and restart; candidates for overcurrent are ranked from
    the readings.
    """
    story = readings.collect(machine, entries)
    return Findings(
        (),
        verdicts.judged(machine, limits, entries, story),
        entries.if_shown(findings.tables, entries, story),
        entries.if_shown(plots.plotted, machine, story),
        story.problems,
    )


STAGE = Stage(
    "trips",
    "Trips",
    "What tripped, why, what was changed, and whether the machine then ran. Until the cause of a"
    " trip is found, the machine is not loaded.",
    fields.FIELDS,
    judge,
    before="load",
    order=95,
    cautions=(
        "Never reset a trip before its message and readings are written down.",
        "Do not raise a trip setting to make a machine run: find the cause.",
        "A motor that has tripped is hot: observe the time between starts.",
        cautions.SAFETIES,
        cautions.LIVE_PANELS,
    ),
)
