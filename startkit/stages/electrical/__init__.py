"""Electrical: is the winding sound, is the supply right, and is everything tight before it is
energised?
"""

from __future__ import annotations

from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.procedure import cautions
from startkit.procedure.entries import Entries
from startkit.procedure.stage import Findings, Stage
from startkit.stages.electrical import findings, readings, verdicts
from startkit.stages.electrical.fields import FIELDS


def judge(machine: Machine, limits: Limits, entries: Entries) -> Findings:
    """Winding, then voltages, rotation, connections, control power and starter."""
    winding, supply = readings.winding_readings(machine, entries), readings.supply_readings(entries)
    return Findings(
        figures=entries.if_shown(findings.figures, machine, entries, winding, supply),
        verdicts=verdicts.judged(machine, limits, entries, winding, supply),
        tables=entries.if_shown(findings.tables, entries, winding),
    )


STAGE = Stage(
    "electrical",
    "Electrical",
    "Whether the winding is sound, the supply correct and every connection tight before anything"
    " is energised.",
    FIELDS,
    judge,
    before="oil_pump",
    order=40,
    cautions=(cautions.LIVE_PANELS, cautions.HIGH_VOLTAGE_TEST, cautions.STORED_ENERGY),
)
