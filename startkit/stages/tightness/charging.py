"""Refrigerant of the stage Tightness: what went in by weight, and the leak rate that additions
mean.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, datetime

import pint

from startkit.errors import StartkitError
from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries, Row
from startkit.procedure.judging import check
from startkit.procedure.reading import Reading
from startkit.procedure.stage import Figure
from startkit.science.charge import LEAK_RATE_SOURCE, TRIGGERS, annualised_leak_rate, charged_mass
from startkit.units import Q
from startkit.verdict import Outcome, Verdict

APPLIANCES = tuple(TRIGGERS)


@dataclass(frozen=True)
class Charge:
    """Refrigerant that went in, its standard uncertainty (None if a weighing names no scale), and
    what is wrong.
    """

    mass: pint.Quantity | None
    u: pint.Quantity | None
    untrusted: str
    problem: str


def collect(entries: Entries) -> Charge:
    """The sum over all cylinders; a row that lacks a weight keeps the charge open."""
    rows = entries.rows("cylinders")
    weights = [(row.reading("before"), row.reading("after")) for row in rows]
    faulty = next((r for pair in weights for r in pair if r.problem), None)
    if faulty is not None:
        return Charge(None, None, "", faulty.problem)
    lacking = [
        row.text("number") or f"row {n}"
        for n, (row, pair) in enumerate(zip(rows, weights, strict=True), 1)
        if any(r.quantity is None for r in pair)
    ]
    if lacking:
        return Charge(None, None, "", f"A weight is missing: cylinder {', '.join(lacking)}.")
    if not rows:
        return Charge(None, None, "", "")
    return _summed(entries, weights)


def _summed(entries: Entries, weights: list[tuple[Reading, Reading]]) -> Charge:
    both = [r for pair in weights for r in pair]
    us = [r.u.to("kilogram").magnitude for r in both if r.u is not None]
    known = len(us) == len(both)
    scale = math.sqrt(sum(u * u for u in us) / len(both)) if known else 0.0
    before, after = (
        [pair[i].quantity.to("kilogram").magnitude for pair in weights] for i in (0, 1)
    )
    residue = entries.quantity("residue")
    try:
        found = charged_mass(
            Q(before, "kilogram"),
            Q(after, "kilogram"),
            Q(scale, "kilogram"),
            Q(0.0, "kilogram") if residue is None else residue,
        )
    except StartkitError as error:
        return Charge(None, None, "", str(error))
    return Charge(
        found.mass,
        found.u if known else None,
        next((r.untrusted for r in both if r.untrusted), ""),
        "",
    )


def verdicts(
    machine: Machine, limits: Limits, entries: Entries, charge: Charge
) -> tuple[Verdict, ...]:
    """Charge against the sheet, and what was in the cylinders."""
    return (_charge(machine, limits, entries, charge), _label(machine, entries))


def _charge(machine: Machine, limits: Limits, entries: Entries, charge: Charge) -> Verdict:
    limit, due = limits["tightness.charge"], machine.machine.refrigerant_charge
    if charge.mass is None:
        return check(
            entries,
            limit,
            Reading("", "x", problem=charge.problem) if charge.problem else None,
            next_step="",
        )
    if due is None:
        return Verdict(
            key=limit.key,
            title=limit.title,
            outcome=Outcome.UNPROVEN,
            sentence=f"{entries.show(charge.mass, 'mass')} went in; the sheet gives no charge.",
            next_step="Add refrigerant_charge to the sheet.",
            source=limit.origin,
        )
    deviation, u = (
        (charge.mass / due - 1).to("percent"),
        None if charge.u is None else (charge.u / due).to("percent"),
    )
    return check(
        entries,
        limit,
        Reading("", "", deviation, u, untrusted=charge.untrusted),
        note=f"{entries.show(charge.mass, 'mass')} went in, sheet {entries.show(due, 'mass')}.",
        next_step=(
            "Weigh in what is missing, or recover what is too much; final trimming is done at load."
        ),
    )


def _label(machine: Machine, entries: Entries) -> Verdict:
    """Every cylinder holds the sheet's refrigerant."""
    from startkit.science.refrigerant import canonical

    key, title, source = "tightness.cylinder_label", "Refrigerant on the cylinders", "machine sheet"
    due = machine.machine.refrigerant
    labels = [
        (_named(row, n), row.text("label")) for n, row in enumerate(entries.rows("cylinders"), 1)
    ]
    if not labels or any(not label for _, label in labels):
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.OPEN,
            sentence="Not read from every cylinder.",
            next_step="Read the label of each cylinder before it is connected.",
            source=source,
        )
    try:
        other = [name for name, label in labels if canonical(label) != canonical(due)]
    except StartkitError as error:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.OPEN,
            sentence=str(error),
            next_step="Correct the entry.",
            source=source,
        )
    if other:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.FAIL,
            sentence=f"Not {due}: {', '.join(other)}.",
            next_step="Do not connect it; if it went in, recover the whole charge and evacuate"
            " again.",
            source=source,
        )
    return Verdict(
        key=key,
        title=title,
        outcome=Outcome.PASS,
        sentence=f"{canonical(due)} on {len(labels)} cylinder{'s' if len(labels) > 1 else ''}.",
        source=source,
    )


def _named(row: Row, number: int) -> str:
    return row.text("number") or f"row {number}"


# --- the leak log, as an option ------------------------------------------------------------------


def leak_log(machine: Machine, limits: Limits, entries: Entries) -> tuple[Verdict, ...]:
    """The annualised leak rate of what was added, judged only where the log was entered."""
    added, kind = entries.reading("added"), entries.text("appliance")
    if not added.taken:
        return ()
    limit = limits[f"tightness.leak_rate_{(kind or APPLIANCES[-1]).replace(' ', '_')}"]
    full, since = machine.machine.refrigerant_charge, _since(entries)
    if added.quantity is None or not kind or full is None or since is None:
        lacking = [
            word
            for word, missing in (
                ("kind of system", not kind),
                ("full charge in the sheet", full is None),
                ("both dates", since is None),
            )
            if missing
        ]
        told = added.problem or f"Missing: {', '.join(lacking)}."
        return (
            Verdict(
                key="tightness.leak_rate",
                title=limit.title,
                outcome=Outcome.OPEN,
                sentence=told,
                next_step="Enter what is missing.",
                source=limit.origin,
            ),
        )
    rate = annualised_leak_rate(added.quantity, full, since)
    u = None if added.u is None else annualised_leak_rate(added.u, full, since)
    return (
        check(
            entries,
            limit,
            Reading("", "", rate, u, untrusted=added.untrusted),
            key="tightness.leak_rate",
            note=f"Annualised by {LEAK_RATE_SOURCE}.",
            next_step=(
                "Above the trigger the leak is repaired within 30 days and the repair is verified;"
                " local rules decide."
            ),
        ),
    )


def _since(entries: Entries) -> pint.Quantity | None:
    """Time between the addition before and this one."""
    before, now = (_day(entries.text(name)) for name in ("added_before", "added_on"))
    return None if before is None or now is None or now <= before else Q((now - before).days, "day")


def _day(text: str) -> date | None:
    try:
        return datetime.fromisoformat(text).date() if text else None
    except ValueError:
        return None


def figures(charge: Charge) -> tuple[Figure, ...]:
    """Refrigerant that went in."""
    return (
        ()
        if charge.mass is None
        else (
            Figure(
                "Refrigerant charged",
                charge.mass,
                "mass",
                charge.u,
                "by the weight of the cylinders",
                "tightness.charge",
            ),
        )
    )
