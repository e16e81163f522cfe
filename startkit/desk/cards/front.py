"""The cards of the whole job: front, hold points, handover, registers, errors."""

from __future__ import annotations

from collections.abc import Sequence

from startkit.desk.cards.entered import correction
from startkit.desk.cards.pieces import (
    MARKS,
    Markup,
    Part,
    badge,
    bullets,
    counted,
    el,
    fold,
    heading,
    join,
    moment,
    plots,
    table,
)
from startkit.desk.cards.verdicts import verdict_lines
from startkit.facts.kept_files import REMEDY

# --- hold points, front, handover --------------------------------------------------------------


def hold_slots(part: Part, can_waive: bool) -> dict[str, Markup]:
    """A hold point's card."""
    return {"head": hold(part)}


def hold(part: Part, large: bool = True) -> Markup:
    """A hold point: its headline in the largest type of the page, and the items in its way."""
    outcome = "pass" if part["clear"] else "fail"
    mark = el("span", MARKS[outcome], cls="sk-mark", aria_hidden="true")
    headline = el(
        "p",
        mark,
        " ",
        part["headline"],
        cls="sk-headline" if large else "sk-headline-small",
        role="heading",
        aria_level="3",
    )
    if not large:
        return el(
            "div",
            headline,
            el("span", _in_short(part), cls="sk-note"),
            *_passed(part),
            cls=f"sk-hold-line sk-edge-{outcome}",
        )
    reasons = verdict_lines(part["in_the_way"], "In the way") if part["in_the_way"] else None
    waived = (
        fold(
            f"waived-{part['hold']}",
            f"Waived: {len(part['waived'])}",
            verdict_lines(part["waived"], "Waived"),
            is_open=True,
        )
        if part["waived"]
        else None
    )
    return el(
        "section",
        headline,
        el("p", _in_short(part), cls="sk-note"),
        *_passed(part),
        _release_form(part),
        reasons,
        waived,
        cls=f"sk-hold sk-{outcome}-hold",
        aria_label=part["headline"],
    )


def _passed(part: Part) -> list[Markup]:
    """Who released it, and what came before that."""
    said = [part["release"]] if part.get("release") else []
    return [
        *(el("p", words, cls="sk-released") for words in said),
        *(el("p", words, cls="sk-early") for words in part.get("early", ())),
    ]


def _release_form(part: Part) -> Markup | None:
    """A name and one button; a second name only where the specification asks for a witness."""
    ask = part.get("ask")
    if not ask:
        return None
    withdraws = ask["verb"] == "withdraw"
    label = "Withdrawn by" if withdraws else "Released by"
    names = [_name(part, "who", label, ask["who"], ask["chosen"])]
    if ask["witnessed"]:
        names.append(_name(part, "witness", "Witness", ask["witness"], ""))
    words = f"{'Withdraw the release' if withdraws else 'Release'} {ask['step']}"
    form = el(
        "div",
        *names,
        el(
            "button",
            words,
            type="button",
            cls=None if withdraws else "sk-main",
            data_release=part["hold"],
            data_verb=ask["verb"],
        ),
        el("p", cls="sk-state", role="status"),
        cls="sk-release",
        role="group",
        aria_label=words,
    )
    return fold(f"withdraw-{part['hold']}", "Withdraw …", form) if withdraws else form


def _name(part: Part, which: str, label: str, names: Sequence[str] | None, chosen: str) -> Markup:
    """A choice of the people who may; typed where the job keeps no list of people."""
    key = f"{part['hold']}-{which}"
    control = (
        el("input", type="text", id=key, data_name=which, value=chosen, autocomplete="off")
        if names is None
        else el(
            "select",
            el("option", "choose a name", value=""),
            *(el("option", n, value=n, selected=n == chosen) for n in names),
            id=key,
            data_name=which,
        )
    )
    return el("div", el("label", label, for_=key), control)


def _in_short(part: Part) -> str:
    if part["clear"]:
        waived = (
            f", {counted(len(part['waived']), 'of them waived', 'of them waived')}"
            if part["waived"]
            else ""
        )
        return f"{counted(part['needed'], 'verdict', 'verdicts')} settled{waived}."
    return (
        f"{len(part['in_the_way'])} of {counted(part['needed'], 'verdict', 'verdicts')}"
        " not settled."
        if part["needed"]
        else "Nothing judged yet."
    )


def front(part: Part, can_waive: bool) -> dict[str, Markup]:
    """The front card: the whole job on one screen."""
    pieces = (
        _broken(part["faults"]),
        _changed(part.get("changed", ())),
        _machine(part),
        _do_next(part["next"]),
        el("div", *(hold(h, large=False) for h in part["holds"]), cls="sk-holds"),
        _progress(part),
        _not_passed(part),
        _job_line(part),
    )
    return {"head": el("section", *pieces, cls="sk-front", aria_label="State of the job")}


BROKEN = "The journal was altered or damaged: do not rely on this job"
RESCUE = (
    "Leave the folder as it is, look for a good copy, and save what can be read with `startkit"
    " rescue`."
)


def _broken(faults: Sequence[str]) -> Markup | None:
    """Always first on the card, and never folded away."""
    if not faults:
        return None
    mark = el("span", MARKS["fail"], cls="sk-mark", aria_hidden="true")
    more = [f"and {len(faults) - 5} more places"] if len(faults) > 5 else []
    return el(
        "section",
        el("p", mark, " ", BROKEN, cls="sk-headline"),
        bullets([*faults[:5], *more]),
        el("p", RESCUE),
        cls="sk-error",
        role="alert",
    )


def _changed(sentences: Sequence[str]) -> Markup | None:
    """Files of the job that are not those in its journal."""
    if not sentences:
        return None
    return el(
        "section",
        el("p", el("strong", "Changed after the fact")),
        bullets([f"{sentence}." for sentence in sentences]),
        el("p", REMEDY),
        cls="sk-changed",
        role="note",
    )


def _machine(part: Part) -> Markup:
    facts = part["machine"]
    words = (
        "work",
        "maker",
        "model",
        "serial",
        "year",
        "refrigerant",
        "capacity",
        "power",
        "starter",
        "full_load_current",
        "elevation",
        "selection",
    )
    pairs = [(name.replace("_", " "), facts.get(name, "")) for name in words if facts.get(name)]
    return join(
        (
            heading(f"{facts['tag']} · {facts['plant']}", part["outcome"]),
            el("dl", *(el("div", el("dt", k), el("dd", v)) for k, v in pairs), cls="sk-facts"),
        )
    )


def _do_next(step: Part) -> Markup:
    where = f"{step['title']}: {step['what']}" if step["title"] else step["what"]
    return el(
        "div",
        el("span", "Do next", cls="sk-label"),
        el("div", where, cls="sk-value"),
        el("div", step["do"]),
        cls="sk-do-next",
    )


def _progress(part: Part) -> Markup:
    done, of = (sum(stage[key] for stage in part["stages"]) for key in ("settled", "of"))
    bar = el(
        "div",
        el("span", "Whole job", cls="sk-stage-title"),
        _bar(done, of),
        cls="sk-stage-line",
        role="listitem",
    )
    return el(
        "div",
        *map(_stage_line, part["stages"]),
        bar,
        cls="sk-stages",
        role="list",
        aria_label="Stages",
    )


def _stage_line(line: Part) -> Markup:
    begun = "" if line["started"] else " (not begun)"
    return el(
        "div",
        el("span", line["title"] + begun, cls="sk-stage-title"),
        badge(line["outcome"]),
        _bar(line["settled"], line["of"]),
        cls="sk-stage-line",
        role="listitem",
    )


def _bar(done: int, of: int) -> Markup:
    words = f"{done} of {of} settled"
    return el(
        "span",
        el("progress", words, value=done, max=max(of, 1), aria_label=words),
        el("span", words, cls="sk-note"),
        cls="sk-bar",
    )


def _not_passed(part: Part) -> Markup | None:
    rows = part["not_passed"]
    if not rows:
        return None
    return fold(
        "not-passed",
        f"Not passed: {counted(len(rows), 'item', 'items')}",
        verdict_lines(rows, "Not passed"),
        is_open=len(rows) <= 5,
    )


def _job_line(part: Part) -> Markup:
    span = (
        f"{moment(part['first_entry'])} to {moment(part['last_entry'])}"
        if part["first_entry"]
        else "none yet"
    )
    people = ", ".join(
        f"{p['name']} ({p['role']})" if p["role"] else p["name"]
        for p in part["people"]
        if p["name"]
    )
    words = [
        f"{counted(part['entries'], 'entry', 'entries')}, {span}",
        counted(part["corrections"], "correction", "corrections"),
        f"units: {part['units']}",
    ]
    return join(
        (
            el("p", " · ".join(words + ([f"people: {people}"] if people else [])), cls="sk-note"),
            *(el("p", said, cls="sk-note") for said in part["clock"]),
        )
    )


def handover(part: Part, can_waive: bool) -> dict[str, Markup]:
    """Open items, corrections and statements."""
    opened = (
        verdict_lines(part["open_items"], "Open items")
        if part["open_items"]
        else el("p", "No open items.")
    )
    corrections = (
        fold(
            "corrections",
            f"Corrections: {len(part['corrections'])}",
            bullets(map(correction, part["corrections"])),
        )
        if part["corrections"]
        else el("p", "No corrections.")
    )
    lines = [
        el(
            "div",
            el("p", s["statement"]),
            el("div", f"{s['name']}{', ' + s['role'] if s['role'] else ''}", cls="sk-signature"),
            cls="sk-statement",
        )
        for s in part["statements"]
    ]
    head = el(
        "section",
        heading("Handover"),
        el("h4", "Open items"),
        opened,
        corrections,
        *([el("h4", "Statements"), *lines] if lines else []),
        cls="sk-handover",
        aria_label="Handover",
    )
    return {"head": head}


def register(part: Part, can_waive: bool) -> dict[str, Markup]:
    """A register or a proof: facts, tables and plots."""
    facts = (
        el("dl", *(el("div", el("dt", k), el("dd", v)) for k, v in part["facts"]), cls="sk-facts")
        if part["facts"]
        else None
    )
    tables = [table(t) for t in part["tables"] if t["rows"]]
    pieces = (
        heading(part["title"]),
        el("p", part["purpose"], cls="sk-purpose"),
        facts,
        *tables,
        plots(part["plots"]),
        bullets(part["remarks"], "sk-remarks"),
    )
    return {"head": el("section", *pieces, cls="sk-register", aria_label=part["title"])}


def error(part: Part, can_waive: bool) -> dict[str, Markup]:
    """One sentence in place of a part that cannot be shown."""
    mark = el("span", "!", cls="sk-mark", aria_hidden="true")
    detail = (
        fold("detail", "For the maintainer of the tool", el("pre", part["detail"]))
        if part.get("detail")
        else None
    )
    return {
        "head": el(
            "section",
            el("p", mark, " ", part["sentence"], cls="sk-sentence"),
            detail,
            cls="sk-error",
            role="alert",
        )
    }
