"""Inlet guide vanes: are they closed at start, and can the switch that proves it be trusted?"""

from __future__ import annotations

from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.procedure import cautions
from startkit.procedure.entries import Entries
from startkit.procedure.stage import Findings, Stage
from startkit.stages.vanes import fields, findings, plots, readings, verdicts


def judge(machine: Machine, limits: Limits, entries: Entries) -> Findings:
    """Travel times, feedback, switch, diagnosis, and the verdict on the closed proof."""
    strokes = readings.collect(machine, entries)
    return Findings(
        entries.if_shown(findings.figures, machine, limits, entries, strokes),
        verdicts.judged(machine, limits, entries, strokes),
        entries.if_shown(findings.tables, entries, strokes),
        entries.if_shown(plots.plotted, entries, strokes),
        strokes.problems,
    )


STAGE = Stage(
    "vanes",
    "Inlet guide vanes",
    "Whether the vanes are really closed at start, and whether the switch that proves it can be"
    " trusted: vanes open at start overload the motor.",
    fields.FIELDS,
    judge,
    before="turn_shaft",
    order=70,
    after="",
    cautions=(
        (
            "Stroke the vanes only with the compressor motor locked out: keep hands and tools clear"
            " of the linkage, which moves without warning."
        ),
        "Local code, the maker's manual and licensed practice come first.",
        cautions.STORED_ENERGY,
    ),
)
