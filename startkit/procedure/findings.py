"""Findings: what a stage found, as plain frozen values that screen and paper draw."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import pint

from startkit.verdict import Outcome, Verdict


@dataclass(frozen=True)
class Figure:
    """One number found.

    Parameters
    ----------
    label : str
    value : pint.Quantity, str or None
    kind : str
        Kind of reading in which it is shown.
    u : pint.Quantity or None
        Standard uncertainty.
    note : str
    key : str
        Name under which later visits and the fleet compare it; empty: not compared.
    digits : int or None
        Decimals; None: those of the kind.
    """

    label: str
    value: pint.Quantity | str | None
    kind: str = "ratio"
    u: pint.Quantity | None = None
    note: str = ""
    key: str = ""
    digits: int | None = None


@dataclass(frozen=True)
class Heading:
    """Head of a findings table's column: label, and the kind its quantities are shown in."""

    label: str
    kind: str = ""
    digits: int | None = None


@dataclass(frozen=True)
class Table:
    """A table found: cells are quantities, texts or None."""

    title: str
    columns: tuple[Heading, ...]
    rows: tuple[tuple[object, ...], ...]
    note: str = ""


@dataclass(frozen=True)
class Line:
    """One line or set of points of a plot, in SI base units of the axes' kinds.

    `style` is ``"line"``, ``"points"``, ``"line and points"``, ``"step"`` or ``"band"`` (then `low`
    and `high`).
    """

    label: str
    x: Sequence[float]
    y: Sequence[float]
    style: str = "line"
    error: Sequence[float] = ()
    emphasis: str = "main"  # "main", "second", "third", "quiet"
    low: Sequence[float] = ()
    high: Sequence[float] = ()


@dataclass(frozen=True)
class Rule:
    """A straight reference line or window across a plot: limit, set point, event."""

    label: str
    at: float
    axis: str = "y"  # "x" or "y"
    until: float | None = None  # a window from `at` to `until`


@dataclass(frozen=True)
class Plot:
    """A plot as values: axes with kinds of reading, lines, rules, and what it shows in words."""

    title: str
    x_label: str
    x_kind: str
    y_label: str
    y_kind: str
    lines: tuple[Line, ...]
    rules: tuple[Rule, ...] = ()
    alt: str = ""
    y_log: bool = False


@dataclass(frozen=True)
class Findings:
    """What a stage found: figures, verdicts, tables, plots and remarks."""

    figures: tuple[Figure, ...] = ()
    verdicts: tuple[Verdict, ...] = ()
    tables: tuple[Table, ...] = ()
    plots: tuple[Plot, ...] = ()
    remarks: tuple[str, ...] = ()


def not_judged(name: str, sentence: str, next_step: str) -> Findings:
    """The findings of a stage that cannot be judged: one open verdict with the reason."""
    fault = Verdict(
        key=f"{name}.judged",
        title="What was entered",
        outcome=Outcome.OPEN,
        sentence=sentence,
        next_step=next_step,
    )
    return Findings(verdicts=(fault,))
