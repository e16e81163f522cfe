"""Figures of a whole trend: the same formulas as for one load, over arrays, with splines for the
refrigerant.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
import pint

from startkit.facts.machine import Machine
from startkit.facts.trend.trend import Trend
from startkit.procedure.circuits import by_curve
from startkit.science import refrigerant
from startkit.stages.load_up import assumed
from startkit.stages.load_up.formulas import FORMULAS, circuit

NOTHING_BETWEEN: Mapping[str, float] = MappingProxyType({})  # the taps are at the exchanger


@dataclass(frozen=True)
class TrendFigures:
    """A trend as the stages use it, with its clock.

    Parameters
    ----------
    time : numpy.ndarray
        [s since 1970], rising.
    readings : dict of str -> numpy.ndarray
        [SI] by the names of the load-up's columns; pressures absolute; not a number where a mark
        forbids the use.
    found : dict of str -> numpy.ndarray
        Figures by the key of their formula [SI].
    why_not : dict of str -> str
        Which readings the other figures lack.
    """

    time: np.ndarray
    readings: dict[str, np.ndarray]
    found: dict[str, np.ndarray]
    why_not: dict[str, str]


def figures(
    machine: Machine,
    trend: Trend,
    barometer: pint.Quantity,
    slow: bool = False,
    only: Iterable[str] | None = None,
    net_shares: Mapping[str, float] = NOTHING_BETWEEN,
) -> TrendFigures:
    """Every figure of a trend for which it has the readings.

    Parameters
    ----------
    machine : Machine
    trend : Trend
    barometer : pint.Quantity
        [pressure] at the site.
    slow : bool
        Head and efficiency of the compressor as well.
    only : iterable of str, optional
        Keys of the figures wanted.
    net_shares : mapping
        By side, the exchanger's share of the drop between its taps (`Taps.net_share`).

    Raises
    ------
    ScienceError
        The sheet names a refrigerant or liquid that is not known.
    """
    constants = circuit(machine)
    given = readings(machine, trend, float(barometer.to("pascal").magnitude), net_shares)
    taken = {**given, **assumed.values(machine)}
    found: dict[str, np.ndarray] = {}
    why_not: dict[str, str] = {}
    wanted = None if only is None else set(only)
    with np.errstate(invalid="ignore", divide="ignore"):
        for formula in FORMULAS:
            if (formula.slow and not slow) or (wanted is not None and formula.key not in wanted):
                continue
            lacking = [name for name in formula.needs if name not in taken]
            if lacking:
                why_not[formula.key] = (
                    f"needs {', '.join(name.replace('_', ' ') for name in lacking)}"
                )
            elif formula.key == "isentropic_efficiency" and "isentropic_head" in found:
                found[formula.key] = _efficiency(
                    constants.refrigerant, given, found["isentropic_head"]
                )
            else:
                found[formula.key] = np.asarray(
                    formula.make(constants, **{name: taken[name] for name in formula.needs}), float
                )
    return TrendFigures(trend.clock, given, found, why_not)


def _efficiency(fluid: str, given: dict[str, np.ndarray], head: np.ndarray) -> np.ndarray:
    """Isentropic efficiency from the head that is known already: looking for the end of the ideal
    compression takes most of the time.
    """
    start = refrigerant.enthalpy.si(
        fluid, given["evaporator_pressure"], given["suction_temperature"]
    )
    rise = (
        refrigerant.enthalpy.si(fluid, given["condenser_pressure"], given["discharge_temperature"])
        - start
    )
    return np.where(rise > 0, head / np.where(rise > 0, rise, 1.0), np.nan)


def readings(
    machine: Machine, trend: Trend, barometer: float, net_shares: Mapping[str, float]
) -> dict[str, np.ndarray]:
    """The trend's usable readings [SI]: pressures absolute, current from its share of full load,
    flow from its pressure drop where no meter gave it.
    """
    given = {name: trend.usable(name) for name in trend.values}
    for name in ("evaporator_pressure", "condenser_pressure"):
        if name in given and trend.gauge(name):
            given[name] = given[name] + barometer
    if "current" not in given and "current_share" in given:
        given["current"] = (
            given["current_share"] * machine.motor.full_load_current.to("ampere").magnitude
        )
    for side in ("evaporator", "condenser"):
        if f"{side}_flow" not in given and f"{side}_drop" in given:
            drop = given[f"{side}_drop"]
            net = np.where(drop > 0, net_shares.get(side, 1.0) * drop, np.nan)
            given[f"{side}_flow"] = by_curve(getattr(machine, side), net)
    return given
