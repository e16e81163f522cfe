"""Early entries: what was written down before the hold point that should have been clear; kept, and
marked.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache

from startkit.facts.job import State
from startkit.facts.journal import Entry
from startkit.procedure import site
from startkit.procedure.holds import HOLDS, NAMES, HoldPoint
from startkit.procedure.stage import Column, Field, Stage

# Changes to these settle or open a hold point whichever stage they belong to.
ALWAYS = (f"{site.PREFIX}.", "waiver.", "not_applicable.")

WasClear = Callable[[HoldPoint, int], bool]


def due_after(stage: Stage, field: Field | Column | None) -> HoldPoint | None:
    """The hold point that should be clear before something of this stage is entered; None if there
    is none.
    """
    after = stage.after if field is None or field.after is None else field.after
    if after is None:
        place = NAMES.index(stage.before)
        return HOLDS[place - 1] if place else None
    return next((hold for hold in HOLDS if hold.name == after), None)


def marks(
    stages: Mapping[str, Stage],
    state: State,
    stages_before: Mapping[str, frozenset[str]],
    was_clear: WasClear,
) -> dict[int, HoldPoint]:
    """Number of each early entry, with the hold point that was not clear when it was made.

    Parameters
    ----------
    stages, state : mapping, State
    stages_before : mapping
        For each hold point the stages whose verdicts it needs; one without any is never waited for.
    was_clear : callable
        ``was_clear(hold, seq)``: whether it was clear once entry number `seq` was written.
    """
    found: dict[int, HoldPoint] = {}
    looked = cache(was_clear)
    newest = dict.fromkeys(stages_before, 0)  # the last entry that can have moved each hold point
    for entry in state.entries:
        hold = _due(entry, stages)
        # Between two entries that concern a hold point it stands as it stood: one look serves the
        # whole run.
        if (
            hold is not None
            and stages_before.get(hold.name)
            and not looked(hold, newest[hold.name])
        ):
            found[entry.seq] = hold
        for name, needed in stages_before.items():
            if entry.what.startswith(ALWAYS) or entry.what.split(".", 1)[0] in needed:
                newest[name] = entry.seq
    return found


def _due(entry: Entry, stages: Mapping[str, Stage]) -> HoldPoint | None:
    stage_name, _, rest = entry.what.partition(".")
    stage = stages.get(stage_name)
    if stage is None:
        return None
    name, *cell = rest.split(".")
    field = next((f for f in stage.fields if f.name == name), None)
    column = next((c for c in field.columns if c.name in cell[1:]), None) if field else None
    return due_after(stage, field if column is None or column.after is None else column)


def sentence(hold: HoldPoint) -> str:
    """``"entered before it was clear to turn the shaft"``."""
    return f"entered before it was {hold.clear[0].lower()}{hold.clear[1:]}"
