"""Verdicts on a card."""

from __future__ import annotations

from collections.abc import Sequence

from startkit.desk.cards.pieces import (
    CSS_NAME,
    SETTLED,
    Markup,
    Part,
    badge,
    el,
)


def verdict_list(judged: Sequence[Part], name: str, can_waive: bool) -> Markup | None:
    """Full verdicts as one list; None if there is none."""
    return (
        el("ul", *(verdict(v, can_waive) for v in judged), cls="sk-verdicts", aria_label=name)
        if judged
        else None
    )


def verdict(judged: Part, can_waive: bool = False) -> Markup:
    """One verdict: word and mark, reading large, limit with its source, what was found, what to do
    next.
    """
    return el(
        "li",
        el(
            "div",
            badge(judged["outcome"]),
            el("strong", judged["title"]),
            _reading(judged),
            cls="sk-verdict-head",
        ),
        el("p", judged["sentence"], cls="sk-sentence"),
        _next(judged),
        _waive_buttons(judged) if can_waive else None,
        cls=f"sk-verdict sk-edge-{_css(judged)}{' sk-quiet' if _is_quiet(judged) else ''}",
        data_verdict=judged["key"],
    )


def _css(judged: Part) -> str:
    outcome: str = judged["outcome"]
    return CSS_NAME.get(outcome, outcome)


def _is_quiet(judged: Part) -> bool:
    """Settled, or not taken: nothing in it has to be read from afar."""
    return judged["outcome"] in ("pass", "n/a") or (
        judged["outcome"] == "open" and not judged["reading"]
    )


def _next(judged: Part) -> Markup | None:
    return (
        el("p", el("strong", "Next: "), judged["next"], cls="sk-next") if judged["next"] else None
    )


def verdict_lines(judged: Sequence[Part], name: str) -> Markup:
    """Verdicts of several stages, a few words each, under the names of their stages."""
    groups: dict[str, list[Markup]] = {}
    for one in judged:
        groups.setdefault(one["stage_title"], []).append(_verdict_line(one))
    return el(
        "div",
        *(
            el("section", el("h4", stage), el("ul", *lines, cls="sk-lines"), aria_label=stage)
            for stage, lines in groups.items()
        ),
        role="group",
        aria_label=name,
    )


def _verdict_line(judged: Part) -> Markup:
    said = el("div", el("strong", judged["title"]), ": ", judged["sentence"], _next(judged))
    return el("li", badge(judged["outcome"]), said, cls="sk-line", data_verdict=judged["key"])


def _reading(judged: Part) -> Markup | None:
    reading = (
        el(
            "span",
            judged["reading"],
            el("span", judged["uncertainty"], cls="sk-u") if judged["uncertainty"] else None,
            cls="sk-value",
        )
        if judged["reading"]
        else None
    )
    source = f" ({judged['source']})" if judged["source"] else ""
    limit = (
        el(
            "span",
            f"limit {judged['limit']}{source}" if judged["limit"] else f"by {judged['source']}",
            cls="sk-limit",
        )
        if judged["limit"] or source
        else None
    )
    return el("div", reading, limit, cls="sk-reading") if reading or limit else None


def _waive_buttons(judged: Part) -> Markup | None:
    if judged["outcome"] in ("waived", "n/a"):
        return el("div", _waive_button(judged, "withdraw", "withdraw …"), cls="sk-actions")
    if judged["outcome"] in SETTLED:
        return None
    buttons = [
        _waive_button(judged, verb, words)
        for verb, words, may in (
            ("waiver", "waive …", "may_waive"),
            ("not_applicable", "does not apply …", "may_lack"),
        )
        if judged.get(may, True)
    ]
    return el("div", *buttons, cls="sk-actions") if buttons else None


def _waive_button(judged: Part, verb: str, words: str) -> Markup:
    return el(
        "button",
        words,
        type="button",
        cls="sk-small",
        data_waive=judged["key"],
        data_verb=verb,
        aria_label=f"{words.rstrip(' …')}: {judged['title']}",
    )
