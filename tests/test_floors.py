"""A module imports only from floors below its own; no import circles; no stage imports another."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

HOUSE = Path(__file__).parents[1] / "startkit"
# From the ground up. A module may import from its own floor and from those below it.
FLOORS = ("ground", "science", "facts", "procedure", "stages", "desk", "paper", "fleet", "roof")
GROUND = {
    "errors",
    "formula",
    "kinds",
    "side_process",
    "spellings",
    "unit_registry",
    "units",
    "verdict",
    "__version__",
}
# Desk, paper and panel stand side by side and do not know each other.
SIDE_BY_SIDE = ("desk", "paper", "panel")
# Inside paper a folder imports from those before it only; what all need is in paper/ itself.
PAPER = ("shared", "printing", "verifying", "signing")
MODULES = sorted(HOUSE.rglob("*.py"))


def module_of(path: Path) -> str:
    parts = ("startkit", *path.relative_to(HOUSE).with_suffix("").parts)
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def floor_of(module: str) -> str:
    """Floor of a dotted module name below ``startkit``."""
    parts = module.split(".")
    if len(parts) == 1 or parts[1] in GROUND:
        return "ground"
    return "roof" if parts[1] == "cli" else parts[1]


def stage_of(module: str) -> str:
    """The stage a module belongs to; empty if it belongs to none."""
    parts = module.split(".")
    return parts[2] if parts[:2] == ["startkit", "stages"] and len(parts) > 2 else ""


def imports_of(path: Path) -> list[str]:
    """Every ``startkit`` name that a file imports, wherever in the file."""
    found = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            found += [f"{node.module}.{alias.name}" for alias in node.names]
    return [name for name in found if name.split(".")[0] == "startkit"]


KNOWN = {module_of(path) for path in MODULES}


def modules_imported(path: Path) -> set[str]:
    """The modules behind the names that a file imports."""
    return {_module(name) for name in imports_of(path)} - {module_of(path)}


def _module(name: str) -> str:
    while name not in KNOWN:
        name = name.rsplit(".", 1)[0]
    return name


def test_a_module_imports_only_from_its_own_floor_or_below() -> None:
    faults = []
    for path in MODULES:
        own = floor_of(module_of(path))
        for name in modules_imported(path):
            other = floor_of(name)
            assert other in FLOORS, f"{path} imports {name}, which belongs to no floor"
            if FLOORS.index(other) > FLOORS.index(own):
                faults.append(f"{module_of(path)} ({own}) imports {name} ({other})")
            if own != other and own in SIDE_BY_SIDE and other in SIDE_BY_SIDE:
                faults.append(f"{module_of(path)} imports {name}: {own} and {other} are apart")
    assert not faults, "\n".join(sorted(faults))


def test_no_stage_imports_another() -> None:
    faults = []
    for path in MODULES:
        own = stage_of(module_of(path))
        others = {stage_of(name) for name in modules_imported(path)} - {"", own}
        faults += [f"{module_of(path)} imports from {other}" for other in others if own]
    assert not faults, "\n".join(sorted(faults))


def test_nothing_above_imports_a_stage_or_a_part_of_one() -> None:
    faults = []
    for path in MODULES:
        if floor_of(module_of(path)) in ("desk", "paper", "fleet", "roof", "procedure"):
            faults += [
                f"{module_of(path)} imports {name}"
                for name in modules_imported(path)
                if stage_of(name)
            ]
    assert not faults, "\n".join(sorted(faults))


def room_of(module: str) -> str:
    """The folder of a module of paper; ``shared`` for what is in paper/ itself."""
    name = module.split(".")[2]
    return name if name in PAPER else "shared"


def test_printing_verifying_and_signing_import_in_one_direction() -> None:
    faults = []
    for path in MODULES:
        module = module_of(path)
        if module.startswith("startkit.paper."):
            place = PAPER.index(room_of(module))
            faults += [
                f"{module} imports {name}"
                for name in modules_imported(path)
                if name.startswith("startkit.paper.") and PAPER.index(room_of(name)) > place
            ]
    assert not faults, "\n".join(sorted(faults))


def test_no_circle_stands_inside_a_floor() -> None:
    graph = {module_of(path): modules_imported(path) for path in MODULES}
    circle = circle_in(graph)
    assert not circle, " -> ".join(circle)


def circle_in(graph: dict[str, set[str]]) -> list[str]:
    """One circle of imports, first module repeated at the end; empty if there is none."""
    done: set[str] = set()

    def walk(name: str, road: list[str]) -> list[str]:
        if name in road:
            return [*road[road.index(name) :], name]
        if name in done:
            return []
        for other in sorted(graph.get(name, ())):
            found = walk(other, [*road, name])
            if found:
                return found
        done.add(name)
        return []

    return next((found for name in sorted(graph) if (found := walk(name, []))), [])


@pytest.mark.parametrize(
    ("graph", "circle"),
    [
        ({"a": {"b"}, "b": {"c"}, "c": set()}, []),
        ({"a": {"b"}, "b": {"c"}, "c": {"b"}}, ["b", "c", "b"]),
    ],
)
def test_a_circle_is_found(graph: dict[str, set[str]], circle: list[str]) -> None:
    assert circle_in(graph) == circle


def test_the_check_sees_a_lazy_import(tmp_path: Path) -> None:
    file = tmp_path / "low.py"
    file.write_text(
        "def f():\n    from startkit.desk import book\n    return book\n", encoding="utf-8"
    )
    assert imports_of(file) == ["startkit.desk.book"]


@pytest.mark.parametrize("floor", ["science", "stages", "procedure"])
def test_what_calculates_and_judges_reads_no_file_and_no_clock(floor: str) -> None:
    for path in (HOUSE / floor).rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        names = {node.id for node in ast.walk(ast.parse(text)) if isinstance(node, ast.Name)}
        assert not names & {"open", "Path"}, path.name
        assert ".now(" not in text, path.name
        if floor == "science":
            assert "datetime" not in names, path.name
