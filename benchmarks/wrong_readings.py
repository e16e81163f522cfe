"""What wrong readings would do: every reading of a clear job changed the ways people get it wrong,
and the share that some verdict notices.

Run ``python benchmarks/wrong_readings.py`` to print the shares, with ``--write`` to put them into
``workbook/proof/wrong-readings.md``. ``--share`` tries a part of the slips, the same at every run.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from itertools import chain
from pathlib import Path

from workbook.judged import TAGS, honest
from workbook.noticed import Tried, drawn, tried

PAGE = Path(__file__).parent.parent / "workbook" / "proof" / "wrong-readings.md"
HEAD = """# Wrong readings

Written by `python benchmarks/wrong_readings.py --share {share:g} --write`.

A whole honest job on each machine of the plant (`workbook/honest_job.py`), clear at every hold
point, is entered with one slip, and judged again (`workbook/wrong_readings.py`): a decimal, a unit,
a sign, a gauge pressure for an absolute one, two readings swapped, the row before copied, an
instrument left out, a choice turned round, a value or a row left out. *Noticed* means that some
verdict that was settled no longer is. Nobody chooses the slips: they are made of what was entered.
"""
PARTS = 8  # each machine's slips are judged in so many pieces, so that both cores stay busy


def found(share: float, piece: tuple[str, int]) -> list[tuple[str, Tried]]:
    """The slips of one piece of one machine's job, judged."""
    tag, part = piece
    job = honest(tag)
    chosen = [slip for n, slip in enumerate(drawn(job, share)) if n % PARTS == part]
    return [(tag, each) for each in tried(job, chosen)]


def page(every: Iterable[tuple[str, Tried]], share: float) -> str:
    """The whole page."""
    judged = list(every)
    counted = [each for _, each in judged if not each.apart]
    held = [each for each in counted if each.rests]
    part = "Every slip was tried" if share >= 1 else f"{100 * share:g} % of the slips were tried"
    lines = [
        HEAD.format(share=share),
        f"{part}: {len(judged)}. {len(counted)} of them count: {_share(counted)} are noticed; of"
        f" those under a hold point, {_share(held)}.\n",
        *_table("stage", counted, lambda each: each.stage),
        *_table("slip", counted, lambda each: each.sort),
        "## What does not count\n",
        "| why | slips |",
        "|---|---:|",
        *(
            f"| {why} | {n} |"
            for why, n in Counter(each.apart for _, each in judged if each.apart).most_common()
        ),
        "\n## What goes unnoticed\n",
        *_left(judged),
    ]
    return "\n".join(lines) + "\n"


def _share(every: list[Tried]) -> str:
    noticed = sum(each.noticed for each in every)
    return f"{noticed} of {len(every)} ({100 * noticed / max(len(every), 1):.1f} %)"


def _table(head: str, every: list[Tried], of: Callable[[Tried], str]) -> list[str]:
    names = dict.fromkeys(of(each) for each in every)
    return [
        f"| {head} | slips | noticed | share |",
        "|---|---:|---:|---:|",
        *(
            f"| {name} | {len(group)} | {noticed} | {100 * noticed / len(group):.1f} % |"
            for name in names
            for group in [[each for each in every if of(each) == name]]
            for noticed in [sum(each.noticed for each in group)]
        ),
        "",
    ]


def _left(judged: list[tuple[str, Tried]]) -> list[str]:
    """Every slip left, by its reason."""
    left = [(tag, each) for tag, each in judged if not each.noticed and not each.apart]
    lines = []
    for why, n in Counter(each.why_not for _, each in left).most_common():
        lines += [f"**{why}** ({n})\n", "| machine | slip | item | entered |", "|---|---|---|---|"]
        lines += [
            f"| {tag} | {each.sort} | `{each.what}` | {each.shown} |"
            for tag, each in left
            if each.why_not == why
        ]
        lines.append("")
    return lines


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--share", type=float, default=1.0, help="of the slips, 0 to 1")
    parser.add_argument("--write", action="store_true", help=f"write {PAGE.name}")
    options = parser.parse_args()
    pieces = [(tag, part) for tag in TAGS for part in range(PARTS)]
    with ProcessPoolExecutor(2) as pool:
        every = chain.from_iterable(pool.map(partial(found, options.share), pieces))
        text = page(every, options.share)
    print(text)
    if options.write:
        PAGE.write_text(text, encoding="utf-8")
