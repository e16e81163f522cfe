"""Hold points of a story released: each as soon as it is clear, before anything that waits for
it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import groupby

from startkit.facts.journal import Entry
from startkit.procedure.assessment import Assessment
from startkit.procedure.early_entries import due
from startkit.procedure.holds import HOLDS, NAMES
from startkit.procedure.releases import GIVEN, RELEASE, WITNESSED
from startkit.procedure.stage import Stage
from workbook.people import TECHNICIAN, WITNESS

AFTER = timedelta(seconds=3)  # from the last reading to the release


class Releasing:
    """Writes a story's entries with the releases between them.

    Parameters
    ----------
    write : callable
        Puts entries into the journal.
    judged : callable
        The job as it is now.
    """

    def __init__(
        self, write: Callable[[Sequence[Entry]], object], judged: Callable[[], Assessment]
    ) -> None:
        self._write, self._judged = write, judged

    def tell(self, entries: Iterable[Entry], stages: Mapping[str, Stage]) -> None:
        """Write entries; a hold point is released before what waits for one, and at the end; again
        if it was released on other readings.
        """
        last = None
        for waits, run in groupby(entries, lambda entry: _waits_for(entry, stages)):
            if last is not None and waits:
                self._release(last)
            told = list(run)
            self._write(told)
            last = told[-1]
        if last is not None:
            self._release(last)

    def _release(self, last: Entry) -> None:
        seen = self._judged()
        for hold in HOLDS:
            given = seen.release(hold.name)
            if given is not None and given.state == GIVEN:
                continue
            if not seen.hold(hold.name).is_clear:
                return
            self._write(list(_released(seen, hold.name, last)))
            seen = self._judged()


def _waits_for(entry: Entry, stages: Mapping[str, Stage]) -> int:
    """How many hold points should be passed before an entry."""
    hold, _ = due(entry, stages)
    return NAMES.index(hold.name) + 1 if hold is not None else 0


def _released(seen: Assessment, name: str, last: Entry) -> Iterator[Entry]:
    when = datetime.fromisoformat(last.at) + AFTER
    digest = seen.basis(name).digest
    at = when.isoformat(timespec="milliseconds")
    yield Entry(f"{RELEASE}{name}", digest, who=TECHNICIAN, at=at)
    if name in seen.limits.releases.witnessed:
        yield Entry(f"{WITNESSED}{name}", digest, who=WITNESS, at=at)


def with_releases(
    entries: Sequence[Entry],
    judged: Callable[[tuple[Entry, ...]], Assessment],
    mark: str,
) -> tuple[Entry, ...]:
    """A story in memory with its releases, numbered anew.

    Parameters
    ----------
    entries : sequence of Entry
    judged : callable
        ``judged(entries)``: the job with these entries.
    mark : str
        What tells the digests of this story from those of others.
    """
    made: list[Entry] = []

    def write(more: Sequence[Entry]) -> None:
        first = len(made) + 1
        made.extend(replace(e, seq=n, digest=f"{mark}.{n}") for n, e in enumerate(more, first))

    Releasing(write, lambda: judged(tuple(made))).tell(entries, judged(()).stages)
    return tuple(made)
