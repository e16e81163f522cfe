"""Inputs for fuzzing: seeds with edits, the same whether hypothesis, atheris or chance draws the
edits.
"""

from __future__ import annotations

import random
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

KINDS = ("span", "span", "span", "insert", "delete", "double", "flip", "cut", "line", "swap")
# What breaks readers of text: numbers at their ends, marks of other notations, long runs, signs
# that no font has.
TOKENS: tuple[bytes, ...] = (
    b"",
    b" ",
    b"0",
    b"-1",
    b"1e400",
    b"-1e-400",
    b"nan",
    b"inf",
    b"1,234",
    b"1.234,5",
    b"9" * 400,
    b"12 kPa",
    b'"12 kPa"',
    b"7 parsec",
    b"100 %",
    b"60 psig",
    b"-60 psig",
    b"30 inHg vac",
    b"true",
    b"[]",
    b"{}",
    b'""',
    b"'",
    b'"',
    b"''' '''",
    b'"""',
    b"\n",
    b"\r\n",
    b"\t",
    b";",
    b",",
    b"|",
    b"=",
    b".",
    b"..",
    b"\\",
    b"#",
    b"\x00",
    b"\x1b[2J",
    b"\xff\xfe",
    b"\xef\xbb\xbf",
    b"\x80",
    "−5".encode(),
    "①".encode(),
    "٣".encode(),
    "²".encode(),
    "\u202e".encode(),
    "\u2028".encode(),
    "\U0001f9ef".encode(),
    "é".encode("latin-1"),
    b" " * 3000,
    b"9" * 3000,
    b"[" * 3000,
    b"(" * 2000,
    b"," * 3000,
    b"\t" * 3000,
    b"\n" * 3000,
    b"a." * 2000,
    b"{a=" * 800,
    b'"a"' * 1000,
    b"A" * 5000,
    b"-" * 3000,
    b"1 " * 2000,
    b"'" * 2001,
    b"2026-11-25T14:30:00+01:00",
    b"2026-02-30",
    b"0001-01-01T00:00:00+14:00",
    b"9999-12-31T23:59:59-14:00",
    b"1979-05-27",
    b"07:32:00",
    b"24:00",
    b"1e9",
    b"99999999999999999999",
    b"<script>alert(1)</script>",
    b"#import",
    b"\\input{x}",
    b"=cmd|' /C calc'!A1",
    b"../../x",
    b"file:///etc/passwd",
    b"&a;",
    b"%s",
    b"%n",
    b"{0}",
    b"${x}",
)


@dataclass(frozen=True)
class Edit:
    """One change of an input.

    Parameters
    ----------
    kind : str
        One of `KINDS`; ``"span"`` puts `token` in the place of a value.
    at : float
        Where, as a share of the whole.
    length : int
        Of what is taken away.
    token : bytes
    """

    kind: str
    at: float
    length: int
    token: bytes


def edited(seed: bytes, edits: Iterable[Edit], spans: re.Pattern[bytes]) -> bytes:
    """A seed after its edits.

    Parameters
    ----------
    seed : bytes
    edits : iterable of Edit
    spans : re.Pattern
        What counts as a value in this kind of file.
    """
    data = seed
    for edit in edits:
        data = _EDITS[edit.kind](data, int(edit.at * len(data)), edit, spans)[:200_000]
    return data


def _span(data: bytes, at: int, edit: Edit, spans: re.Pattern[bytes]) -> bytes:
    found = [match.span() for match in spans.finditer(data)]
    if not found:
        return edit.token
    begin, end = found[min(int(edit.at * len(found)), len(found) - 1)]
    return data[:begin] + edit.token + data[end:]


def _line(data: bytes, at: int, edit: Edit, spans: re.Pattern[bytes]) -> bytes:
    """One line goes to another place, or is there twice."""
    lines = data.splitlines(keepends=True)
    if not lines:
        return data
    line = lines[min(int(edit.at * len(lines)), len(lines) - 1)]
    if edit.length % 2:
        lines.remove(line)
    lines.insert(edit.length % (len(lines) + 1), line)
    return b"".join(lines)


def _swap(data: bytes, at: int, edit: Edit, spans: re.Pattern[bytes]) -> bytes:
    """Two values change places."""
    found = [match.span() for match in spans.finditer(data)]
    if len(found) < 2:
        return data
    (a, b), (c, d) = sorted(
        (found[int(edit.at * len(found)) % len(found)], found[edit.length % len(found)])
    )
    return data if a == c else data[:a] + data[c:d] + data[b:c] + data[a:b] + data[d:]


def _flip(data: bytes, at: int, edit: Edit, spans: re.Pattern[bytes]) -> bytes:
    return (
        data[:at] + bytes((data[at] ^ (1 << edit.length % 8),)) + data[at + 1 :]
        if at < len(data)
        else data
    )


_EDITS = {
    "span": _span,
    "line": _line,
    "swap": _swap,
    "flip": _flip,
    "insert": lambda data, at, edit, spans: data[:at] + edit.token + data[at:],
    "delete": lambda data, at, edit, spans: data[:at] + data[at + edit.length :],
    "double": lambda data, at, edit, spans: data[:at] + data[at : at + edit.length] + data[at:],
    "cut": lambda data, at, edit, spans: data[:at],
}


def by_chance(
    chance: random.Random,
    seeds: Sequence[bytes],
    spans: re.Pattern[bytes],
    tokens: Sequence[bytes] = TOKENS,
) -> bytes:
    """A seed with a few edits drawn by chance."""
    edits = [
        Edit(
            chance.choice(KINDS),
            chance.random(),
            int(chance.expovariate(1 / 30)),
            (
                chance.choice(tokens)
                if chance.random() < 0.9
                else chance.randbytes(chance.randrange(12))
            ),
        )
        for _ in range(chance.choice((1, 1, 1, 2, 2, 3, 5, 8)))
    ]
    return edited(chance.choice(seeds), edits, spans)
