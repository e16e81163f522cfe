"""Tags of instruments at the door: a reading names an instrument of the job, or none."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping

from startkit.facts.job import ROW_REMOVED
from startkit.facts.journal import Entry
from startkit.procedure.site import INSTRUMENTS, PREFIX

_TABLE = f"{PREFIX}.{INSTRUMENTS.name}."


def known(latest: Mapping[str, Entry]) -> tuple[str, ...]:
    """Tags in the table of instruments, those of removed rows left out."""
    rows = {
        what.removeprefix(_TABLE).removesuffix(".tag"): entry.value
        for what, entry in latest.items()
        if what.startswith(_TABLE) and what.endswith(".tag") and entry.value
    }
    removed = (latest.get(f"{_TABLE}{row}.row") for row in rows)
    return tuple(
        tag
        for tag, entry in zip(rows.values(), removed, strict=True)
        if entry is None or entry.value != ROW_REMOVED
    )


def stranger(tag: str, among: Iterable[str]) -> str:
    """That no instrument has a tag, with the nearest one, in a sentence; empty if one has."""
    tags = list(among)
    if not tag or tag in tags:
        return ""
    folded = {each.casefold(): each for each in tags}
    close = difflib.get_close_matches(tag.casefold(), folded, n=1, cutoff=0.5)
    nearest = f"; the nearest is {folded[close[0]]!r}" if close else ""
    return f"there is no instrument {tag!r} in Setup{nearest}; correct the tag, or add it there."


def strangers(made: Iterable[Entry], latest: Mapping[str, Entry]) -> list[tuple[Entry, str]]:
    """New entries that name an instrument which neither the job nor they themselves enter; an entry
    that only corrects another keeps the instrument it had.
    """
    entries = list(made)
    tags = {*known(latest), *known({entry.what: entry for entry in entries})}
    return [
        (entry, told)
        for entry in entries
        if (told := stranger(entry.instrument, tags))
        and (entry.what not in latest or latest[entry.what].instrument != entry.instrument)
    ]
