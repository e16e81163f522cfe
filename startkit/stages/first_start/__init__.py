"""First start: did the motor come to speed as it should, in balance, quietly, and with oil under
its bearings?
"""

from __future__ import annotations

from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.procedure import cautions
from startkit.procedure.entries import Entries
from startkit.procedure.stage import Findings, Stage
from startkit.stages.first_start import cards, fields, findings, plots, readings, verdicts


def judge(machine: Machine, limits: Limits, entries: Entries) -> Findings:
    """Closed proof, rotation, run-up, currents, unbalance, oil, vibration, starts."""
    start = readings.collect(machine, entries)
    return Findings(
        entries.if_shown(findings.figures, machine, limits, entries, start),
        verdicts.judged(machine, limits, entries, start),
        entries.if_shown(findings.tables, machine, limits, entries, start),
        entries.if_shown(plots.plotted, machine, entries, start),
        start.problems,
    )


STAGE = Stage(
    "first_start",
    "First start",
    "Whether the motor runs up as it should: in time, balanced, within its current, with oil"
    " pressure at the bearings and without excessive vibration.",
    fields.FIELDS,
    judge,
    before="load",
    order=90,
    gated={"turn_shaft": lambda machine, limits, entries: cards.restored(entries)},
    cautions=(
        (
            "Start only when the hold point for turning the shaft is clear; start and stop from the"
            " machine's own panel, never from here."
        ),
        (
            "Stay clear of coupling, terminal box and relief outlet. One person stays at the"
            " stop button."
        ),
        "Each start heats the motor: observe the time between starts.",
        cautions.ROTATING,
        cautions.LIVE_PANELS,
    ),
)
