"""The record as data: what the page prints, and what is attached for a machine to read."""

# `Any` here: a part is JSON, in the schema of `startkit.procedure.payload`.
from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from startkit.errors import PaperError
from startkit.facts.digests import sha256
from startkit.facts.job import Job
from startkit.facts.journal import chain_faults
from startkit.paper import attachments, signature_page
from startkit.paper.attachments import Attachment
from startkit.paper.printing import corrections, outputs, photographs, versions
from startkit.paper.revisions import FIRST, Revision
from startkit.procedure.holds import HOLDS
from startkit.units import IP

SCHEMA = "startkit-record-1"
LANGUAGE = "en"
FULL, SHORT = "full", "short"
Block = dict[str, Any]


@dataclass(frozen=True)
class Layout:
    """How the record is printed: paper (empty: Letter for an I-P job, else A4), full or short form,
    whose name is on it.
    """

    paper: str = ""
    form: str = FULL
    company: str = ""

    def paper_for(self, system: str) -> str:
        return self.paper or (signature_page.LETTER if system == IP else signature_page.A4)


@dataclass(frozen=True)
class Record:
    """The record's data, the pictures that it names, by file name, and every file that is attached
    besides the data.
    """

    data: dict[str, Any]
    pictures: dict[str, bytes]
    attached: tuple[Attachment, ...]


def record(
    job: Job,
    notebook: Any,
    attached: Iterable[Attachment],
    layout: Layout,
    revision: Revision = FIRST,
) -> Record:
    """Everything on the page, from the executed notebook and the job's journal.

    Raises
    ------
    PaperError
        An output cannot be printed, the front page is missing, or the job has moved on since the
        notebook was run.
    """
    blocks = outputs.collect(notebook)
    front = _front(blocks)
    entries = job.state().entries
    if front["journal_digest"] != (entries[-1].digest if entries else ""):
        raise PaperError(
            f"the notebook was run at entry {front['entries']} of {len(entries)}",
            "record",
            "run it again before printing",
        )
    body, pictures = _with_pictures([block for block in blocks if block["block"] != "front"])
    originals: dict[str, bytes] = {}
    body = dressed(body, job.folder, pictures, originals)
    mark = photographs.mark(job.folder, pictures, originals)
    carried = (*attached, *attachments.pictures(originals))
    _count(notebook, blocks)
    paper = layout.paper_for(front["units"])
    return Record(
        {
            "schema": SCHEMA,
            "title": f"Commissioning record {front['machine']['tag']}",
            "language": LANGUAGE,
            "paper": paper,
            "form": layout.form,
            "company": layout.company,
            "mark": mark,
            "revision": revision.line(entries),
            "blank": not any(stage["started"] for stage in front["stages"]),
            "front": fronted(front),
            "body": _levelled(body, _title(notebook)),
            "signatures": signature_page.rows(front["people"]),
            "outputs": len(outputs.outputs(notebook)),
            "cells": len(notebook.cells),
            "journal_faults": chain_faults(list(entries)),
            "versions": versions.versions(front),
            "equations": versions.equations(job, front),
            "attachments": [a.line() for a in carried],
        },
        pictures,
        carried,
    )


def dressed(
    blocks: list[Block], folder: Path, pictures: dict[str, bytes], originals: dict[str, bytes]
) -> list[Block]:
    """Blocks with what only paper needs: photographs, questions of hold points, corrections by
    their question.
    """
    return corrections.named(
        [_asking(photographs.shown(block, folder, pictures, originals)) for block in blocks]
    )


def fronted(front: Block) -> Block:
    """The front page with the questions of its hold points."""
    return {**front, "holds": [_asking({**hold, "block": "hold"}) for hold in front["holds"]]}


def _front(blocks: list[Block]) -> Block:
    """The front page; shown twice it must say the same."""
    fronts = [
        {k: v for k, v in b.items() if k not in ("cell", "output", "block")}
        for b in blocks
        if b["block"] == "front"
    ]
    if not fronts:
        raise PaperError(
            "the notebook has no front page", "record", "keep the cell that shows  book.front()"
        )
    if any(front != fronts[0] for front in fronts):
        raise PaperError(
            "the notebook shows two different front pages",
            "record",
            "run it again from top to bottom",
        )
    return fronts[0]


def _count(notebook: Any, blocks: list[Block]) -> None:
    """Every output of the notebook must have become exactly one block."""
    printed = [(b["cell"], b["output"]) for b in blocks if "output" in b]
    if sorted(printed) != sorted(outputs.outputs(notebook)):
        raise PaperError(
            f"{len(printed)} of {len(outputs.outputs(notebook))} outputs would be printed",
            "record",
            "report this: it should never happen",
        )


def _with_pictures(blocks: list[Block]) -> tuple[list[Block], dict[str, bytes]]:
    """Blocks whose pictures are named by file, and the files."""
    files: dict[str, bytes] = {}
    made = []
    for block in blocks:
        if "bytes" in block:
            content = block["bytes"]
            name = f"picture-{len(files) + 1}.{block['suffix']}"
            files[name] = content
            block = {k: v for k, v in block.items() if k not in ("bytes", "suffix")} | {
                "file": name,
                "sha256": sha256(content),
            }
        made.append(block)
    return made, files


def _asking(block: Block) -> Block:
    """A hold point with its question, for the sheet that is filled in by hand."""
    return (
        {**block, "asks": next(f"{h.clear}?" for h in HOLDS if h.name == block["hold"])}
        if block["block"] == "hold"
        else block
    )


def _title(notebook: Any) -> str:
    return str(notebook.metadata.get("startkit", {}).get("title", ""))


def _levelled(blocks: list[Block], title: str) -> list[Block]:
    """Places in the outline: parts of the notebook above, stages and hold points below the part
    they are in.
    """
    under, made = 1, []
    for block in blocks:
        if block["block"] == "prose" and block["kind"] == "heading":
            text = "".join(run["text"] for run in block["runs"])
            if block["level"] == 1 and text == title:
                continue  # the record has its own title
            level = max(1, block["level"] - 1)
            under = 2 if level == 1 else under
            block = {**block, "level": level}
        elif block["block"] in outputs.PARTS:
            block = {**block, "level": under}
        made.append(block)
    return made
