"""Memory: what a stage found, kept while nothing it looked at has changed.

The job is judged anew after every entry, and hold points are looked back at; most stages are not
touched by most entries. What a judgement rests on is noted while it is made: its own stage, every
stage that it asked, instruments and barometer of the job, the trends, or the whole journal if it
reads that. An entry's digest covers all entries before it, so the digest of a stage's newest entry
covers everything entered in that stage.
"""

# `Any` here: a memory keeps what it is given, whatever that is.
from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from startkit.facts.baseline import Baseline
from startkit.facts.job import State
from startkit.facts.journal import Entry
from startkit.procedure import site

EVERYTHING, BASELINE = "*", "baseline"
WHOLE, VERDICTS, FILLED, TAKEN = "whole", "verdicts", "filled", "taken"  # what is made of a stage
ALWAYS = (site.PREFIX,)  # every stage shows quantities with the site's barometer
KEPT, JOBS = 4, 4  # judgements kept of each stage, jobs kept at a time
READINGS = 20_000  # kept of each job

Marks = Mapping[str, object]
T = TypeVar("T")


@dataclass(frozen=True)
class Kept(Generic[T]):
    """One judgement: the marks of what it rests on, and what was made of it."""

    marks: Marks
    made: T


class Memory:
    """Judgements of one job's stages."""

    def __init__(self) -> None:
        self._kept: dict[tuple[str, str], list[Kept[Any]]] = {}
        self._readings: dict[tuple[object, ...], Any] = {}

    def recall(self, stage: str, what: str, marks: Marks) -> Kept[Any] | None:
        """A judgement of the stage of this sort that rests on just this; None if there is none."""
        return next(
            (
                kept
                for kept in self._kept.get((stage, what), ())
                if all(_same(marks.get(name), mark) for name, mark in kept.marks.items())
            ),
            None,
        )

    def keep(
        self, stage: str, what: str, looked_at: Iterable[str], marks: Marks, made: Any
    ) -> None:
        """Keep a judgement, unless an entry it rests on has no digest to identify it.

        Parameters
        ----------
        stage, what : str
            Name of the stage; `WHOLE`, `VERDICTS`, `FILLED` or `TAKEN`.
        looked_at : iterable of str
            Names of what was read while it was made.
        marks : mapping
            The marks of the moment.
        made : object
            What was made of the stage.
        """
        rests_on = {name: marks.get(name) for name in (stage, *ALWAYS, *looked_at)}
        if "" not in rests_on.values():
            self._kept[stage, what] = [Kept(rests_on, made), *self._kept.get((stage, what), ())][
                :KEPT
            ]

    def reading(self, key: tuple[object, ...], read: Callable[[], Any]) -> Any:
        """What was read for the key before, or else what `read` gives; the hold points are looked
        back at, and most entries are the same there.
        """
        readings = self._readings  # another thread may begin a new one
        if key in readings:
            return readings[key]
        if len(readings) >= READINGS:
            readings = self._readings = {}
        found = readings[key] = read()
        return found


def _same(a: object, b: object) -> bool:
    return a is b or a == b


def marks(state: State, baseline: Baseline) -> dict[str, object]:
    """For each stage the digest of its newest entry; for everything that of the newest of all."""
    newest: dict[str, Entry] = {}
    for what, entry in state.latest.items():
        stage = what.split(".", 1)[0]
        if stage not in newest or entry.seq > newest[stage].seq:
            newest[stage] = entry
    return {
        **{stage: entry.digest for stage, entry in newest.items()},
        EVERYTHING: state.entries[-1].digest if state.entries else None,
        BASELINE: baseline,
    }


class Moment:
    """The memory of a job as of one moment, with what was made at it.

    Parameters
    ----------
    memory : Memory
    marks : mapping
        Those of the moment.
    """

    def __init__(self, memory: Memory, marks: Marks) -> None:
        self._memory, self._marks = memory, marks
        self._found: dict[tuple[str, str], Kept[Any]] = {}

    def recalled(self, name: str, what: str) -> Kept[Any] | None:
        """What was made of a stage before and still holds; None if there is nothing."""
        known = self._found.get((name, what)) or self._memory.recall(name, what, self._marks)
        if known is not None:
            self._found[name, what] = known
        return known

    def made(self, name: str, what: str, make: Callable[[], T]) -> Kept[T]:
        """What `make` makes of a stage, kept with all that it looks at."""
        with watched() as looked_at:
            made = make()
        self._memory.keep(name, what, looked_at, self._marks, made)
        found = self._found[name, what] = Kept(
            {each: self._marks.get(each) for each in (name, *looked_at)}, made
        )
        return found

    def reading(self, what: str, digest: str, read: Callable[[], T]) -> T:
        """A reading, read once while barometer and instruments are the same."""
        if not digest:
            return read()
        always = tuple(self._marks.get(name) for name in ALWAYS)
        return self._memory.reading((what, digest, always), read)


# --- what a judgement looks at while it is made ---------------------------------------------------

# A context variable: callbacks of forms may judge in another thread at the same time.
_LOOKING: ContextVar[set[str] | None] = ContextVar("looking", default=None)


@contextmanager
def watched() -> Iterator[set[str]]:
    """The names that are read inside the block."""
    names: set[str] = set()
    token = _LOOKING.set(names)
    try:
        yield names
    finally:
        _LOOKING.reset(token)


def look_at(*names: str) -> None:
    """Note that the judgement that is being made rests on these."""
    looking = _LOOKING.get()
    if looking is not None:
        looking.update(names)


# --- one memory a job --------------------------------------------------------------------------


_MEMORIES: list[tuple[tuple[object, ...], Memory]] = []


def of_job(things: tuple[object, ...]) -> Memory:
    """The memory of a job: `things` are its sheet, limits, stages, units and trends, and must be
    the very same ones.
    """
    for known, memory in list(_MEMORIES):
        if len(known) == len(things) and all(
            a is b or (isinstance(a, str) and a == b) for a, b in zip(known, things, strict=True)
        ):
            return memory
    memory = Memory()
    _MEMORIES.insert(0, (things, memory))
    del _MEMORIES[JOBS:]
    return memory
