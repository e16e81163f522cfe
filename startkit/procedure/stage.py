"""A stage as it is declared: its fields, its cautions, its one judging function and what that
returns.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import pint

from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.units import KINDS
from startkit.verdict import Verdict

if TYPE_CHECKING:
    from startkit.procedure.entries import Entries

# Kinds of field beside the kinds of reading in `startkit.units`.
PLAIN_KINDS = (
    "text",
    "long_text",
    "choice",
    "yes_no",
    "person",
    "date",
    "moment",
    "photo",
    "signature",
)
TABLE, SERIES = "table", "series"
CLOCK = "clock"


@dataclass(frozen=True)
class Column:
    """One column of a table or series field.

    Parameters
    ----------
    name, label : str
    kind : str
        A kind of reading or one of `PLAIN_KINDS`.
    help : str
    choices : tuple of str
    plausible : tuple of str or None
        Lowest and highest value that is not flagged, with units.
    required : bool
        A row without it is incomplete.
    point : str
        Point of a trend that fills it, in a series; `CLOCK` for the time since the stretch begins.
    """

    name: str
    label: str
    kind: str = "text"
    help: str = ""
    choices: tuple[str, ...] = ()
    plausible: tuple[str, str] | None = None
    required: bool = False
    point: str = ""


@dataclass(frozen=True)
class Field:
    """One thing that a stage asks for.

    Parameters
    ----------
    name : str
        Last part of the journal's ``stage.name``.
    question : str
        The label, in a technician's words.
    kind : str
        A kind of reading, one of `PLAIN_KINDS`, ``"table"`` (each cell an entry) or ``"series"``
        (a pasted block, one entry).
    help : str
        How and where to measure.
    required : bool
        Missing: the stage stays open.
    choices : tuple of str
    plausible : tuple of str or None
        Lowest and highest value that is not flagged, with units; a reading outside is kept and
        flagged.
    columns : tuple of Column
    rows : int
        Rows shown of an empty table.
    group : str
        Heading under which the field stands.
    across : bool
        The table is filled column by column: one column is one load or circuit.
    applies : callable
        ``applies(machine) -> bool``: whether this machine has it.
    after : str or None
        Hold point without which an entry is marked early; empty: none; None: that of the stage.
    """

    name: str
    question: str
    kind: str = "text"
    help: str = ""
    required: bool = True
    choices: tuple[str, ...] = ()
    plausible: tuple[str, str] | None = None
    columns: tuple[Column, ...] = ()
    rows: int = 3
    group: str = ""
    across: bool = (
        False  # rows stand side by side, as readings down and loads across on a log sheet
    )
    applies: Callable[[Machine], bool] = field(default=lambda machine: True, compare=False)
    after: str | None = None

    @property
    def is_reading(self) -> bool:
        return self.kind in KINDS


# --- findings: plain frozen values -------------------------------------------------------------


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
    rows: tuple[tuple[Any, ...], ...]
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


Judge = Callable[[Machine, Limits, "Entries"], Findings]


@dataclass(frozen=True)
class Stage:
    """One stage of a job.

    Parameters
    ----------
    name, title, purpose : str
        Name in journal and template; heading; one sentence on what it settles.
    fields : tuple of Field
    judge : callable
        ``judge(machine, limits, entries) -> Findings``, pure.
    cautions : tuple of str
        Shown before the stage's fields.
    before : str
        Hold point that needs this stage's verdicts (a name in `startkit.procedure.holds`).
    order : int
        Place among the stages; built-in ones are multiples of ten.
    after : str or None
        Hold point that should be clear before the stage is begun: entries made earlier are kept and
        marked early.
        None: the hold point before `before`; empty: the stage may be worked at any time.
    applies : callable
        ``applies(machine) -> bool``: whether a job on this machine has the stage.
    """

    name: str
    title: str
    purpose: str
    fields: tuple[Field, ...]
    judge: Judge
    cautions: tuple[str, ...] = ()
    before: str = "hand_over"
    order: int = 1000
    after: str | None = None
    applies: Callable[[Machine], bool] = field(default=lambda machine: True, compare=False)

    def fields_for(self, machine: Machine) -> tuple[Field, ...]:
        """The fields that this machine has."""
        return tuple(f for f in self.fields if f.applies(machine))
