"""Notebooks read as plain data: for a check, which runs none and writes none, and does without the
library that does both.
"""

# `Any` here: a notebook's nodes are JSON that is read by attribute.
from __future__ import annotations

import json
from typing import Any


class Node(dict[str, Any]):
    """A JSON object whose values are also its attributes."""

    def __getattr__(self, name: str) -> Any:
        try:
            return self[name]
        except KeyError:
            raise AttributeError(name) from None


def of_bytes(content: bytes) -> Any:
    """The notebook in a file of format 4, as nbformat gives it; another format is left to nbformat.

    Raises
    ------
    Exception
        Of any kind: the file is not a notebook.
    """
    notebook = json.loads(content.decode("utf-8"), object_pairs_hook=Node)
    if notebook["nbformat"] != 4:
        import nbformat

        return nbformat.reads(content.decode("utf-8"), as_version=4)
    for cell in notebook["cells"]:
        _join(cell)
    return notebook


def _join(cell: Node) -> None:
    """Texts are in the file as lists of their lines."""
    cell["source"] = _text(cell["source"])
    for bundle in cell.get("attachments", {}).values():
        _join_bundle(bundle)
    for output in cell.get("outputs", ()):
        if output["output_type"] in ("execute_result", "display_data"):
            _join_bundle(output["data"])
        elif "text" in output:
            output["text"] = _text(output["text"])


def _join_bundle(bundle: Node) -> None:
    for mime, value in bundle.items():
        if not (mime.startswith("application/") and mime.endswith(("/json", "+json"))):
            bundle[mime] = _text(value)


def _text(value: Any) -> Any:
    return (
        "".join(value)
        if isinstance(value, list) and all(isinstance(line, str) for line in value)
        else value
    )
