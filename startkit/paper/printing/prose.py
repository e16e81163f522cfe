"""Markdown as plain structured data: headings, paragraphs, lists, quotes, code, tables; nothing is
markup afterwards.

A run of text is ``{"text", "style"}`` with style ``""``, ``"strong"``, ``"emph"`` or ``"code"``.
Pictures are named
in words, never fetched, except those attached to the cell itself.
"""

# `Any` here: mistune's syntax tree is plain data of many shapes.
from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from startkit.paper import glyphs

Node = dict[str, Any]
# The parser's time grows with the square of the signs that may begin something.
_SIGNS = "*_[`~<!"
LARGEST, MOST_SIGNS = 300_000, 6000


def blocks(markdown: str) -> list[Node]:
    """The blocks of a markdown text, in order; one as it was typed if it would take too long."""
    import mistune

    if len(markdown) > LARGEST or sum(map(markdown.count, _SIGNS)) > MOST_SIGNS:
        return [{"kind": "code", "text": markdown.rstrip("\n")}]
    parse = mistune.create_markdown(renderer="ast", plugins=["table", "strikethrough"])
    return _blocks(parse(markdown))  # type: ignore[arg-type]  # with this renderer it is a list, never text


def _blocks(nodes: Iterable[Node]) -> list[Node]:
    return [block for node in nodes for block in _BLOCKS.get(node["type"], _unknown)(node)]


def _heading(node: Node) -> list[Node]:
    return [{"kind": "heading", "level": node["attrs"]["level"], "runs": _runs(node["children"])}]


def _paragraph(node: Node) -> list[Node]:
    """A paragraph; a picture attached to the cell is a block of its own."""
    found: list[Node] = []
    for child in node.get("children", []):
        if _attached(child):
            found.append(
                {
                    "kind": "picture",
                    "name": child["attrs"]["url"].removeprefix("attachment:"),
                    "alt": _text(child["children"]),
                }
            )
        elif found and found[-1]["kind"] == "paragraph":
            found[-1]["runs"] += _runs([child])
        else:
            found.append({"kind": "paragraph", "runs": _runs([child])})
    return [
        block
        for block in found
        if block["kind"] == "picture" or any(run["text"].strip() for run in block["runs"])
    ]


def _attached(node: Node) -> bool:
    return node["type"] == "image" and node["attrs"]["url"].startswith("attachment:")


def _list(node: Node) -> list[Node]:
    items = [_blocks(item["children"]) for item in node["children"]]
    return [
        {
            "kind": "list",
            "ordered": node["attrs"]["ordered"],
            "start": node["attrs"].get("start", 1),
            "items": items,
        }
    ]


def _code(node: Node) -> list[Node]:
    return [{"kind": "code", "text": node["raw"].rstrip("\n")}]


def _quote(node: Node) -> list[Node]:
    return [{"kind": "quote", "blocks": _blocks(node["children"])}]


def _table(node: Node) -> list[Node]:
    head, *body = node["children"]
    rows = [row["children"] for part in body for row in part["children"]]
    return [
        {
            "kind": "table",
            "head": [_runs(c["children"]) for c in head["children"]],
            "rows": [[_runs(c["children"]) for c in row] for row in rows],
        }
    ]


def _unknown(node: Node) -> list[Node]:
    """Whatever else a markdown parser makes, HTML among it, as the text that was typed."""
    text = node.get("raw") or node.get("text") or _text(node.get("children", []))
    return [{"kind": "paragraph", "runs": [_run(text.strip("\n"))]}] if text.strip() else []


_BLOCKS: dict[str, Callable[[Node], list[Node]]] = {
    "heading": _heading,
    "paragraph": _paragraph,
    "block_text": _paragraph,
    "list": _list,
    "block_code": _code,
    "block_quote": _quote,
    "table": _table,
    "thematic_break": lambda node: [{"kind": "rule"}],
    "blank_line": lambda node: [],
}


def _run(text: str, style: str = "") -> Node:
    # The oblique font lacks whole scripts: what it cannot set stays upright.
    return {"text": text, "style": "" if style == "emph" and not glyphs.oblique(text) else style}


def _runs(nodes: Iterable[Node], style: str = "") -> list[Node]:
    return [run for node in nodes for run in _inline(node, style)]


def _inline(node: Node, style: str) -> list[Node]:
    kind, children = node["type"], node.get("children", [])
    if kind in ("softbreak", "linebreak"):
        return [_run(" " if kind == "softbreak" else "\n", style)]
    if kind in ("strong", "emphasis"):
        return _runs(children, "strong" if "strong" in (kind, style) else "emph")
    if kind == "codespan":
        return [_run(node["raw"], "code")]
    if kind == "link":
        text, url = _text(children), node["attrs"]["url"]
        return _runs(children, style) + ([] if text == url else [_run(f" ({url})", style)])
    if kind == "image":
        return [_run(f"[picture: {_text(children)}, {node['attrs']['url']}]", style)]
    return _runs(children, style) if children else [_run(node.get("raw", ""), style)]


def _text(nodes: Iterable[Node]) -> str:
    return "".join(run["text"] for run in _runs(nodes))
