"""Every public formula and every limit is held against something printed outside this project, and
the table says so.
"""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import subprocess
import sys
import types
import typing
from collections.abc import Callable
from dataclasses import fields, is_dataclass
from pathlib import Path

import numpy as np
import pint
import pytest

import startkit.science
from startkit.facts.limits import defaults
from tests import ledger
from workbook.proof import outside as proof

ROOT = Path(__file__).parents[1]
CHECKS, EDGES = proof.read(proof.CHECKS), proof.read(proof.EDGES)
CHECKED = {row["formula"] for row in CHECKS}

# --- formulas: what needs a check -----------------------------------------------------------------
# A public function of the science floor whose result holds a number: a quantity, a float, an int,
# an array, or a
# record or list of such. Booleans, texts and names alone need none.

NO_CHECK_DUE = {
    "insulation.applied_voltage_row": (
        "the row of which insulation.applied_voltage, checked for every row, gives the two ends"
    ),
    "motor.starter": "looks a starter up in motor.STARTERS, whose figures are checked one by one",
    "overcurrent.bare": "changes the units of a ripple and calculates nothing",
    "refrigerant_data.find": (
        "looks a refrigerant up; its mass fractions are checked one by one as"
        " refrigerant.R-….component"
    ),
    "refrigerant_equations.state": "hands out the library's own state of a refrigerant",
    "refrigerant_equations.saturation_pressure": (
        "asks the library, whose figures are checked through refrigerant.saturation_pressure"
    ),
    "refrigerant_equations.saturation_temperature": (
        "asks the library, whose figures are checked through refrigerant.dew_temperature and"
        " bubble_temperature"
    ),
    "refrigerant_equations.single_phase": (
        "asks the library, whose figures are checked through refrigerant.enthalpy, entropy, density"
        " and sound_speed"
    ),
    "refrigerant_equations.table": (
        "asks the library on a grid; the splines through it are held against it point by point"
    ),
    "refrigerant_tables.from_bytes": "reads a table as it was written",
    "refrigerant_states.saturation_pressure": (
        "the body of refrigerant.saturation_pressure, which is checked"
    ),
    "refrigerant_states.saturation_temperature": (
        "the body of refrigerant.dew_temperature and bubble_temperature, which are checked"
    ),
    "refrigerant_states.single_phase": (
        "the body of refrigerant.enthalpy, entropy, density and sound_speed, which are checked"
    ),
    "refrigerant_states.temperature_range": (
        "the ends of the table, which this workbook has chosen itself"
    ),
    "strokes.holds": "finds rows in which the command stands still and calculates nothing",
    "strokes.stroke": "checks columns and keeps them as they are",
    "symptoms.sign": (
        "says on which side of a usual band a reading lies, by the guard band of startkit.verdict"
    ),
    "trip_causes.rank": (
        "puts causes in an order of this workbook's own; what each adds is checked as"
        " trip_causes.current_by_…"
    ),
    "water.liquid": "reads a liquid's name and share from a text and keeps them as typed",
}


def holds_a_number(kind: typing.Any, seen: frozenset[typing.Any] = frozenset()) -> bool:
    """True if a value of this annotated type can carry a number."""
    if kind in seen or kind in (None, bool, str, types.NoneType):
        return False
    if is_dataclass(kind):
        hints = typing.get_type_hints(kind)
        return any(holds_a_number(hints[f.name], seen | {kind}) for f in fields(kind))
    inside = typing.get_args(kind)
    if inside and typing.get_origin(kind) is not np.ndarray:
        return any(holds_a_number(part, seen) for part in inside if part is not ...)
    return (
        kind in (int, float, complex, typing.Any, np.ndarray, pint.Quantity)
        or typing.get_origin(kind) is np.ndarray
    )


def public_functions() -> dict[str, Callable[..., object]]:
    """Every module-level function of the science floor without an underscore, as
    ``module.function``.
    """
    found = {}
    for module in pkgutil.iter_modules(startkit.science.__path__):
        loaded = importlib.import_module(f"startkit.science.{module.name}")
        for name, value in vars(loaded).items():
            if (
                inspect.isfunction(value)
                and not name.startswith("_")
                and value.__module__ == loaded.__name__
            ):
                found[f"{module.name}.{name}"] = value
    return found


def needs_a_check(function: Callable[..., object]) -> bool:
    """By the return type alone: types of arguments name what only a type checker imports."""
    body = getattr(function, "si", function)
    told = body.__annotations__.get("return", typing.Any)
    known = {**vars(typing), **vars(sys.modules[body.__module__]), "np": np}
    return holds_a_number(eval(told, known) if isinstance(told, str) else told)


FORMULAS = sorted(name for name, function in public_functions().items() if needs_a_check(function))


def test_every_formula_is_checked_against_something_outside() -> None:
    lacking = [f for f in FORMULAS if f not in CHECKED and f not in NO_CHECK_DUE]
    assert not lacking, f"{lacking}: write a test with the fixture `outside`, then `make proof`"


def test_every_exception_is_still_one_and_has_its_reason() -> None:
    for formula, reason in NO_CHECK_DUE.items():
        assert formula in FORMULAS and formula not in CHECKED and len(reason) > 20, formula


@pytest.mark.parametrize(
    ("kind", "numeric"),
    [
        (float, True),
        (bool, False),
        (str, False),
        (tuple[str, float], True),
        (list[str], False),
        (np.ndarray, True),
        (float | None, True),
        (None, False),
        (ledger.Check, True),
        (tuple[ledger.Ledger, ...], False),
    ],
)
def test_the_rule_knows_what_carries_a_number(kind: typing.Any, numeric: bool) -> None:
    assert holds_a_number(kind) is numeric


def test_every_check_names_a_formula_or_limit_that_exists() -> None:
    for row in CHECKS:
        module, _, name = row["formula"].partition(".")
        if module == "limits":
            assert name in defaults(), row["formula"]


# --- limits ---------------------------------------------------------------------------------------


def test_every_limit_says_where_it_is_from_and_is_checked_against_it() -> None:
    for key, limit in defaults().items():
        assert limit.source, f"{key} has no source"
        if limit.standing not in proof.NO_FIGURE:
            assert f"limits.{key}" in CHECKED, (
                f"{key} claims {limit.source}: add its printed figure to"
                " tests/facts/test_limit_sources.py, then `make proof`"
            )


def edges_lacking(key: str) -> list[str]:
    """The sides of a limit that no test comes near, from inside or from outside."""
    limit = defaults()[key]
    near = {(edge["side"], edge["passes"]) for edge in EDGES if edge["limit"] == key}
    sides = [side for side in ("low", "high") if getattr(limit, side) is not None]
    # A limit that a rule or the sheet fills in has no side of its own.
    due = {
        (side, passes)
        for side in sides or {side for side, _ in near} or {"high"}
        for passes in (True, False)
    }
    return [
        f"{key}, {side}, {'passes' if passes else 'does not pass'}"
        for side, passes in sorted(due - near)
    ]


def test_every_limit_is_judged_just_inside_and_just_outside() -> None:
    lacking = [each for key in sorted(defaults()) for each in edges_lacking(key)]
    assert not lacking, f"no test comes within {ledger.NEAR:.0%}: {lacking}; then `make proof`"


@pytest.mark.parametrize("rows", [CHECKS, EDGES], ids=["checks", "edges"])
def test_every_test_that_the_table_names_is_still_there(rows: list[dict]) -> None:
    for file, name in {
        (row["test"].split("::")[0], row["test"].split("[")[0].split("::")[-1]) for row in rows
    }:
        assert f"def {name}(" in (ROOT / file).read_text(encoding="utf-8"), (
            f"{file}: {name} is gone; run `make proof`"
        )


# --- the table ------------------------------------------------------------------------------------


def test_the_page_shows_the_written_checks() -> None:
    assert proof.text(CHECKS, EDGES) == proof.DOCUMENT.read_text(encoding="utf-8"), (
        "run `make proof`, or `python workbook/proof/outside.py --table` if only limits changed"
    )


def test_every_formula_and_limit_has_its_row_and_an_own_default_is_called_one() -> None:
    formulas = {row[0].strip("`") for row in proof.formula_rows(CHECKS)}
    assert {f for f in CHECKED if not f.startswith("limits.")} == formulas
    for row in proof.limit_rows(CHECKS, EDGES):
        assert (row[4] == "none") is (row[3] in proof.NO_FIGURE), row[0]


ROW = {
    "formula": "air.dew_point",
    "source": "a table",
    "standing": "secondary",
    "printed": 12.0,
    "ours": 12.01,
    "tolerance": "0.1 abs",
    "test": "t.py::a",
}


@pytest.mark.parametrize(
    ("found", "told"),
    [
        ([ROW], []),
        ([{**ROW, "ours": 12.0100001}], []),
        ([{**ROW, "printed": 12.000000001}], []),
        ([], ["no longer tested"]),
        ([{**ROW, "printed": 12.1}], ["no longer tested", "not in the table"]),
        ([ROW, {**ROW, "source": "another"}], ["not in the table"]),
    ],
)
def test_a_check_that_came_or_went_is_told_and_a_last_digit_is_not(
    found: list[dict], told: list[str]
) -> None:
    said = ledger.differences([ROW], found)
    assert [line.split(":")[0] for line in said] == told


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ({}, "+0.08 %"),
        ({"ours": 12.0}, "0"),
        ({"printed": 0.0, "ours": 1e-4}, "1.0e-04"),
        ({"printed": -12.0, "ours": -12.01}, "-0.08 %"),
    ],
)
def test_a_difference_is_told_as_a_share_of_the_printed_figure(row: dict, said: str) -> None:
    assert proof.difference({**ROW, **row}) == said


def test_of_several_figures_the_one_nearest_to_its_tolerance_stands_in_the_table() -> None:
    (row,) = proof.formula_rows(
        [
            ROW,
            {**ROW, "source": "worse", "ours": 12.09},
            {**ROW, "source": "wide", "ours": 13.0, "tolerance": "0.2 rel"},
        ]
    )
    assert row[1] == "worse" and row[3] == "3"


def test_a_reading_far_from_its_limit_is_no_edge() -> None:
    seen = ledger.Edges()
    for reading in (9.0, 5.0, 11.5):
        seen.note(
            "lube.steadiness",
            "high",
            pint.application_registry.Quantity(10, "second"),
            pint.application_registry.Quantity(reading, "second"),
            reading <= 10,
        )
    assert [(row["reading"], row["passes"]) for row in ledger.edge_rows(seen)] == [("9 s", True)]


def test_workers_of_a_parallel_run_bring_their_checks_together(
    pytester_run: Callable[..., list[dict]],
) -> None:
    assert [row["formula"] for row in pytester_run("-n", "1")] == [
        "air.dew_point",
        "air.standard_barometer",
    ]


def test_a_whole_run_fails_if_the_written_table_is_not_that_of_the_tests(two_tests: Path) -> None:
    (two_tests / "pytest.ini").write_text("[pytest]\ntestpaths = .\n", encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider"],
        cwd=two_tests,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 1 and "2 passed" in done.stdout
    assert (
        "run `make proof`" in done.stdout
        and "not in the table: air.dew_point, a table, 1" in done.stdout
    )


@pytest.fixture
def two_tests(tmp_path: Path) -> Path:
    """A folder with two tests that make a check each, under the project's own conftest."""
    (tmp_path / "conftest.py").write_text(
        f"import sys\nsys.path.insert(0, {str(ROOT)!r})\nfrom tests.conftest import *\n",
        encoding="utf-8",
    )
    for name in ("air.dew_point", "air.standard_barometer"):
        body = (
            f"def test_one(outside):\n    outside.check({name!r}, printed=1, ours=1, source='a"
            " table', standing='secondary', rel=1e-9)\n"
        )
        (tmp_path / f"test_{name.split('.')[1]}.py").write_text(body, encoding="utf-8")
    return tmp_path


@pytest.fixture
def pytester_run(two_tests: Path) -> Callable[..., list[dict]]:
    """Runs the two tests and reads the table that is written."""

    def run(*options: str) -> list[dict]:
        table = two_tests / "table.json"
        table.unlink(missing_ok=True)
        command = [
            sys.executable,
            "-m",
            "pytest",
            "-q",
            "-p",
            "no:cacheprovider",
            *options,
            f"--outside-table={table}",
            str(two_tests),
        ]
        done = subprocess.run(command, cwd=two_tests, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stdout + done.stderr
        return proof.read(table)

    return run
