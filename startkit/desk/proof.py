"""The proof on the screen: worked examples recalculated here, and every outside check of the
tests.
"""

# `Any` here: a part is JSON, in the schema of `startkit.procedure.payload`.
from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from startkit.desk.cards import CellOutput
from startkit.facts.worked_examples import Reworked, examples, rework
from startkit.verdict import Outcome

_TEXT, _NUMBER = {"unit": "", "align": "left"}, {"unit": "", "align": "decimal"}


def worked_again() -> CellOutput:
    """Every worked example with its printed figure, ours and the difference, calculated now."""
    found = [rework(example) for example in examples()]
    agree = sum(each.agrees for each in found)
    head = (
        ("Example", _TEXT),
        ("Printed", _TEXT),
        ("Worked here", _TEXT),
        ("Difference", _TEXT),
        ("Allowed", _TEXT),
        ("", _TEXT),
        ("Printed in", _TEXT),
        ("Known", _TEXT),
    )
    facts = [
        ["Examples in agreement", f"{agree} of {len(found)}"],
        *([name, version] for name, version in _versions()),
    ]
    return _shown(
        "Recalculated on this computer",
        "Published figures, recalculated with the formulas and libraries installed here.",
        facts,
        [_table("Worked examples", head, [_example_row(each) for each in found])],
    )


def _example_row(each: Reworked) -> list[str]:
    outcome = Outcome.PASS if each.agrees else Outcome.FAIL
    printed, within = each.example.printed, each.example.within
    ours = each.problem if each.ours is None else f"{each.ours.magnitude:.6g}"
    difference = "" if each.difference is None else f"{each.difference:+.2g}".replace("-", "−")
    return [
        each.example.title,
        f"{printed:.6g~P}".strip(),
        ours,
        difference,
        f"{within.magnitude:.2g}",
        f"{outcome.mark} {'agrees' if each.agrees else 'does not agree'}",
        each.example.source,
        each.example.standing,
    ]


def _versions() -> list[tuple[str, str]]:
    from importlib.metadata import version

    return [(name, version(name)) for name in ("startkit", "CoolProp", "numpy", "scipy")]


def checks_of_the_tests(file: str | Path) -> CellOutput:
    """Every check of the tests against a source outside this project, as last written.

    Parameters
    ----------
    file : str or pathlib.Path
        ``workbook/proof/outside.json`` of the source.
    """
    title, path = "Outside checks of the tests", Path(file)
    if not path.is_file():
        return _shown(
            title,
            "",
            [],
            [],
            [
                f"There is no file {path.name} here. It is part of the source, in workbook/proof;"
                " `make proof` writes it."
            ],
        )
    rows = json.loads(path.read_text(encoding="utf-8"))
    head = (
        ("Formula or limit", _TEXT),
        ("Printed", _NUMBER),
        ("Ours", _NUMBER),
        ("Difference", _NUMBER),
        ("Allowed", _TEXT),
        ("Printed in", _TEXT),
        ("Known", _TEXT),
    )
    facts = [
        [standing, str(sum(row["standing"] == standing for row in rows))]
        for standing in dict.fromkeys(row["standing"] for row in rows)
    ]
    return _shown(
        title,
        "Each figure in its source's unit, as last written by the tests.",
        facts,
        [_table(f"{len(rows)} figures", head, [_check_row(row) for row in rows])],
    )


def _check_row(row: dict[str, Any]) -> list[str]:
    return [
        row["formula"],
        f"{row['printed']:.6g}",
        f"{row['ours']:.6g}",
        f"{row['ours'] - row['printed']:+.2g}".replace("-", "−"),
        row["tolerance"],
        row["source"],
        row["standing"],
    ]


def _table(
    title: str, head: tuple[tuple[str, dict[str, str]], ...], rows: list[list[str]]
) -> dict[str, Any]:
    return {
        "title": title,
        "columns": [{"label": label, **column} for label, column in head],
        "rows": rows,
        "note": "",
    }


def _shown(
    title: str,
    purpose: str,
    facts: list[list[str]],
    tables: list[dict[str, Any]],
    remarks: list[str] | None = None,
) -> CellOutput:
    return CellOutput(
        {
            "part": "register",
            "title": title,
            "purpose": purpose,
            "facts": facts,
            "tables": tables,
            "plots": [],
            "remarks": remarks or [],
        }
    )
