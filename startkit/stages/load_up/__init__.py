"""Load-up: steady readings at each load, compared with the selection."""

from __future__ import annotations

from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.stage import Findings, Stage
from startkit.stages.load_up import fields, findings, plots, rating, readings, verdicts


def judge(machine: Machine, limits: Limits, entries: Entries) -> Findings:
    """Figures at each load with their uncertainty, from readings and from a trend, against limits
    and selection.
    """
    loads = readings.collect(machine, limits, entries)
    rated = rating.part_load(loads.points)
    return Findings(
        entries.if_shown(findings.figures, entries, loads, rated),
        verdicts.judged(machine, limits, entries, loads, rated),
        entries.if_shown(findings.tables, machine, limits, entries, loads, rated),
        entries.if_shown(plots.plotted, machine, limits, entries, loads),
        loads.problems,
    )


STAGE = Stage(
    "load_up",
    "Load-up",
    "Whether the machine delivers at each load what it was selected for, from readings taken while"
    " conditions were steady.",
    fields.FIELDS,
    judge,
    before="hand_over",
    order=110,
    cautions=(
        "Keep clear of shaft, terminal box and hot discharge pipe while reading gauges.",
        "Local code, the maker's manual and licensed practice come first.",
    ),
)
