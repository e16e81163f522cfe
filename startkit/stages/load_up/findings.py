"""What is shown of the machine under load: figures at the highest load, all loads in one table,
budgets.
"""

from __future__ import annotations

import pint

from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.procedure.circuits import CURVE_NOTE
from startkit.procedure.entries import Entries
from startkit.procedure.stage import Figure, Heading, Table
from startkit.stages.load_up import assumed, rating, signs, trend_findings
from startkit.stages.load_up.formulas import FORMULAS, Formula
from startkit.stages.load_up.points import SIDES, Point, top
from startkit.stages.load_up.rating import PartLoad
from startkit.stages.load_up.readings import Loads
from startkit.units import Q
from startkit.verdict import COVERAGE


def figures(entries: Entries, loads: Loads, rated: PartLoad) -> tuple[Figure, ...]:
    """The highest load's figures: the baseline for the next visit, if it was steady; then the
    part-load value.
    """
    return (*_at_highest_load(top(loads.points)), *rating.figures(rated))


def _at_highest_load(best: Point | None) -> tuple[Figure, ...]:
    if best is None:
        return ()
    note = f"at {best.label}"
    if best.why_withheld:
        note += f", {best.why_withheld}: not kept"

    def told(formula: Formula) -> str:
        sides = [side for side in SIDES if f"{side}_flow" in formula.needs and best.by_drop(side)]
        return f"{note}, flow by drop" if sides else note

    return tuple(
        Figure(
            f.label,
            best.value(f.key),
            f.kind,
            best.u(f.key),
            told(f),
            "" if best.why_withheld else f"load_up.{f.key}",
            f.digits,
        )
        for f in FORMULAS
        if best.value(f.key) is not None
    )


# --- tables ------------------------------------------------------------------------------------


def tables(
    machine: Machine, limits: Limits, entries: Entries, loads: Loads, rated: PartLoad
) -> tuple[Table, ...]:
    """The trend's steady stretches, figures load by load, what dominates the uncertainty at the
    highest one, the part-load value, and what the signs at the highest load may mean.
    """
    best = top(loads.points)
    found = (
        *(trend_findings.tables(entries, loads.steady) if loads.steady is not None else ()),
        *((_by_load(machine, entries, loads.points, rated.why_not),) if loads.points else ()),
        *_budget(entries, best),
        rating.table(machine, rated),
        signs.table(machine, limits, entries, best),
    )
    return tuple(table for table in found if table is not None)


def _by_load(machine: Machine, entries: Entries, found: tuple[Point, ...], unrated: str) -> Table:
    head = (
        Heading("Figure"),
        *(Heading(p.label + (f", {p.why_withheld}" if p.why_withheld else "")) for p in found),
    )
    rows = tuple(
        (f.label, *(_with_u(entries, p, f) for p in found))
        for f in FORMULAS
        if any(p.value(f.key) is not None for p in found)
    )
    return Table(
        "Figures at each load",
        head,
        rows,
        f"± is {COVERAGE:g} standard uncertainties, where every instrument was named."
        + _drops(found)
        + assumed.told(machine)
        + (f" No part-load value: {unrated}." if unrated else ""),
    )


def _drops(found: tuple[Point, ...]) -> str:
    """Which flows came from a pressure drop."""
    sides = [side for side in SIDES if any(p.by_drop(side) for p in found)]
    if not sides:
        return ""
    where = " and ".join(sides)
    return f" Flow of the {where} by drop where no meter was read; {CURVE_NOTE}."


def _with_u(entries: Entries, p: Point, formula: Formula) -> str:
    value, u = p.value(formula.key), p.u(formula.key)
    if value is None:
        return "–"
    shown = entries.show(value, formula.kind, formula.digits)
    return shown if u is None else f"{shown} ± {_short(entries, COVERAGE * u, formula)}"


def _short(entries: Entries, u: pint.Quantity, formula: Formula) -> str:
    from startkit.units import difference_kind, show

    return show(
        u, difference_kind(formula.kind), entries.job.system, digits=formula.digits, with_unit=False
    )


def _budget(entries: Entries, best: Point | None) -> tuple[Table, ...]:
    if best is None:
        return ()
    rows = []
    for key in ("capacity", "specific_power", "heat_balance"):
        result = best.found.get(key)
        if result is not None and result.budget:
            label = next(f.label for f in FORMULAS if f.key == key)
            rows += [
                (
                    label,
                    share.name.replace("_", " "),
                    Q(100 * share.share, "percent"),
                    result.method,
                )
                for share in result.budget
                if share.share >= 0.005
            ]
    if not rows:
        return ()
    head = (
        Heading("Figure"),
        Heading("Reading"),
        Heading("Share of the variance", "percent", 0),
        Heading("Method"),
    )
    return (
        Table(
            f"What dominates the uncertainty at {best.label}",
            head,
            tuple(rows),
            "First order by JCGM 100:2008; Monte Carlo by JCGM 101:2008 where a water range is"
            " under 3 K.",
        ),
    )
