"""What was entered in a stage, as tables."""

from __future__ import annotations

from collections.abc import Sequence

from startkit.desk.cards.pieces import (
    OWN_KEYS,
    Markup,
    Part,
    bullets,
    counted,
    el,
    fold,
    join,
    moment,
    table,
)

# --- what was entered --------------------------------------------------------------------------


def entered(part: Part) -> Markup:
    """What was entered in a stage, folded."""
    single = [f for f in part["entered"] if f["value"]]
    tables = [t for t in part["entered_tables"] if t["rows"]]
    corrections = [c for f in part["entered"] for c in f["corrections"]] + [
        c for t in part["entered_tables"] for c in t["corrections"]
    ]
    if not single and not tables:
        return el("p", "Nothing entered yet.", cls="sk-note")
    amount = counted(len(single) + len(tables), "item", "items")
    summary = f"What was entered: {amount}" + (
        f", {counted(len(corrections), 'correction', 'corrections')}" if corrections else ""
    )
    return fold(
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
        **OWN_KEYS,
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
            field["taken"],
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
            bullets([*entered["flags"], *entered["early"]], "sk-remarks") or Markup(""),
        )
    )


def _corrections(corrections: Sequence[Part]) -> Markup | None:
    return (
        el("div", el("h4", "Corrections"), bullets(map(correction, corrections)))
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
