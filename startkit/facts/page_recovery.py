"""Rows carved from the pages of a damaged journal, without asking its database engine.

A leaf page of a table is recognised by its first byte; each of its cells is a record whose columns
are
read from the record itself, over its overflow pages if it is long. Whether a row is whole is
decided by
its own hash, not here.

Source: the public description of the SQLite database file format, sections 1.5, 1.6 and 2.1.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from startkit.facts.journal import Entry

LEAF_TABLE = 0x0D
HEADER = 100  # bytes of the file's own header, before the first page's content
TEXT_COLUMNS = 9  # after `seq`, which is the row's number
LARGEST = 64_000_000  # bytes of one row; beyond this the length itself is damaged


class Torn(Exception):
    """A record that runs out of its page or file."""


def rows(path: Path) -> Iterator[Entry]:
    """Every row of entries that can be found in a file, in the order of its pages.

    Parameters
    ----------
    path : pathlib.Path
        A journal, whole or damaged.
    """
    data = path.read_bytes()
    size = _page_size(data)
    for begin in range(0, len(data), size):
        yield from _leaf(data, begin, size)


def _page_size(data: bytes) -> int:
    """Page size from the file's header; 4096 if that is damaged."""
    stated = int.from_bytes(data[16:18], "big")
    stated = 65536 if stated == 1 else stated
    return stated if stated in {1 << n for n in range(9, 17)} else 4096


def _leaf(data: bytes, begin: int, size: int) -> Iterator[Entry]:
    head = begin + (HEADER if begin == 0 else 0)
    if head + 8 > len(data) or data[head] != LEAF_TABLE:
        return
    cells = int.from_bytes(data[head + 3 : head + 5], "big")
    for n in range(min(cells, size // 4)):
        pointer = head + 8 + 2 * n
        offset = int.from_bytes(data[pointer : pointer + 2], "big")
        try:
            yield _row(data, begin + offset, size)
        except (Torn, UnicodeDecodeError, IndexError, OverflowError):
            continue


def _row(data: bytes, at: int, size: int) -> Entry:
    length, at = _varint(data, at)
    number, at = _varint(data, at)
    if not 0 < length < LARGEST:
        raise Torn
    return _entry(number, _payload(data, at, length, size))


def _varint(data: bytes, at: int) -> tuple[int, int]:
    """A variable-length integer of one to nine bytes, high bits first."""
    value = 0
    for n in range(9):
        byte = data[at + n]
        if n == 8:
            return (value << 8) | byte, at + 9
        value = (value << 7) | (byte & 0x7F)
        if byte < 0x80:
            return value, at + n + 1
    raise Torn


def _payload(data: bytes, at: int, length: int, size: int) -> bytes:
    """A record's bytes: what is on the leaf, then its chain of overflow pages."""
    local = _local(length, size)
    found = data[at : at + local]
    following = int.from_bytes(data[at + local : at + local + 4], "big") if local < length else 0
    while len(found) < length:
        begin = (following - 1) * size
        if following <= 1 or begin + 4 > len(data):
            raise Torn
        found += data[begin + 4 : begin + min(size, 4 + length - len(found))]
        following = int.from_bytes(data[begin : begin + 4], "big")
    return found[:length]


def _local(length: int, size: int) -> int:
    """How many bytes of a record are on the leaf itself."""
    most, least = size - 35, (size - 12) * 32 // 255 - 23
    if length <= most:
        return length
    share = least + (length - least) % (size - 4)
    return share if share <= most else least


def _entry(number: int, record: bytes) -> Entry:
    header, at = _varint(record, 0)
    kinds = []
    while at < header:
        kind, at = _varint(record, at)
        kinds.append(kind)
    # The first column is `seq` (stored as the row's number, so empty), the others are texts.
    if len(kinds) != TEXT_COLUMNS + 1 or any(k < 13 or k % 2 == 0 for k in kinds[1:]):
        raise Torn
    texts = []
    for kind in kinds[1:]:
        length = (kind - 13) // 2
        texts.append(record[at : at + length].decode("utf-8"))
        at += length
    what, value, unit, who, instrument, note, moment, previous, own = texts
    return Entry(what, value, unit, who, instrument, note, moment, number, previous, own)
