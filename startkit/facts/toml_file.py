"""TOML files as a person writes them, with the line of every key for the error that names it."""

# `Any` here: what a TOML file holds is checked value by value.
from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any, TypeAlias

import tomli_w

from startkit.errors import SheetError
from startkit.facts import given_files

# No two ways to match the same text: a line of a hundred thousand blanks must not keep anybody
# waiting.
_HEADER = re.compile(r"""^\s*\[(\[?)((?:"[^"]*"|'[^']*'|[^\]\["'])+)\]""")
_KEY = re.compile(
    r"""^\s*((?:"[^"]*"|'[^']*'|[A-Za-z0-9_\-]+)(?:\s*\.\s*(?:"[^"]*"|'[^']*'|[A-Za-z0-9_\-]+))*)\s*="""
)
_PART = re.compile(r""""([^"]*)"|'([^']*)'|([A-Za-z0-9_\-]+)""")

LARGEST, DEEPEST = 5_000_000, 64  # bytes of a file; dots in one key
Path_ = tuple[str | int, ...]
# What a person's file contains is not known until each value has been checked.
Table: TypeAlias = Mapping[str, Any]


def load(path: Path) -> tuple[dict[str, Any], str]:
    """The table in a TOML file, and its text.

    Raises
    ------
    SheetError
        The file cannot be read, is not UTF-8 or is not TOML; the line is named.
    """
    try:
        given_files.refuse_other(path, SheetError)
        if path.stat().st_size > LARGEST:
            raise SheetError(
                "the file is far larger than a hand-written one", str(path), "check the name"
            )
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise SheetError(
            "there is no such file", str(path), "check the name and the folder"
        ) from None
    except UnicodeDecodeError:
        raise SheetError(
            "the file is not UTF-8 text", str(path), "save it again with the encoding UTF-8"
        ) from None
    except OSError as error:
        raise SheetError(
            f"the file cannot be read ({error.strerror})",
            str(path),
            "check that you may read it",
        ) from None
    return parse(text, str(path)), text


def parse(text: str, name: str) -> dict[str, Any]:
    """The table in TOML text; `name` is used in errors."""
    try:
        if any(map(_is_deep, text.split("\n"))):
            raise RecursionError
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        found = re.search(r"\(at line (\d+), column (\d+)\)", str(error))
        where = f"{name}, line {found.group(1)}" if found else f"{name}, last line"
        reason = re.sub(r"\s*\(at .*\)$", "", str(error)).lower()
        raise SheetError(
            f"this is not TOML ({reason})", where, 'write  name = "value unit"  with the quotes'
        ) from None
    except ValueError:  # Python refuses to convert more than 4300 digits
        raise SheetError(
            "a number in the file has thousands of digits", name, "write the intended number"
        ) from None
    except RecursionError:
        raise SheetError(
            "the file is nested too deeply", name, "remove the nested brackets"
        ) from None


def text_of(table: Table, remark: str = "") -> str:
    """A table as TOML text, with `remark` as a comment above it.

    Raises
    ------
    SheetError
        The table holds a value that TOML has no form for.
    """
    lines = [f"# {line}" for line in remark.splitlines()] + ([""] if remark else [])
    try:
        body = tomli_w.dumps(table)
    except TypeError as error:
        raise SheetError(
            f"a value cannot be written as TOML ({error})", "sheet", "write it as text in quotes"
        ) from None
    # Half of a surrogate pair, which no UTF-8 file can hold, becomes a question mark.
    return "\n".join([*lines, body.encode("utf-8", "replace").decode()])


def _is_deep(line: str) -> bool:
    """True for a key of more parts than a person writes: the time to read one grows with the square
    of their number.
    """
    keys = line.split("=")[:-1] or (
        [line.partition(",")[0]] if line.lstrip().startswith("[") else []
    )
    return any(key.count(".") > DEEPEST for key in keys)


def line_of(text: str, path: Path_) -> int:
    """The line (from 1) on which the key at `path` is, or its nearest parent; 0 if none does.

    ``("selection", "points", 2, "power")`` is the key ``power`` of the third
    ``[[selection.points]]``.
    """
    lines = _lines(text)
    for length in range(len(path), 0, -1):
        if path[:length] in lines:
            return lines[path[:length]]
    return 0


@lru_cache(maxsize=4)  # a file of limits is asked for hundreds of its lines
def _lines(text: str) -> dict[Path_, int]:
    table: Path_ = ()
    counts: dict[Path_, int] = {}
    found: dict[Path_, int] = {}
    for index, line in enumerate(text.split("\n"), start=1):
        if header := _HEADER.match(line):
            table = _parts(header.group(2))
            if header.group(1):
                counts[table] = counts.get(table, -1) + 1
                found.setdefault(table, index)
                table = (*table, counts[table])
            found.setdefault(table, index)
        elif key := _KEY.match(line):
            found.setdefault((*table, *_parts(key.group(1))), index)
    return found


def _parts(dotted: str) -> Path_:
    return tuple(
        next(g for g in match.groups() if g is not None) for match in _PART.finditer(dotted)
    )


def where(name: str, text: str, path: Path_) -> str:
    """``sheet.toml, line 12, motor.voltage`` for an error."""
    dotted = ".".join(str(p + 1) if isinstance(p, int) else p for p in path)
    line = line_of(text, path)
    return ", ".join(part for part in (name, f"line {line}" if line else "", dotted) if part)
