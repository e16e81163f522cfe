"""SVG from a notebook: taken only if it is whole in itself, runs nothing and fetches nothing."""

from __future__ import annotations

import base64
import re
from xml.etree import ElementTree

from startkit.errors import PaperError
from startkit.facts import pictures
from startkit.paper import glyphs

_REFUSED = {"script", "foreignObject", "iframe", "audio", "video"}
_URL = re.compile(r"url\(\s*['\"]?#([^'\")\s]+)")
LARGEST, DEEPEST = 8_000_000, 100  # characters of a drawing; elements inside one another
MOST_LETTERS, MOST_COPIES = 20_000, 300_000  # in its texts; elements once every copy is drawn
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
    if len(text) > LARGEST:
        raise PaperError("the drawing is too large", where, "draw it with fewer points")
    if "<!ENTITY" in text:
        raise PaperError("the drawing defines entities of its own", where, "draw it without them")
    try:
        # Standard parser: it neither fetches nor expands anything once entities are refused above.
        root = ElementTree.fromstring(text)
    except (ElementTree.ParseError, ValueError):
        raise PaperError("the drawing is not SVG", where, "run the notebook again") from None
    _refuse_flood(root, where)
    changed = False
    for element in root.iter():
        _check(element, where)
        changed |= _made_printable(element)
    return _written(root) if changed else text


def _refuse_flood(root: ElementTree.Element, where: str) -> None:
    """A small drawing may ask for work without end: letters, nested copies, embedded pictures."""
    letters, deep = 0, [(root, 1)]
    while deep:
        element, depth = deep.pop()
        letters += len(element.text or "") if _name(element) != "style" else 0
        letters += len(element.tail or "")
        if depth > DEEPEST or letters > MOST_LETTERS or pictures.flood(_embedded(element)):
            raise PaperError("the drawing has more elements than can be drawn", where, "draw less")
        deep += [(child, depth + 1) for child in element]
    if _copies(root) > MOST_COPIES:
        raise PaperError("the drawing repeats itself too often", where, "draw less")


def _embedded(element: ElementTree.Element) -> bytes:
    """The beginning of a picture inside the drawing."""
    link = element.get("href") or element.get(_XLINK) or ""
    if not link.startswith("data:"):
        return b""
    start = "".join(link.partition(",")[2][:400_000].split())
    try:
        return base64.b64decode(start[: len(start) // 4 * 4])
    except ValueError:
        return b""


def _copies(root: ElementTree.Element) -> int:
    """How many elements are drawn once every copy is made; one more than allowed for a circle."""
    targets = {name: element for element in root.iter() if (name := element.get("id"))}
    known: dict[int, int] = {}

    def size(element: ElementTree.Element) -> int:
        if id(element) not in known:
            known[id(element)] = MOST_COPIES + 1  # stays so where it refers to itself
            linked = [targets[name] for name in _referred(element) if name in targets]
            total = 1 + sum(map(size, element)) + sum(map(size, linked))
            known[id(element)] = min(total, MOST_COPIES + 1)
        return known[id(element)]

    try:
        return size(root)
    except RecursionError:
        return MOST_COPIES + 1


def _referred(element: ElementTree.Element) -> list[str]:
    """What an element draws again: by `use`, and as fill, stroke, mask, clip or marker."""
    found = [_URL.findall(value) for value in element.attrib.values() if "url(" in value]
    links = [name for names in found for name in names]
    if _name(element) == "a":
        return links
    link = element.get("href") or element.get(_XLINK) or ""
    return [*links, link[1:]] if link.startswith("#") else links


def _name(element: ElementTree.Element) -> str:
    return str(element.tag).rpartition("}")[2]


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
    name = _name(element)
    link = element.get("href") or element.get(_XLINK) or ""
    outside = (
        bool(link)
        and not link.startswith(("#", "data:image/png;base64,", "data:image/jpeg;base64,"))
        and name != "a"
    )
    styled = any(_OUTSIDE.search(value) for value in element.attrib.values()) or (
        name == "style" and _OUTSIDE.search(element.text or "")
    )
    if name.startswith("fe"):  # the pixels of a filter may take any time
        raise PaperError(f"the drawing uses the filter {name}", where, "draw it without filters")
    if name in _REFUSED or outside or styled:
        raise PaperError(
            f"the drawing refers to something outside itself ({name})",
            where,
            "draw it without links, scripts or embedded pages",
        )


def _made_printable(element: ElementTree.Element) -> bool:
    """Replace what the fonts lack, in text that is drawn."""
    if _name(element) not in ("text", "tspan", "textPath"):
        return False
    before = (element.text, element.tail)
    element.text, element.tail = (glyphs.printable(t) if t else t for t in before)
    return before != (element.text, element.tail)


def _written(root: ElementTree.Element) -> str:
    ElementTree.register_namespace("", "http://www.w3.org/2000/svg")
    ElementTree.register_namespace("xlink", "http://www.w3.org/1999/xlink")
    return ElementTree.tostring(root, encoding="unicode")
