"""The journal as portable data: JSON with its chain of hashes, CSV for a spreadsheet."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable
from importlib import resources

from startkit.facts.journal import GENESIS, Entry

SCHEMA = "startkit-journal-1"
COLUMNS = ("seq", "at", "what", "value", "unit", "who", "instrument", "note")
_FORMULA = (
    "=",
    "+",
    "-",
    "@",
    "\t",
    "\r",
    "\n",
    "＝",
    "＋",
    "－",
    "＠",
)  # the wide ones too: some spreadsheets narrow them


def as_json(entries: Iterable[Entry]) -> bytes:
    """Every entry with its hash, as in ``journal.schema.json``; the chain can be checked from it
    alone.
    """
    body = {"schema": SCHEMA, "genesis": GENESIS, "entries": [entry.as_dict() for entry in entries]}
    return to_json(body)


def from_json(content: bytes) -> list[Entry]:
    """The entries of a journal written by `as_json`."""
    return [Entry(**entry) for entry in json.loads(content)["entries"]]


def as_csv(entries: Iterable[Entry]) -> bytes:
    """Entries without hashes for a spreadsheet: UTF-8 with its mark, and no cell that would run as
    a formula.
    """
    stream = io.StringIO()
    writer = csv.writer(stream)
    writer.writerow(COLUMNS)
    writer.writerows([harmless(getattr(entry, name)) for name in COLUMNS] for entry in entries)
    return stream.getvalue().encode("utf-8-sig")


def harmless(cell: object) -> object:
    """A leading apostrophe before what a spreadsheet would take for a formula.

    Source: OWASP, CSV Injection. Negative numbers are caught too: the JSON keeps them as they are.
    """
    return f"'{cell}" if isinstance(cell, str) and cell.lstrip(" ").startswith(_FORMULA) else cell


def to_json(value: object) -> bytes:
    """JSON in one settled form: the same value gives the same bytes."""
    return (json.dumps(value, indent=1, ensure_ascii=False) + "\n").encode("utf-8", "replace")


def schema(name: str) -> dict[str, object]:
    """The published JSON Schema ``journal`` or ``record``."""
    return json.loads(
        (resources.files("startkit.paper") / f"{name}.schema.json").read_text(encoding="utf-8")
    )
