"""Tables of the register as plain data, and the texts of their cells."""

# `Any` here: a part is JSON, in the schema of `startkit.procedure.payload`.
from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from startkit.fleet.summary import Summary
from startkit.procedure.holds import HOLDS

Part = dict[str, Any]  # display-ready data of many shapes
NOTHING_CLEAR = "Nothing clear yet"
RELEASED = (", released", ", not released")
UNDATED = -1_000_000  # days left of an instrument without a date


def table(
    title: str,
    heads: Sequence[tuple[str, str] | str],
    rows: list[list[str]],
    numbers: Sequence[int] = (),
    note: str = "",
) -> dict[str, Any]:
    """A table as plain data.

    Parameters
    ----------
    title : str
    heads : sequence
        Heads, each a text or a text with its unit.
    rows : list of list of str
    numbers : sequence of int
        Columns that hold numbers.
    note : str
        Below the table.
    """
    pairs = [(head, "") if isinstance(head, str) else head for head in heads]
    columns = [
        {"label": label, "unit": unit, "align": "decimal" if n in numbers else "left"}
        for n, (label, unit) in enumerate(pairs)
    ]
    return {"title": title, "columns": columns, "rows": rows, "note": note}


def few(names: Sequence[str], most: int = 12) -> str:
    """The first names, and how many more there are."""
    return ", ".join(names[:most]) + (f" and {len(names) - most} more" if len(names) > most else "")


def several(count: int, one: str, many: str) -> str:
    """``1 job``, ``2 jobs``."""
    return f"{count} {one if count == 1 else many}"


# --- cells ----------------------------------------------------------------------------------------


def state_of(job: Summary) -> str:
    """The last hold point that is clear, in words, and whether it was released."""
    clear = [
        (hold.clear, is_released(state))
        for hold in HOLDS
        for state in job["holds"]
        if state["hold"] == hold.name and state["clear"]
    ]
    if not clear:
        return NOTHING_CLEAR
    words, released = clear[-1]
    return f"{words}{RELEASED[not released]}"


STATES = (*(f"{hold.clear}{each}" for hold in reversed(HOLDS) for each in RELEASED), NOTHING_CLEAR)


def is_released(state: Part) -> bool:
    """Whether a hold point's release counts."""
    return bool(state["released"] and state["released"]["counts"])


def item_count(item: Part) -> int:
    """Number of items: a stage that was not begun is one line for all its items."""
    return int(item.get("items", 1))


def record_cells(record: Part) -> list[str]:
    """A record's file, revision, whether it is signed, and half its digest."""
    return (
        [
            record["file"],
            record["revision"],
            "yes" if record["signed"] else "no",
            record["sha256"][:32],
        ]
        if record
        else ["none yet", "", "", ""]
    )


def day_of(text: str) -> date | None:
    """The day at the beginning of a text; None if there is none."""
    try:
        return date.fromisoformat(text[:10])
    except ValueError:
        return None
