"""How near the machine comes to surge: lift and load of every point against the sheet's line, where
it has one.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from startkit.errors import StartkitError
from startkit.facts.machine import Machine
from startkit.procedure.reading import Reading
from startkit.science import selection
from startkit.stages.load_up.points import Point, load_of
from startkit.units import Q


@dataclass(frozen=True)
class Margin:
    """Distance to the line as a share of the line's lift [percent], or why there is none."""

    reading: Reading = field(default_factory=Reading)
    why_not: str = ""


def surge_line(machine: Machine) -> tuple[tuple[float, float], ...]:
    """The sheet's surge line as (share of full load, lift [K]), by load; empty if it has none."""
    rows = (
        (float(p.load.to("dimensionless").magnitude), float(p.lift.to("delta_degC").magnitude))
        for p in machine.selection.surge_line
    )
    return tuple(sorted(rows))


def margin(machine: Machine, p: Point) -> Margin:
    """The point's distance below the line at its load."""
    line, lift, load = surge_line(machine), p.value("lift"), load_of(p)
    if lift is None or load is None:
        return Margin(
            why_not=(
                f"At {p.label} the figure"
                f" {p.why_not.get('lift') or p.why_not.get('load') or 'cannot be made'}."
            )
        )
    loads, lifts = [x for x, _ in line], [y for _, y in line]
    try:
        share = float(
            selection.surge_margin.si(load, float(lift.to("delta_degC").magnitude), loads, lifts)
        )
    except StartkitError as error:
        return Margin(why_not=error.what)
    at_line = float(lift.to("delta_degC").magnitude) / (1 - share)
    u = p.u("lift")
    return Margin(
        Reading.derived(
            Q(100 * share, "percent"),
            None
            if u is None
            else Q(100 * float(u.to("delta_degC").magnitude) / at_line, "percent"),
            p.reading("lift"),
            p.reading("load"),
        )
    )
