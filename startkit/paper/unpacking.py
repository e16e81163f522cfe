"""Packed data of a foreign PDF, unpacked no further than a record can need: a few bytes may expand
to gigabytes.
"""

# `Any` here: pyHanko's and asn1crypto's classes have no usable types.
from __future__ import annotations

import re
import zlib
from collections.abc import Iterator
from typing import Any

from startkit.errors import PaperError

# Real attachments shrink five- to twentyfold; a PDF of moderate size may hold this much in any
# case.
LEAST, TIMES_PACKED, MOST = 100_000_000, 50, 900_000_000
_STREAM = re.compile(rb"stream\r?\n")
_PIECE = 1 << 20
# No record has as many streams, or tables of its objects as long, in bytes.
MOST_STREAMS, LARGEST_TABLES = 50_000, 2_000_000


def _name(word: str) -> str:
    """A pattern for a name of a PDF, whose letters may be written as codes (ISO 32000-1, 7.3.5)."""
    return "/" + "".join(f"(?:{each}|#{ord(each):02x}|#{ord(each):02X})" for each in word)


_BLANK = r"(?:\s|\0|%[^\r\n]{0,200}[\r\n])*"
_TABLE = re.compile(_name("XRef").encode("ascii"))
# A table of objects that claims a million of them or more, or whose entries have no width.
_ENDLESS = re.compile(
    (
        f"{_name('Size')}{_BLANK}\\+?0*[1-9][0-9]{{6,}}"
        f"|{_name('Index')}{_BLANK}\\[[^\\]]{{0,2000}}?[1-9][0-9]{{6,}}"
        f"|{_name('W')}{_BLANK}\\[{_BLANK}0+{_BLANK}0+{_BLANK}0+{_BLANK}\\]"
    ).encode("ascii")
)


def most(packed: int) -> int:
    """How many bytes a file of `packed` bytes may unpack to."""
    return min(max(LEAST, TIMES_PACKED * packed), MOST)


def refuse_flood(content: bytes) -> None:
    """Unpack every stream of a PDF piece by piece, keeping nothing, before anything reads it.

    Raises
    ------
    PaperError
        They unpack to more than a record holds.
    """
    limit, total, tables, before = most(len(content)), 0, 0, 0
    for number, found in enumerate(_STREAM.finditer(content)):
        if number > MOST_STREAMS:
            raise _flood()
        table = _table(content, before, found.start())
        before = found.end()
        for size in _sizes(memoryview(content)[found.end() :]):
            total, tables = total + size, tables + size * table
            if total > limit or tables > LARGEST_TABLES:
                raise _flood()
    _table(content, before, len(content))


def _table(content: bytes, start: int, end: int) -> bool:
    """Whether a table of objects is described between two places.

    Raises
    ------
    PaperError
        It claims more than any record has.
    """
    if _TABLE.search(content, start, end) is None:
        return False
    if _ENDLESS.search(content, start, end):
        raise _flood()
    return True


def _sizes(packed: memoryview) -> Iterator[int]:
    """Sizes of the pieces that a zlib stream unpacks to; none if it is no such stream, or only its
    beginning if it is damaged.
    """
    engine = zlib.decompressobj()
    at = 0
    try:
        while not engine.eof and (engine.unconsumed_tail or at < len(packed)):
            if not engine.unconsumed_tail:
                at += _PIECE
            yield len(engine.decompress(engine.unconsumed_tail or packed[at - _PIECE : at], _PIECE))
    except zlib.error:
        return


def _flood() -> PaperError:
    return PaperError(
        "the file unpacks to more than a record can hold",
        "record",
        "use the record as it was printed",
    )


def unpacked(stream: Any, limit: int) -> bytes:
    """The bytes of one PDF stream.

    Raises
    ------
    PaperError
        More than `limit` bytes, or packed differently from a record's files.
    """
    # `get` would not follow a reference.
    filters = stream["/Filter"] if "/Filter" in stream else None  # noqa: SIM401 - as above
    if filters is None:
        return bytes(stream.encoded_data)
    names = [str(filters)] if not isinstance(filters, list) else [str(each) for each in filters]
    if names != ["/FlateDecode"] or "/DecodeParms" in stream:
        raise PaperError(
            "an attached file is compressed in a way that records never are",
            "record",
            "use the record as it was printed",
        )
    engine = zlib.decompressobj()
    try:
        found = engine.decompress(stream.encoded_data, limit + 1)
    except zlib.error as error:
        raise PaperError(
            f"an attached file is damaged ({error})", "record", "use an undamaged copy"
        ) from None
    if len(found) > limit:
        raise _flood()
    return found


def unreadable(error: Exception) -> PaperError:
    """The error of a PDF that cannot be read, in a sentence."""
    said = " ".join(str(error).split())[:120].rstrip(".")
    return PaperError(
        f"the file cannot be read as a PDF ({said or type(error).__name__})",
        "record",
        "use an undamaged copy",
    )
