"""The table of outside checks: run the tests that make them, write what they saw, set it out for a
reader.

``make proof`` runs it. Written are ``outside.json`` (each check), ``edges.json`` (the readings
nearest to each
limit) and, from the two, the tables of ``outside.md``.
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
DOCUMENT = HERE / "outside.md"
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
    """For each formula and standing one row: the figure nearest to its tolerance."""
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


HEAD = """# Outside checks

Written by `make proof`: every formula and limit next to a figure printed outside this project.
`make test` fails if this page does not match the tests. All figures, with the test of
each: [outside.json](outside.json); the readings nearest to each limit: [edges.json](edges.json).
*Closed form* is calculated by hand in the test and proves the code, not the formula.
"""
FORMULAS = (
    "formula",
    "checked against",
    "standing",
    "figures",
    "printed",
    "ours",
    "difference",
    "allowed",
)
LIMITS = ("limit", "value", "source", "standing", "printed outside", "tested at its edge")


def text(checks: list[Row], edges: list[Row]) -> str:
    """The whole page."""
    rows = formula_rows(checks)
    alone = closed_form_only(checks)
    parts = [
        HEAD,
        f"## Formulas\n\n{len(checks)} figures for {len({row[0] for row in rows})} formulas; one"
        " row a formula and standing, with the figure that uses most of its tolerance."
        f" {len(alone)} formulas have no check but a closed form.",
        table(list(FORMULAS), rows),
        "## Limits\n\nA limit that is an own default or common practice has no outside figure;"
        " the record prints it as such with every verdict.",
        table(list(LIMITS), limit_rows(checks, edges)),
    ]
    return "\n\n".join(parts) + "\n"


def closed_form_only(checks: list[Row]) -> list[str]:
    """Formulas that nothing printed by others vouches for."""
    known = defaultdict(set)
    for check in checks:
        if not check["formula"].startswith("limits."):
            known[check["formula"]].add(check["standing"])
    return sorted(formula for formula, standings in known.items() if standings == {"closed form"})


def main() -> int:
    """Run, write, set out; with ``--table`` only set out what is written."""
    status = 0 if "--table" in sys.argv else run()
    if not status:
        DOCUMENT.write_text(text(read(CHECKS), read(EDGES)), encoding="utf-8")
        written = (path.relative_to(ROOT).as_posix() for path in (CHECKS, EDGES, DOCUMENT))
        print(f"Written: {', '.join(written)}")
    return status


if __name__ == "__main__":
    sys.path.insert(0, str(ROOT))
    raise SystemExit(main())
