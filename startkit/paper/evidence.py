"""Evidence: what a record carries inside it, taken out of the PDF; none of it is executed."""

# `Any` here: pyHanko's reader has no usable types; a record is JSON.
from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from pathlib import Path
from typing import Any

from startkit.errors import PaperError
from startkit.facts import given_files
from startkit.facts.digests import sha256
from startkit.facts.journal import Entry, chain_faults
from startkit.paper import journal_export, unpacking

# Names of the files that travel inside a record.
RECORD, JOURNAL, CSV = "record.json", "journal.json", "entries.csv"
TRENDS, PICTURES = "trends", "pictures"

LARGEST = 2_000_000_000  # bytes of a record
_NODES = 2000  # of a tree of names, which may branch again and again
_DEPTH = 32  # of a tree of names; a damaged one may lead round in circles
_SIGNATURE_ROW = ("field", "role", "name", "firm", "says")


@dataclass(frozen=True)
class Evidence:
    """The files attached to a record.

    Parameters
    ----------
    files : mapping of str to bytes
        By name.
    twice : tuple of str
        Names that are attached more than once.
    set_at : datetime.datetime or None
        When the pages were typeset, from the PDF; None if it does not state it.
    creator : str
        With what, from the PDF.
    """

    files: Mapping[str, bytes]
    twice: tuple[str, ...] = ()
    set_at: datetime | None = None
    creator: str = ""

    @cached_property
    def record(self) -> dict[str, Any]:
        """The data that the record prints.

        Raises
        ------
        PaperError
            They are not attached or are damaged.
        """
        data = _json(self._needed(RECORD), RECORD)
        if not _is_whole(data):
            raise PaperError(
                "the attached data are not from a record",
                RECORD,
                "give a record printed by startkit",
            )
        return data

    @cached_property
    def entries(self) -> tuple[Entry, ...]:
        """The attached journal.

        Raises
        ------
        PaperError
            It is not attached or is damaged.
        """
        try:
            found = tuple(journal_export.from_json(self._needed(JOURNAL)))
        except (ValueError, TypeError, KeyError, RecursionError):
            found = ()
        if not found or not all(
            map(_well_formed, found)
        ):  # a job has entries from the moment it is made
            raise PaperError(
                "the attached journal is damaged", JOURNAL, "use an undamaged copy of the record"
            )
        return found

    def _needed(self, name: str) -> bytes:
        if name not in self.files:
            raise PaperError(
                f"the file {name} is not attached",
                "record",
                "give a record printed by startkit",
            )
        return self.files[name]

    @cached_property
    def attachment_faults(self) -> tuple[str, ...]:
        """One sentence for each file that is missing, added, doubled, or not equal to its recorded
        digest.
        """
        listed = {
            str(line.get("name")): line
            for line in self.record["attachments"]
            if isinstance(line, dict)
        }
        faults = [f"{name} is attached twice" for name in self.twice]
        faults += [f"{name} is missing" for name in listed if name not in self.files]
        faults += [
            f"{name} is not in the record's list"
            for name in self.files
            if name not in listed and name != RECORD
        ]
        faults += [
            f"{name} is not the file whose digest was recorded"
            for name, line in listed.items()
            if name in self.files and sha256(self.files[name]) != line.get("sha256")
        ]
        return tuple(faults)

    @cached_property
    def journal_faults(self) -> tuple[str, ...]:
        """One sentence for each break in the chain of hashes, and for a journal other than the one
        that was printed.
        """
        faults = list(chain_faults(list(self.entries)))
        last = self.entries[-1].digest if self.entries else ""
        if last != self.record["front"].get("journal_digest"):
            faults.append("its last hash is not the one on the printed pages")
        return tuple(faults)

    @property
    def changed_files(self) -> tuple[str, ...]:
        """One sentence for each attached file that is not the one in the attached journal."""

        def digest(name: str) -> str:
            content = self.files.get(name, self.files.get(f"{PICTURES}/{name}"))
            return sha256(content) if content is not None else ""

        machine = self.record["front"].get("machine")
        tag = str(machine.get("tag", "")) if isinstance(machine, dict) else ""
        # Loads what judges; a check asks for the signatures before that.
        from startkit.facts import kept_files

        return kept_files.differences(self.entries, digest, tag)

    def sound(self) -> Evidence:
        """Itself.

        Raises
        ------
        PaperError
            An attachment or the journal is not as recorded.
        """
        faults = (*self.attachment_faults, *self.journal_faults)
        if faults:
            raise PaperError(
                f"the record does not check out ({faults[0]})",
                "record",
                "run `startkit verify` to see everything that is wrong",
            )
        return self


def read(path: Path) -> bytes:
    """The bytes of a record.

    Raises
    ------
    PaperError
        No such file, or not readable.
    """
    return given_files.content(path, LARGEST)


def of_pdf(content: bytes) -> Evidence:
    """The files attached to a PDF.

    Raises
    ------
    PaperError
        The bytes are not a PDF that can be read.
    """
    from io import BytesIO

    from pyhanko.pdf_utils.reader import PdfFileReader

    unpacking.refuse_flood(content)
    try:
        return _attached(PdfFileReader(BytesIO(content)), unpacking.most(len(content)))
    except PaperError:
        raise
    except Exception as error:  # a damaged PDF fails in any way
        raise unpacking.unreadable(error) from None


def _attached(reader: Any, most: int) -> Evidence:
    names = _value(_value(reader.root, "/Names"), "/EmbeddedFiles")
    files: dict[str, bytes] = {}
    twice = []
    for specification in _leaves(names, _DEPTH, [_NODES]) if names is not None else ():
        name = str(_value(specification, "/UF") or _value(specification, "/F") or "")
        if name in files:
            twice.append(name)
        files[name] = unpacking.unpacked(specification["/EF"]["/F"], most)
        most -= len(files[name])
    return Evidence(files, tuple(twice), _set_at(reader), _creator(reader))


def _set_at(reader: Any) -> datetime | None:
    from pyhanko.pdf_utils import generic

    try:
        return generic.parse_pdf_date(reader.trailer_view["/Info"]["/CreationDate"])
    except Exception:  # nothing there, or nothing that is a time
        return None


def _creator(reader: Any) -> str:
    try:
        return str(reader.trailer_view["/Info"]["/Creator"])
    except Exception:  # nothing there
        return ""


def _leaves(node: Any, depth: int, left: list[int]) -> Iterator[Any]:
    """Every file specification of a name tree (ISO 32000-1, 7.9.6); `left` counts them down."""
    left[0] -= 1
    if depth == 0 or left[0] < 0:
        raise PaperError("the list of attached files is damaged", "record", "use an undamaged copy")
    for position, value in enumerate(_value(node, "/Names") or ()):
        if position % 2:
            yield value.get_object()
    for kid in _value(node, "/Kids") or ():
        yield from _leaves(kid.get_object(), depth - 1, left)


def _value(node: Any, key: str) -> Any:
    """The value of a dictionary's key, wherever in the file it is; None if there is none."""
    return node[key] if node is not None and key in node else None


def _well_formed(entry: Entry) -> bool:
    return all(
        type(value) is int if name == "seq" else isinstance(value, str) and _is_text(value)
        for name, value in vars(entry).items()
    )


def _is_text(value: str) -> bool:
    """False for half a surrogate pair, which can be written nowhere."""
    try:
        value.encode("utf-8")
    except UnicodeEncodeError:
        return False
    return True


def _json(content: bytes, name: str) -> dict[str, Any]:
    try:
        data = json.loads(content)
    except (ValueError, RecursionError):
        data = None
    if not isinstance(data, dict):
        raise PaperError(
            "the attached data are damaged", name, "use an undamaged copy of the record"
        )
    return data


def _is_whole(data: Mapping[str, Any]) -> bool:
    """True if the parts of a record's data that every check reads are of the right kind.

    What older records lack may be missing.
    """
    lists = all(isinstance(data.get(key), list) for key in ("body", "attachments", "signatures"))
    if not lists or not isinstance(data.get("front"), dict):
        return False
    words = all(isinstance(data.get(key, ""), str) for key in ("title", "paper", "form", "company"))
    blocks = all(isinstance(block, dict) and "block" in block for block in data["body"])
    rows = all(_has_texts(row, _SIGNATURE_ROW) for row in data["signatures"])
    versions = data.get("versions", [])
    named = isinstance(versions, list) and all(
        _has_texts(each, ("name", "version")) for each in versions
    )
    return words and blocks and rows and named and _is_revision(data.get("revision"))


def _is_revision(line: Any) -> bool:
    if line is None:
        return True
    if not _has_texts(line, ("letter",)):
        return False
    before = line.get("replaces")
    return before is None or _has_texts(before, ("letter", "file", "sha256"))


def _has_texts(row: Any, keys: tuple[str, ...]) -> bool:
    return isinstance(row, dict) and all(isinstance(row.get(key), str) for key in keys)
