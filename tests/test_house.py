"""The rules of the house: short modules, formatted and typed code, nothing unused, a reason beside
each exception to a check.
"""

from __future__ import annotations

import ast
import os
import re
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
LONGEST_MODULE, SHORTEST_MODULE, USUAL_STATEMENTS = 500, 50, 5
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
# Machinery is named by what it is; these words were used and told nobody where a thing is.
SAYS_NOTHING = {
    "beside", "carve", "early", "feed", "here", "lean", "made", "mark", "order", "parcel", "whole",
}  # fmt: skip


def name_of(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def lines_of(path: Path) -> int:
    return len(path.read_text(encoding="utf-8").splitlines())


def test_modules_are_short() -> None:
    assert {name_of(p): n for p in MODULES if (n := lines_of(p)) > LONGEST_MODULE} == {}


def test_a_small_module_has_joined_its_neighbour() -> None:
    small = {
        name_of(path): lines_of(path)
        for path in MODULES
        if path.parts[-2] != "benchmarks"
        and path.name not in ("__init__.py", "__main__.py")
        and lines_of(path) < SHORTEST_MODULE
        and name_of(path) not in SMALL_FOR_A_REASON
    }
    assert small == {}


# Files whose name and place are fixed, or which are the one place of their thing.
SMALL_FOR_A_REASON: dict[str, str] = {
    "startkit/stages/overhaul/findings.py": "one of the names that each stage's folder has",
    "startkit/stages/tightness/plots.py": "one of the names that each stage's folder has",
    "startkit/facts/digests.py": "the one place of digests; no neighbour is about bytes in memory",
    "startkit/facts/file_types.py": "the table of file types, where an import format is added",
    "startkit/desk/contents.py": "the notebook server loads it by its dotted name",
    "workbook/refrigerants.py": "a command, python -m workbook.refrigerants",
}


def test_no_module_has_a_name_that_says_nothing() -> None:
    assert [name_of(path) for path in MODULES if path.stem in SAYS_NOTHING] == []


def test_the_usual_function_is_short() -> None:
    """Ruff refuses the long one (PLR0915) and the tangled one (C901); this is about the rest."""
    counts = [
        sum(isinstance(inner, ast.stmt) for inner in ast.walk(node)) - 1
        for path in MODULES
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
    ]
    assert statistics.median(counts) <= USUAL_STATEMENTS


# --- reasons beside exceptions --------------------------------------------------------------------


def comments(path: Path) -> list[tuple[int, str]]:
    with path.open("rb") as file:
        return [
            (token.start[0], token.string)
            for token in tokenize.tokenize(file.readline)
            if token.type == tokenize.COMMENT
        ]


def unexplained(path: Path) -> list[str]:
    """Exceptions to a check without a reason; once in a module is enough for the same rule."""
    faults: list[str] = []
    explained: set[str] = set()
    for line, comment in comments(path):
        for rule, reason in re.findall(r"noqa: (\w+)(?: - (.+))?$", comment):
            if not reason and rule not in explained:
                faults.append(f"{name_of(path)}, line {line}: {comment}")
            explained.add(rule)
        if "type: ignore" in comment and not re.search(r"type: ignore\[[\w, -]+\]  # \w", comment):
            faults.append(f"{name_of(path)}, line {line}: {comment}")
    return faults


def test_any_is_used_with_a_reason() -> None:
    """A type that says nothing hides what its reader needs: name the type, or say why not."""

    def used(path: Path) -> bool:
        nodes = ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        return any(isinstance(node, ast.Name) and node.id == "Any" for node in nodes)

    silent = [
        name_of(path)
        for path in MODULES
        if path.is_relative_to(ROOT / "startkit")
        and used(path)
        and not any(re.match(r"# `Any` here: \w.{15}", text) for _, text in comments(path))
    ]
    assert silent == []


def test_an_exception_to_a_check_has_its_reason() -> None:
    assert [fault for path in MODULES for fault in unexplained(path)] == []


def test_no_private_name_of_a_library_is_imported() -> None:
    """Ruff refuses those that are reached by an attribute (SLF)."""
    imported = [
        (path, f"{node.module}.{alias.name}" if isinstance(node, ast.ImportFrom) else alias.name)
        for path in MODULES
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Import | ast.ImportFrom)
        for alias in node.names
    ]
    private = [
        f"{name_of(path)}: {name}"
        for path, name in imported
        if name.split(".")[0] not in (*FOLDERS, "tests") and re.search(r"\._(?!_)", name)
    ]
    assert len(imported) > 1000 and private == []


# --- tools: what `make lint` runs -----------------------------------------------------------------


def run(tool: str, *arguments: str) -> None:
    """Run a checker of the extra `test`."""
    command = Path(sys.executable).with_name(tool + (".exe" if os.name == "nt" else ""))
    done = subprocess.run(
        [command, *arguments], cwd=ROOT, capture_output=True, text=True, check=False, timeout=220
    )
    assert done.returncode == 0, (done.stdout + done.stderr)[-4000:]


def test_the_style_is_clean() -> None:
    run("ruff", "check", "--no-cache", ".")


def test_every_file_is_formatted() -> None:
    run("ruff", "format", "--no-cache", "--check", ".")


def test_the_types_are_clean() -> None:
    run("mypy")


def test_nothing_is_defined_that_nobody_uses() -> None:
    run("vulture")


def test_every_dependency_is_used_and_every_import_declared() -> None:
    run("deptry", ".")


def test_the_makefile_runs_the_same_checks() -> None:
    makefile = (ROOT / "Makefile").read_text(encoding="utf-8")
    recipe = makefile.split("\nlint:")[1].split("\n\n")[0]
    for tool in ("ruff check .", "ruff format --check .", "mypy", "vulture", "deptry ."):
        assert f"$(BIN)/{tool}" in recipe
        needs = PROJECT["project"]["optional-dependencies"]["test"]
        assert any(need.startswith(tool.split()[0]) for need in needs)


@pytest.mark.xdist_group("house")
def test_tests_of_one_group_run_on_one_worker(request: pytest.FixtureRequest) -> None:
    """Else each worker makes the demonstration and starts a server of its own, and the run takes
    half as long again.
    """
    if "PYTEST_XDIST_WORKER" not in os.environ:
        pytest.skip("only where tests run side by side")
    assert request.node.nodeid.endswith("@house")
