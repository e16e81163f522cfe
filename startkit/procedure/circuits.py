"""The two water circuits as several stages see them: what flows, and the flow by pressure drop."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TypeVar

import numpy as np
import pint

from startkit.facts.machine import Exchanger
from startkit.procedure.entries import Entries
from startkit.procedure.reading import Reading
from startkit.procedure.selection import liquid_of
from startkit.science.uncertainty import propagate
from startkit.science.water import Liquid, density, flow_from_pressure_drop, liquid
from startkit.units import Q

FloatOrArray = TypeVar("FloatOrArray", float, np.ndarray)

# Makers' curves give 0.50 to 0.57: as a rectangular spread about the sheet's figure. Common
# practice, no source.
EXPONENT_U = 0.07 / 12**0.5
# How far the flow of one exchanger may be from its maker's curve at the same drop. Own default.
CURVE = 0.05
CURVE_NOTE = f"the maker's curve assumed correct within ± {100 * CURVE:.0f} %, own default"


@dataclass(frozen=True)
class Taps:
    """Pressure taps of one exchanger: what turns the drop between them into a flow.

    `strainer` is the drop over a strainer between the taps, read while `total` was the whole drop;
    None if there is none. `temperature` is needed where the liquid is not that of the selection.
    """

    sheet: Exchanger
    due: Liquid
    seen: Liquid
    temperature: Reading
    strainer: Reading | None
    total: Reading

    @property
    def inflated(self) -> bool:
        """True while the strainer's share of the drop is not known: the true flow is lower."""
        return self.strainer is not None and self.strainer.quantity is None

    @cached_property
    def relative_density(self) -> float:
        """Density of what flows over that of the selection's liquid, at the taps' temperature."""
        if self.due == self.seen or self.temperature.quantity is None:
            return 1.0
        at = self.temperature.quantity
        return float((density(at, self.seen) / density(at, self.due)).to("dimensionless").magnitude)

    def flow(self, drop: Reading) -> Reading:
        """Flow by pressure drop with its uncertainty: gauges, strainer, exponent, maker's curve."""
        parents = self._parents(drop)
        if drop.quantity is None or (self.due != self.seen and self.temperature.quantity is None):
            return Reading.derived(None, None, *parents)
        values = {"drop": _pascals(drop), "exponent": self.sheet.flow_exponent, "curve": 1.0}
        alone = drop is self.total or self.total.quantity is None
        if self.strainer is not None:
            values["strainer"] = _pascals(self.strainer)
            if not alone:
                values["total"] = _pascals(self.total)
        value = self._by_drop(**values)
        u = self._u(drop, alone)
        if u is None:
            return Reading.derived(Q(value, "meter**3/second"), None, *parents)
        found = propagate(self._by_drop, values, u, method="first order")
        return Reading.derived(
            Q(value, "meter**3/second"), Q(float(found.u), "meter**3/second"), *parents
        )

    def _by_drop(
        self,
        drop: float,
        exponent: float,
        curve: float,
        strainer: float = 0.0,
        total: float | None = None,
    ) -> float:
        """The strainer keeps its share of the drop at every flow."""
        over_strainer = strainer if total is None else strainer * drop / total
        net = (drop - over_strainer) / self.relative_density
        return curve * by_curve(self.sheet, net, exponent)

    def net_share(self) -> float:
        """Share of the whole drop that is the exchanger's own, divided by the relative density."""
        strainer, total = _pascals(self.strainer), _pascals(self.total)
        over_strainer = strainer / total if strainer and total else 0.0
        return (1 - over_strainer) / self.relative_density

    def _parents(self, drop: Reading) -> tuple[Reading, ...]:
        """What the flow rests on: gauge, strainer, and the thermometer where the liquid differs."""
        found = [drop]
        if self.strainer is not None and self.strainer.quantity is not None:
            found.append(self.strainer)
            if drop is not self.total and self.total.quantity is not None:
                found.append(self.total)
        if self.due != self.seen:
            found.append(self.temperature)
        return tuple(found)

    def _u(self, drop: Reading, alone: bool) -> dict[str, float] | None:
        """Standard uncertainty of each input; None if that of a gauge is not known."""
        if self.inflated:
            return None
        read = {"drop": drop}
        if self.strainer is not None:
            read["strainer"] = self.strainer
            if not alone:
                read["total"] = self.total
        found = {"exponent": EXPONENT_U, "curve": CURVE / 3**0.5}
        for name, reading in read.items():
            if reading.u is None:
                return None
            found[name] = float(reading.u.to("pascal").magnitude)
        return found


def by_curve(sheet: Exchanger, net: FloatOrArray, exponent: float | None = None) -> FloatOrArray:
    """Flow [m3/s] by the maker's curve from the drop over the exchanger alone [Pa]."""
    found: FloatOrArray = flow_from_pressure_drop.si(
        sheet.design_flow.to("meter**3/second").magnitude,
        sheet.design_pressure_drop.to("pascal").magnitude,
        net,
        sheet.flow_exponent if exponent is None else exponent,
    )
    return found


def taps(sheet: Exchanger, water: Entries, name: str) -> Taps:
    """The taps of one circuit, `"evaporator"` or `"condenser"`, from the entries of Water.

    Where the liquid that flows was not entered, it is taken to be that of the selection.

    Raises
    ------
    ScienceError
        A liquid that is not known, or a share of glycol outside its range.
    """
    due, seen = liquid_of(sheet), flowing(water, name)
    inside = water.yes(f"{name}_strainer_inside") is True
    return Taps(
        sheet,
        due,
        due if seen is None else seen,
        water.reading(f"{name}_temperature"),
        water.reading(f"{name}_strainer_drop") if inside else None,
        water.reading(f"{name}_drop"),
    )


def flowing(water: Entries, name: str) -> Liquid | None:
    """What flows in one circuit by the entries of Water; None if it was not entered.

    Raises
    ------
    ScienceError
        A share of glycol outside its range.
    """
    fluid = water.code(f"{name}_fluid")
    if not fluid:
        return None
    share = _share(water.quantity(f"{name}_share"))
    return liquid(fluid, share, water.code(f"{name}_basis") or "mass")


def _share(share: pint.Quantity | None) -> float | None:
    return None if share is None else float(share.to("dimensionless").magnitude)


def _pascals(reading: Reading | None) -> float:
    if reading is None or reading.quantity is None:
        return 0.0
    return float(reading.quantity.to("pascal").magnitude)
