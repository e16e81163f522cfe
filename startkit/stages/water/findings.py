"""Figures and the table of the stage Water."""

from __future__ import annotations

from collections.abc import Iterable

from startkit.errors import StartkitError
from startkit.procedure.circuits import CURVE_NOTE
from startkit.procedure.entries import Entries
from startkit.procedure.stage import Figure, Heading, Table
from startkit.science.water import (
    density,
    freezing_point,
    heat_capacity,
    liquid,
)
from startkit.stages.water.readings import Circuit
from startkit.units import Q


def figures(entries: Entries, circuits: Iterable[Circuit]) -> tuple[Figure, ...]:
    """Flow by drop of each circuit, and what its liquid changes."""
    return tuple(f for c in circuits for f in _of_circuit(entries, c))


def _of_circuit(entries: Entries, c: Circuit) -> tuple[Figure, ...]:
    if c.flow.quantity is None:
        return ()
    n = c.sheet.flow_exponent
    blocked = Q(100 * (1.1**n - 1), "percent")
    note = (
        f"design {entries.show(c.sheet.design_flow, 'flow')} at"
        f" {entries.show(c.sheet.design_pressure_drop, 'pressure_drop')}, exponent {n:g};"
        f" {CURVE_NOTE}"
    )
    found = [
        Figure(
            f"{c.title}: flow by drop",
            c.flow.quantity,
            "flow",
            c.flow.u,
            note,
            f"water.{c.name}_flow",
        ),
        Figure(
            f"{c.title}: 10 % more drop reads as",
            blocked,
            "percent",
            note="more flow, although a blocked strainer or tube sheet passes less",
        ),
    ]
    return (*found, *_glycol(entries, c))


def _glycol(entries: Entries, c: Circuit) -> list[Figure]:
    """What the liquid changes against water: the drop, and the heat it carries."""
    temperature = entries.quantity(f"{c.name}_temperature")
    if c.liquid is None or c.liquid.name == "water" or temperature is None:
        return []
    water = liquid("water")
    try:
        carried = [
            density(temperature, each) * heat_capacity(temperature, each)
            for each in (c.liquid, water)
        ]
        drop = (density(temperature, c.liquid) / density(temperature, water)).to("dimensionless")
    except StartkitError:
        return []
    share = (carried[0] / carried[1]).to("percent")
    return [
        Figure(
            f"{c.title}: heat carried against water",
            share,
            "percent",
            note=f"{c.liquid}, same flow and range; {c.liquid.data_set}",
        ),
        Figure(
            f"{c.title}: drop against water at the same flow",
            drop.to("percent"),
            "percent",
            note="from density alone; viscosity adds to it",
        ),
        Figure(
            f"{c.title}: freezes at",
            freezing_point(c.liquid),
            "temperature",
            note=c.liquid.data_set,
        ),
    ]


def tables(circuits: Iterable[Circuit]) -> tuple[Table, ...]:
    """Flow of each circuit by design, drop, meter and switch."""
    rows = tuple(
        (
            c.title,
            str(c.liquid) if c.liquid else None,
            c.sheet.design_flow,
            c.flow.quantity,
            c.meter.quantity,
            c.opens.quantity,
            c.closes.quantity,
        )
        for c in circuits
        if c.flow.quantity is not None
    )
    head = (
        Heading("Circuit"),
        Heading("Liquid"),
        Heading("Design", "flow"),
        Heading("By drop", "flow"),
        Heading("By meter", "flow"),
        Heading("Switch opens", "flow"),
        Heading("Switch closes", "flow"),
    )
    return (Table("Flows", head, rows),) if rows else ()
