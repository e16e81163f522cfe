"""Controls: do the sensors tell the truth, and does every safety trip where it is set?"""

from __future__ import annotations

from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.procedure import cautions
from startkit.procedure.entries import Entries
from startkit.procedure.stage import Findings, Stage
from startkit.stages.controls import safeties, sensor_checks

FIELDS = (*sensor_checks.FIELDS, *safeties.FIELDS)


def judge(machine: Machine, limits: Limits, entries: Entries) -> Findings:
    """Sensors against references; safeties and interlocks proven by their trips."""
    checked = {table: sensor_checks.collect(entries, table) for table in sensor_checks.TABLES}
    return Findings(
        verdicts=(
            *(
                v
                for table, rows in checked.items()
                for v in sensor_checks.verdicts(entries, table, rows)
            ),
            *safeties.verdicts(machine, limits, entries),
        ),
        tables=tuple(
            t
            for table, rows in checked.items()
            for t in entries.if_shown(sensor_checks.tables, entries, table, rows)
        ),
    )


STAGE = Stage(
    "controls",
    "Controls",
    "Whether the sensors tell the truth, and whether every safety was seen to trip where it is"
    " set.",
    FIELDS,
    judge,
    before="turn_shaft",
    order=50,
    after="",
    cautions=(cautions.SAFETIES, cautions.LIVE_PANELS),
)
