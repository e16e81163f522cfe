"""Fields and columns: what a stage asks for, as it is declared."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property

from startkit.facts import taken
from startkit.facts.journal import Entry
from startkit.facts.machine import Machine
from startkit.procedure.choice import Choice, options, yes_or_no
from startkit.procedure.usual import Usual
from startkit.units import KINDS

# Kinds of field besides the kinds of reading in `startkit.units`.
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
    choices : tuple of Choice or str
        What is offered; a plain text is its own code.
    plausible : tuple of str, callable or None
        Lowest and highest value that is not flagged, with units, or ``plausible(machine)``.
    required : bool
        A row without it is incomplete.
    measured : bool
        Read from an instrument, which has to be named; a row may lack it only if all do.
    point : str
        Point of a trend that fills it, in a series; `CLOCK` for the time since the stretch begins.
    was : tuple of str
        Earlier labels: a block pasted under one of them still reads.
    after : str or None
        As of a field; None: that of its field.
    running : bool
        A moment at which the machine ran.
    """

    name: str
    label: str
    kind: str = "text"
    help: str = ""
    choices: tuple[Choice | str, ...] = ()
    plausible: Usual | None = None
    required: bool = False
    measured: bool = False
    point: str = ""
    was: tuple[str, ...] = ()
    after: str | None = None
    running: bool = False

    @cached_property
    def options(self) -> tuple[Choice, ...]:
        """The choices as codes and labels."""
        return options(self.choices)

    @property
    def offers(self) -> bool:
        """True if one of its choices is to be chosen."""
        return self.kind == "choice" and bool(self.choices)

    @property
    def labels(self) -> tuple[str, ...]:
        """The choices as they are offered."""
        return tuple(option.label for option in self.options)


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
    choices : tuple of Choice or str
        What is offered; a plain text is its own code.
    plausible : tuple of str, callable or None
        Lowest and highest value that is not flagged, with units, or ``plausible(machine)``; a
        reading outside is kept and flagged.
    measured : bool
        Read from an instrument, which has to be named.
    columns : tuple of Column
    rows : int
        Rows shown of an empty table.
    group : str
        Heading above the field.
    across : bool
        The table is filled column by column: one column is one load or circuit.
    applies : callable
        ``applies(machine) -> bool``: whether this machine has it.
    after : str or None
        Hold point without which an entry is marked early; empty: none; None: that of the stage.
    retired : bool
        No longer asked for: forms leave it out unless an earlier journal has filled it.
    running : bool
        A moment at which the machine ran.
    """

    name: str
    question: str
    kind: str = "text"
    help: str = ""
    required: bool = True
    choices: tuple[Choice | str, ...] = ()
    plausible: Usual | None = None
    measured: bool = False
    columns: tuple[Column, ...] = ()
    rows: int = 3
    group: str = ""
    across: bool = False  # rows side by side, as readings down and loads across on a log sheet
    applies: Callable[[Machine], bool] = field(default=lambda machine: True, compare=False)
    after: str | None = None
    retired: bool = False
    running: bool = False

    @cached_property
    def options(self) -> tuple[Choice, ...]:
        """The choices as codes and labels."""
        return options(self.choices)

    @property
    def offers(self) -> bool:
        """True if one of its choices is to be chosen."""
        return self.kind == "choice" and bool(self.choices)

    @property
    def labels(self) -> tuple[str, ...]:
        """The choices as they are offered."""
        return tuple(option.label for option in self.options)

    @property
    def is_reading(self) -> bool:
        return self.kind in KINDS


def text_problem(text: str, declared: Field | Column, where: str) -> str:
    """Why a text does not fit its field or column, in one sentence; empty if it does."""
    if declared.kind == "yes_no" and yes_or_no(text) is None:
        return f"{where}: {text!r} is neither yes nor no; choose one."
    if declared.offers:
        return f"{where}: {text!r} is not one of the choices; use {', '.join(declared.labels)}."
    if declared.kind in ("date", "moment"):
        try:
            datetime.fromisoformat(text)
        except ValueError:
            return (
                f"{where}: {text!r} is not a date; write it as"
                f" 2026-11-25{' 14:30' if declared.kind == 'moment' else ''}."
            )
    return ""


def ahead_of_its_entry(entry: Entry, declared: Field | Column, where: str) -> str:
    """That something is said to have happened after it was written down; empty if it is not."""
    at = entry.moment
    if declared.kind != "moment" or at is None:
        return ""
    typed = datetime.fromisoformat(entry.value)
    # A moment without a zone is the clock of the place where it was entered.
    placed = typed if typed.tzinfo is not None else typed.replace(tzinfo=at.tzinfo)
    ahead = taken.problem(placed.isoformat(), entry.at)
    return f"{where}: {ahead}." if ahead else ""
