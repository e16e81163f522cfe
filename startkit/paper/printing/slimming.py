"""The typeset PDF without what is never read: the rules of table cells, the names of their
headings, and what each of thousands of tags declares about itself.

The rules are optional attributes of tags (ISO 32000-1, 14.8.5.4) for programs that lay the page out
again; the rules themselves are on the page. The heading of a cell follows from its column, for
every heading says that it is its column's (14.8.5.7, Scope); it is kept where a cell has several or
spans columns. That a tag is one (its Type) may be left unsaid, and a single child on its own
instead of in a list of one (14.7.2, table 323). In a long record all this is a third of the file
and most of what must be read to verify it.
"""

# `Any` here: an offset or an array of them.
from __future__ import annotations

import re
from itertools import accumulate
from typing import Any

import numpy as np

_CELL = re.compile(rb"\n\d+ 0 obj\n<</Type/StructElem/S/T[DH]/[^\n]*\nendobj(?=\n)")
_SPARE = rb"<</O/(?:Layout/Border[^<>]*|Table/Headers\[\([^()]*\)\])>>"
_ATTRIBUTE, _ALONE = re.compile(_SPARE), re.compile(rb"/A\[(?:" + _SPARE + rb")+\]")
# The beginning of a tag: its Type, kind and parent, perhaps attributes, then its children: none,
# one, or more. A text is stepped over as a whole.
_TAG = re.compile(
    rb"(?<=obj\n<<)(/Type/StructElem)/S/\w+/P \d+ 0"
    rb" R(?:(?:/A\[(?:[^\n(]|\([^()\n]*\))*?\])?(?:(/K\[\])|/K(\[)\d+(?: 0 R)?(\])))?"
)
# Its default, false; poppler complains of the key.
_SUSPECTS = b"/Suspects false"
_MARK = b"/MarkInfo<</Marked true" + _SUSPECTS
_TABLE = re.compile(
    rb"\nxref\n0 (\d+)\n((?:\d{10} \d{5} [nf][ \r][\n])+)trailer\n.*?startxref\n(\d+)\n%%EOF\s*$",
    re.DOTALL,
)
_ENTRY = 20  # bytes of one line of the cross-reference table
_DIGITS = 10 ** np.arange(9, -1, -1)

Span = tuple[int, int]


def slim(content: bytes) -> bytes:
    """The same document with shorter tags; what is not written as expected is given back as it is.

    Parameters
    ----------
    content : bytes
        A PDF with one cross-reference table, as Typst writes it.
    """
    table = _table(content)
    tags = list(_TAG.finditer(content))
    cut = [*_attributes(content), *_lone(content), *_said(tags)]
    if table is None or not cut or int(table.group(1)) * _ENTRY != len(table.group(2)):
        return content
    made = _without(_opened(content, tags), sorted(cut), table)
    return made if _in_place(made) else content


def _table(content: bytes) -> re.Match[bytes] | None:
    """The cross-reference table at the end."""
    return _TABLE.match(content, max(content.rfind(b"\nxref\n"), 0))


def _attributes(content: bytes) -> list[Span]:
    """Where the rules and the one heading of a cell are described."""
    found = []
    for cell in _CELL.finditer(content):
        alone = _ALONE.search(
            content, *cell.span()
        )  # an array that holds nothing else goes with them
        found += (
            [alone.span()]
            if alone
            else [each.span() for each in _ATTRIBUTE.finditer(content, *cell.span())]
        )
    return found


def _lone(content: bytes) -> list[Span]:
    """Where the default of a mark is written out, if it is once."""
    at = content.find(_MARK)
    if at < 0 or content.find(_MARK, at + 1) >= 0:
        return []
    return [(at + len(_MARK) - len(_SUSPECTS), at + len(_MARK))]


def _said(tags: list[re.Match[bytes]]) -> list[Span]:
    """Where a tag declares that it is one, that it has no children, and where the list of its only
    child ends.
    """
    return [tag.span(part) for tag in tags for part in (1, 2, 4) if tag.start(part) >= 0]


def _opened(content: bytes, tags: list[re.Match[bytes]]) -> bytes:
    """The same length, with a blank where the list of an only child begins."""
    made = bytearray(content)
    for tag in tags:
        if tag.start(3) >= 0:
            made[tag.start(3)] = ord(" ")
    return bytes(made)


def _without(content: bytes, cut: list[Span], table: re.Match[bytes]) -> bytes:
    """The bytes outside `cut`, with every offset moved accordingly."""
    starts, gone = np.array([a for a, _ in cut]), np.array([0, *accumulate(b - a for a, b in cut)])

    def moved(offsets: Any) -> Any:
        return offsets - gone[np.searchsorted(starts, offsets)]

    lines = _lines(table).copy()
    used = lines[:, 17] == ord("n")
    lines[used, :10] = moved(_offsets(lines[used]))[:, None] // _DIGITS % 10 + ord("0")
    ends = [0, *(b for _, b in cut)]
    body = b"".join(
        content[a:b] for a, b in zip(ends, [a for a, _ in cut] + [table.start(2)], strict=True)
    )
    return (
        body
        + lines.tobytes()
        + content[table.end(2) : table.start(3)]
        + b"%d" % moved(int(table.group(3)))
        + content[table.end(3) :]
    )


def _lines(table: re.Match[bytes]) -> np.ndarray:
    """The entries of the table, one a row of characters."""
    return np.frombuffer(table.group(2), np.uint8).reshape(-1, _ENTRY)


def _offsets(lines: np.ndarray) -> np.ndarray:
    return (lines[:, :10].astype(np.int64) - ord("0")) @ _DIGITS


def _in_place(content: bytes) -> bool:
    """True if every entry of the table points to its object, and the end to the table."""
    table = _table(content)
    if table is None or content[int(table.group(3)) : int(table.group(3)) + 5] != b"xref\n":
        return False
    lines = _lines(table)
    places = _offsets(lines).tolist()
    return all(
        content.startswith(b"%d 0 obj" % number, places[number])
        for number in np.flatnonzero(lines[:, 17] == ord("n")).tolist()
    )
