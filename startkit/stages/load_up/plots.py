"""Plots of the machine under load: power, heat balance and approaches over load, lift and vanes
over load, the cycle.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pint

from startkit.errors import StartkitError
from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.selection import approaches, promised
from startkit.procedure.stage import Line, Plot, Rule
from startkit.science import refrigerant
from startkit.stages.load_up import trend_plots
from startkit.stages.load_up.formulas import circuit
from startkit.stages.load_up.points import Point, load_of, top
from startkit.stages.load_up.readings import Loads
from startkit.stages.load_up.surge import surge_line
from startkit.stages.load_up.tolerance import limit_at
from startkit.stages.load_up.trend_windows import Steady
from startkit.verdict import COVERAGE

MOST_SEEN = 400  # points of a trend in a cloud


def plotted(machine: Machine, limits: Limits, entries: Entries, loads: Loads) -> tuple[Plot, ...]:
    """The trend with its steady stretches, then every plot for which there are readings."""
    return (
        *(trend_plots.plotted(loads.steady) if loads.steady is not None else ()),
        *_over_load(machine, limits, entries, loads),
    )


def _over_load(
    machine: Machine, limits: Limits, entries: Entries, loads: Loads
) -> tuple[Plot, ...]:
    found, seen = loads.points, loads.steady
    known = sorted((p for p in found if load_of(p) is not None), key=lambda p: load_of(p) or 0.0)
    if not known:
        return ()
    made = (
        _specific_power(machine, known),
        _heat_balance(machine, limits, entries, known),
        _approaches(machine, known),
        _lift(machine, known, seen),
        _vanes(known, seen),
        _cycle(machine, top(found)),
    )
    return tuple(p for p in made if p is not None)


def _base(quantity: pint.Quantity | None) -> float:
    """In SI base units; nil where there is none."""
    return 0.0 if quantity is None else float(quantity.to_base_units().magnitude)


def _measured(
    label: str, known: Sequence[Point], key: str, emphasis: str = "main"
) -> tuple[Line, ...]:
    """Steady points filled, others quiet, with bars of 2 u."""
    lines = []
    for steady, suffix, weight in ((True, "", emphasis), (False, ", not steady", "quiet")):
        picked = [
            (p, value) for p in known if p.steady is steady and (value := p.value(key)) is not None
        ]
        if picked:
            error = tuple(COVERAGE * _base(p.u(key)) for p, _ in picked)
            lines.append(
                Line(
                    label + suffix,
                    [load_of(p) or 0.0 for p, _ in picked],
                    [_base(value) for _, value in picked],
                    "points",
                    error,
                    weight,
                )
            )
    return tuple(lines)


def _specific_power(machine: Machine, known: list[Point]) -> Plot:
    table = sorted(
        (
            float(p.load.to("dimensionless").magnitude),
            float((p.power / p.capacity).to("dimensionless").magnitude),
        )
        for p in machine.selection.points
    )
    selection = Line(
        "selection",
        [x for x, _ in table],
        [y for _, y in table],
        "line and points",
        emphasis="second",
    )
    corrected = [
        (load_of(p) or 0.0, float(promise.specific_power.magnitude))
        for p in known
        if (
            promise := promised(
                machine,
                load_of(p) or 0.0,
                p.readings["chilled_leaving"].quantity,
                p.readings["condenser_leaving"].quantity,
                p.readings["condenser_entering"].quantity,
            )
        ).specific_power
        is not None
    ]
    lines = (*_measured("measured", known, "specific_power"), selection)
    if corrected:
        lines = (
            *lines,
            Line(
                "selection, corrected to site",
                [x for x, _ in corrected],
                [y for _, y in corrected],
                "points",
                emphasis="third",
            ),
        )
    return Plot(
        "Power for capacity over load",
        "Load",
        "percent",
        "Power for capacity",
        "specific_power",
        lines,
        alt=(
            "Measured power for capacity at each load with its uncertainty, with the selection's"
            " table and the selection corrected to the water temperatures on site."
        ),
    )


def _heat_balance(
    machine: Machine, limits: Limits, entries: Entries, known: list[Point]
) -> Plot | None:
    lines = _measured("heat balance", known, "heat_balance")
    if not lines:
        return None
    loads = [load_of(p) or 0.0 for p in known]
    bounds = [limit_at(limits, "load_up.heat_balance", entries, machine, load) for load in loads]
    if len({(b.low, b.high) for b in bounds}) == 1:
        shown = tuple(
            Rule(entries.show(side, "percent", 1), float(side.to("dimensionless").magnitude))
            for side in (bounds[0].high, bounds[0].low)
            if side is not None
        )
        return Plot(
            "Heat balance over load",
            "Load",
            "percent",
            "Heat balance, of the mean",
            "percent",
            lines,
            shown,
            "Heat balance at each load with its uncertainty.",
        )
    edges = [
        Line(
            "" if side == "low" else "laboratory tolerance",
            loads,
            [float(getattr(b, side).to("dimensionless").magnitude) for b in bounds],
            "line",
            emphasis="quiet",
        )
        for side in ("high", "low")
    ]
    return Plot(
        "Heat balance over load",
        "Load",
        "percent",
        "Heat balance, of the mean",
        "percent",
        (*lines, *edges),
        (),
        "Heat balance at each load with its uncertainty.",
    )


def _approaches(machine: Machine, known: list[Point]) -> Plot | None:
    lines = (
        *_measured("evaporator", known, "evaporator_approach"),
        *_measured("condenser", known, "condenser_approach", "second"),
    )
    for side in ("evaporator", "condenser"):
        table = sorted(
            (
                float(p.load.to("dimensionless").magnitude),
                float(getattr(p, f"{side}_approach").to("delta_degC").magnitude),
            )
            for p in machine.selection.points
            if getattr(p, f"{side}_approach") is not None
        )
        if len(table) > 1 and approaches(machine, table[0][0], side) is not None:
            lines = (
                *lines,
                Line(
                    f"{side}, selection",
                    [x for x, _ in table],
                    [y for _, y in table],
                    "line",
                    emphasis="quiet",
                ),
            )
    return (
        Plot(
            "Approaches over load",
            "Load",
            "percent",
            "Approach",
            "temperature_difference",
            lines,
            alt="Approach of evaporator and condenser at each load.",
        )
        if lines
        else None
    )


def _cloud(seen: Steady | None, x: str, y: str) -> tuple[Line, ...]:
    """What the trend went through while it ran, thinned evenly."""
    if seen is None or x not in seen.figures.found:
        return ()
    across = seen.figures.found[x]
    up = seen.figures.found.get(y, seen.figures.readings.get(y))
    if up is None:
        return ()
    good = np.flatnonzero(np.isfinite(across) & np.isfinite(up) & (across > 0.02))
    picked = good[:: max(1, good.size // MOST_SEEN)]
    return (
        (Line("trend", across[picked].tolist(), up[picked].tolist(), "points", emphasis="quiet"),)
        if picked.size
        else ()
    )


def _lift(machine: Machine, known: list[Point], seen: Steady | None) -> Plot | None:
    lines = (*_cloud(seen, "load", "lift"), *_measured("points read", known, "lift"))
    if not lines:
        return None
    line = surge_line(machine)
    words = "The sheet has no surge line: the points are where the machine ran without surging."
    if line:
        lines = (
            *lines,
            Line(
                "surge line of the sheet",
                [x for x, _ in line],
                [y for _, y in line],
                "line and points",
                emphasis="second",
            ),
        )
        words = "If there is a margin, the surge line of the sheet is above the points."
    return Plot(
        "Lift over load",
        "Load",
        "percent",
        "Lift",
        "temperature_difference",
        lines,
        alt=f"Lift at each load. {words}",
    )


def _vanes(known: list[Point], seen: Steady | None) -> Plot | None:
    lines = (
        *_cloud(seen, "load", "vane_position"),
        *_measured("points read", known, "vane_position"),
    )
    return (
        Plot(
            "Vane position over load",
            "Load",
            "percent",
            "Vane position",
            "percent",
            lines,
            alt="Vane position at each load: the baseline for the next visit.",
        )
        if lines
        else None
    )


# --- the cycle ------------------------------------------------------------------------------------


def _cycle(machine: Machine, best: Point | None) -> Plot | None:
    """Pressure over enthalpy with the measured cycle."""
    if best is None or any(
        best.readings[n].quantity is None
        for n in (
            "evaporator_pressure",
            "condenser_pressure",
            "suction_temperature",
            "discharge_temperature",
            "liquid_temperature",
        )
    ):
        return None
    try:
        return _cycle_plot(circuit(machine).refrigerant, best)
    except StartkitError:
        return None


def _cycle_plot(fluid: str, best: Point) -> Plot:
    bare = {
        n: _base(best.readings[n].quantity)
        for n in (
            "evaporator_pressure",
            "condenser_pressure",
            "suction_temperature",
            "discharge_temperature",
            "liquid_temperature",
        )
    }
    low, high = bare["evaporator_pressure"], bare["condenser_pressure"]
    suction = float(refrigerant.enthalpy.si(fluid, low, bare["suction_temperature"]))
    discharge = float(refrigerant.enthalpy.si(fluid, high, bare["discharge_temperature"]))
    liquid = float(refrigerant.liquid_enthalpy.si(fluid, high, bare["liquid_temperature"]))
    dome = refrigerant.dome.si(fluid)
    pressure = [float(p) for p in dome.pressure]
    lines = (
        Line(
            "measured cycle",
            [suction, discharge, liquid, liquid, suction],
            [low, high, high, low, low],
            "line and points",
        ),
        Line(
            "saturated liquid", [float(h) for h in dome.liquid], pressure, "line", emphasis="quiet"
        ),
        Line(
            "saturated vapour", [float(h) for h in dome.vapour], pressure, "line", emphasis="quiet"
        ),
    )
    return Plot(
        f"The cycle at {best.label}, {fluid}",
        "Enthalpy",
        "specific_energy",
        "Pressure",
        "pressure",
        lines,
        alt=f"Pressure over enthalpy for {fluid} with the measured cycle at {best.label}.",
        y_log=True,
    )
