"""No formula without a use: each is called by the product, the demonstration's model, a worked
example or a benchmark.
"""

from __future__ import annotations

import ast
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[2]
SCIENCE = ROOT / "startkit" / "science"
CALLERS = ("startkit", "workbook", "benchmarks")
# Formulas whose caller is being written, and what for.
AWAITED = {
    "air.standard_barometer_uncertainty": "how far the entered barometer may be from the elevation",
    "performance.carnot_fraction": "a COP above the reversed Carnot cycle's is a wrong reading",
    "pre_lube.value_at_trip": "the differential at the trip read off the trend",
    "refrigerant.density": "volume flow at suction, where a compressor surges",
    "refrigerant.sound_speed": "machine Mach number, where a compressor surges",
    "uncertainty.correlation_of_shared": "readings of one meter, as in a voltage unbalance",
    "uncertainty.effective_freedom": "a mean of few readings in a larger budget",
    "uncertainty.rectangular": "an accuracy stated as plus or minus",
    "uncertainty.resolution": "the last digit of a display",
}
Name = tuple[str, str]


def definitions() -> dict[Name, ast.AST]:
    """Every function and class of the science floor, as (module, name)."""
    return {
        (path.stem, node.name): node
        for path in SCIENCE.glob("*.py")
        for node in ast.parse(path.read_text(encoding="utf-8")).body
        if isinstance(node, ast.FunctionDef | ast.ClassDef)
    }


def imports(tree: ast.AST) -> dict[str, Name]:
    """What each imported name of a module means; the second part is empty for a whole module."""
    found: dict[str, Name] = {}
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module == "startkit.science":
            found.update({a.asname or a.name: (a.name, "") for a in node.names})
        elif isinstance(node, ast.ImportFrom) and (node.module or "").startswith(
            "startkit.science."
        ):
            found.update({a.asname or a.name: (node.module[17:], a.name) for a in node.names})
    return found


def used(node: ast.AST, known: dict[str, Name], own: str = "") -> set[Name]:
    """Names of the science floor that this part of a module refers to."""
    found = set()
    for part in ast.walk(node):
        if isinstance(part, ast.Attribute) and isinstance(part.value, ast.Name):
            found.add((known.get(part.value.id, ("", ""))[0], part.attr))
        elif isinstance(part, ast.Name):
            found.add(known.get(part.id, (own, part.id)))
    return found


def origin(name: Name, whole: dict[Name, ast.AST], known: dict[str, dict[str, Name]]) -> Name:
    """Where a name that one science module hands on from another is defined."""
    while name not in whole and name[1] in known.get(name[0], {}):
        name = known[name[0]][name[1]]
    return name


def called() -> set[Name]:
    """Everything that is reached from outside the science floor."""
    whole = definitions()
    trees = {p.stem: ast.parse(p.read_text(encoding="utf-8")) for p in SCIENCE.glob("*.py")}
    known = {module: imports(tree) for module, tree in trees.items()}
    examples = tomllib.loads(
        (ROOT / "startkit" / "facts" / "worked_examples.toml").read_text(encoding="utf-8")
    )
    waiting = {tuple(e["formula"].split(".")) for e in examples.values()}
    for path in (p for folder in CALLERS for p in (ROOT / folder).rglob("*.py")):
        if SCIENCE not in path.parents:
            tree = ast.parse(path.read_text(encoding="utf-8"))
            waiting |= used(tree, imports(tree))
    for module, tree in trees.items():
        for node in tree.body:
            if not isinstance(node, ast.FunctionDef | ast.ClassDef):
                waiting |= used(node, known[module], module)
    reached: set[Name] = set()
    while waiting:
        name = origin(waiting.pop(), whole, known)
        if name in whole and name not in reached:
            reached.add(name)
            waiting |= used(whole[name], known[name[0]], name[0])
    return reached


REACHED = called()


def test_every_public_formula_is_called() -> None:
    idle = {
        f"{module}.{name}"
        for (module, name), node in definitions().items()
        if isinstance(node, ast.FunctionDef) and not name.startswith("_")
        if (module, name) not in REACHED
    }
    assert idle == set(AWAITED)


def test_a_formula_that_only_another_idle_one_calls_is_idle() -> None:
    assert ("rating", "degradation") in REACHED
    assert ("refrigerant", "sound_speed") not in REACHED
