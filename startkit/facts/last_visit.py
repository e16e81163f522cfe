"""The last visit: what was entered then, to be shown next to the empty field; never an entry."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from startkit.facts.journal import OF_THE_JOB, Entry

FILE = "last-visit.json"  # in a job's folder
SCHEMA = "startkit-last-visit-1"
LONGEST = 60  # characters of a value that is shown: a pasted series is not
LARGEST = 20_000_000  # bytes
_REASONS = ("waiver.", "not_applicable.")


@dataclass(frozen=True)
class LastVisit:
    """What an earlier record says, item by item, in words.

    Parameters
    ----------
    record : str
        Name of its file.
    values : mapping of str -> str
        Item -> value, unit and day.
    """

    record: str = ""
    values: Mapping[str, str] = field(default_factory=dict)

    def of(self, item: str) -> str:
        """``"182 kPa, 2026-04-15"``; empty if the item was not entered then."""
        return self.values.get(item, "")


NONE = LastVisit()


def text(record: str, sha256: str, entries: Iterable[Entry]) -> str:
    """The file's text.

    Parameters
    ----------
    record, sha256 : str
        Name and digest of the earlier record.
    entries : iterable of Entry
        Its journal.
    """
    latest = {entry.what: entry for entry in entries}
    values = {
        what: f"{entry.value} {entry.unit}".strip() + f", {entry.at[:10]}"
        for what, entry in sorted(latest.items())
        if entry.value
        and len(entry.value) <= LONGEST
        and "\n" not in entry.value
        and not what.startswith((*OF_THE_JOB, *_REASONS))
    }
    body = {"schema": SCHEMA, "record": record, "sha256": sha256, "values": values}
    return json.dumps(body, indent=1, ensure_ascii=False) + "\n"


def in_folder(folder: Path) -> LastVisit:
    """The last visit of a job; empty if its folder has none that can be read: nothing rests on
    it.
    """
    path = Path(folder) / FILE
    try:
        if not path.is_file() or path.stat().st_size > LARGEST:
            return NONE
        body = json.loads(path.read_text(encoding="utf-8"))
        values = body["values"]
        if body["schema"] != SCHEMA or not isinstance(values, dict):
            return NONE
        return LastVisit(str(body["record"]), {str(k): str(v) for k, v in values.items()})
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return NONE
