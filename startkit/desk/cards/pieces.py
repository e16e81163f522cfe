"""Small pieces of a card: badges, headings, lists, folds, plots and tables."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from startkit.desk.markup import Markup, el
from startkit.verdict import Outcome

MARKS = {outcome.value: outcome.mark for outcome in Outcome}
SETTLED = {outcome.value for outcome in Outcome if outcome.settled}
CSS_NAME = {"n/a": "na"}
_FIGURE_SPACE, _PUNCTUATION_SPACE = "\u2007", "\u2008"
# On a focused element without this mark JupyterLab takes keys for its own: "d d" deletes the cell.
OWN_KEYS = {"data_lm_suppress_shortcuts": "true"}
Part = Mapping[str, Any]


# --- small pieces ------------------------------------------------------------------------------


def badge(outcome: str) -> Markup:
    """Mark and word of an outcome; the colour only repeats them."""
    mark = el("span", MARKS[outcome], cls="sk-mark", aria_hidden="true")
    return el("span", mark, " ", outcome, cls=f"sk-badge sk-{CSS_NAME.get(outcome, outcome)}")


def moment(iso: str) -> str:
    """``2026-11-25T14:32:05.123+01:00`` as ``2026-11-25 14:32``."""
    return iso[:16].replace("T", " ")


def heading(title: str, outcome: str | None = None, level: int = 3) -> Markup:
    return el("div", el(f"h{level}", title), badge(outcome) if outcome else None, cls="sk-heading")


def bullets(items: Iterable[object], cls: str = "") -> Markup | None:
    rows = [el("li", item) for item in items]
    return el("ul", *rows, cls=cls or None) if rows else None


def counted(n: int, one: str, many: str) -> str:
    return f"{n} {one if n == 1 else many}"


def fold(key: str, summary: object, *body: object, is_open: bool = False) -> Markup:
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
