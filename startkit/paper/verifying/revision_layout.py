"""The layout of a record's file: the print, then one section for each addition, with nothing
between them and nothing in them that their tables do not list.

A PDF may hold parts that no table reaches, or a second document after the first. Readers take the
last table and follow it backwards; so does this module, and it accounts for every byte on the way.
"""

# `Any` here: pyHanko's and asn1crypto's classes have no usable types.
from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from io import BytesIO
from typing import Any

from startkit.errors import PaperError

MOST_SECTIONS = 12  # print, fields, four signatures: more is none of a record's
_END = re.compile(rb"startxref\s+(\d{1,10})\s+%%EOF\s*\Z")
_OWN_END = re.compile(rb"\s*startxref\s+(\d{1,10})\s+%%EOF(?:\r\n|\n|\r)?")
_ROWS = rb"(?:\d{1,7} \d{1,7}\s+(?:\d{10} \d{5} [nf](?: \r| \n|\r\n))*)+"
_TABLE = re.compile(rb"xref\s+(" + _ROWS + rb")trailer\s*(?=<<)")
_PART = re.compile(rb"(\d{1,7}) (\d{1,7})\s+((?:\d{10} \d{5} [nf](?: \r| \n|\r\n))*)")
_OBJECT = re.compile(rb"(\d{1,7}) (\d{1,5}) obj\b\s*")
_OBJECT_END = re.compile(rb"\s*endobj\s*")
_ROW = 20  # bytes of one line of a table (ISO 32000-1, 7.5.4)

Key = tuple[int, int]


@dataclass(frozen=True)
class Section:
    """One part of the file: the print, or an addition.

    Parameters
    ----------
    start, table, end : int
        Where its objects, its cross-reference table and the next section begin [bytes].
    places : mapping of (int, int) to int
        Where each of its objects begins [bytes].
    trailer : pyhanko.pdf_utils.generic.DictionaryObject
    """

    start: int
    table: int
    end: int
    places: Mapping[Key, int]
    trailer: Any  # pyHanko's classes have no usable types


def sections(content: bytes) -> list[Section]:
    """The sections of a file, the print first.

    Raises
    ------
    PaperError
        The file is not laid out as a record is.
    """
    found = _END.search(content, max(0, len(content) - 64))
    if found is None:
        raise _fault("it does not end as a record does")
    tables: list[tuple[int, int, dict[Key, int], Any]] = []
    place: Any = int(found.group(1))
    while place is not None:
        if len(tables) == MOST_SECTIONS:
            raise _fault("it has more additions than signatures")
        tables.append((place, *_table(content, place)))
        earlier = tables[-1][3].get("/Prev")
        if earlier is not None and not (isinstance(earlier, int) and 0 < earlier < place):
            raise _fault("an object table names an earlier one that is not earlier")
        place = None if earlier is None else int(earlier)
    tables.reverse()
    starts = [0, *(end for _, end, _, _ in tables)]
    if starts[-1] != len(content):
        raise _fault("there is data after its end")
    made = [
        Section(start, table, end, places, trailer)
        for start, (table, end, places, trailer) in zip(starts, tables, strict=False)
    ]
    for section in made:
        _refuse_outside(section)
    return made


def _table(content: bytes, place: int) -> tuple[int, dict[Key, int], Any]:
    """End of the section, places of its objects and its trailer, from the table at `place`."""
    from pyhanko.pdf_utils import generic

    rows = _TABLE.match(content, place)
    if rows is None:
        raise _fault("an object table is damaged or of a kind that records do not have")
    stream = BytesIO(content)
    stream.seek(rows.end())
    try:
        trailer: Any = generic.read_object(stream, generic.TrailerReference(None))
    except Exception:  # damaged in any way
        raise _fault("a trailer of it cannot be read") from None
    end = _OWN_END.match(content, stream.tell())
    if end is None or int(end.group(1)) != place:
        raise _fault("a section does not end with its own object table")
    if not isinstance(trailer, dict) or "/XRefStm" in trailer or "/Encrypt" in trailer:
        raise _fault("it has a second object table, or is encrypted")
    return end.end(), dict(_places(rows.group(1))), trailer


def _places(rows: bytes) -> Iterator[tuple[Key, int]]:
    for part in _PART.finditer(rows):
        first, count, lines = int(part.group(1)), int(part.group(2)), part.group(3)
        if len(lines) != count * _ROW:
            raise _fault("an object table has a different length than stated")
        for n in range(count):
            line = lines[n * _ROW : (n + 1) * _ROW]
            if line[17:18] == b"n":
                yield (first + n, int(line[11:16])), int(line[:10])
            elif first + n != 0:
                raise _fault("an object was removed from it")


def _refuse_outside(section: Section) -> None:
    if any(not section.start <= place < section.table for place in section.places.values()):
        raise _fault("an object table lists an object outside its own section")
    if len({number for number, _ in section.places}) != len(section.places):
        raise _fault("an object table lists an object twice")


def objects(content: bytes, section: Section) -> dict[Key, Any]:
    """The objects of an addition, which must fill it without a gap.

    Raises
    ------
    PaperError
        There is something between them, or one cannot be read.
    """
    found: dict[Key, Any] = {}
    at = section.start
    for key, place in sorted(section.places.items(), key=lambda pair: pair[1]):
        if content[at:place].strip():
            raise _fault("it contains something that no object table lists")
        found[key], at = _read(content, key, place)
    if at > section.table or content[at : section.table].strip():
        raise _fault("it contains something that no object table lists")
    return found


def object_at(content: bytes, made: list[Section], number: int, until: int) -> Any:
    """The object of a number as it is after the section with the index `until`; None if there is
    none.
    """
    for section in reversed(made[: until + 1]):
        for key, place in section.places.items():
            if key[0] == number:
                return _read(content, key, place)[0]
    return None


def _read(content: bytes, key: Key, place: int) -> tuple[Any, int]:
    """One object, and where the next thing after it begins."""
    from pyhanko.pdf_utils import generic

    head = _OBJECT.match(content, place)
    if head is None or (int(head.group(1)), int(head.group(2))) != key:
        raise _fault("an object is not where the object table says")
    stream = BytesIO(content)
    stream.seek(head.end())
    try:
        value = generic.read_object(stream, generic.Reference(*key))
    except Exception:  # a damaged object fails in any way
        raise _fault("an object in it cannot be read") from None
    end = _OBJECT_END.match(content, stream.tell())
    if end is None:
        raise _fault("an object in it does not end where it should")
    return value, end.end()


def _fault(what: str) -> PaperError:
    return PaperError(what, "record", "use the record as it was signed")
