"""The part-load value from the loads that were read, with the selection's own."""

from __future__ import annotations

from dataclasses import dataclass

import pint

from startkit.errors import StartkitError
from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.judging import check
from startkit.procedure.reading import Reading
from startkit.procedure.selection import part_load_value as of_selection
from startkit.procedure.stage import Figure, Heading, Table
from startkit.science import rating
from startkit.stages.load_up.points import Point, load_of
from startkit.stages.load_up.tolerance import laboratory, limit_at
from startkit.units import Q
from startkit.verdict import Outcome, Verdict

TITLE = "Part-load value from the loads read"


@dataclass(frozen=True)
class PartLoad:
    """The part-load value in both forms with its points, or why there is none.

    `power` is power over capacity (harmonic form), `cop` the COP (arithmetic form); `u` the
    standard uncertainty of `power`.
    """

    power: rating.PartLoadValue | None = None
    cop: float | None = None
    u: float | None = None
    used: tuple[Point, ...] = ()
    why_not: str = ""


def part_load(found: tuple[Point, ...]) -> PartLoad:
    """The part-load value from all points whose figures can be used.

    The readings of all loads come from the same instruments, so their uncertainties are added, not
    their squares:
    u = sum |dV/dx_i| u_i.
    """
    used = tuple(
        p
        for p in found
        if not p.why_withheld and load_of(p) is not None and p.value("specific_power") is not None
    )
    loads = [load_of(p) or 0.0 for p in used]
    figures = [
        float(value.to("dimensionless").magnitude)
        for p in used
        if (value := p.value("specific_power")) is not None
    ]
    try:
        harmonic = rating.part_load_value.si(loads, figures, "harmonic")
        arithmetic = rating.part_load_value.si(loads, [1 / each for each in figures], "arithmetic")
    except StartkitError as error:
        return PartLoad(used=used, why_not=error.what)
    return PartLoad(
        harmonic, float(arithmetic.value), _u(used, loads, figures, float(harmonic.value)), used
    )


def _u(
    used: tuple[Point, ...], loads: list[float], figures: list[float], value: float
) -> float | None:
    spreads = [p.u("specific_power") for p in used]
    if all(u is None for u in spreads):
        return None
    total = 0.0
    for i, u in enumerate(spreads):
        size = 0.0 if u is None else float(u.to("dimensionless").magnitude)
        moved = rating.part_load_value.si(
            loads, [x + size * (j == i) for j, x in enumerate(figures)], "harmonic"
        )
        total += abs(float(moved.value) - value)
    return total


def figures(found: PartLoad) -> tuple[Figure, ...]:
    """Both forms as figures of the baseline."""
    if found.power is None:
        return ()
    u = None if found.u is None else Q(found.u, "dimensionless")
    note = "at the water temperatures on site, which are seldom those of IPLV or NPLV"
    return (
        Figure(
            "Part-load value, power for capacity (harmonic)",
            Q(float(found.power.value), "dimensionless"),
            "specific_power",
            u,
            note,
            "load_up.part_load_value",
        ),
        Figure(
            "Part-load value, COP (arithmetic)",
            Q(found.cop, "dimensionless"),
            "cop",
            None,
            note,
            "load_up.part_load_cop",
        ),
    )


def table(machine: Machine, found: PartLoad) -> Table | None:
    """The four loads: where each figure comes from, and the condenser water on site and
    that of the rating.
    """
    if found.power is None:
        return None
    rows = [_row(machine, found, each) for each in found.power.points]
    own = of_selection(machine)
    note = (
        "Measured: load within 2 % of full-load capacity. Interpolated: linearly between two loads"
        " read. Nothing is extrapolated."
    )
    note += (
        ""
        if own is None
        else (
            " The table of the selection gives"
            f" {Q(own, 'dimensionless').to('kilowatt/ton_cooling').magnitude:.3f} kW/ton ({own:.4f}"
            " kW/kW) by the same formula."
        )
    )
    head = (
        Heading("Load", "percent", 0),
        Heading("Power for capacity", "specific_power"),
        Heading("From"),
        Heading("Weight", "percent", 0),
        Heading("Condenser water entering, on site", "temperature"),
        Heading("NPLV condition", "temperature"),
    )
    return Table(TITLE, head, tuple(rows), note)


def _row(machine: Machine, found: PartLoad, each: rating.RatedPoint) -> tuple[object, ...]:
    met = _met(found, each.load) if each.how == "measured" else None
    due = rating.nplv_condenser_temperature(each.load, machine.design.entering_condenser)
    return (
        Q(100 * each.load, "percent"),
        Q(each.figure, "dimensionless"),
        each.how,
        Q(100 * rating.WEIGHTS[each.load], "percent"),
        met,
        due,
    )


def _met(found: PartLoad, load: float) -> pint.Quantity | None:
    nearest = min(found.used, key=lambda p: abs((load_of(p) or 0.0) - load))
    return nearest.readings["condenser_entering"].quantity


def verdicts(
    machine: Machine, limits: Limits, entries: Entries, found: PartLoad
) -> tuple[Verdict, ...]:
    """Against the selection's own, where the job is judged by the laboratory's tolerances."""
    own = of_selection(machine)
    if not laboratory(entries) or own is None:
        return ()
    limit = limit_at(limits, "load_up.part_load_value", entries, machine, 1.0)
    if found.power is None:
        return (
            Verdict(
                key=limit.key,
                title=limit.title,
                outcome=Outcome.OPEN,
                sentence=f"Not made: {found.why_not}.",
                next_step="Read loads that reach 100, 75, 50 and 25 %.",
                source=limit.origin,
                rests_on=("load_up.points", "load_up.tolerance"),
            ),
        )
    ratio = float(found.power.value) / own
    u = None if found.u is None else Q(100 * found.u / own, "percent")
    used = [p.reading("specific_power") for p in found.used]
    return (
        check(
            entries,
            limit,
            Reading.derived(Q(100 * (ratio - 1), "percent"), u, *used),
            next_step=(
                "Find which load is worse than the selection, and check flow, air, charge and"
                " fouling there."
            ),
        ),
    )
