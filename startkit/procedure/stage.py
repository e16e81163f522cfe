"""A stage as it is declared: its fields, its cautions and its one judging function.

With it comes everything that a stage is declared with: a package that adds a stage needs no other
module of the frame for that.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.procedure.choice import Choice
from startkit.procedure.entries import Entries
from startkit.procedure.field import CLOCK, PLAIN_KINDS, SERIES, TABLE, Column, Field
from startkit.procedure.findings import Figure, Findings, Heading, Line, Plot, Rule, Table
from startkit.verdict import Verdict

Judge = Callable[[Machine, Limits, Entries], Findings]
Gated = Callable[[Machine, Limits, Entries], tuple[Verdict, ...]]


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
    gated : mapping of str to callable
        For a hold point before the stage's own, the function that gives the verdicts due there
        and no others: who looks back at that hold point need not judge the whole stage.
    compares : bool
        It compares the figures of all other stages and has none of its own.
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
    gated: Mapping[str, Gated] = field(default_factory=dict, compare=False)
    compares: bool = False

    def fields_for(self, machine: Machine) -> tuple[Field, ...]:
        """The fields that this machine has."""
        return tuple(f for f in self.fields if f.applies(machine))


__all__ = [
    "CLOCK",
    "PLAIN_KINDS",
    "SERIES",
    "TABLE",
    "Choice",
    "Column",
    "Field",
    "Figure",
    "Findings",
    "Heading",
    "Judge",
    "Line",
    "Plot",
    "Rule",
    "Stage",
    "Table",
]
