"""Tables of texts as the desk draws them and the paper sets them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any


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
