"""What an executed notebook shows, cell by cell, as plain data; what cannot be printed is an error
that names its cell.
"""

# `Any` here: a notebook's nodes are JSON that is read by attribute.
from __future__ import annotations

import base64
import binascii
import json
from collections.abc import Callable
from typing import Any

from startkit.errors import PaperError
from startkit.facts import pictures
from startkit.paper.printing import prose, svg
from startkit.paper.printing.runs import cell_name, without_colours
from startkit.procedure.payload import MIME

WIDGET = "application/vnd.jupyter.widget-view+json"
SCREEN_ONLY = (  # tag of a markdown cell that speaks of the screen and is left out on paper
    "screen-only"
)
PARTS = ("front", "stage", "hold", "handover", "register")
_RASTER = {"image/png": (b"\x89PNG\r\n\x1a\n", "png"), "image/jpeg": (b"\xff\xd8\xff", "jpg")}

Block = dict[str, Any]


def collect(notebook: Any) -> list[Block]:
    """Every block to print, in the notebook's order; blocks of an output carry its ``cell`` and
    ``output`` number.

    Raises
    ------
    PaperError
        The notebook was run in form mode, a cell failed, or an output cannot be printed.
    """
    found: list[Block] = []
    for number, cell in enumerate(notebook.cells, start=1):
        where = cell_name(number, cell.source)
        if cell.cell_type == "code":
            found += [
                {**_output(output, where), "cell": number, "output": n}
                for n, output in enumerate(cell.outputs, start=1)
            ]
        elif cell.cell_type == "markdown" and SCREEN_ONLY not in cell.metadata.get("tags", []):
            found += _markdown(cell, where)
        elif cell.cell_type == "raw" and cell.source.strip():
            found.append({"block": "text", "text": cell.source})
    return found


def outputs(notebook: Any) -> set[tuple[int, int]]:
    """Cell and number of every output in the notebook."""
    return {
        (c, n)
        for c, cell in enumerate(notebook.cells, start=1)
        if cell.cell_type == "code"
        for n, _ in enumerate(cell.outputs, start=1)
    }


def _markdown(cell: Any, where: str) -> list[Block]:
    blocks = prose.blocks(cell.source)
    pictures = {
        name: _picture(bundle, where, "") for name, bundle in cell.get("attachments", {}).items()
    }
    made: list[Block] = []
    for block in blocks:
        if block["kind"] != "picture":
            made.append({"block": "prose", **block})
            continue
        picture = pictures.get(block["name"])
        if picture is None:
            raise PaperError(
                f"the picture {block['name']!r} is not attached to the cell",
                where,
                "attach it again",
            )
        made.append({**picture, "alt": block["alt"] or block["name"]})
    return made


def _output(output: Any, where: str) -> Block:
    if output.output_type == "stream":
        return {"block": "text", "text": plain(output.text)}
    if output.output_type == "error":
        raise PaperError(
            f"the cell stopped with an error ({output.ename}: {output.evalue})",
            where,
            "correct it and run the notebook again",
        )
    return _bundle(output.get("data", {}), output.get("metadata", {}), where)


def plain(text: str) -> str:
    """Text of a terminal without its colour codes."""
    return without_colours(text).rstrip("\n")


def _bundle(data: dict[str, Any], metadata: dict[str, Any], where: str) -> Block:
    """The richest form of an output that can be printed faithfully."""
    if WIDGET in data:
        raise PaperError(
            "the notebook was run in form mode",
            where,
            'run it with mode = "record" before printing',
        )
    if MIME in data:
        return _part(data[MIME], where)
    picture = _picture(data, where, str(data.get("text/plain", "")))
    if picture is not None:
        return picture
    for mime, block in _TEXTS.items():
        if mime in data and "text/html" not in data:
            return block(data[mime])
    # A rendered table or script comes with a short text that leaves things out: printing that would
    # lose them.
    kinds = ", ".join(sorted(data)) or "nothing"
    raise PaperError(
        f"the output ({kinds}) cannot be printed",
        where,
        "show a text, a PNG, JPEG or SVG picture, or a stage of the book",
    )


def _part(part: Any, where: str) -> Block:
    if isinstance(part, dict) and part.get("part") == "error":
        raise PaperError(
            str(part.get("sentence", "the part cannot be shown")).rstrip("."),
            where,
            "correct it and run the notebook again",
        )
    if not isinstance(part, dict) or part.get("part") not in PARTS:
        name = part.get("part") if isinstance(part, dict) else part
        raise PaperError(
            f"the record has no part {name!r}", where, f"use one of {', '.join(PARTS)}"
        )
    plots = [
        {**plot, "svg": svg.grey(svg.safe(plot["svg"], where))} for plot in part.get("plots", [])
    ]
    return {"block": part["part"], **part, **({"plots": plots} if plots else {})}


def _picture(data: dict[str, Any], where: str, alt: str) -> Block | None:
    if "image/svg+xml" in data:
        return {
            "block": "drawing",
            "svg": svg.safe("".join(data["image/svg+xml"]), where),
            "alt": alt,
        }
    for mime, (magic, suffix) in _RASTER.items():
        if mime in data:
            return {
                "block": "picture",
                "bytes": _decoded(data[mime], magic, where),
                "suffix": suffix,
                "alt": alt,
            }
    return None


def _decoded(text: str, magic: bytes, where: str) -> bytes:
    try:
        content = base64.b64decode("".join(text).encode("ascii"))
    except (binascii.Error, ValueError):
        content = b""
    if not content.startswith(magic):
        raise PaperError("the picture is damaged", where, "run the notebook again")
    if fault := pictures.flood(content):
        raise PaperError(fault[0].lower() + fault[1:-1], where, "show a smaller one")
    return content


def _as_json(value: Any) -> Block:
    return {"block": "text", "text": json.dumps(value, indent=1, ensure_ascii=False)}


_TEXTS: dict[str, Callable[[Any], Block]] = {
    "text/markdown": lambda text: {
        "block": "prose",
        "kind": "group",
        "blocks": prose.blocks("".join(text)),
    },
    "application/json": _as_json,
    "text/plain": lambda text: {"block": "text", "text": plain("".join(text))},
}
