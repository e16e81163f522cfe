"""Corrections as they are printed: with the question that was asked, and long blocks by their
length.
"""

# `Any` here: a part is JSON, in the schema of `startkit.procedure.payload`.
from __future__ import annotations

from typing import Any

LONGEST = 240  # characters printed of one value; the attached journal has it whole

Block = dict[str, Any]


def named(blocks: list[Block]) -> list[Block]:
    """The blocks with every correction named by its question and shortened."""
    questions = {
        f"{b['stage']}.{f['name']}": f["question"]
        for b in blocks
        if b["block"] == "stage"
        for f in (*b["entered"], *b["entered_tables"])
    }
    return [_block(block, questions) for block in blocks]


def _block(block: Block, questions: dict[str, str]) -> Block:
    made = dict(block)
    if block["block"] == "handover":
        made["corrections"] = [_correction(c, questions) for c in block["corrections"]]
    if block["block"] == "stage":
        for key in ("entered", "entered_tables"):
            made[key] = [
                {**f, "corrections": [_correction(c, questions) for c in f["corrections"]]}
                for f in block[key]
            ]
    return made


def _correction(correction: dict[str, str], questions: dict[str, str]) -> dict[str, str]:
    return {
        **correction,
        "named": _name(correction["what"], questions),
        "from": shortened(correction["from"]),
        "to": shortened(correction["to"]),
    }


def _name(what: str, questions: dict[str, str]) -> str:
    """``lube.zero.2.sump`` -> ``Transducers with the pump off (row 2, sump)``."""
    parts = what.split(".")
    question = questions.get(".".join(parts[:2]))
    if question is None:
        return what
    row, column, *_ = (*parts[2:], "", "")
    return f"{question} (row {row}, {column.replace('_', ' ')})" if row else question


def shortened(value: str) -> str:
    """A pasted block by its number of rows, a very long text by its beginning."""
    rows = value.count("\n") + 1
    if rows > 4:
        return f"a block of {rows} rows"
    return value if len(value) <= LONGEST else f"{value[:LONGEST]}… ({len(value)} characters)"
