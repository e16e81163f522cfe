"""What cannot all be true: two readings of one thing that disagree, one reading written down twice,
a reading that physics forbids.

Such a verdict is made only where something is wrong: readings that agree need no line of their own.
"""

from __future__ import annotations

from collections.abc import Iterable

from startkit.facts.limits import Limit
from startkit.facts.machine import TemperatureTrip
from startkit.procedure.entries import Entries
from startkit.procedure.judging import check
from startkit.procedure.reading import Reading
from startkit.verdict import Outcome, Verdict

SOURCE = "readings of one thing agree within their uncertainty"


def contradiction(
    key: str,
    title: str,
    sentence: str,
    next_step: str,
    items: Iterable[str],
    outcome: Outcome = Outcome.FAIL,
) -> Verdict:
    """That readings cannot all be true, and which of them is likely wrong.

    Parameters
    ----------
    key, title : str
        Of the verdict.
    sentence : str
        Both readings, and which is likely wrong and why.
    next_step : str
    items : iterable of str
        Names of the journal's items that it rests on.
    outcome : Outcome
        *Fail*, or *unproven* where a reading only proves less than it should.
    """
    return Verdict(
        key=key,
        title=title,
        outcome=outcome,
        sentence=sentence,
        next_step=next_step,
        source=SOURCE,
        rests_on=tuple(dict.fromkeys(items)),
    )


def where_wrong(*verdicts: Verdict) -> tuple[Verdict, ...]:
    """Those that fail. What its uncertainty explains is no contradiction, and a reading that is
    missing contradicts nothing.
    """
    return tuple(verdict for verdict in verdicts if verdict.outcome is Outcome.FAIL)


def under_the_trip(
    entries: Entries, key: str, title: str, reading: Reading, trip: TemperatureTrip | None
) -> tuple[Verdict, ...]:
    """A temperature that was read, against the trip that would have acted there; nothing if the
    sheet has no such trip.
    """
    if trip is None:
        return ()
    limit = Limit(key=key, title=title, kind="temperature", high=trip.setting, source=trip.source)
    return where_wrong(
        check(
            entries,
            limit,
            reading,
            next_step="Stop. Read it again with another thermometer, and prove the trip.",
            note="At this temperature its trip would have acted: the reading or the trip is wrong.",
        )
    )
