"""A stage's card: what was found, and what was entered."""

from __future__ import annotations

from startkit.desk.cards.entered import entered
from startkit.desk.cards.pieces import (
    SETTLED,
    Markup,
    Part,
    bullets,
    el,
    heading,
    plots,
    table,
)
from startkit.desk.cards.verdicts import verdict_list

# --- a stage -----------------------------------------------------------------------------------


def stage(part: Part, can_waive: bool) -> dict[str, Markup]:
    """A stage's card in its replaceable pieces."""
    return {
        "head": _stage_head(part),
        "found": _found(part, can_waive),
        "plots": plots(part.get("plots", ())),
        "entered": entered(part),
    }


def _stage_head(part: Part) -> Markup:
    cautions = (
        el("div", el("strong", "Caution"), bullets(part["cautions"]), cls="sk-caution", role="note")
        if part["cautions"]
        else None
    )
    warning = (
        el("p", el("strong", "△ "), part["warning"], cls="sk-warning", role="note")
        if part.get("warning")
        else None
    )
    return el(
        "header",
        heading(part["title"], part["outcome"]),
        el("p", part["purpose"], cls="sk-purpose"),
        cautions,
        warning,
        cls="sk-head",
    )


def _found(part: Part, can_waive: bool) -> Markup:
    """What is not settled comes first, then the figures, then what is settled."""
    figures = [_figure(f) for f in part["figures"]]
    return el(
        "section",
        verdict_list(
            [v for v in part["verdicts"] if v["outcome"] not in SETTLED],
            "To be settled",
            can_waive,
        ),
        el("div", *figures, cls="sk-figures") if figures else None,
        verdict_list(
            [v for v in part["verdicts"] if v["outcome"] in SETTLED], "Settled", can_waive
        ),
        *(table(t) for t in part["tables"]),
        bullets(part["remarks"], "sk-remarks"),
        cls="sk-found",
        aria_label=f"Findings: {part['title']}",
    )


def _figure(found: Part) -> Markup:
    note = el("div", found["note"], cls="sk-note") if found["note"] else None
    value = el(
        "div",
        found["text"],
        el("span", found["uncertainty"], cls="sk-u") if found["uncertainty"] else None,
        cls="sk-value",
    )
    return el("div", el("div", found["label"], cls="sk-label"), value, note, cls="sk-figure")
