"""The house has floors: a module imports only from floors below its own, lazy imports included."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

HOUSE = Path(__file__).parents[1] / "startkit"
# From the ground up. A module may import from its own floor and from those below it.
FLOORS = ("ground", "science", "facts", "stages", "desk", "paper", "fleet", "roof")
GROUND = {"units", "unit_registry", "errors", "verdict", "beside", "__version__"}
# The desk and the paper stand side by side: neither draws on the other.
APART = {("paper", "desk"), ("desk", "paper")}


def floor_of(module: str) -> str:
    """Floor of a dotted module name below ``startkit``."""
    parts = module.split(".")
    if len(parts) == 1 or parts[1] in GROUND:
        return "ground"
    if parts[1] == "cli":
        return "roof"
    return parts[1]


def imports_of(path: Path) -> list[str]:
    """Every ``startkit`` module that a file imports, wherever in the file."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            found += [f"{node.module}.{alias.name}" for alias in node.names]
    return [name for name in found if name.split(".")[0] == "startkit"]


MODULES = sorted(HOUSE.rglob("*.py"))


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(HOUSE)))
def test_a_module_imports_only_from_its_own_floor_or_below(path: Path) -> None:
    own = floor_of("startkit." + ".".join(path.relative_to(HOUSE).with_suffix("").parts))
    for name in imports_of(path):
        other = floor_of(name)
        assert other in FLOORS, f"{path} imports {name}, which stands on no floor"
        assert FLOORS.index(other) <= FLOORS.index(own), (
            f"{path} on the floor {own} imports {name} from the floor {other}"
        )
        assert (
            own,
            other,
        ) not in APART, (
            f"{path} on the floor {own} imports {name}: desk and paper do not know each other"
        )


def test_the_check_sees_a_lazy_import(tmp_path: Path) -> None:
    file = tmp_path / "low.py"
    file.write_text(
        "def f():\n    from startkit.desk import book\n    return book\n", encoding="utf-8"
    )
    assert imports_of(file) == ["startkit.desk.book"]


def test_science_reads_no_file_and_no_clock() -> None:
    for path in (HOUSE / "science").glob("*.py"):
        names = {
            node.id
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
            if isinstance(node, ast.Name)
        }
        assert not names & {"open", "Path", "datetime"}, path.name


def test_stages_read_no_file() -> None:
    for path in (HOUSE / "stages").glob("*.py"):
        names = {
            node.id
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
            if isinstance(node, ast.Name)
        }
        assert not names & {"open", "Path"}, path.name
        assert ".now(" not in path.read_text(encoding="utf-8"), path.name
