"""What approaches, superheat and subcooling together suggest: candidates to look at, with what
would distinguish them.
"""

from __future__ import annotations

import pint

from startkit.facts.limits import Limit, Limits
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.selection import approaches
from startkit.procedure.stage import Heading, Table
from startkit.science.symptoms import Candidate, candidates, sign
from startkit.stages.load_up.points import Point, load_of
from startkit.units import Q

NOTE = (
    "Signs count only if they are outside their usual band by two standard uncertainties. These"
    " are candidates to look at, not findings. With the machine running, condenser pressure above"
    " that of its liquid shows air and subcooling together; only at standstill can they be told"
    " apart. Common practice, no source."
)


def signs(machine: Machine, limits: Limits, p: Point) -> dict[str, int | None]:
    """Every sign that this point can show."""
    found: dict[str, int | None] = {}
    for side in ("condenser", "evaporator"):
        excess = _excess(machine, p, side)
        if excess is not None:
            found[f"{side} approach"] = _told(
                excess, p.u(f"{side}_approach"), limits["load_up.usual_excess"]
            )
    for name, key, limit in (
        ("subcooling", "subcooling", "load_up.usual_subcooling"),
        ("suction superheat", "suction_superheat", "load_up.usual_superheat"),
    ):
        value = p.value(key)
        if value is not None:
            found[name] = _told(value, p.u(key), limits[limit])
    return found


def _told(value: pint.Quantity, u: pint.Quantity | None, limit: Limit) -> int | None:
    return sign(value, u if u is not None else Q(0.0, "delta_degC"), limit.low, limit.high)


def _excess(machine: Machine, p: Point, side: str) -> pint.Quantity | None:
    value, load = p.value(f"{side}_approach"), load_of(p)
    due = approaches(machine, load, side) if load is not None else None
    return None if value is None or due is None else value - due


def table(machine: Machine, limits: Limits, entries: Entries, p: Point | None) -> Table | None:
    """Candidates at the highest steady load; None if there are none."""
    if p is None or not p.usable:
        return None
    seen = signs(machine, limits, p)
    found = candidates(seen)
    if not found:
        return None
    head = (
        Heading("Candidate"),
        Heading("Evidence for it"),
        Heading("Not known"),
        Heading("How to find out"),
    )
    return Table(
        f"What the readings at {p.label} may indicate",
        head,
        tuple(_row(each) for each in found),
        NOTE,
    )


def _row(each: Candidate) -> tuple[str, ...]:
    return (
        each.name if each.likely else f"{each.name} (not ruled out)",
        "; ".join(each.because),
        "; ".join(each.untold) or "–",
        each.tells,
    )
