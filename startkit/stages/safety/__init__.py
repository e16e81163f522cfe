"""Safety: cautions, the machinery room's ventilation and detector, and what must be confirmed by
name.
"""

from __future__ import annotations

from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.procedure import cautions
from startkit.procedure.entries import Entries
from startkit.procedure.stage import Findings, Stage
from startkit.stages.safety import findings, readings, verdicts
from startkit.stages.safety.fields import FIELDS


def judge(machine: Machine, limits: Limits, entries: Entries) -> Findings:
    """Ventilation against the rule, detector against the refrigerant's exposure limit."""
    known, remarks = readings.exposure_limits(machine)
    return Findings(
        figures=entries.if_shown(findings.figures, machine, entries, known),
        verdicts=verdicts.judged(machine, limits, entries, known),
        remarks=(*remarks, *findings.hazards(machine)),
    )


STAGE = Stage(
    "safety",
    "Safety",
    "Whether people can work on this machine safely: room, detector, lock-out, and who confirmed"
    " what.",
    FIELDS,
    judge,
    before="oil_pump",
    order=20,
    cautions=(
        cautions.STORED_ENERGY,
        cautions.LIVE_PANELS,
        cautions.ROTATING,
        cautions.REFRIGERANT,
        cautions.PRESSURE_TEST,
        cautions.LIFTING,
    ),
)
