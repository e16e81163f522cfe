"""Memory: what a stage found, kept for as long as nothing that it looked at has changed.

The job is judged anew after every entry, and hold points are looked back at; most stages are not
touched by
most entries. What a judgement rests on is noted while it is made: its own stage, every stage that
it asked, the
instruments and the barometer of Setup, the trends. An entry's digest stands for all entries before
it, so the
digest of a stage's newest entry stands for everything entered in that stage.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

EVERYTHING, BASELINE = "*", "baseline"
WHOLE, VERDICTS, FILLED = "whole", "verdicts", "filled"  # what is made of a stage
ALWAYS = ("setup",)  # every stage shows quantities with the barometer of Setup
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
        """Keep a judgement, unless an entry that it rests on has no digest to stand for it.

        Parameters
        ----------
        stage, what : str
            Name of the stage; `WHOLE`, `VERDICTS` or `FILLED`.
        looked_at : iterable of str
            Names of what was looked at while it was made.
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
        if key not in self._readings:
            if len(self._readings) >= READINGS:
                self._readings = {}
            self._readings[key] = read()
        return self._readings[key]


def _same(a: object, b: object) -> bool:
    return a is b or a == b


# --- what a judgement looks at while it is made ---------------------------------------------------

# A context variable: callbacks of forms may judge in another thread at the same time.
_LOOKING: ContextVar[set[str] | None] = ContextVar("looking", default=None)


@contextmanager
def watched() -> Iterator[set[str]]:
    """The names that are looked at inside the block."""
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
