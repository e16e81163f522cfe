"""Honest machines of every sort: three refrigerants, all starters, SI and I-P, instruments within
their accuracy; and the verdicts that raise a false alarm on one of them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import count, cycle, islice, product

from startkit.errors import StartkitError
from startkit.facts.journal import Entry
from startkit.facts.machine import Machine
from startkit.facts.starters import STARTERS
from startkit.procedure.assessment import Assessment
from startkit.units import IP, KINDS, SI, Q, parse, show
from startkit.verdict import Outcome
from workbook.honest_job import HonestJob
from workbook.judged import TAGS, judged, sheet_of

# What a sheet says of its starter, beside its name.
OF_STARTER = {
    "autotransformer": {"autotransformer_tap": Q(65.0, "percent")},
    "soft start": {"starter_current_limit": Q(350.0, "percent")},
    "variable-speed drive": {"drive_current_limit": Q(100.0, "percent")},
}
NONE = dict.fromkeys(key for keys in OF_STARTER.values() for key in keys)


@dataclass(frozen=True)
class Honest:
    """One honest machine: which model, behind which starter, entered in which units."""

    tag: str
    starter: str
    system: str
    seed: int

    @property
    def sheet(self) -> Machine:
        sheet = sheet_of(self.tag)
        known = sheet.motor.starter == self.starter
        own = {} if known else {**NONE, **OF_STARTER.get(self.starter, {})}
        motor = sheet.motor.model_copy(update={"starter": self.starter, **own})
        return sheet.model_copy(update={"motor": motor})

    def judged(self) -> Assessment:
        """Its whole job."""
        sheet = self.sheet
        name = f"{self.tag}.{self.starter}.{self.system}.{self.seed}"
        found = judged(sheet, HonestJob(sheet, self.seed).entries(), name, self.system)
        if self.system == SI:
            return found
        return judged(sheet, in_inch_pound(found), f"{name}.", self.system)


def machines(number: int) -> tuple[Honest, ...]:
    """So many honest machines: each model behind each starter in both systems, then anew with
    other errors.
    """
    sorts = cycle(product((SI, IP), STARTERS, TAGS))
    return tuple(
        Honest(tag, starter, system, seed)
        for (system, starter, tag), seed in islice(zip(sorts, count(1), strict=False), number)
    )


def false_alarms(honest: Honest) -> dict[str, tuple[str, ...]]:
    """For each hold point the verdicts that fail on a machine on which nothing is wrong; under
    ``""`` those that are unsettled otherwise.
    """
    job = honest.judged()
    found = {
        state.hold.name: tuple(v.key for v in state.needed if v.outcome is Outcome.FAIL)
        for state in job.holds()
    }
    unproven = (v.key for _, v in job.verdicts() if not v.settled and v.outcome is not Outcome.FAIL)
    return {**found, "": tuple(unproven)}


# --- inch-pound -----------------------------------------------------------------------------------


def in_inch_pound(job: Assessment) -> Iterator[Entry]:
    """The entries of a job as somebody types them who works in I-P."""
    kinds = _kinds(job)
    barometer = job.entries.barometer.quantity
    for entry in job.state.entries:
        stage, name, *rest = entry.what.split(".")
        kind = kinds.get((stage, name, *rest[1:]))
        if kind is None or not entry.unit:
            yield entry
            continue
        at = None if kind == "barometer" else barometer
        try:
            quantity = parse(entry.value, kind, entry.unit, at)
        except StartkitError:
            yield entry
            continue
        digits = KINDS[kind].ip_digits + 2
        text = show(quantity, kind, IP, at, digits, with_unit=False)
        yield replace(entry, value=text.replace("−", "-"), unit=KINDS[kind].ip.label)


def _kinds(job: Assessment) -> dict[tuple[str, ...], str]:
    """Kind of reading by stage and field, and by column in a table."""
    found: dict[tuple[str, ...], str] = {}
    for name, stage in job.stages.items():
        for field in stage.fields_for(job.machine):
            if field.kind in KINDS:
                found[name, field.name] = field.kind
            if field.kind == "table":
                for column in field.columns:
                    if column.kind in KINDS:
                        found[name, field.name, column.name] = column.kind
    return found
