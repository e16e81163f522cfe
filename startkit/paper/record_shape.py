"""The shape of a record's data, as far as a check relies on it before it compares anything."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

_ROW = ("field", "role", "name", "firm", "says")


def is_whole(data: Mapping[str, Any]) -> bool:
    """True if the parts that every check reads are of the right kind.

    What older records lack may be missing.
    """
    lists = all(isinstance(data.get(key), list) for key in ("body", "attachments", "signatures"))
    if not lists or not isinstance(data.get("front"), dict):
        return False
    words = all(isinstance(data.get(key, ""), str) for key in ("title", "paper", "form", "company"))
    blocks = all(isinstance(block, dict) and "block" in block for block in data["body"])
    rows = all(_has_texts(row, _ROW) for row in data["signatures"])
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
