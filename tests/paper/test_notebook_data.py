"""A notebook read as plain data is the one that the notebook library reads."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import nbformat
import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook, new_output, new_raw_cell

from startkit.paper.verifying import notebook_data

TEMPLATES = sorted((Path(__file__).parents[2] / "templates").glob("*.ipynb"))


def everything() -> Any:
    """One of each kind of cell and output, with texts of several lines."""
    return new_notebook(
        cells=[
            new_markdown_cell(
                "one\ntwo\n",
                attachments={
                    "a.png": {"image/png": "aGVsbG8="},
                    "b.svg": {"image/svg+xml": "<svg>\n</svg>"},
                },
            ),
            new_raw_cell("raw\ntext"),
            new_code_cell(
                "x = 1\nx",
                execution_count=1,
                outputs=[
                    new_output("stream", name="stdout", text="1\n2\n"),
                    new_output(
                        "display_data",
                        {
                            "text/plain": "a\nb",
                            "text/html": "<p>\n</p>",
                            "application/json": ["a\n", "b"],
                            "application/vnd.x+json": {"k": ["l\n", "m"]},
                        },
                        metadata={"m": 1},
                    ),
                    new_output("execute_result", {"text/plain": "1"}, execution_count=1),
                    new_output("error", ename="E", evalue="v", traceback=["t\n", "u"]),
                ],
            ),
            new_code_cell(""),
        ]
    )


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: path.stem)
def test_a_template_is_read_as_the_library_reads_it(path: Path):
    assert notebook_data.of_bytes(path.read_bytes()) == nbformat.read(path, as_version=4)


@pytest.mark.parametrize("split", [True, False], ids=["lines", "whole texts"])
def test_every_kind_of_cell_and_output_is_read_as_the_library_reads_it(split: bool):
    whole = everything()
    text = nbformat.v4.nbjson.writes(whole, split_lines=split)
    assert notebook_data.of_bytes(text.encode()) == nbformat.reads(text, as_version=4) == whole


def test_its_parts_are_attributes_as_well():
    cell = notebook_data.of_bytes(nbformat.writes(everything()).encode()).cells[2]
    assert (
        cell.outputs[0].text == "1\n2\n"
        and cell.metadata == {}
        and cell.get("attachments", {}) == {}
    )
    with pytest.raises(AttributeError):
        cell.nothing  # noqa: B018 - asked for, and not there


def test_an_older_format_is_left_to_the_library():
    old = {
        "nbformat": 3,
        "nbformat_minor": 0,
        "metadata": {},
        "worksheets": [
            {
                "metadata": {},
                "cells": [{"cell_type": "markdown", "metadata": {}, "source": ["a\n", "b"]}],
            }
        ],
    }
    found = notebook_data.of_bytes(json.dumps(old).encode())
    assert (found.nbformat, found.cells[0].source) == (4, "a\nb")


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"[]",
        b"{}",
        b"\xff",
        b'{"nbformat": 4}',
        b'{"nbformat": 4, "cells": [{}]}',
        b'{"nbformat": 4, "cells": [3]}',
        b'{"nbformat": 4, "cells": [{"source": "", "outputs": [{}]}]}',
    ],
)
def test_what_is_no_notebook_is_an_error_of_some_kind(content: bytes):
    with pytest.raises(Exception):  # noqa: B017 - any kind will do
        notebook_data.of_bytes(content)
