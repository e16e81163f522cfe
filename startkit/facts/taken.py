"""When a reading was taken, where that was typed: an entry of its own before that of the reading.

The time of an entry is the computer's clock and cannot be typed. Readings from a pencil, a sheet or
a file were taken earlier: ``taken.stage.field`` holds that time for the next entry of
``stage.field``.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime, timedelta
from itertools import pairwise

from startkit.facts.journal import Entry

TAKEN = "taken."
# What is entered at once was taken a moment before; a clock may be off by minutes. Own defaults.
BACK_DATED = timedelta(hours=1)
AHEAD = timedelta(minutes=10)


def dated(entries: Iterable[Entry], when: str) -> list[Entry]:
    """Entries as they go into the journal, each after the one that says when it was taken; without
    such a time as they are.
    """
    listed = list(entries)
    if not when:
        return listed
    pairs = ((Entry(f"{TAKEN}{entry.what}", when, who=entry.who), entry) for entry in listed)
    return [each for pair in pairs for each in pair]


def belongs_to(entry: Entry, reading: Entry | None) -> bool:
    """Whether an entry says when the reading after it was taken."""
    return reading is not None and entry.what == f"{TAKEN}{reading.what}"


def times(entries: Iterable[Entry]) -> Mapping[tuple[str, int], str]:
    """Item and number of every entry whose time was typed, with that time."""
    return {
        (reading.what, reading.seq): before.value
        for before, reading in pairwise(entries)
        if before.value and belongs_to(before, reading)
    }


def moment(text: str) -> datetime | None:
    """A time as the journal keeps it; None if it cannot be read."""
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        return None
    return found if found.tzinfo is not None else found.replace(tzinfo=UTC)


def typed(text: str) -> str:
    """A typed date and time as the journal keeps it, with the offset of this computer's zone where
    none is given; empty if it is none.
    """
    try:
        found = datetime.fromisoformat(text.strip())
        placed = found if found.tzinfo is not None else found.astimezone()
        return placed.isoformat(timespec="milliseconds")
    # No such day, or one that the zone's rules do not reach.
    except (ValueError, OverflowError, OSError):
        return ""


def problem(when: str, entered: str) -> str:
    """What is wrong with a time at which a reading is said to have been taken; empty if
    nothing.
    """
    taken, at = moment(when), moment(entered)
    if taken is None:
        return f"{when[:40]!r} is not a date and time; write it as 2026-11-25 14:30"
    if at is not None and taken - at > AHEAD:
        return f"{when[:16].replace('T', ' ')} is in the future; correct the date or the time"
    return ""


def is_back_dated(when: str, entered: str) -> bool:
    """Whether a reading was taken more than an hour before it was entered."""
    taken, at = moment(when), moment(entered)
    return taken is not None and at is not None and at - taken > BACK_DATED


def sentence(when: str, entered: str) -> str:
    """``"taken 2026-11-24 09:10, entered 2026-11-25 14:00"`` of a reading that is back-dated; empty
    of any other.
    """
    if not is_back_dated(when, entered):
        return ""
    shown = (text[:16].replace("T", " ") for text in (when, entered))
    return "taken {}, entered {}".format(*shown)
