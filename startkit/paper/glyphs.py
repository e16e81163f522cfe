"""Characters that the bundled fonts can print; all others as their code point in brackets."""

# `Any` here: typst's fonts have no name in its stub; a value is JSON.
from __future__ import annotations

import functools
import re
import sys
from importlib.util import find_spec
from itertools import pairwise
from pathlib import Path
from typing import Any

# Regular and bold set the page; the oblique has fewer scripts and is used only where it covers the
# text.
UPRIGHT = ("DejaVuSans.ttf", "DejaVuSans-Bold.ttf")
OBLIQUE = ("DejaVuSans-Oblique.ttf",)
# Overrides of writing direction can make a page read differently from what was typed: they are
# shown, not obeyed.
_OVERRIDES = frozenset((*range(0x202A, 0x202F), *range(0x2066, 0x206A)))
_LONG_WORD = re.compile(r"\S{26,}")
BREAK = "\u200b"
_FONTS = Path("mpl-data", "fonts", "ttf")


def folder() -> Path:
    """Where the bundled fonts are."""
    # Found without importing it, where pip installed it: setting a page need not be able to draw.
    package = find_spec("matplotlib")
    found = Path(package.origin or "").parent / _FONTS if package is not None else None
    if found is not None and found.is_dir():
        return found
    import matplotlib

    return Path(matplotlib.get_data_path(), *_FONTS.parts[1:])


@functools.cache
def fonts() -> Any:
    """The bundled fonts for Typst, looked through once in a process: a quarter of a second each
    time.
    """
    import typst

    return typst.Fonts(
        include_system_fonts=False, include_embedded_fonts=False, font_paths=[str(folder())]
    )


@functools.cache
def covered(names: tuple[str, ...] = UPRIGHT) -> frozenset[int]:
    """Code points that every one of these fonts has."""
    from fontTools.ttLib import TTFont

    sets = [frozenset(TTFont(folder() / name, lazy=True).getBestCmap()) for name in names]
    return frozenset.intersection(*sets) - _OVERRIDES


def printable(text: str) -> str:
    """`text` with line ends and tabs made plain and every missing glyph as ``[U+1F9EF]``."""
    plain = text.replace("\r\n", "\n").replace("\r", "\n").replace("\t", "    ")
    return _lacking().sub(lambda found: f"[U+{ord(found.group()):04X}]", plain)


@functools.cache
def _lacking() -> re.Pattern[str]:
    """A character that is no end of line and not covered."""
    known = sorted({ord("\n"), *covered()})
    ends = [(a, b) for a, b in pairwise([-2, *known, sys.maxunicode + 2]) if b - a > 1]
    spans = [(high, low) for (_, high), (low, _) in pairwise(ends)]
    return re.compile(
        "[^" + "".join(f"{re.escape(chr(a))}-{re.escape(chr(b))}" for a, b in spans) + "]"
    )


def breakable(text: str) -> str:
    """`text` with places to break inside words that would not fit a column."""
    return _LONG_WORD.sub(lambda found: BREAK.join(_pieces(found.group())), text)


def _pieces(word: str, length: int = 8) -> list[str]:
    return [word[i : i + length] for i in range(0, len(word), length)]


def oblique(text: str) -> bool:
    """True if the oblique font can set the whole text."""
    return all(ord(ch) in covered(OBLIQUE) for ch in text)


VERBATIM = frozenset(
    {
        "svg",
        "file",
        "sha256",
        "part",
        "block",
        "key",
        "when",
        "first_entry",
        "last_entry",
        "journal_digest",
    }
)


def for_print(value: Any, key: str = "") -> Any:
    """A JSON value with every text made printable, except under the keys in `VERBATIM`."""
    if isinstance(value, dict):
        return {k: for_print(v, k) for k, v in value.items()}
    if isinstance(value, list):
        return [for_print(v, key) for v in value]
    return breakable(printable(value)) if isinstance(value, str) and key not in VERBATIM else value
