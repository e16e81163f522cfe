"""Cards: a part of the record as HTML and as plain text; nothing is calculated here."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from importlib import resources
from typing import Any

from startkit.desk.markup import Markup, el, join
from startkit.verdict import Outcome

_MARKS = {outcome.value: outcome.mark for outcome in Outcome}
_SETTLED = {outcome.value for outcome in Outcome if outcome.settled}
_CSS_NAME = {"n/a": "na"}
_FIGURE_SPACE, _PUNCTUATION_SPACE = "\u2007", "\u2008"
# On a focused element without this mark JupyterLab takes keys for its own: "d d" deletes the cell.
_OWN_KEYS = {"data_lm_suppress_shortcuts": "true"}
Part = Mapping[str, Any]


@lru_cache(maxsize=1)
def style() -> str:
    """The cards' style sheet."""
    return (resources.files("startkit.desk") / "static" / "card.css").read_text(encoding="utf-8")


def html(part: Part, as_of: str = "") -> Markup:
    """A whole part, with its style, as it stands in a cell's output.

    Parameters
    ----------
    part : mapping
        From `startkit.procedure.payload`; a stage also has ``plots``.
    as_of : str
        Time to print beside what may have changed since.
    """
    stamp = el("p", f"as of {as_of}", cls="sk-asof") if as_of else None
    # JupyterLab sets what stands between $ signs as a formula, which a note about prices or a
    # `\\href` is not.
    return el(
        "div",
        Markup(f"<style>{style()}</style>"),
        *slots(part).values(),
        stamp,
        cls=f"sk mathjax_ignore tex2jax_ignore sk-part-{part['part']}",
    )


def slots(part: Part, can_waive: bool = False) -> dict[str, Markup]:
    """The pieces of a part that are renewed on their own: ``head``, ``found``, ``plots``,
    ``entered``.
    """
    draw = {
        "front": _front,
        "stage": _stage,
        "hold": _hold_slots,
        "handover": _handover,
        "register": _register,
        "error": _error,
    }[part["part"]]
    return draw(part, can_waive)


# --- small pieces ------------------------------------------------------------------------------


def badge(outcome: str) -> Markup:
    """Mark and word of an outcome; the colour only repeats them."""
    mark = el("span", _MARKS[outcome], cls="sk-mark", aria_hidden="true")
    return el("span", mark, " ", outcome, cls=f"sk-badge sk-{_CSS_NAME.get(outcome, outcome)}")


def moment(iso: str) -> str:
    """``2026-11-25T14:32:05.123+01:00`` as ``2026-11-25 14:32``."""
    return iso[:16].replace("T", " ")


def _heading(title: str, outcome: str | None = None, level: int = 3) -> Markup:
    return el("div", el(f"h{level}", title), badge(outcome) if outcome else None, cls="sk-heading")


def _list(items: Iterable[object], cls: str = "") -> Markup | None:
    rows = [el("li", item) for item in items]
    return el("ul", *rows, cls=cls or None) if rows else None


def _count(n: int, one: str, many: str) -> str:
    return f"{n} {one if n == 1 else many}"


def _fold(key: str, summary: object, *body: object, is_open: bool = False) -> Markup:
    return el("details", el("summary", summary, **_OWN_KEYS), *body, data_key=key, open=is_open)


# --- a stage -----------------------------------------------------------------------------------


def _stage(part: Part, can_waive: bool) -> dict[str, Markup]:
    return {
        "head": _stage_head(part),
        "found": _found(part, can_waive),
        "plots": plots(part.get("plots", ())),
        "entered": _entered(part),
    }


def _stage_head(part: Part) -> Markup:
    cautions = (
        el("div", el("strong", "Caution"), _list(part["cautions"]), cls="sk-caution", role="note")
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
        _heading(part["title"], part["outcome"]),
        el("p", part["purpose"], cls="sk-purpose"),
        cautions,
        warning,
        cls="sk-head",
    )


def _found(part: Part, can_waive: bool) -> Markup:
    """What is not settled stands first, then the figures, then what is settled."""
    figures = [_figure(f) for f in part["figures"]]
    return el(
        "section",
        _verdicts(
            [v for v in part["verdicts"] if v["outcome"] not in _SETTLED],
            "To be settled",
            can_waive,
        ),
        el("div", *figures, cls="sk-figures") if figures else None,
        _verdicts([v for v in part["verdicts"] if v["outcome"] in _SETTLED], "Settled", can_waive),
        *(table(t) for t in part["tables"]),
        _list(part["remarks"], "sk-remarks"),
        cls="sk-found",
        aria_label=f"Findings: {part['title']}",
    )


def _verdicts(judged: Sequence[Part], name: str, can_waive: bool) -> Markup | None:
    return (
        el("ul", *(verdict(v, can_waive) for v in judged), cls="sk-verdicts", aria_label=name)
        if judged
        else None
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
    return _CSS_NAME.get(judged["outcome"], judged["outcome"])


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
    if judged["outcome"] in _SETTLED:
        return None
    return el(
        "div",
        _waive_button(judged, "waiver", "waive …"),
        _waive_button(judged, "not_applicable", "does not apply …"),
        cls="sk-actions",
    )


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
        **_OWN_KEYS,
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


# --- what was entered --------------------------------------------------------------------------


def _entered(part: Part) -> Markup:
    single = [f for f in part["entered"] if f["value"]]
    tables = [t for t in part["entered_tables"] if t["rows"]]
    corrections = [c for f in part["entered"] for c in f["corrections"]] + [
        c for t in part["entered_tables"] for c in t["corrections"]
    ]
    if not single and not tables:
        return el("p", "Nothing entered yet.", cls="sk-note")
    amount = _count(len(single) + len(tables), "item", "items")
    summary = f"What was entered: {amount}" + (
        f", {_count(len(corrections), 'correction', 'corrections')}" if corrections else ""
    )
    return _fold(
        f"entered-{part['stage']}",
        summary,
        _entered_fields(single) if single else None,
        *map(_entered_table, tables),
        _corrections(corrections),
    )


def _entered_fields(fields: Sequence[Part]) -> Markup:
    head = el(
        "tr",
        *(
            el("th", word, scope="col")
            for word in ("Asked", "Entered", "Who", "When", "Instrument", "Remark")
        ),
    )
    return el(
        "div",
        el("table", el("thead", head), el("tbody", *map(_entered_row, fields))),
        cls="sk-table",
        tabindex="0",
        role="group",
        aria_label="Entries",
        **_OWN_KEYS,
    )


def _entered_row(field: Part) -> Markup:
    value = f"{field['value']} {field['unit']}".strip()
    remark = "; ".join(
        word
        for word in (
            field["problem"],
            field["flag"],
            field["untrusted"],
            field["early"],
            field["note"],
        )
        if word
    )
    return el(
        "tr",
        el("th", field["question"], scope="row"),
        *(
            el("td", word)
            for word in (value, field["who"], moment(field["when"]), field["instrument"], remark)
        ),
    )


def _entered_table(entered: Part) -> Markup:
    signed = " · ".join(word for word in (entered["who"], entered["when"]) if word)
    return join(
        (
            table(entered, f"{entered['question']}{f' ({signed})' if signed else ''}"),
            _list([*entered["flags"], *entered["early"]], "sk-remarks") or Markup(""),
        )
    )


def _corrections(corrections: Sequence[Part]) -> Markup | None:
    return (
        el("div", el("h4", "Corrections"), _list(map(correction, corrections)))
        if corrections
        else None
    )


def correction(made: Part) -> Markup:
    """One correction as a sentence."""
    return join(
        (
            f"{made['what']}: ",
            el("s", made["from"] or "blank"),
            f" → {made['to']} · {made['who']}, {moment(made['when'])}",
            f" · {made['why']}" if made["why"] else "",
        )
    )


# --- hold points, front, handover --------------------------------------------------------------


def _hold_slots(part: Part, can_waive: bool) -> dict[str, Markup]:
    return {"head": hold(part)}


def hold(part: Part, large: bool = True) -> Markup:
    """A hold point: its headline in the largest type of the page, and what stands in the way."""
    outcome = "pass" if part["clear"] else "fail"
    mark = el("span", _MARKS[outcome], cls="sk-mark", aria_hidden="true")
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
            cls=f"sk-hold-line sk-edge-{outcome}",
        )
    reasons = verdict_lines(part["in_the_way"], "In the way") if part["in_the_way"] else None
    waived = (
        _fold(
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
        reasons,
        waived,
        cls=f"sk-hold sk-{outcome}-hold",
        aria_label=part["headline"],
    )


def _in_short(part: Part) -> str:
    if part["clear"]:
        waived = (
            f", {_count(len(part['waived']), 'of them waived', 'of them waived')}"
            if part["waived"]
            else ""
        )
        return f"{_count(part['needed'], 'verdict', 'verdicts')} settled{waived}."
    return (
        f"{len(part['in_the_way'])} of {_count(part['needed'], 'verdict', 'verdicts')} not settled."
        if part["needed"]
        else "Nothing has been judged yet."
    )


def _front(part: Part, can_waive: bool) -> dict[str, Markup]:
    pieces = (
        _broken(part["faults"]),
        _machine(part),
        _do_next(part["next"]),
        el("div", *(hold(h, large=False) for h in part["holds"]), cls="sk-holds"),
        _progress(part),
        _not_passed(part),
        _job_line(part),
    )
    return {"head": el("section", *pieces, cls="sk-front", aria_label="Where the job stands")}


BROKEN = "The journal was altered or damaged: this job cannot be relied on"
RESCUE = (
    "Keep the folder as it is, ask who has a good copy, and save what can be read with `startkit"
    " rescue`."
)


def _broken(faults: Sequence[str]) -> Markup | None:
    """Whatever else the card says, this comes first and is not folded away."""
    if not faults:
        return None
    mark = el("span", _MARKS["fail"], cls="sk-mark", aria_hidden="true")
    more = [f"and {len(faults) - 5} more places"] if len(faults) > 5 else []
    return el(
        "section",
        el("p", mark, " ", BROKEN, cls="sk-headline"),
        _list([*faults[:5], *more]),
        el("p", RESCUE),
        cls="sk-error",
        role="alert",
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
            _heading(f"{facts['tag']} · {facts['plant']}", part["outcome"]),
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
    return _fold(
        "not-passed",
        f"Not passed: {_count(len(rows), 'item', 'items')}",
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
        f"{_count(part['entries'], 'entry', 'entries')}, {span}",
        _count(part["corrections"], "correction", "corrections"),
        f"units: {part['units']}",
    ]
    return join(
        (
            el("p", " · ".join(words + ([f"people: {people}"] if people else [])), cls="sk-note"),
            *(el("p", said, cls="sk-note") for said in part["clock"]),
        )
    )


def _handover(part: Part, can_waive: bool) -> dict[str, Markup]:
    opened = (
        verdict_lines(part["open_items"], "Open items")
        if part["open_items"]
        else el("p", "No open item.")
    )
    corrections = (
        _fold(
            "corrections",
            f"Corrections: {len(part['corrections'])}",
            _list(map(correction, part["corrections"])),
        )
        if part["corrections"]
        else el("p", "No correction was made.")
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
        _heading("Handover"),
        el("h4", "Open items"),
        opened,
        corrections,
        *([el("h4", "Statements"), *lines] if lines else []),
        cls="sk-handover",
        aria_label="Handover",
    )
    return {"head": head}


def _register(part: Part, can_waive: bool) -> dict[str, Markup]:
    facts = (
        el("dl", *(el("div", el("dt", k), el("dd", v)) for k, v in part["facts"]), cls="sk-facts")
        if part["facts"]
        else None
    )
    tables = [table(t) for t in part["tables"] if t["rows"]]
    pieces = (
        _heading(part["title"]),
        el("p", part["purpose"], cls="sk-purpose"),
        facts,
        *tables,
        plots(part["plots"]),
        _list(part["remarks"], "sk-remarks"),
    )
    return {"head": el("section", *pieces, cls="sk-register", aria_label=part["title"])}


def _error(part: Part, can_waive: bool) -> dict[str, Markup]:
    mark = el("span", "!", cls="sk-mark", aria_hidden="true")
    detail = (
        _fold("detail", "For whoever maintains the tool", el("pre", part["detail"]))
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


# --- plain text --------------------------------------------------------------------------------


def plain(part: Part) -> str:
    """The part in a few lines, for a terminal or a diff."""
    lines = {
        "front": _plain_front,
        "stage": _plain_stage,
        "hold": _plain_hold,
        "handover": _plain_handover,
        "register": _plain_register,
        "error": lambda p: [p["sentence"]],
    }
    return "\n".join(lines[part["part"]](part))


def _plain_verdict(judged: Part) -> str:
    return f"  {judged['mark']} {judged['outcome']:9}{judged['title']}: {judged['sentence']}" + (
        f" Next: {judged['next']}" if judged["next"] else ""
    )


def _plain_stage(part: Part) -> list[str]:
    figures = [f"  {f['label']}: {f['text']} {f['uncertainty']}".rstrip() for f in part["figures"]]
    return [
        f"{part['mark']} {part['title']}: {part['outcome']}",
        *figures,
        *map(_plain_verdict, part["verdicts"]),
    ]


def _plain_hold(part: Part) -> list[str]:
    return [
        part["headline"],
        *map(_plain_verdict, part["in_the_way"]),
        *map(_plain_verdict, part["waived"]),
    ]


def _plain_front(part: Part) -> list[str]:
    stages = [
        f"  {s['mark']} {s['outcome']:9}{s['title']}: {s['settled']} of {s['of']} settled"
        for s in part["stages"]
    ]
    broken = [f"{_MARKS['fail']} {BROKEN}: {part['faults'][0]}. {RESCUE}"] if part["faults"] else []
    return [
        *broken,
        f"{part['machine']['tag']}, {part['machine']['plant']}",
        *(h["headline"] for h in part["holds"]),
        *stages,
        f"Next: {part['next']['what']}. {part['next']['do']}",
    ]


def _plain_handover(part: Part) -> list[str]:
    return [
        f"Open items: {len(part['open_items'])}",
        *map(_plain_verdict, part["open_items"]),
        f"Corrections: {len(part['corrections'])}",
    ]


def _plain_register(part: Part) -> list[str]:
    tables = [
        line
        for t in part["tables"]
        if t["rows"]
        for line in (f"  {t['title']}", *("  " + " | ".join(row) for row in t["rows"][:20]))
    ]
    return [
        part["title"],
        *(f"  {k}: {v}" for k, v in part["facts"]),
        *tables,
        *(f"  {remark}" for remark in part["remarks"]),
    ]
