"""Tightness: does the machine hold pressure and vacuum, is it dry, and how much refrigerant went
in?
"""

from __future__ import annotations

from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.procedure import cautions
from startkit.procedure.entries import Entries
from startkit.procedure.stage import Findings, Stage
from startkit.stages.tightness import findings, plots, readings, verdicts
from startkit.stages.tightness.fields import FIELDS


def judge(machine: Machine, limits: Limits, entries: Entries) -> Findings:
    """Pressure hold, search, evacuation, charge, leak log."""
    tested = readings.collect(entries)
    return Findings(
        figures=entries.if_shown(findings.figures, entries, tested),
        verdicts=verdicts.judged(machine, limits, entries, tested),
        plots=entries.if_shown(plots.plotted, limits, tested.evacuated),
        remarks=(*tested.held.remarks, *tested.evacuated.problems),
    )


STAGE = Stage(
    "tightness",
    "Tightness and charge",
    "Whether the machine holds pressure and vacuum, whether it is dry, and how much refrigerant"
    " was charged.",
    FIELDS,
    judge,
    before="oil_pump",
    order=30,
    cautions=(
        cautions.PRESSURE_TEST,
        cautions.REFRIGERANT,
        cautions.FREEZING,
        cautions.STORED_ENERGY,
    ),
)
