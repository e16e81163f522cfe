"""The table of outside checks: run the tests that make them, write what they saw, set it out for a
reader.

``make proof`` runs it. Written are ``outside.json`` (each check), ``edges.json`` (the readings
nearest to each
limit) and, from the two, the tables between the marks in DEVELOPERS.md.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections import defaultdict
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
CHECKS, EDGES = HERE / "outside.json", HERE / "edges.json"
DOCUMENT = ROOT / "DEVELOPERS.md"
BEGIN, END = "<!-- outside checks: made by `make proof` -->", "<!-- end of outside checks -->"
NO_FIGURE = ("own default", "common practice")
Row = dict[str, Any]


def run() -> int:
    """Run the tests with outside checks and those of the stages; write both files. Returns pytest's
    exit status.
    """
    options = [
        "-q",
        "-n",
        "2",
        "--dist",
        "loadgroup",
        "--proof-only",
        f"--outside-table={CHECKS}",
        f"--edge-table={EDGES}",
    ]
    return subprocess.run(
        [sys.executable, "-m", "pytest", *options, "tests"], cwd=ROOT, check=False
    ).returncode


def read(path: Path) -> list[Row]:
    """Rows of one of the two files."""
    return json.loads(path.read_text(encoding="utf-8"))


# --- formulas -------------------------------------------------------------------------------------


def difference(row: Row) -> str:
    """Ours less printed: as a share of the printed figure, or as it is if that is nought."""
    gap = row["ours"] - row["printed"]
    if not gap:
        return "0"
    if not row["printed"]:
        return f"{gap:.1e}"
    share = 100 * gap / abs(row["printed"])
    return f"{share:+.2f} %" if abs(share) >= 0.01 else f"{share:+.0e} %"


def used(row: Row) -> float:
    """Which share of what was allowed the difference takes."""
    parts = [part.split() for part in row["tolerance"].split(" + ")]
    allowed = max(
        float(value) * (abs(row["printed"]) if of == "rel" else 1.0) for value, of in parts
    )
    return abs(row["ours"] - row["printed"]) / allowed if allowed else 0.0


def formula_rows(checks: list[Row]) -> list[list[str]]:
    """One row a formula and standing: of its figures, the one that comes nearest to its tolerance."""
    groups: dict[tuple[str, str], list[Row]] = defaultdict(list)
    for check in checks:
        if not check["formula"].startswith("limits."):
            groups[check["formula"], check["standing"]].append(check)
    return [
        _formula_row(formula, standing, rows)
        for (formula, standing), rows in sorted(groups.items())
    ]


def _formula_row(formula: str, standing: str, rows: list[Row]) -> list[str]:
    worst = max(rows, key=lambda row: (used(row), row["source"], row["test"]))
    return [
        f"`{formula}`",
        worst["source"],
        standing,
        str(len(rows)),
        _figure(worst["printed"]),
        _figure(worst["ours"]),
        difference(worst),
        worst["tolerance"],
    ]


def _figure(value: float) -> str:
    return f"{value:.6g}"


# --- limits ---------------------------------------------------------------------------------------


def limit_rows(checks: list[Row], edges: list[Row]) -> list[list[str]]:
    """One row a limit that comes with the tool: its value, where it is from, what was printed, how
    near the tests go.
    """
    from startkit.facts.limits import defaults

    printed, near = defaultdict(list), defaultdict(list)
    for check in checks:
        printed[check["formula"]].append(check)
    for edge in edges:
        near[edge["limit"]].append(edge)
    return [
        [
            f"`{key}`",
            _value(limit),
            limit.source or "–",
            limit.standing,
            _outside(limit, printed[f"limits.{key}"]),
            _edges(near[key]),
        ]
        for key, limit in sorted(defaults().items())
    ]


def _value(limit: Any) -> str:
    bounds = [
        f"{side} {bound:.6g~P}"
        for side, bound in (("low", limit.low), ("high", limit.high))
        if bound is not None
    ]
    return ", ".join(bounds) or "by rule or sheet"


def _outside(limit: Any, checks: list[Row]) -> str:
    if limit.standing in NO_FIGURE:
        return "none"
    return (
        "; ".join(dict.fromkeys(f"{_figure(c['printed'])} ({c['source']})" for c in checks))
        or "missing"
    )


def _edges(edges: list[Row]) -> str:
    return "; ".join(dict.fromkeys(_edge(edge) for edge in edges)) or "missing"


def _edge(edge: Row) -> str:
    moved = f", limit set to {edge['bound']}" if edge["moved"] else ""
    return f"{edge['reading']} {'passes' if edge['passes'] else 'does not'}{moved}"


# --- set out --------------------------------------------------------------------------------------


def table(head: list[str], rows: list[list[str]]) -> str:
    """A Markdown table."""
    lines = [head, ["---"] * len(head), *rows]
    return "\n".join(
        "| " + " | ".join(cell.replace("|", "\\|") for cell in line) + " |" for line in lines
    )


def text(checks: list[Row], edges: list[Row]) -> str:
    """What stands between the marks."""
    rows = formula_rows(checks)
    return "\n\n".join(
        [
            BEGIN,
            (
                f"{len(checks)} figures from outside; one row a formula and standing, with the"
                " figure that comes nearest to its tolerance. All of them stand in"
                " [workbook/proof/outside.json](workbook/proof/outside.json)."
            ),
            "<details><summary>Formulas</summary>",
            table(
                [
                    "formula",
                    "held against",
                    "known",
                    "figures",
                    "printed",
                    "ours",
                    "difference",
                    "allowed",
                ],
                rows,
            ),
            "</details>",
            (
                "A limit that is this workbook's own default or common practice has no outside"
                " figure, and is printed as such beside every verdict."
            ),
            "<details><summary>Limits</summary>",
            table(
                ["limit", "value", "source", "standing", "printed outside", "tested at its edge"],
                limit_rows(checks, edges),
            ),
            "</details>",
            END,
        ]
    )


def put(document: str, made: str) -> str:
    """The document with `made` in place of what stood between the marks."""
    before, rest = document.split(BEGIN, 1)
    return before + made + rest.split(END, 1)[1]


def main() -> int:
    """Run, write, set out; with ``--table`` only set out what is written."""
    status = 0 if "--table" in sys.argv else run()
    if not status:
        DOCUMENT.write_text(
            put(DOCUMENT.read_text(encoding="utf-8"), text(read(CHECKS), read(EDGES))),
            encoding="utf-8",
        )
        print(f"Written: {CHECKS.relative_to(ROOT)}, {EDGES.relative_to(ROOT)}, {DOCUMENT.name}")
    return status


if __name__ == "__main__":
    sys.path.insert(0, str(ROOT))
    raise SystemExit(main())
