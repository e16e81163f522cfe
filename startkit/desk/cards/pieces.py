"""Pieces of a card: elements whose texts are escaped, badges, headings, lists, folds, tables."""

# `Any` here: a part is JSON, in the schema of `startkit.procedure.payload`.
from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from markupsafe import Markup, escape

from startkit.verdict import Outcome

MARKS = {outcome.value: outcome.mark for outcome in Outcome}
SETTLED = {outcome.value for outcome in Outcome if outcome.settled}
CSS_NAME = {"n/a": "na"}
_FIGURE_SPACE, _PUNCTUATION_SPACE = "\u2007", "\u2008"
# On a focused element without this mark JupyterLab takes keys for its own: "d d" deletes the cell.
OWN_KEYS = {"data_lm_suppress_shortcuts": "true"}
Part = Mapping[str, Any]


# --- small pieces ------------------------------------------------------------------------------


# --- elements that cannot be typed in -----------------------------------------------------------

_VOID = frozenset({"br", "hr", "wbr"})
_NAMES = {"cls": "class", "for_": "for"}


def el(name: str, *children: object, **attributes: object) -> Markup:
    """One element.

    Parameters
    ----------
    name : str
    *children
        `Markup` is kept as it is, None is left out, anything else is escaped as text.
    **attributes
        ``cls`` becomes ``class``, ``_`` becomes ``-``; None and False are left out, True is written
        without a value.
    """
    head = name + "".join(_attribute(key, value) for key, value in attributes.items())
    if name in _VOID:
        return Markup(f"<{head}>")
    return Markup(f"<{head}>{join(children)}</{name}>")


def _attribute(key: str, value: object) -> str:
    if value is None or value is False:
        return ""
    shown = _NAMES.get(key, key.replace("_", "-"))
    return f" {shown}" if value is True else f' {shown}="{escape(str(value))}"'


def join(parts: Iterable[object]) -> Markup:
    """Parts one after another; None is left out."""
    return Markup("").join(escape(part) for part in parts if part is not None)


def badge(outcome: str) -> Markup:
    """Mark and word of an outcome; the colour only repeats them."""
    mark = el("span", MARKS[outcome], cls="sk-mark", aria_hidden="true")
    return el("span", mark, " ", outcome, cls=f"sk-badge sk-{CSS_NAME.get(outcome, outcome)}")


def moment(iso: str) -> str:
    """``2026-11-25T14:32:05.123+01:00`` as ``2026-11-25 14:32``."""
    return iso[:16].replace("T", " ")


def heading(title: str, outcome: str | None = None, level: int = 3) -> Markup:
    """A title with its badge."""
    return el("div", el(f"h{level}", title), badge(outcome) if outcome else None, cls="sk-heading")


def bullets(items: Iterable[object], cls: str = "") -> Markup | None:
    """A list; None if it is empty."""
    rows = [el("li", item) for item in items]
    return el("ul", *rows, cls=cls or None) if rows else None


def counted(n: int, one: str, many: str) -> str:
    """A number with its noun."""
    return f"{n} {one if n == 1 else many}"


def fold(key: str, summary: object, *body: object, is_open: bool = False) -> Markup:
    """Content that is folded away under a summary."""
    return el("details", el("summary", summary, **OWN_KEYS), *body, data_key=key, open=is_open)


def plots(drawn: Iterable[Mapping[str, str]]) -> Markup:
    """The plots of a stage; each is an SVG that this package drew."""
    figures = [
        el("figure", Markup(p["svg"]), el("figcaption", p["title"]), cls="sk-plot") for p in drawn
    ]
    return el("div", *figures, cls="sk-plots") if figures else Markup("")


# --- tables ------------------------------------------------------------------------------------


def table(found: Part, title: str | None = None) -> Markup:
    """A table with the unit in the head and decimal marks below one another."""
    columns = found["columns"]
    aligned = [
        (
            aligned_column([row[i] for row in found["rows"]])
            if c["align"] == "decimal"
            else [row[i] for row in found["rows"]]
        )
        for i, c in enumerate(columns)
    ]
    head = el(
        "tr",
        *(
            el(
                "th",
                c["label"],
                el("span", c["unit"], cls="sk-unit") if c["unit"] else None,
                scope="col",
                cls=_align(c),
            )
            for c in columns
        ),
    )
    body = [
        el("tr", *(el("td", cell, cls=_align(c)) for cell, c in zip(row, columns, strict=True)))
        for row in zip(*aligned, strict=True)
    ]
    note = el("p", found["note"], cls="sk-note") if found.get("note") else None
    caption = el("caption", found["title"] if title is None else title)
    return el(
        "div",
        el("table", caption, el("thead", head), el("tbody", *body)),
        note,
        cls="sk-table",
        tabindex="0",
        role="group",
        aria_label=found.get("title") or title,
        **OWN_KEYS,
    )


def _align(column: Part) -> str | None:
    return "sk-num" if column["align"] == "decimal" else None


_NUMBER = re.compile(r"^([−+\-]?\d[\d\s']*)(?:([.,])(\d+))?$")


def aligned_column(cells: Sequence[str]) -> list[str]:
    """Cells filled up with blanks as wide as figures, so that right-aligned decimal marks meet."""
    matches = [_NUMBER.match(cell) for cell in cells]
    places = max((len(m.group(3) or "") for m in matches if m), default=0)
    return [cell + _fill(m, places) if m else cell for cell, m in zip(cells, matches, strict=True)]


def _fill(match: re.Match[str], places: int) -> str:
    decimals = len(match.group(3) or "")
    mark = _PUNCTUATION_SPACE if places and not decimals else ""
    return mark + _FIGURE_SPACE * (places - decimals)
