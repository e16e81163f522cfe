"""SVG from a notebook: taken only if it is whole in itself, runs nothing and fetches nothing."""

from __future__ import annotations

import re
from xml.etree import ElementTree

from startkit.errors import PaperError
from startkit.paper import glyphs

_REFUSED = {"script", "foreignObject", "iframe", "audio", "video"}
_XLINK = "{http://www.w3.org/1999/xlink}href"
_OUTSIDE = re.compile(r"url\(\s*['\"]?(?!\s*#)|@import", re.IGNORECASE)

_COLOUR = re.compile(r"#([0-9a-fA-F]{6})\b")


def safe(text: str, where: str) -> str:
    """The drawing, with characters that no bundled font has as code points.

    Raises
    ------
    PaperError
        Not SVG, or it asks for something outside itself.
    """
    if "<!ENTITY" in text:
        raise PaperError("the drawing defines entities of its own", where, "draw it without them")
    try:
        # Standard parser: it neither fetches nor expands anything once entities are refused above.
        root = ElementTree.fromstring(text)
    except (ElementTree.ParseError, ValueError):
        raise PaperError("the drawing is not SVG", where, "run the notebook again") from None
    changed = False
    for element in root.iter():
        _check(element, where)
        changed |= _made_printable(element)
    return _written(root) if changed else text


def grey(text: str) -> str:
    """The drawing with its colours as greys of the same lightness: what a copier makes of them
    anyway.
    """
    return _COLOUR.sub(lambda found: _grey(found.group(1)), text)


def _grey(digits: str) -> str:
    red, green, blue = (int(digits[i : i + 2], 16) for i in (0, 2, 4))
    level = round(0.2126 * red + 0.7152 * green + 0.0722 * blue)  # luma, ITU-R BT.709
    return f"#{level:02x}{level:02x}{level:02x}"


def _check(element: ElementTree.Element, where: str) -> None:
    name = str(element.tag).rpartition("}")[2]
    link = element.get("href") or element.get(_XLINK) or ""
    outside = (
        bool(link)
        and not link.startswith(("#", "data:image/png;base64,", "data:image/jpeg;base64,"))
        and name != "a"
    )
    styled = any(_OUTSIDE.search(value) for value in element.attrib.values()) or (
        name == "style" and _OUTSIDE.search(element.text or "")
    )
    if name in _REFUSED or outside or styled:
        raise PaperError(
            f"the drawing asks for something outside itself ({name})",
            where,
            "draw it without links, scripts or embedded pages",
        )


def _made_printable(element: ElementTree.Element) -> bool:
    """Replace what the fonts lack, in text that is drawn."""
    if str(element.tag).rpartition("}")[2] not in ("text", "tspan", "textPath"):
        return False
    before = (element.text, element.tail)
    element.text, element.tail = (glyphs.printable(t) if t else t for t in before)
    return before != (element.text, element.tail)


def _written(root: ElementTree.Element) -> str:
    ElementTree.register_namespace("", "http://www.w3.org/2000/svg")
    ElementTree.register_namespace("xlink", "http://www.w3.org/1999/xlink")
    return ElementTree.tostring(root, encoding="unicode")
