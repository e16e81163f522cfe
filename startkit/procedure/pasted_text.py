"""Pasted text as rows of cells: which mark separates the columns, and which column is which."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from startkit.errors import UnitError
from startkit.procedure.field import Column
from startkit.units import KINDS, unit_for

_NUMBER_IN_FRONT = re.compile(r"[+\-−]?[.,]?\d")
_UNIT = re.compile(r"\s*[\[(]([^\])]*)[\])]\s*$")
_UNIT_BEHIND = re.compile(r"\s*(?:[\[(][^\])]*[\])])?")
_GROUPED = re.compile(r"[+\-−]?\d{1,3}(?:[\s'\u2019]\d{3})+(?:[.,]\d+)?")


@dataclass(frozen=True)
class PastedText:
    """Rows of cells, each cell under the column it belongs to.

    Parameters
    ----------
    cells : tuple of tuple of str
        One row after another, one cell for each declared column.
    units : tuple of str
        Unit that the heading gives for each column; empty if it gives none.
    problems : tuple of str
        What cannot be assigned to a column, one sentence each.
    """

    cells: tuple[tuple[str, ...], ...]
    units: tuple[str, ...]
    problems: tuple[str, ...] = ()


def split(text: str, columns: Sequence[Column], question: str) -> PastedText:
    """Separate pasted text into the declared columns.

    Tabs separate columns; without tabs, semicolons; without either, a comma followed by a blank, or
    blanks. A first row of labels chooses the columns; without one, their order does.

    Parameters
    ----------
    text : str
    columns : sequence of Column
    question : str
        Of the field, for the problems.
    """
    lines = [line for line in text.splitlines() if line.strip()]
    problems: list[str] = []
    mark = next((m for m in "\t;" if any(m in line for line in lines)), "")
    if mark:
        rows = [[cell.strip() for cell in line.split(mark)] for line in lines]
        head = rows.pop(0) if rows and _is_head(rows[0], columns) else []
    else:
        heading = bool(lines) and not any(map(str.isdigit, _without_labels(lines[0], columns)))
        head = _labels(lines.pop(0), columns) if heading else []
        rows = [
            _cells(line, columns, f"{question}, row {number}", problems)
            for number, line in enumerate(lines, start=1)
        ]
    places = _places(head, columns, question, problems)
    _tell_surplus(rows, head, columns, question, problems)
    return PastedText(
        tuple(tuple(row[p] if 0 <= p < len(row) else "" for p in places) for row in rows),
        tuple(_unit(head[p]) if 0 <= p < len(head) else "" for p in places),
        tuple(problems),
    )


def is_one_number(text: str) -> bool:
    """False if blanks in a cell do not group thousands, so that it may hold two numbers."""
    return not re.search(r"\d\s+[\d.,]", text) or bool(_GROUPED.match(text))


# --- the heading --------------------------------------------------------------------------------


def _is_head(cells: Sequence[str], columns: Sequence[Column]) -> bool:
    numeric = [c for c, column in zip(cells, columns, strict=False) if column.kind in KINDS]
    # "L1 (A)" is a label although it holds a digit: a reading has a number in front.
    labels = any(cells) and all(_column(c, columns) is not None for c in cells if c)
    return labels or (any(numeric) and not any(_NUMBER_IN_FRONT.match(c) for c in numeric))


def _plain(label: str) -> str:
    return " ".join(_UNIT.sub("", label).casefold().split())


def _column(label: str, columns: Sequence[Column]) -> int | None:
    """Number of the column that a label names, by its whole label or name."""
    plain = _plain(label)
    return next(
        (
            n
            for n, c in enumerate(columns)
            if plain in (each.casefold() for each in (c.label, c.name, *c.was))
        ),
        None,
    )


def _unit(label: str) -> str:
    found = _UNIT.search(label)
    return found.group(1).strip() if found else ""


def _places(
    head: Sequence[str], columns: Sequence[Column], question: str, problems: list[str]
) -> list[int]:
    """For each declared column the place of its cells; -1 if the heading does not name it."""
    named = _by_unit([_column(label, columns) for label in head], head, columns)
    # Headings in the column order, known or not, change nothing.
    if all(n in (None, place) for place, n in enumerate(named)) and not _skips(named, head):
        return list(range(len(columns)))
    for label, column in zip(head, named, strict=True):
        if column is None and label:
            problems.append(
                f"{question}: there is no column {label!r}; its cells are not read; use"
                f" {', '.join(c.label for c in columns)}."
            )
    return [named.index(n) if n in named else -1 for n in range(len(columns))]


def _by_unit(
    named: list[int | None], head: Sequence[str], columns: Sequence[Column]
) -> list[int | None]:
    """Unknown labels whose unit fits exactly one column that no label names."""
    found = list(named)
    for place, (label, column) in enumerate(zip(head, named, strict=True)):
        free = [
            n
            for n, c in enumerate(columns)
            if n not in found
            and c.kind in KINDS
            and _unit(label)
            and _is_unit(_unit(label), c.kind)
        ]
        if column is None and len(free) == 1:
            found[place] = free[0]
    return found


def _skips(named: Sequence[int | None], head: Sequence[str]) -> bool:
    """True if some headings are known and others are not: the others are no columns of ours."""
    known = [n for n in named if n is not None]
    return bool(known) and any(n is None and label for n, label in zip(named, head, strict=True))


def _tell_surplus(
    rows: Sequence[Sequence[str]],
    head: Sequence[str],
    columns: Sequence[Column],
    question: str,
    problems: list[str],
) -> None:
    most = max(len(head), len(columns))
    for number, row in enumerate(rows, start=1):
        if any(row[most:]):
            problems.append(
                f"{question}, row {number}: {len(row)} cells for {most} columns; put one tab or"
                " semicolon between columns."
            )
            return


# --- text without tabs and semicolons -----------------------------------------------------------


def _spans(line: str, columns: Sequence[Column]) -> Iterator[tuple[int, int]]:
    """Where the labels of columns are in a line, each with its unit; the longest label first."""
    taken: list[tuple[int, int]] = []
    for word in sorted({w for c in columns for w in (c.label, c.name)}, key=len, reverse=True):
        for found in re.finditer(rf"(?<!\w){re.escape(word)}(?!\w)", line, re.IGNORECASE):
            behind = _UNIT_BEHIND.match(line, found.end())
            span = (found.start(), behind.end() if behind else found.end())
            if all(span[1] <= begin or end <= span[0] for begin, end in taken):
                taken.append(span)
    return iter(sorted(taken))


def _without_labels(line: str, columns: Sequence[Column]) -> str:
    for begin, end in reversed(list(_spans(line, columns))):
        line = line[:begin] + line[end:]
    return line


def _labels(line: str, columns: Sequence[Column]) -> list[str]:
    """The labels of a heading; between known ones, whatever commas or wide blanks separate."""
    labels: list[str] = []
    at = 0
    for begin, end in [*_spans(line, columns), (len(line), len(line))]:
        labels += [word for word in re.split(r"\s*,\s*|\s{2,}", line[at:begin].strip(", ")) if word]
        labels += [line[begin:end].strip()] if end > begin else []
        at = end
    return labels


def _cells(line: str, columns: Sequence[Column], where: str, problems: list[str]) -> list[str]:
    if len(columns) == 1:
        return [line.strip()]
    parts = [part.strip() for part in re.split(r",\s+", line.strip())]
    if len(parts) == 1:
        parts = _at_blanks(line, columns)
    if len(parts) == 1 and "," in parts[0]:
        parts = _at_commas(parts[0], where, problems)
    return parts


def _at_blanks(line: str, columns: Sequence[Column]) -> list[str]:
    """Words between blanks, a unit with the number before it."""
    parts: list[str] = []
    for word in line.split():
        column = columns[len(parts) - 1] if 0 < len(parts) <= len(columns) else None
        if column is not None and column.kind in KINDS and _is_unit(word, column.kind):
            parts[-1] += f" {word}"
        else:
            parts.append(word)
    return parts


def _is_unit(word: str, kind: str) -> bool:
    if _NUMBER_IN_FRONT.match(word):
        return False
    try:
        unit_for(word, kind)
    except UnitError:
        return False
    return True


def _at_commas(text: str, where: str, problems: list[str]) -> list[str]:
    """Commas without blanks: separators where a number has a decimal point or there are several."""
    parts = text.split(",")
    if len(parts) > 2 or "." in text or not all(p.strip() for p in parts):
        return parts
    problems.append(
        f"{where}: {text!r} is one number or two columns; put a blank, tab or semicolon between"
        " columns."
    )
    return [""]


__all__ = ["PastedText", "is_one_number", "split"]
