"""Cards: a part of the record as HTML and as plain text; nothing is calculated here."""

# `Any` here: a part is JSON; a live view comes from anywidget, which has no types.
from __future__ import annotations

from functools import lru_cache
from importlib import resources
from typing import Any

from startkit.desk.cards.front import (
    BROKEN,
    RESCUE,
    error,
    front,
    handover,
    hold,
    hold_slots,
    register,
)
from startkit.desk.cards.pieces import Markup, Part, aligned_column, el, plots, table
from startkit.desk.cards.plain import plain
from startkit.desk.cards.stage import stage
from startkit.desk.cards.verdicts import verdict
from startkit.procedure import payload


@lru_cache(maxsize=1)
def style() -> str:
    """The cards' style sheet."""
    return (resources.files("startkit.desk") / "static" / "card.css").read_text(encoding="utf-8")


def html(part: Part, as_of: str = "") -> Markup:
    """A whole part with its style, for a cell's output.

    Parameters
    ----------
    part : mapping
        From `startkit.procedure.payload`; a stage also has ``plots``.
    as_of : str
        Time of the state that is shown; it may have changed since.
    """
    stamp = el("p", f"as of {as_of}", cls="sk-asof") if as_of else None
    # JupyterLab sets text between $ signs as a formula, which a note about prices or a
    # `\\href` is not.
    return el(
        "div",
        Markup(f"<style>{style()}</style>"),
        *slots(part).values(),
        stamp,
        cls=f"sk mathjax_ignore tex2jax_ignore sk-part-{part['part']}",
    )


def slots(part: Part, can_waive: bool = False) -> dict[str, Markup]:
    """The pieces of a part that are replaced on their own: ``head``, ``found``, ``plots``,
    ``entered``.
    """
    draw = {
        "front": front,
        "stage": stage,
        "hold": hold_slots,
        "handover": handover,
        "register": register,
        "error": error,
    }[part["part"]]
    return draw(part, can_waive)


class CellOutput:
    """One cell's output: text, HTML, the part as data, and in form mode the live view."""

    # The view is a widget of the form, typed by its base elsewhere: a record never loads it.
    def __init__(self, part: dict[str, Any], as_of: str = "", view: Any = None) -> None:
        self.part, self.as_of, self.view = part, as_of, view

    def _repr_mimebundle_(
        self, include: Any = None, exclude: Any = None
    ) -> tuple[dict[str, Any], dict[str, Any]]:
        live, metadata = self.view._repr_mimebundle_() if self.view is not None else ({}, {})
        return {
            **live,
            "text/plain": plain(self.part),
            "text/html": str(html(self.part, self.as_of)),
            payload.MIME: self.part,
        }, metadata


__all__ = [
    "BROKEN",
    "RESCUE",
    "CellOutput",
    "Part",
    "aligned_column",
    "hold",
    "html",
    "plain",
    "plots",
    "slots",
    "style",
    "table",
    "verdict",
]
