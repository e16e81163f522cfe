"""Readings of the stage Water: liquid and flow of each circuit, by drop, meter and switch."""

from __future__ import annotations

from dataclasses import dataclass

import pint

from startkit.errors import StartkitError
from startkit.facts.machine import Exchanger, Machine
from startkit.procedure.entries import Entries
from startkit.procedure.reading import Reading
from startkit.science.uncertainty import propagate
from startkit.science.water import (
    Liquid,
    density,
    flow_from_pressure_drop,
    liquid,
)
from startkit.stages.water.fields import CIRCUITS
from startkit.units import Q

# Makers' curves give 0.50 to 0.57: as a rectangular spread about the sheet's figure. Common
# practice, no source.
EXPONENT_U = 0.07 / 12**0.5


@dataclass(frozen=True)
class Circuit:
    """One circuit: its liquid, its flow by drop, meter and switch.

    `inflated` is True while the strainer's share of the drop is not known: the flow is then a
    highest value.
    """

    name: str
    sheet: Exchanger
    due: Liquid | None
    liquid: Liquid | None
    flow: Reading
    meter: Reading
    opens: Reading
    closes: Reading
    inflated: bool
    problem: str

    @property
    def title(self) -> str:
        return CIRCUITS[self.name]


def collect(machine: Machine, entries: Entries) -> tuple[Circuit, ...]:
    """Both circuits."""
    return tuple(_circuit(machine, entries, name) for name in CIRCUITS)


def _circuit(machine: Machine, entries: Entries, name: str) -> Circuit:
    """Read one circuit; a liquid that cannot be used leaves the flows open and says why."""
    sheet: Exchanger = getattr(machine, name)
    blank = Reading("")
    due, seen, problem = None, None, ""
    try:
        due = liquid(
            sheet.fluid,
            (
                None
                if sheet.glycol_mass_fraction is None
                else float(sheet.glycol_mass_fraction.to("dimensionless").magnitude)
            ),
        )
        seen = _liquid(entries, name)
    except StartkitError as error:
        problem = str(error)
    inside, strainer = (
        entries.yes(f"{name}_strainer_inside"),
        entries.reading(f"{name}_strainer_drop"),
    )
    inflated = inside is True and strainer.quantity is None
    read = {
        part: entries.reading(f"{name}_{part}")
        for part in ("drop", "opens_drop", "closes_drop", "meter", "opens_flow", "closes_flow")
    }
    if seen is None or due is None:
        return Circuit(
            name,
            sheet,
            due,
            seen,
            blank,
            read["meter"],
            read["opens_flow"],
            read["closes_flow"],
            inflated,
            problem,
        )
    try:
        flows = {
            part: _flow_by_drop(
                entries, name, sheet, due, seen, read[part], strainer if inside else blank
            )
            for part in ("drop", "opens_drop", "closes_drop")
        }
    except StartkitError as error:
        return Circuit(
            name,
            sheet,
            due,
            seen,
            blank,
            read["meter"],
            read["opens_flow"],
            read["closes_flow"],
            inflated,
            str(error),
        )
    opens, closes = (
        read[f"{event}_flow"] if read[f"{event}_flow"].taken else flows[f"{event}_drop"]
        for event in ("opens", "closes")
    )
    return Circuit(
        name, sheet, due, seen, flows["drop"], read["meter"], opens, closes, inflated, problem
    )


def _liquid(entries: Entries, name: str) -> Liquid | None:
    fluid, share = entries.text(f"{name}_fluid"), entries.quantity(f"{name}_share")
    if not fluid:
        return None
    return liquid(
        fluid,
        None if share is None else float(share.to("dimensionless").magnitude),
        entries.text(f"{name}_basis") or "mass",
    )


def relative_density(entries: Entries, name: str, due: Liquid, seen: Liquid) -> float:
    """Density of what flows over that of the selection's liquid, both at the temperature of the
    taps.
    """
    temperature = entries.quantity(f"{name}_temperature")
    if due == seen or temperature is None:
        return 1.0
    return float(
        (density(temperature, seen) / density(temperature, due)).to("dimensionless").magnitude
    )


def _flow_by_drop(
    entries: Entries,
    name: str,
    sheet: Exchanger,
    due: Liquid,
    seen: Liquid,
    drop: Reading,
    strainer: Reading,
) -> Reading:
    """Flow by pressure drop with its uncertainty: gauge, strainer and the curve's exponent."""
    if drop.quantity is None:
        return drop
    if due != seen and entries.quantity(f"{name}_temperature") is None:
        return Reading("")
    ratio = relative_density(entries, name, due, seen)
    values = {
        "drop": drop.quantity.to("pascal").magnitude,
        "strainer": 0.0 if strainer.quantity is None else strainer.quantity.to("pascal").magnitude,
        "exponent": sheet.flow_exponent,
        "flow": sheet.design_flow.to("meter**3/second").magnitude,
        "design": sheet.design_pressure_drop.to("pascal").magnitude,
    }

    def by_drop(drop: float, strainer: float, exponent: float, flow: float, design: float) -> float:
        return flow_from_pressure_drop.si(flow, design, (drop - strainer) / ratio, exponent)

    value = Q(by_drop(**values), "meter**3/second")
    if drop.u is None:
        return Reading(drop.what, drop.text, value, untrusted=drop.untrusted)
    u = {
        "drop": drop.u.to("pascal").magnitude,
        "exponent": EXPONENT_U,
        "strainer": 0.0 if strainer.u is None else strainer.u.to("pascal").magnitude,
    }
    found = propagate(by_drop, values, u, method="first order")
    return Reading(
        drop.what,
        drop.text,
        value,
        Q(float(found.u), "meter**3/second"),
        untrusted=drop.untrusted or strainer.untrusted,
    )


def share_of(flow: Reading, design: pint.Quantity) -> Reading:
    """A flow in percent of another; a missing reading stays missing."""
    if flow.quantity is None:
        return flow
    u = None if flow.u is None else (flow.u / design).to("percent")
    return Reading(
        flow.what, flow.text, (flow.quantity / design).to("percent"), u, untrusted=flow.untrusted
    )
