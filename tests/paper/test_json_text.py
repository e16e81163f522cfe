"""JSON text: the very text of the standard library."""

from __future__ import annotations

import io
import json
from pathlib import Path

import nbformat
import pytest
from hypothesis import given
from hypothesis import strategies as st

from startkit.paper import runs
from startkit.paper.json_text import dumped

PLAIN = st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text())
VALUES = st.recursive(
    PLAIN,
    lambda inner: st.one_of(
        st.lists(inner, max_size=4), st.tuples(inner), st.dictionaries(st.text(), inner, max_size=4)
    ),
    max_leaves=25,
)


@given(VALUES, st.booleans())
def test_any_value_gives_the_text_of_the_standard_library(value: object, sort_keys: bool) -> None:
    assert dumped(value, sort_keys) == json.dumps(
        value, ensure_ascii=False, indent=1, sort_keys=sort_keys
    )


@pytest.mark.parametrize(
    "value",
    [{1: 2, None: 3, False: 4, 2.5: 6}, {}, [], [[], {}], '\u2028\ud800\x00"\\', float("inf")],
)
def test_odd_values_too(value: object) -> None:
    assert dumped(value) == json.dumps(value, ensure_ascii=False, indent=1)


def test_what_json_cannot_hold_is_refused_alike() -> None:
    with pytest.raises(TypeError):
        dumped({"a": [object()]})
    with pytest.raises(TypeError):
        dumped({(1, 2): 3})


@pytest.mark.parametrize(
    "path", sorted((Path(__file__).parents[2] / "templates").glob("*.ipynb")), ids=lambda p: p.stem
)
def test_a_notebook_is_written_as_nbformat_writes_it(path: Path) -> None:
    notebook = nbformat.read(path, 4)
    notebook.cells[1].source += "\nline\r\nlast"
    notebook.metadata["signature"] = "old"
    stream = io.StringIO()
    nbformat.write(notebook, stream)
    assert (
        runs.to_bytes(notebook) == stream.getvalue().encode("utf-8")
        and notebook.metadata["signature"] == "old"
    )
