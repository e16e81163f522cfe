"""What is to be known of the times of entries: clocks set back, other zones, readings entered long
after they were taken.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise

from startkit.facts import taken
from startkit.facts.journal import Entry
from startkit.procedure.assessment import Assessment


def clock(entries: Sequence[Entry]) -> list[str]:
    """What is to be known of the times of entries, whose order is that in which they were written,
    whatever the clock showed.
    """
    known = [(entry, entry.moment) for entry in entries]
    back = [
        (one, other)
        for (one, before), (other, after) in pairwise(known)
        if before is not None and after is not None and after < before
    ]
    said = [
        f"Entry {other.seq} ({other.what}) is stamped {stamp(other)}, earlier than entry {one.seq}"
        f" ({stamp(one)})"
        for one, other in back[:3]
    ]
    said += [f"and {len(back) - 3} more times"] if len(back) > 3 else []
    offsets = list(
        dict.fromkeys(
            entry.at[-6:]
            for entry, moment in known
            if moment is not None and entry.at[-6:-5] in ("+", "-")
        )
    )
    order = "Entries are in the order in which they were written."
    found = [f"{'; '.join(said)}. {order}"] if said else []
    return found + (
        [f"Entry clocks are {', '.join(offsets)} from UTC: daylight saving or another time zone."]
        if len(offsets) > 1
        else []
    )


def stamp(entry: Entry) -> str:
    """``"2026-11-25 14:32:05 +01:00"``: a time with its distance from UTC."""
    text = entry.moment.isoformat(sep=" ", timespec="seconds") if entry.moment is not None else ""
    return f"{text[:19]} {text[19:]}".strip() or entry.at


def back_dated(assessment: Assessment) -> list[str]:
    """One sentence for each stage with readings that were entered more than an hour after they
    were taken.
    """
    state, found = assessment.state, dict[str, list[Entry]]()
    for entry in state.entries:
        stage = entry.what.split(".", 1)[0]
        if stage in assessment.stages and taken.is_back_dated(state.taken(entry), entry.at):
            found.setdefault(stage, []).append(entry)
    return [
        f"{assessment.stages[stage].title}: {_many(entries)} back-dated, taken"
        f" {_span(state.taken(e) for e in entries)}, entered {_span(e.at for e in entries)}."
        for stage, entries in found.items()
    ]


def restored(entries: Sequence[Entry]) -> list[str]:
    """That entries were taken over from a record: it is their visit, and no other."""
    return [
        f"Restored from {entry.value} ({entry.note}): the {entry.seq - 1} entries before are those"
        " of that visit."
        for entry in entries
        if entry.what == "job.imported"
    ]


def _many(entries: Sequence[Entry]) -> str:
    return "1 entry is" if len(entries) == 1 else f"{len(entries)} entries are"


def _span(times: Iterable[str]) -> str:
    """``"2026-04-14 08:10 to 2026-04-15 09:30"``, to the minute."""
    found = sorted(text[:16].replace("T", " ") for text in times)
    first, last = found[0], found[-1]
    return first if first == last else f"{first} to {last}"
