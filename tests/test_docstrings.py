"""Docstrings are there and true: parameters as in the signature, units and sources of formulas,
and examples that run.

Every public function and class has a docstring, and so has every public method of more than three
statements. One sentence is enough, except where quantities come in: a public function that takes
them, and every formula of the science floor with two parameters or more, has a section Parameters
with the unit of each in square brackets. On the science floor the section names every parameter,
elsewhere those that need words; of a dataclass it names every field. The sentence "Parameters are
those of `other`." refers to another function's section. Commands are explained by their options
(tests/test_cli.py), and a method that a library calls by that library.
"""

from __future__ import annotations

import ast
import importlib
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "startkit"
CALLED_BY = {
    "fleet.notebook_shell.Tape.send": "jupyter_client.session.Session",
    "fleet.notebook_shell.Stream.write": "io.TextIOBase",
    "fleet.notebook_shell.Client.execute_cell": "nbclient.NotebookClient",
}


class Public(NamedTuple):
    """A public function, class or method."""

    module: str
    name: str
    node: ast.FunctionDef | ast.ClassDef
    owner: ast.ClassDef | None = None

    @property
    def path(self) -> str:
        """As ``module.name``, within the package."""
        return f"{self.module}.{self.name}"

    @property
    def text(self) -> str:
        return ast.get_docstring(self.node) or ""


def public() -> Iterator[Public]:
    """Every public function, class and method of the package."""
    for path in sorted(PACKAGE.rglob("*.py")):
        module = ".".join(path.relative_to(PACKAGE).with_suffix("").parts)
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if not isinstance(node, ast.FunctionDef | ast.ClassDef) or node.name.startswith("_"):
                continue
            yield Public(module, node.name, node)
            if isinstance(node, ast.ClassDef):
                yield from (
                    Public(module, f"{node.name}.{method.name}", method, node)
                    for method in node.body
                    if isinstance(method, ast.FunctionDef) and not method.name.startswith("_")
                )


ALL = [found for found in public() if found.path not in CALLED_BY]
FUNCTIONS = [
    found
    for found in ALL
    if isinstance(found.node, ast.FunctionDef) and not found.module.startswith("cli")
]
BY_PATH = {found.path: found for found in ALL}


def documented(found: Public) -> list[str] | None:
    """Names in the section Parameters; None without the section."""
    section = re.search(
        r"^Parameters\n-+\n(.*?)(?=^\w[\w ]*\n-{3,}\n|^Source|\Z)",
        found.text,
        re.MULTILINE | re.DOTALL,
    )
    if section is None:
        return None
    heads = [line for line in section.group(1).splitlines() if re.match(r"[^\s`]", line)]
    return [name.strip().lstrip("*") for line in heads for name in line.split(" : ")[0].split(",")]


def parameters(node: ast.FunctionDef, is_method: bool = False) -> dict[str, str]:
    """Name and annotation of every parameter, without ``self``."""
    a = node.args
    stars = [arg for arg in (a.vararg, a.kwarg) if arg is not None]
    every = [*a.posonlyargs, *a.args, *a.kwonlyargs, *stars]
    is_static = any(isinstance(d, ast.Name) and d.id == "staticmethod" for d in node.decorator_list)
    return {
        arg.arg: ast.unparse(arg.annotation) if arg.annotation else ""
        for arg in every[1 if is_method and not is_static else 0 :]
    }


def is_formula(found: Public) -> bool:
    return found.module.startswith("science.") and any(
        ast.unparse(d).startswith("quantities") for d in found.node.decorator_list
    )


def takes_quantities(found: Public) -> bool:
    """True for a function of two annotated quantities or more; of one, and of a method, the name
    and the summary tell.
    """
    kinds = parameters(found.node).values()
    return found.owner is None and sum("Quantity" in kind for kind in kinds) >= 2


def units_at_the_door(found: Public) -> dict[str, object]:
    return getattr(importlib.import_module(f"startkit.{found.module}"), found.name).units


def referred(found: Public) -> Public | None:
    """The function whose section Parameters this one refers to."""
    other = re.search(r"Parameters are those of `(\w+)`", found.text)
    return BY_PATH[f"{found.module}.{other.group(1)}"] if other else None


FORMULAS = [found for found in FUNCTIONS if is_formula(found)]


# --- there, and true ------------------------------------------------------------------------------


def test_everything_public_has_a_docstring() -> None:
    def is_due(found: Public) -> bool:
        statements = sum(isinstance(part, ast.stmt) for part in ast.walk(found.node)) - 1
        return found.owner is None or statements > 3

    assert [found.path for found in ALL if is_due(found) and not found.text] == []


def test_functions_that_take_quantities_document_their_parameters() -> None:
    due = [
        found
        for found in FUNCTIONS
        if takes_quantities(found) or (is_formula(found) and len(parameters(found.node)) > 1)
    ]
    lacking = [f.path for f in due if documented(f) is None and referred(f) is None]
    assert len(due) > 100 and lacking == []


def test_documented_parameters_are_those_of_the_signature() -> None:
    wrong = {}
    for found in FUNCTIONS:
        names, there = documented(found), list(parameters(found.node, found.owner is not None))
        if names is None:
            continue
        is_whole = found.module.startswith("science.")
        if set(names) - set(there) or len(names) != len(set(names)):
            wrong[found.path] = f"documents {names}"
        elif is_whole and set(there) - set(names):
            wrong[found.path] = f"does not document {sorted(set(there) - set(names))}"
    assert wrong == {}


def test_a_function_that_refers_to_anothers_parameters_has_no_others() -> None:
    wrong = {}
    for found in FUNCTIONS:
        other = referred(found)
        if other is not None:
            more = set(parameters(found.node)) - set(parameters(other.node))
            wrong.update({found.path: sorted(more)} if more else {})
    assert wrong == {}


def test_documented_fields_are_those_of_the_class() -> None:
    wrong = {}
    for found in ALL:
        names = documented(found)
        if names is None or not isinstance(found.node, ast.ClassDef):
            continue
        fields = [
            part.target.id
            for part in found.node.body
            if isinstance(part, ast.AnnAssign) and isinstance(part.target, ast.Name)
        ]
        start = next((p for p in found.node.body if getattr(p, "name", "") == "__init__"), None)
        there = (
            list(parameters(start, True))
            if isinstance(start, ast.FunctionDef)
            else [name for name in fields if not name.startswith("_")]
        )
        if sorted(names) != sorted(there):
            wrong[found.path] = sorted(set(names) ^ set(there)) or "named twice"
    assert wrong == {}


def test_a_library_still_calls_the_methods_that_it_explains() -> None:
    names = {found.path for found in public()}
    for name, library in CALLED_BY.items():
        module, base = library.rsplit(".", 1)
        assert name in names and hasattr(
            getattr(importlib.import_module(module), base), name.rsplit(".", 1)[1]
        ), name


# --- formulas -------------------------------------------------------------------------------------


def test_a_formula_gives_the_unit_of_each_parameter() -> None:
    lacking = [
        found.path
        for found in FORMULAS
        if "[" not in found.text and referred(found) is None and len(units_at_the_door(found)) > 1
    ]
    assert len(FORMULAS) > 100 and lacking == []


def test_a_formula_names_its_source() -> None:
    assert [f.path for f in FORMULAS if not re.search(r"^Source", f.text, re.MULTILINE)] == []


# --- examples -------------------------------------------------------------------------------------


def test_every_example_in_a_docstring_runs() -> None:
    command = [sys.executable, "-m", "pytest", "-q", "--doctest-modules", "startkit"]
    without = ["-p", "no:cacheprovider", "-p", "no:xdist", "--noconftest"]
    done = subprocess.run(
        command + without, cwd=ROOT, capture_output=True, text=True, check=False, timeout=220
    )
    passed = re.search(r"(\d+) passed", done.stdout)
    assert done.returncode == 0 and passed, done.stdout[-3000:]
    assert int(passed.group(1)) >= 20
