"""Lubrication: is there oil pressure before, during and after the shaft turns, and can its trip
be trusted?
"""

from __future__ import annotations

from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.procedure import cautions
from startkit.procedure.entries import Entries
from startkit.procedure.stage import Findings, Stage
from startkit.stages.lube import fields, findings, plots, readings, verdicts


def judge(machine: Machine, limits: Limits, entries: Entries) -> Findings:
    """Oil superheat, foaming, pre-lube, set point, steadiness, trip, filter, pump speed,
    coast-down.
    """
    oil = readings.collect(machine, entries)
    return Findings(
        entries.if_shown(findings.figures, machine, entries, oil),
        verdicts.judged(machine, limits, entries, oil),
        entries.if_shown(findings.tables, entries, oil),
        entries.if_shown(plots.plotted, machine, entries, oil),
        oil.problems,
    )


STAGE = Stage(
    "lube",
    "Lubrication",
    "Whether there is oil pressure before, during and after the shaft turns, and whether the"
    " low-oil trip would stop the machine.",
    fields.FIELDS,
    judge,
    before="turn_shaft",
    order=80,
    cautions=(
        (
            "Run the oil pump only when its hold point is clear and the compressor motor is locked"
            " out."
        ),
        "Oil lines contain hot oil under pressure: relieve them before opening anything.",
        "Local code, the maker's manual and licensed practice come first.",
        cautions.STORED_ENERGY,
    ),
)
