"""Docstrings say what is so: parameters as in the signature, units and sources where a formula is,
and examples that run.

The rule. Every public module-level function and class has a docstring; so has every public method
and property whose body
is longer than three lines (of a shorter one the name tells). A section Parameters names every
parameter; those of a
type of this house (`HOUSE`) may be left out, for their type tells. The section is due for every
formula with two
parameters or more, and elsewhere from five parameters on that no type of the house explains. A
dataclass that has the
section names every field without an underscore. A formula with units in its door says its unit for
each parameter in
square brackets, and its source. A sentence "Parameters are those of `other`." stands for the
section of `other`.
Commands are explained by their options (tests/test_cli.py), and a method that a library asks for
(`ASKED_FOR`) by that
library.
"""

from __future__ import annotations

import ast
import importlib
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "startkit"
HOUSE = {
    "Machine",
    "Limits",
    "Limit",
    "Entries",
    "Row",
    "Reading",
    "Point",
    "Circuit",
    "Assessment",
    "Stage",
    "Job",
    "Fleet",
    "Record",
    "Path",
    "Verdict",
    "Trend",
    "Findings",
    "Strokes",
    "Oil",
    "FirstStart",
    "Court",
    "PullPlan",
    "Seen",
    "Steady",
    "TrendFigures",
    "Held",
    "Winding",
    "Supply",
    "Propagated",
    "Summary",
    "Part",
}
MANY = 5
ASKED_FOR = {
    "fleet.shell.Tape.send": "jupyter_client.session.Session",
    "fleet.shell.Stream.write": "io.TextIOBase",
    "fleet.shell.Client.execute_cell": "nbclient.NotebookClient",
    "fleet.engine_classes.Here.execute_managed_notebook": "papermill.engines.Engine",
    "fleet.engine_classes.FreshProcess.execute_managed_notebook": "papermill.engines.Engine",
}
Found = tuple[str, ast.FunctionDef | ast.ClassDef, ast.ClassDef | None]


def public() -> Iterator[Found]:
    """Every public function, class and method of the package, as ``module.name``."""
    for path in sorted(PACKAGE.rglob("*.py")):
        module = ".".join(path.relative_to(PACKAGE).with_suffix("").parts)
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
                yield f"{module}.{node.name}", node, None
                if isinstance(node, ast.ClassDef):
                    yield from (
                        (f"{module}.{node.name}.{m.name}", m, node)
                        for m in node.body
                        if isinstance(m, ast.FunctionDef) and not m.name.startswith("_")
                    )


ALL = [found for found in public() if found[0] not in ASKED_FOR]
FUNCTIONS = [
    found
    for found in ALL
    if isinstance(found[1], ast.FunctionDef) and not found[0].startswith("cli.")
]
BY_NAME = {name: node for name, node, _ in ALL}


def each(found: list[Found]) -> pytest.MarkDecorator:
    """One test a module for many names: told one by one they would take longer than to be looked
    at.
    """
    by_module: dict[str, list[Found]] = {}
    for name, node, home in found:
        by_module.setdefault(name.rsplit(".", 1 if home is None else 2)[0], []).append(
            (name, node, home)
        )
    return pytest.mark.parametrize("found", by_module.values(), ids=by_module)


def documented(node: ast.FunctionDef | ast.ClassDef) -> list[str] | None:
    """Names in the section Parameters; None without the section."""
    section = re.search(
        r"^Parameters\n-+\n(.*?)(?=^\w[\w ]*\n-{3,}\n|^Source|\Z)",
        ast.get_docstring(node) or "",
        re.MULTILINE | re.DOTALL,
    )
    if section is None:
        return None
    heads = [
        line
        for line in section.group(1).splitlines()
        if line and not line[0].isspace() and line[0] != "`"
    ]
    return [name.strip().lstrip("*") for line in heads for name in line.split(" : ")[0].split(",")]


def parameters(node: ast.FunctionDef, method: bool) -> dict[str, str]:
    """Name and annotation of every parameter, without ``self``."""
    a = node.args
    every = [
        *a.posonlyargs,
        *a.args,
        *([a.vararg] if a.vararg else []),
        *a.kwonlyargs,
        *([a.kwarg] if a.kwarg else []),
    ]
    is_static = any(isinstance(d, ast.Name) and d.id == "staticmethod" for d in node.decorator_list)
    return {
        arg.arg: ast.unparse(arg.annotation) if arg.annotation else ""
        for arg in every[1 if method and not is_static else 0 :]
    }


def own(node: ast.FunctionDef, method: bool) -> set[str]:
    """Parameters that no type of the house explains."""
    return {
        name
        for name, kind in parameters(node, method).items()
        if not set(re.findall(r"\w+", kind)) & HOUSE
    }


def is_formula(name: str, node: ast.FunctionDef) -> bool:
    return name.startswith("science.") and any(
        "quantities" in ast.unparse(d) for d in node.decorator_list
    )


# --- there, and true ------------------------------------------------------------------------------


@each(ALL)
def test_what_is_public_says_what_it_is(found: list[Found]) -> None:
    for name, node, home in found:
        lines = (node.end_lineno or node.lineno) - node.body[0].lineno + 1
        if home is None or lines > 3:
            assert ast.get_docstring(node), f"{name} has no docstring"


@each(FUNCTIONS)
def test_documented_parameters_are_those_of_the_signature(found: list[Found]) -> None:
    for name, node, home in found:
        told, there = documented(node), parameters(node, home is not None)
        other = re.search(r"Parameters are those of `(\w+)`", ast.get_docstring(node) or "")
        if other:
            same = set(parameters(BY_NAME[f"{name.rsplit('.', 1)[0]}.{other.group(1)}"], False))
            assert set(there) <= same, (
                f"{name} has {sorted(set(there) - same)}, which {other.group(1)} has not"
            )
        elif told is None:
            least = 2 if is_formula(name, node) else MANY
            assert len(own(node, home is not None)) < least, (
                f"{name} needs a section Parameters: {', '.join(there)}"
            )
        else:
            assert set(told) <= set(there), (
                f"{name} documents {sorted(set(told) - set(there))}, which it has not"
            )
            assert own(node, home is not None) <= set(told), (
                f"{name} does not document {sorted(own(node, home is not None) - set(told))}"
            )
            assert len(told) == len(set(told)), f"{name} documents a parameter twice"


CLASSES = [
    found
    for found in ALL
    if isinstance(found[1], ast.ClassDef) and documented(found[1]) is not None
]


@each(CLASSES)
def test_documented_fields_are_those_of_the_class(found: list[Found]) -> None:
    for name, node, _ in found:
        fields = [
            m.target.id
            for m in node.body
            if isinstance(m, ast.AnnAssign)
            and isinstance(m.target, ast.Name)
            and not m.target.id.startswith("_")
        ]
        start = next(
            (m for m in node.body if isinstance(m, ast.FunctionDef) and m.name == "__init__"), None
        )
        there = fields if start is None else list(parameters(start, True))
        assert set(documented(node) or ()) == set(there), name


# --- formulas -------------------------------------------------------------------------------------


def test_a_library_still_asks_for_the_methods_that_it_explains() -> None:
    names = {name for name, _, _ in public()}
    for name, library in ASKED_FOR.items():
        module, base = library.rsplit(".", 1)
        assert name in names and hasattr(
            getattr(importlib.import_module(module), base), name.rsplit(".", 1)[1]
        ), name


FORMULAS = [found for found in FUNCTIONS if is_formula(found[0], found[1])]


@each(FORMULAS)
def test_a_formula_says_its_units_and_its_source(found: list[Found]) -> None:
    for name, node, _ in found:
        text = ast.get_docstring(node) or ""
        module, function = name.removeprefix("science.").rsplit(".", 1)
        door = getattr(importlib.import_module(f"startkit.science.{module}"), function).units
        assert "[" in text or "Parameters are those of" in text or len(door) <= 1, (
            f"{name}: units in square brackets"
        )
        assert re.search(r"^Source", text, re.MULTILINE), f"{name}: where the formula is from"


# --- examples -------------------------------------------------------------------------------------


def test_every_example_in_a_docstring_runs() -> None:
    done = subprocess.run(
        [
            sys.executable,
            "-m",
            "pytest",
            "-q",
            "--doctest-modules",
            "startkit",
            "-p",
            "no:cacheprovider",
            "-p",
            "no:xdist",
            "--noconftest",
        ],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
        timeout=220,
    )
    passed = re.search(r"(\d+) passed", done.stdout)
    assert done.returncode == 0 and passed, done.stdout[-3000:]
    assert int(passed.group(1)) >= 20
