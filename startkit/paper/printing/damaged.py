"""Pictures that Typst cannot draw: a notice replaces each, so that the rest is printed."""

# `Any` here: typst's stub does not say that one page is bytes.
from __future__ import annotations

from collections.abc import Iterable
from io import BytesIO
from pathlib import Path
from typing import Any, Literal

from startkit.facts import file_types
from startkit.paper import glyphs

_NOTICE = """#set page(width: 90mm, height: 30mm, margin: 5mm)
#set text(size: 10pt)
#rect(width: 100%, height: 100%, stroke: 0.6pt, align(center + horizon)[This picture is damaged and
cannot be printed.])
"""


def replaced(root: Path, names: Iterable[str]) -> bool:
    """Put a notice in place of each picture in a folder that cannot be drawn; True if there was
    one.
    """
    damaged = [name for name in names if not _is_drawn(root, name)]
    for name in damaged:
        (root / name).write_bytes(_notice(root, file_types.suffix(name)))
    return bool(damaged)


def _is_drawn(root: Path, name: str) -> bool:
    import typst

    try:
        _set(root, f'#image("{name}", width: 10mm)\n', "pdf")
    except typst.TypstError:
        return False
    return True


def _notice(root: Path, suffix: str) -> bytes:
    from PIL import Image

    out = BytesIO()
    with Image.open(BytesIO(_set(root, _NOTICE, "png"))) as drawn:
        drawn.convert("RGB").save(out, "PNG" if suffix == ".png" else "JPEG")
    return out.getvalue()


def _set(root: Path, text: str, form: Literal["pdf", "png"]) -> bytes:
    import typst

    page = root / "one-picture.typ"
    page.write_text(text, encoding="utf-8")
    try:
        made: Any = typst.Compiler(  # its stub does not say that one page is bytes
            str(page), root=str(root), font_paths=glyphs.fonts(), ignore_system_fonts=True
        ).compile(format=form)
    finally:
        page.unlink()
    return bytes(made)
