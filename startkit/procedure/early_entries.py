"""Early entries: what was written down, or done, before the hold point that should have been
passed; kept, and marked for ever.

A hold point is passed when it is clear and released by name; in a job that is older than releases,
when it is clear. What counts is when an entry was written, which nobody can type. Where an entry
names an earlier time, as a start does or a reading from a pencil, the hold point must have been
passed at that time too.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import cache

from startkit.facts.job import State
from startkit.facts.journal import Entry
from startkit.procedure import site
from startkit.procedure.holds import HOLDS, NAMES, HoldPoint
from startkit.procedure.releases import RELEASE, WITNESSED
from startkit.procedure.stage import Column, Field, Stage

# Changes to these settle or open a hold point whichever stage they belong to.
ALWAYS = (f"{site.PREFIX}.", "waiver.", "not_applicable.", RELEASE, WITNESSED)

WasPassed = Callable[[HoldPoint, int], bool]
_EVER = datetime.min.replace(tzinfo=UTC)
_MINUTE, _DAY = timedelta(seconds=59), timedelta(hours=23, minutes=59)


@dataclass(frozen=True)
class Mark:
    """Why an entry is early.

    Parameters
    ----------
    hold : HoldPoint
    by_release : bool
        Whether the hold point had to be released, or only to be clear.
    happened : str
        The time that the entry names, if it is that which is too early.
    """

    hold: HoldPoint
    by_release: bool = False
    happened: str = ""

    @property
    def sentence(self) -> str:
        """``"entered before it was clear to turn the shaft"``."""
        clear = f"{self.hold.clear[0].lower()}{self.hold.clear[1:]}"
        if not self.by_release:
            return f"entered before it was {clear}"
        step = clear.removeprefix("clear ")
        return f"{'made' if self.happened else 'entered'} before the release {step}"


@dataclass
class _Past:
    """When a hold point can have moved, entry by entry."""

    newest: int = 0  # the last entry that can have moved it
    first_release: datetime | None = None
    moments: list[datetime] = field(default_factory=list)
    numbers: list[int] = field(default_factory=list)

    def moved(self, entry: Entry) -> None:
        self.newest = entry.seq
        # A clock set back must not hide what was entered before.
        self.moments.append(max(entry.moment or _EVER, *self.moments[-1:], _EVER))
        self.numbers.append(entry.seq)

    def at(self, when: datetime) -> int:
        """The last entry at that time which can have moved the hold point."""
        place = bisect_right(self.moments, when)
        return self.numbers[place - 1] if place else 0


def due_after(stage: Stage, field: Field | Column | None) -> HoldPoint | None:
    """The hold point that should be passed before something of this stage is entered; None if there
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
    was_passed: WasPassed,
    by_release: bool = False,
) -> dict[int, Mark]:
    """Number of each early entry, with the hold point that was not passed when it was made.

    Parameters
    ----------
    stages, state : mapping, State
    stages_before : mapping
        For each hold point the stages whose verdicts it needs; one without any is never waited for.
    was_passed : callable
        ``was_passed(hold, seq)``: whether it was passed once entry number `seq` was written.
    by_release : bool
        Whether hold points of this job are released by name.
    """
    found: dict[int, Mark] = {}
    looked = cache(was_passed)
    past = {name: _Past() for name in stages_before}
    for entry in state.entries:
        hold, declared = due(entry, stages)
        # Between two entries that concern a hold point it stays as it was: one look serves the
        # whole run.
        if hold is not None and stages_before.get(hold.name):
            known = past[hold.name]
            if not looked(hold, known.newest):
                found[entry.seq] = Mark(hold, by_release)
            elif by_release and (happened := _happened_before(entry, declared, state, known)):
                when, text = happened
                if known.first_release is None or not (
                    when >= known.first_release and looked(hold, known.at(when))
                ):
                    found[entry.seq] = Mark(hold, by_release, text)
        for name, needed in stages_before.items():
            if entry.what.startswith(ALWAYS) or entry.what.split(".", 1)[0] in needed:
                past[name].moved(entry)
            if entry.what == f"{RELEASE}{name}" and entry.value:
                past[name].first_release = past[name].first_release or entry.moment
    return found


def due(
    entry: Entry, stages: Mapping[str, Stage]
) -> tuple[HoldPoint | None, Field | Column | None]:
    """The hold point that an entry waits for, and what it was entered in."""
    stage_name, _, rest = entry.what.partition(".")
    stage = stages.get(stage_name)
    if stage is None:
        return None, None
    name, *cell = rest.split(".")
    declared = next((f for f in stage.fields if f.name == name), None)
    columns = declared.columns if declared is not None and len(cell) == 2 else ()
    column = next((c for c in columns if c.name == cell[1]), None)
    if column is not None and column.after is not None:
        return due_after(stage, column), column
    return due_after(stage, declared), column or declared


def _happened_before(
    entry: Entry, declared: Field | Column | None, state: State, known: _Past
) -> tuple[datetime, str] | None:
    """The earlier time that an entry names, if that is before the last change of its hold point."""
    texts = [state.taken(entry)]
    if declared is not None and declared.kind == "moment" and entry.value:
        texts.append(entry.value)
    at = entry.moment
    found = [(when, text) for text in texts if (when := _placed(text, at)) is not None]
    if at is None or not found or not known.moments:
        return None
    when, text = min(found)
    return (when, text) if when < min(at, known.moments[-1]) else None


def _placed(text: str, at: datetime | None) -> datetime | None:
    """A typed time, at its latest: ``10:34`` may be 10:34:59. One without a zone is by the clock
    of the place where it was entered.
    """
    try:
        found = datetime.fromisoformat(text.strip())
    except ValueError:
        return None
    zone = found.tzinfo or (at.tzinfo if at is not None else None) or UTC
    coarse = _DAY if ":" not in text else _MINUTE if text.count(":") < 2 else timedelta()
    return found.replace(tzinfo=zone) + coarse
