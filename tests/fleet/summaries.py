"""Summaries of invented visits, as the index keeps them."""

from __future__ import annotations

from typing import Any

from startkit.procedure.holds import HOLDS
from startkit.units import Q

Summary = dict[str, Any]


def figure(label: str, value: float, unit: str, kind: str, u: float | None = None) -> Summary:
    """One figure; `u` in the same unit, as a difference."""
    return {
        "label": label,
        "kind": kind,
        "number": float(Q(value, unit).to_base_units().magnitude),
        "u": None if u is None else float(Q(u, unit).to_base_units().magnitude),
    }


def approach(value: float, u: float | None = 0.05) -> Summary:
    return figure(
        "Evaporator approach, carried to full load",
        value,
        "delta_degC",
        "temperature_difference",
        u,
    )


def conditions(load: float = 0.98, lift: float = 29.8) -> dict[str, Summary]:
    return {
        "load_up.load": figure("Load", load, "dimensionless", "percent", 0.007),
        "load_up.lift": figure("Lift", lift, "delta_degC", "temperature_difference", 0.09),
    }


def visit(
    day: str,
    figures: dict[str, Summary] | None = None,
    tag: str = "CH-1",
    work: str = "new",
    clear: int = 4,
    **more: Any,
) -> Summary:
    """One job of one machine; `clear` of its hold points are clear."""
    return {
        "job": f"{tag} {day}",
        "fault": "",
        "tag": tag,
        "plant": "Harbour Street",
        "serial": f"S-{tag}",
        "maker": "Example Works",
        "model": "EW-900",
        "refrigerant": "R-134a",
        "work": work,
        "units": "SI",
        "outcome": "pass",
        "next": {"title": "Load-up", "what": "Heat balance", "do": "Read it again."},
        "begun": ["Setup"],
        "holds": [
            {
                "hold": h.name,
                "clear": n < clear,
                "headline": h.clear if n < clear else h.not_clear,
                "in_the_way": 0 if n < clear else 3,
                "released": {"counts": True} if n < clear else None,
                "early": ["1 entry made too early."] if n == 1 and clear == 2 else [],
            }
            for n, h in enumerate(HOLDS)
        ],
        "open": [],
        "waived": [],
        "instruments": [],
        "figures": figures or {},
        "first": f"{day}T08:00:00.000+01:00",
        "last": f"{day}T16:00:00.000+01:00",
        "last_who": "R. Calder",
        "entries": 12,
        "digest": "ab" * 32,
        "template": {"name": "new-machine.ipynb", "digest": "cd" * 32},
        "record": {},
        **more,
    }


def item(title: str, owner: str, since: str, due: str = "", stage: str = "Load-up") -> Summary:
    return {
        "stage": stage,
        "title": title,
        "outcome": "open",
        "mark": "○",
        "owner": owner,
        "since": since,
        "due": due,
    }
