"""A part as plain text, for a terminal or a diff."""

from __future__ import annotations

from startkit.desk.cards.front import BROKEN, RESCUE
from startkit.desk.cards.pieces import (
    MARKS,
    Part,
)

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
        *_passed(part),
        *map(_plain_verdict, part["in_the_way"]),
        *map(_plain_verdict, part["waived"]),
    ]


def _passed(part: Part) -> list[str]:
    """Who released a hold point, and what came before that."""
    return [f"  {said}" for said in (part.get("release"), *part.get("early", ())) if said]


def _plain_front(part: Part) -> list[str]:
    stages = [
        f"  {s['mark']} {s['outcome']:9}{s['title']}: {s['settled']} of {s['of']} settled"
        for s in part["stages"]
    ]
    broken = [f"{MARKS['fail']} {BROKEN}: {part['faults'][0]}. {RESCUE}"] if part["faults"] else []
    return [
        *broken,
        *(f"{MARKS['waived']} {sentence}" for sentence in part.get("changed", ())),
        f"{part['machine']['tag']}, {part['machine']['plant']}",
        *(line for h in part["holds"] for line in (h["headline"], *_passed(h))),
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
