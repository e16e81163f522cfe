"""What the tests hold against something printed outside this project, and how near to each limit
they go.

The checks come from the fixture ``outside``; the edges are seen in passing, wherever a test has a
reading judged
against a limit. Both are gathered from all workers of a parallel run.
"""

from __future__ import annotations

import json
import os
import re
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from functools import wraps
from pathlib import Path
from typing import Any

import pytest

STANDINGS = ("published", "secondary", "library", "from memory", "common practice", "closed form")
DIGITS = 9
# A reading is at the edge of a limit if it lies nearer to it than this share of the limit.
NEAR = 0.1


@dataclass(frozen=True)
class Check:
    """One formula or limit held against a figure that was printed somewhere else."""

    formula: str
    source: str
    standing: str
    printed: float
    ours: float
    tolerance: str
    test: str


@dataclass(frozen=True)
class Edge:
    """The reading nearest to one side of a limit that passed, or that did not."""

    limit: str
    side: str
    passes: bool
    bound: str
    reading: str
    distance: float
    moved: bool  # the test put another figure in place of the one that comes with the tool
    test: str


class Ledger:
    """Asserts that our value agrees with the printed one, and remembers both."""

    def __init__(self, checks: list[Check], test: str) -> None:
        self._checks, self._test = checks, test

    def check(
        self,
        formula: str,
        *,
        printed: float,
        ours: float,
        source: str,
        standing: str,
        rel: float = 0.0,
        abs: float = 0.0,
    ) -> None:
        """Compare one value.

        Parameters
        ----------
        formula : str
            ``module.function`` of the science floor, or ``limits.`` and the key of a limit.
        printed, ours : float
            The outside figure and ours, in the same unit.
        source : str
            Document, edition, clause, or library and version.
        standing : str
            How well it is known, one of `STANDINGS`.
        rel, abs : float
            Allowed difference: relative to the printed value, and absolute.
        """
        assert standing in STANDINGS, f"standing must be one of {STANDINGS}"
        assert rel or abs, "say how closely the values must agree"
        tolerance = " + ".join(
            ([f"{rel:g} rel"] if rel else []) + ([f"{abs:g} abs"] if abs else [])
        )
        self._checks.append(
            Check(formula, source, standing, float(printed), float(ours), tolerance, self._test)
        )
        assert float(ours) == pytest.approx(float(printed), rel=rel or None, abs=abs or None)


# --- edges: seen wherever a reading is judged -----------------------------------------------------


class Edges:
    """Keeps, for each side of each limit, the nearest reading that passed and the nearest that did
    not.
    """

    def __init__(self) -> None:
        self.nearest: dict[tuple[str, str, bool], Edge] = {}

    def keep(self, edge: Edge) -> None:
        key = (edge.limit, edge.side, edge.passes)
        known = self.nearest.get(key)
        if known is None or _rank(edge) < _rank(known):
            self.nearest[key] = edge

    def see(self, limit: Any, quantity: Any, u: Any, outcome: Any) -> None:
        """Take note of one judgement of `quantity`, known to `u`, against `limit`."""
        from startkit.facts.limits import defaults

        if (
            quantity is None
            or outcome.value not in ("pass", "fail", "unproven")
            or limit.key not in set(defaults())
        ):
            return
        own, passes = defaults()[limit.key], outcome.value == "pass"
        for side, gap, bound in _gaps(limit, quantity):
            beyond = (gap - 2 * _size(u)) / (
                1 / NEAR if limit.kind == "count" else _scale(bound)
            )  # the nearest count is one away
            if passes == (beyond >= -1e-9):
                moved = getattr(own, side) is not None and getattr(own, side) != bound
                self.note(limit.key, side, bound, quantity, passes, beyond, moved)

    def note(
        self,
        limit: str,
        side: str,
        bound: Any,
        reading: Any,
        passes: bool,
        beyond: float | None = None,
        moved: bool = False,
    ) -> None:
        """Take note of one judgement; for limits that no single reading is held against, by the
        test itself.
        """
        distance = (
            (reading - bound).to_base_units().magnitude / _scale(bound)
            if beyond is None
            else beyond
        )
        shown = (f"{q:.6g~P}" for q in (bound, reading.to(bound.units)))
        self.keep(
            Edge(
                limit, side, passes, *shown, round(float(abs(distance)), 6), moved, _current_test()
            )
        )

    def watch(self) -> None:
        """See every judgement from now on: where a verdict gets its sentence, and where one is made
        without it.
        """
        from startkit.procedure import judging
        from startkit.verdict import Verdict

        told, made = judging._sentence, Verdict.__init__

        @wraps(told)
        def sentence(entries: Any, limit: Any, taken: Any, outcome: Any, steady: bool) -> str:
            self.see(limit, taken.quantity, taken.u, outcome)
            return told(entries, limit, taken, outcome, steady)

        @wraps(made)
        def init(verdict: Any, *args: Any, **kwargs: Any) -> None:
            made(verdict, *args, **kwargs)
            self.see(verdict, verdict.reading, verdict.uncertainty, verdict.outcome)

        judging._sentence, Verdict.__init__ = sentence, init


def _rank(edge: Edge) -> tuple[bool, bool, float, str]:
    """At the edge before far from it, of the tool's own figure before another, near before far."""
    return edge.distance > NEAR, edge.moved, edge.distance, edge.test


def _gaps(limit: Any, quantity: Any) -> Iterable[tuple[str, float, Any]]:
    value = quantity.to_base_units().magnitude
    if limit.low is not None:
        yield "low", value - limit.low.to_base_units().magnitude, limit.low
    if limit.high is not None:
        yield "high", limit.high.to_base_units().magnitude - value, limit.high


def _size(u: Any) -> float:
    return 0.0 if u is None else abs(u.to_base_units().magnitude)


def _scale(bound: Any) -> float:
    """The limit's own size; for a limit of nought, one of its unit. A temperature counts from its
    own zero.
    """
    one = bound.units if bound._is_multiplicative else f"delta_{bound.units}"
    return float(
        bound._REGISTRY.Quantity(abs(bound.magnitude) or 1.0, one).to_base_units().magnitude
    )


def _current_test() -> str:
    name = os.environ.get("PYTEST_CURRENT_TEST", "").rsplit(" (", 1)[0]
    # Behind the name a parallel run writes the group that the test runs with.
    return re.sub(r"@[\w./-]+$", "", name)


# --- gathered, written, compared ------------------------------------------------------------------


def check_rows(checks: Iterable[Check]) -> list[dict[str, Any]]:
    """Checks as they are written down: sorted, without the digits in which two computers differ."""
    rows = [
        asdict(check) | {"printed": _short(check.printed), "ours": _short(check.ours)}
        for check in set(checks)
    ]
    return sorted(
        rows,
        key=lambda row: (row["formula"], row["source"], row["printed"], row["test"], row["ours"]),
    )


def edge_rows(edges: Edges) -> list[dict[str, Any]]:
    """Edges as they are written down, those only that lie at the edge."""
    near = [edge for edge in edges.nearest.values() if edge.distance <= NEAR]
    return [asdict(edge) for edge in sorted(near, key=lambda e: (e.limit, e.side, not e.passes))]


def _short(value: float) -> float:
    return float(f"{value:.{DIGITS}g}")


def write(path: str | Path, rows: list[dict[str, Any]]) -> None:
    """One row a line, so that a change shows as the lines it touches."""
    lines = ",\n".join(json.dumps(row, ensure_ascii=False) for row in rows)
    Path(path).write_text(f"[\n{lines}\n]\n", encoding="utf-8")


def differences(written: list[dict[str, Any]], found: list[dict[str, Any]]) -> list[str]:
    """What the written table of checks has and the tests have not, and the other way round; last
    digits may differ.
    """
    named = [{_name(row) for row in rows} for rows in (written, found)]
    return [f"no longer tested: {name}" for name in sorted(named[0] - named[1])] + [
        f"not in the table: {name}" for name in sorted(named[1] - named[0])
    ]


def _name(row: dict[str, Any]) -> str:
    return f"{row['formula']}, {row['source']}, {row['printed']:.6g}"
