"""The page of wrong machines: what was entered wrongly, where, and whether it is noticed.

Run:  python -m tests.wrong_machines.page
"""

from __future__ import annotations

from pathlib import Path

from tests.wrong_machines.every import ROWS
from tests.wrong_machines.rows import UNNOTICED, Row

PAGE = Path(__file__).parents[2] / "workbook" / "proof" / "wrong-machines.md"
HEAD = """# Wrong machines

Written by `python -m tests.wrong_machines.page`; each row is a test in `tests/wrong_machines/`. A
whole honest job on each machine of the plant (`workbook/honest_job.py`), clear at every hold point,
is entered with one thing wrong, and judged again. *Noticed* means that one of the named verdicts is
no longer settled, or that page 1 says next to the hold point that something came before its
release.
"""


def page() -> str:
    """The whole page."""
    tried = sum(len(row.on) for row in ROWS)
    missed = sum(len(tags) for tags in UNNOTICED.values())
    lines = [
        HEAD,
        f"{tried} wrong machines: {tried - missed} noticed, {missed} not yet.\n",
        "| wrong | by | machines | not yet noticed on |",
        "|---|---|---|---|",
        *(
            f"| {row.wrong} | {_by(row)} | {', '.join(row.on)} |"
            f" {', '.join(UNNOTICED.get(row.wrong, ())) or '–'} |"
            for row in ROWS
        ),
    ]
    return "\n".join(lines) + "\n"


def _by(row: Row) -> str:
    return f"early, `{row.early}`" if row.early else f"`{row.by}`"


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
