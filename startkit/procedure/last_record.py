"""Figures of the last record against those of this visit: moved, not moved, or inconclusive."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import cast

import pint

from startkit.errors import StartkitError
from startkit.facts.baseline import BaselineFigure
from startkit.procedure.entries import Entries, JobEntries, Judged
from startkit.procedure.stage import Figure, Table
from startkit.procedure.stage import Heading as Head
from startkit.units import KINDS, Q, difference_kind, parse
from startkit.verdict import COVERAGE, Outcome, Verdict

MOVED, STAYED, UNKNOWN = "moved", "not moved", "inconclusive: uncertainty not known"
SOURCE = "difference against twice its standard uncertainty"


@dataclass(frozen=True)
class Compared:
    """One figure then and now; `says` is one of `MOVED`, `STAYED`, `UNKNOWN`."""

    then: BaselineFigure
    now: Figure
    change: pint.Quantity
    u: pint.Quantity | None
    says: str


@dataclass(frozen=True)
class Comparison:
    """Every figure that both visits have; `waiting` are those of the last record without one of
    this visit.
    """

    rows: tuple[Compared, ...]
    waiting: tuple[str, ...]
    problems: tuple[str, ...]


def figures(job: JobEntries) -> Iterator[tuple[Judged, Figure]]:
    """Every figure with a key, with its stage. Stages that compare figures have none: asking one of
    them from within another would never end.
    """
    for name, stage in job.stages.items():
        if not stage.compares:
            yield from ((stage, f) for f in job.findings(name).figures if f.key)


def compare(entries: Entries) -> Comparison:
    """The figures of ``baseline.json`` and those typed from the last record, with those of this
    job's other stages.
    """
    if not entries.job.baseline and not entries.rows("baseline"):
        return Comparison((), (), ())
    now = {f.key: f for _, f in figures(entries.job) if isinstance(f.value, pint.Quantity)}
    typed, problems = _typed(entries, now)
    then = {**entries.job.baseline.figures, **typed}
    rows = tuple(
        _compared(figure, now[key])
        for key, figure in then.items()
        if key in now and now[key].kind == figure.kind
    )
    waiting = tuple(figure.label for key, figure in then.items() if key not in now)
    return Comparison(rows, waiting, problems)


def _typed(
    entries: Entries, now: dict[str, Figure]
) -> tuple[dict[str, BaselineFigure], tuple[str, ...]]:
    """Rows typed from the last record; a row that names no figure of this job is reported."""
    found, problems = {}, []
    by_label = {f.label.casefold(): key for key, f in now.items()}
    for row in entries.rows("baseline"):
        name, value = row.text("figure").strip(), row.text("value")
        key = name if name in now else by_label.get(name.casefold(), "")
        if not key:
            problems.append(
                f"Last record, row {row.index}: this visit has no figure {name!r} yet; use the"
                " name shown in the stage."
            )
            continue
        try:
            quantity = parse(
                value,
                now[key].kind,
                barometer=entries.job.barometer.quantity,
                where=f"Last record, row {row.index}",
            )
        except StartkitError as error:
            problems.append(str(error))
            continue
        found[key] = BaselineFigure(key, now[key].label, quantity, None, now[key].kind, value)
    return found, tuple(problems)


def _compared(then: BaselineFigure, now: Figure) -> Compared:
    unit = KINDS[difference_kind(then.kind)].si.pint
    base = Q(1, KINDS[then.kind].si.pint).to_base_units().units
    found = cast("pint.Quantity", now.value)  # a figure in words is not compared
    gap = found.to(base).magnitude - then.value.to(base).magnitude
    change = Q(gap, "delta_degC" if then.kind == "temperature" else base)
    us = [float(u.to(unit).magnitude) for u in (then.u, now.u) if u is not None]
    if len(us) < 2:
        return Compared(then, now, change, None, UNKNOWN)
    u = Q(math.hypot(*us), unit)
    return Compared(
        then,
        now,
        change,
        u,
        MOVED if abs(change.to(unit).magnitude) > COVERAGE * u.magnitude else STAYED,
    )


def verdict(entries: Entries, compared: Comparison) -> Verdict:
    """Whether the last record was compared with this visit. What has moved is reported, not failed:
    parts were replaced.
    """
    key = f"{entries.declared.name}.baseline"
    blank = Verdict(
        key=key,
        title="Against the last record",
        outcome=Outcome.OPEN,
        sentence="There are no figures from the last record.",
        next_step=(
            "Put the data of the last record into the job's folder as baseline.json, or type its"
            " figures; if there never was one, have that confirmed by name."
        ),
        source=SOURCE,
        gate="hand_over",
        rests_on=(key,),
    )
    if compared.rows:
        return replace(blank, outcome=Outcome.PASS, sentence=_outcome(compared), next_step="")
    if compared.waiting or entries.rows("baseline"):
        return replace(
            blank,
            sentence="None of its figures has been measured on this visit yet.",
            next_step="Continue; each is compared as it is entered.",
        )
    return blank


def _outcome(compared: Comparison) -> str:
    """How many figures were compared, which moved, which are still to come."""
    moved = [c.now.label for c in compared.rows if c.says == MOVED]
    many = f"{len(compared.rows)} figure{'s' if len(compared.rows) > 1 else ''} compared"
    told = f"{many}; {'moved: ' + ', '.join(moved) if moved else 'none has moved'}."
    if not compared.waiting:
        return told
    more = " and more" if len(compared.waiting) > 6 else ""
    return f"{told} Still to come: {', '.join(compared.waiting[:6])}{more}."


def tables(entries: Entries, compared: Comparison) -> tuple[Table, ...]:
    """Then, now and the change with its uncertainty."""
    if not compared.rows:
        return ()
    base = entries.job.baseline
    when = " ".join(part for part in (base.title, f"of {base.date}" if base.date else "") if part)
    head = tuple(
        Head(label) for label in ("Figure", "Last record", "This visit", "Change", "±", "Result")
    )
    rows = tuple(_row(entries, c) for c in compared.rows)
    return (
        Table(
            "Against the last record",
            head,
            rows,
            " ".join(
                part
                for part in (
                    f"{when}." if when else "",
                    "Load, temperatures and oil may differ between the visits.",
                )
                if part
            ),
        ),
    )


def _row(entries: Entries, c: Compared) -> tuple[str, ...]:
    kind, difference = c.then.kind, difference_kind(c.then.kind)
    plus_minus = entries.show(COVERAGE * c.u, difference, c.now.digits) if c.u is not None else "–"
    return (
        c.now.label,
        entries.show(c.then.value, kind, c.now.digits),
        entries.show(cast("pint.Quantity", c.now.value), kind, c.now.digits),
        entries.show(c.change, difference, c.now.digits),
        plus_minus,
        c.says,
    )
