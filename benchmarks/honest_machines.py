"""How often an honest machine, its instruments within their accuracy, is called wrong.

Run ``python benchmarks/honest_machines.py`` to print the counts, with ``--write`` to put them into
``workbook/proof/honest-machines.md``. Seeded: the same number of machines gives the same page.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from startkit.procedure.holds import HOLDS
from workbook.honest_machines import Honest, false_alarms, machines

PAGE = Path(__file__).parent.parent / "workbook" / "proof" / "honest-machines.md"
HEAD = """# Honest machines

Written by `python benchmarks/honest_machines.py --machines {number} --write`.

A whole job on a machine without a fault (`workbook/honest_machines.py`): the readings come from the
physical model, each off by no more than its instrument may be; three refrigerants, every kind of
starter, entered in SI and in I-P. A *false fail* is a hold point that some verdict fails. Verdicts
that are unproven or open although nothing is wrong are counted apart: they ask for a better
reading and do not call the machine wrong.
"""


def page(found: Iterable[tuple[Honest, dict[str, tuple[str, ...]]]]) -> str:
    """The whole page."""
    every = list(found)
    number = len(every)
    lines = [
        HEAD.format(number=number),
        f"{number} honest machines.\n",
        "| hold point | false fails | share |",
        "|---|---:|---:|",
    ]
    for hold in HOLDS:
        wrong = sum(bool(alarms.get(hold.name)) for _, alarms in every)
        lines.append(f"| {hold.clear.lower()} | {wrong} | {100 * wrong / number:.1f} % |")
    apart = sum(bool(alarms[""]) for _, alarms in every)
    lines += [
        "",
        f"Held up by an unproven or open verdict: {apart} ({100 * apart / number:.1f} %).\n",
        "| verdict | fails | unproven or open | first on |",
        "|---|---:|---:|---|",
        *_by_verdict(every),
    ]
    return "\n".join(lines) + "\n"


def _by_verdict(every: list[tuple[Honest, dict[str, tuple[str, ...]]]]) -> list[str]:
    fails, others, first = Counter[str](), Counter[str](), {}
    for honest, alarms in every:
        failed = {key for name, keys in alarms.items() if name for key in keys}
        fails.update(failed)
        others.update(set(alarms[""]))
        for key in (*failed, *alarms[""]):
            first.setdefault(key, honest)
    return [
        f"| `{key}` | {fails[key]} | {others[key]} | {_named(first[key])} |"
        for key in sorted(first, key=lambda key: (-fails[key], -others[key], key))
    ]


def _named(honest: Honest) -> str:
    return f"{honest.tag}, {honest.starter}, {honest.system}, seed {honest.seed}"


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--machines", type=int, default=500)
    parser.add_argument("--write", action="store_true", help=f"write {PAGE.name}")
    options = parser.parse_args()
    due = machines(options.machines)
    with ProcessPoolExecutor(2) as pool:
        text = page(zip(due, pool.map(false_alarms, due), strict=True))
    print(text)
    if options.write:
        PAGE.write_text(text, encoding="utf-8")
