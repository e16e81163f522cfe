"""The house in order: short modules and functions, no dead code, clean style and types, a reason
beside each exception.
"""

from __future__ import annotations

import ast
import os
import re
import shutil
import statistics
import subprocess
import sys
import tokenize
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
FOLDERS = ("startkit", "workbook", "benchmarks")
MODULES = sorted(path for folder in FOLDERS for path in (ROOT / folder).rglob("*.py"))
LONGEST_MODULE, LONGEST_FUNCTION, USUAL_FUNCTION = 500, 40, 10
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))


def name_of(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def bodies(path: Path) -> dict[str, int]:
    """Lines of each function's body, without its docstring."""
    found = {}
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            body = node.body[1:] if ast.get_docstring(node) is not None else node.body
            found[f"{name_of(path)}:{node.lineno} {node.name}"] = (
                body[-1].end_lineno - body[0].lineno + 1 if body else 0
            )
    return found


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_a_module_is_short(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= LONGEST_MODULE


def test_functions_are_short() -> None:
    lines = {name: length for path in MODULES for name, length in bodies(path).items()}
    assert statistics.median(lines.values()) <= USUAL_FUNCTION
    assert {name: length for name, length in lines.items() if length > LONGEST_FUNCTION} == {}


# --- reasons beside exceptions --------------------------------------------------------------------


def comments(path: Path) -> list[tuple[int, str]]:
    with path.open("rb") as file:
        return [
            (token.start[0], token.string)
            for token in tokenize.tokenize(file.readline)
            if token.type == tokenize.COMMENT
        ]


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_an_exception_to_a_check_has_its_reason(path: Path) -> None:
    explained: set[str] = set()
    for line, comment in comments(path):
        for rule, reason in re.findall(r"noqa: (\w+)(?: - (.+))?$", comment):
            # Once in a module is enough: the same rule, the same reason.
            assert reason or rule in explained, (
                f"{name_of(path)}, line {line}: {comment} without a reason"
            )
            explained.add(rule)
        if "type: ignore" in comment:
            assert re.search(r"type: ignore\[[\w, -]+\]  # \w", comment), (
                f"{name_of(path)}, line {line}: {comment} without its code or its reason"
            )


# --- tools: what `make lint` runs, where it is installed ------------------------------------------


def run(tool: str, *arguments: str) -> None:
    """Run a checker of the development extra; where it is not installed that is said, not hidden."""
    command = Path(sys.executable).with_name(tool)
    found = str(command) if command.exists() else shutil.which(tool)
    if found is None:
        pytest.skip(f"{tool} is not installed: pip install -e .[dev]")
    done = subprocess.run(
        [found, *arguments], cwd=ROOT, capture_output=True, text=True, check=False, timeout=220
    )
    assert done.returncode == 0, (done.stdout + done.stderr)[-4000:]


def test_the_style_is_clean() -> None:
    run("ruff", "check", "--no-cache", ".")


def test_the_types_are_clean(tmp_path: Path) -> None:
    run("mypy", f"--cache-dir={tmp_path}")


def test_nothing_stands_there_that_nobody_calls() -> None:
    run("vulture")


def test_every_dependency_is_used_and_every_import_declared() -> None:
    run("deptry", ".")


def test_the_makefile_runs_the_same_checks() -> None:
    recipe = (ROOT / "Makefile").read_text(encoding="utf-8").split("\nlint:")[1].split("\n\n")[0]
    for tool in ("ruff check .", "mypy", "vulture", "deptry ."):
        assert f"$(BIN)/{tool}" in recipe
        assert any(
            need.startswith(tool.split()[0])
            for need in PROJECT["project"]["optional-dependencies"]["dev"]
        )


@pytest.mark.xdist_group("house")
def test_tests_of_one_group_run_on_one_worker(request: pytest.FixtureRequest) -> None:
    """Else each worker makes the demonstration and starts a server of its own, and the run takes
    half as long again.
    """
    if "PYTEST_XDIST_WORKER" not in os.environ:
        pytest.skip("only where tests run side by side")
    assert request.node.nodeid.endswith("@house")
