"""Tables as TOML text: a machine's sheet, a specification's limits."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from typing import Any

from startkit.errors import SheetError

_BARE = re.compile(r"^[A-Za-z0-9_\-]+$")


def text_of(table: Mapping[str, Any], remark: str = "") -> str:
    """The table as TOML: plain values, lists, tables, lists of tables; `remark` stands above.

    Raises
    ------
    SheetError
        A value that such a file does not hold.
    """
    lines = [f"# {line}" for line in remark.splitlines()] + ([""] if remark else [])
    return "\n".join([*lines, *_lines(table, ())]).strip("\n") + "\n"


def _lines(table: Mapping[str, Any], at: tuple[str, ...]) -> Iterator[str]:
    plain = {k: v for k, v in table.items() if not _is_table(v) and not _is_tables(v)}
    inline = {k: v for k, v in table.items() if at == ("limits",) and _is_table(v)}
    if at and (plain or inline or not table):
        yield f"[{_dotted(at)}]"
    yield from (f"{_key(k)} = {_value(v)}" for k, v in {**plain, **inline}.items())
    if plain or inline:
        yield ""
    for key, value in table.items():
        if _is_table(value) and key not in inline:
            yield from _lines(value, (*at, key))
        for row in value if _is_tables(value) else ():
            yield f"[[{_dotted((*at, key))}]]"
            yield from (f"{_key(k)} = {_value(v)}" for k, v in row.items())
            yield ""


def _is_table(value: Any) -> bool:
    return isinstance(value, Mapping)


def _is_tables(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and all(_is_table(row) for row in value)


def _dotted(at: tuple[str, ...]) -> str:
    return ".".join(_key(part) for part in at)


def _key(name: str) -> str:
    return name if _BARE.match(name) else _text(name)


def _text(value: str) -> str:
    # JSON's escapes are TOML's, but for DEL, and for halves of surrogate pairs, which no file can
    # hold.
    return json.dumps(value.encode("utf-8", "replace").decode(), ensure_ascii=False).replace(
        "\x7f", "\\u007f"
    )


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, list | tuple):
        return f"[{', '.join(_value(v) for v in value)}]"
    if _is_table(value):
        return "{ " + ", ".join(f"{_key(k)} = {_value(v)}" for k, v in value.items()) + " }"
    raise SheetError(
        f"{value!r} cannot stand in such a file", "sheet", "write it as text in quotes"
    )
