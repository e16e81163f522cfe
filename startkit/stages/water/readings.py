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
DROPS = ("drop", "opens_drop", "closes_drop")


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
    opens_drop: Reading
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
    due, seen, problem = None, None, ""
    try:
        due = liquid(sheet.fluid, _fraction(sheet.glycol_mass_fraction))
        seen = _liquid(entries, name)
    except StartkitError as error:
        problem = str(error)
    read = {
        part: entries.reading(f"{name}_{part}")
        for part in ("drop", "opens_drop", "closes_drop", "meter", "opens_flow", "closes_flow")
    }
    strainer = _strainer_inside(entries, name)
    flows = {part: Reading.derived(None, None, read[part]) for part in DROPS}
    if seen is not None and due is not None:
        try:
            drop = _Drop(entries, name, sheet, due, seen, strainer)
            flows = {part: drop.flow(read[part]) for part in DROPS}
        except StartkitError as error:
            problem = str(error)
    opens, closes = (
        read[f"{event}_flow"] if read[f"{event}_flow"].taken else flows[f"{event}_drop"]
        for event in ("opens", "closes")
    )
    return Circuit(
        name=name,
        sheet=sheet,
        due=due,
        liquid=seen,
        flow=flows["drop"],
        meter=read["meter"],
        opens=opens,
        opens_drop=flows["opens_drop"],
        closes=closes,
        inflated=strainer is not None and strainer.quantity is None,
        problem=problem,
    )


def _strainer_inside(entries: Entries, name: str) -> Reading | None:
    """Drop over the strainer if it is between the taps; None if it is not."""
    if entries.yes(f"{name}_strainer_inside") is not True:
        return None
    return entries.reading(f"{name}_strainer_drop")


def _fraction(share: pint.Quantity | None) -> float | None:
    return None if share is None else float(share.to("dimensionless").magnitude)


def _liquid(entries: Entries, name: str) -> Liquid | None:
    fluid = entries.code(f"{name}_fluid")
    if not fluid:
        return None
    share = _fraction(entries.quantity(f"{name}_share"))
    return liquid(fluid, share, entries.code(f"{name}_basis") or "mass")


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


@dataclass(frozen=True)
class _Drop:
    """What turns a pressure drop of one circuit into its flow."""

    entries: Entries
    name: str
    sheet: Exchanger
    due: Liquid
    seen: Liquid
    strainer: Reading | None

    def flow(self, drop: Reading) -> Reading:
        """Flow by pressure drop with its uncertainty: gauge, strainer and the curve's exponent."""
        parents = self._parents(drop)
        if drop.quantity is None or (
            self.due != self.seen and self.entries.quantity(f"{self.name}_temperature") is None
        ):
            return Reading.derived(None, None, *parents)
        ratio = relative_density(self.entries, self.name, self.due, self.seen)
        values = {
            "drop": drop.quantity.to("pascal").magnitude,
            "strainer": _pascals(self.strainer),
            "exponent": self.sheet.flow_exponent,
            "flow": self.sheet.design_flow.to("meter**3/second").magnitude,
            "design": self.sheet.design_pressure_drop.to("pascal").magnitude,
        }

        def by_drop(
            drop: float, strainer: float, exponent: float, flow: float, design: float
        ) -> float:
            return flow_from_pressure_drop.si(flow, design, (drop - strainer) / ratio, exponent)

        value = Q(by_drop(**values), "meter**3/second")
        u = self._u(drop)
        if u is None:
            return Reading.derived(value, None, *parents)
        found = propagate(by_drop, values, u, method="first order")
        return Reading.derived(value, Q(float(found.u), "meter**3/second"), *parents)

    def _parents(self, drop: Reading) -> tuple[Reading, ...]:
        """What the flow rests on: gauge, strainer, and the thermometer where the liquid differs."""
        found = [drop]
        if self.strainer is not None and self.strainer.quantity is not None:
            found.append(self.strainer)
        if self.due != self.seen:
            found.append(self.entries.reading(f"{self.name}_temperature"))
        return tuple(found)

    def _u(self, drop: Reading) -> dict[str, float] | None:
        """Standard uncertainty of each input; None if that of a gauge is not known."""
        read = [r for r in (drop, self.strainer) if r is not None and r.quantity is not None]
        if any(r.u is None for r in read):
            return None
        us = dict(zip(("drop", "strainer"), (_u_pascals(r) for r in read), strict=False))
        return {**us, "exponent": EXPONENT_U}


def _pascals(reading: Reading | None) -> float:
    if reading is None or reading.quantity is None:
        return 0.0
    return float(reading.quantity.to("pascal").magnitude)


def _u_pascals(reading: Reading) -> float:
    assert reading.u is not None
    return float(reading.u.to("pascal").magnitude)
