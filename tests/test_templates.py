"""Templates are thin: parameters, one import, then one call and one display per cell; no code in
sight, no outputs stored.
"""

from __future__ import annotations

import ast
from pathlib import Path

import nbformat
import pytest

from startkit.facts import plugins
from startkit.procedure.holds import NAMES
from startkit.procedure.registry import stages

HOME = Path(__file__).parents[1] / "templates"
JOB_TEMPLATES = [
    path
    for path in sorted(HOME.glob("*.ipynb"))
    if "book = open_book(job, mode)" in path.read_text(encoding="utf-8")
]


@pytest.mark.parametrize("path", sorted(HOME.glob("*.ipynb")), ids=lambda p: p.stem)
class TestEveryTemplate:
    def test_is_a_valid_notebook_without_outputs(self, path: Path) -> None:
        notebook = nbformat.read(path, as_version=4)
        nbformat.validate(notebook)
        assert all(
            not c.outputs and c.execution_count is None
            for c in notebook.cells
            if c.cell_type == "code"
        )

    def test_hides_its_code(self, path: Path) -> None:
        assert all(
            c.metadata.jupyter.source_hidden
            for c in nbformat.read(path, as_version=4).cells
            if c.cell_type == "code"
        )

    def test_has_one_tagged_parameters_cell(self, path: Path) -> None:
        cells = [
            c
            for c in nbformat.read(path, as_version=4).cells
            if "parameters" in c.metadata.get("tags", [])
        ]
        assert len(cells) == 1

    def test_defines_no_function_and_holds_no_formula(self, path: Path) -> None:
        for cell in nbformat.read(path, as_version=4).cells:
            if cell.cell_type == "code":
                tree = ast.parse(cell.source)
                kinds = {type(node) for node in ast.walk(tree)}
                assert not kinds & {
                    ast.FunctionDef,
                    ast.Lambda,
                    ast.ClassDef,
                    ast.BinOp,
                    ast.For,
                    ast.If,
                    ast.While,
                }
                if "parameters" in cell.metadata.get("tags", []):
                    assert all(
                        isinstance(node, ast.Assign) and isinstance(node.value, ast.Constant)
                        for node in tree.body
                    )
                else:
                    assert len(tree.body) <= 2

    def test_is_found_by_name(self, path: Path) -> None:
        assert plugins.find_template(path.stem) == path


@pytest.mark.parametrize("path", JOB_TEMPLATES, ids=lambda p: p.stem)
def test_every_stage_and_hold_point_it_shows_exists(path: Path) -> None:
    known = set(stages())
    for cell in nbformat.read(path, as_version=4).cells:
        for node in ast.walk(ast.parse(cell.source)) if cell.cell_type == "code" else ():
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.args:
                name = ast.literal_eval(node.args[0])
                assert name in (known if node.func.attr == "stage" else NAMES), name


def test_the_first_template_shows_every_built_in_stage_of_a_new_machine() -> None:
    shown = [c.source for c in nbformat.read(HOME / "new-machine.ipynb", as_version=4).cells]
    for name in stages():
        if name != "overhaul":
            assert f'book.stage("{name}")' in shown, name
