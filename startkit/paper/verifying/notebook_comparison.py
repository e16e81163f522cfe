"""The notebook of a record against the template that its journal names: the same text and code, and
in the place of each call what that call shows.
"""

# `Any` here: a notebook's nodes are JSON that is read by attribute.
from __future__ import annotations

import ast
import json
import re
from collections.abc import Iterator, Mapping, Sequence
from difflib import SequenceMatcher
from pathlib import PurePosixPath
from typing import Any

from startkit.errors import StartkitError
from startkit.facts import plugins
from startkit.facts.digests import sha256
from startkit.facts.journal import Entry
from startkit.paper.evidence import Evidence
from startkit.paper.printing.runs import cell_name
from startkit.paper.verifying import page_comparison
from startkit.paper.verifying.result import BAD, GOOD, OPEN, Part
from startkit.procedure.payload import MIME

_SHA = re.compile(r"sha256 ([0-9a-f]{64})")
_CALL = re.compile(r"book\.(front|stage|hold|handover)\((?:\"([^\"]*)\"|'([^']*)')?\)")
_GIVEN = {"job": ".", "mode": "record"}  # with what a record's notebook is run
_MOST = 4  # cells that are named

Cell = Mapping[str, Any]


def part(evidence: Evidence) -> Part:
    """Whether text and code are those of the template, and each call shows its own part.

    Parameters
    ----------
    evidence : Evidence

    Raises
    ------
    PaperError
        No notebook is attached, or it is damaged.
    """
    notebook = page_comparison.notebook(evidence)
    cells = list(notebook["cells"])
    named = next((e for e in reversed(evidence.entries) if e.what == "job.template"), None)
    faults = [*_wrong_parameters(cells), *_wrong_outputs(cells)]
    if faults:
        return Part("notebook", BAD, tuple(f"{fault}." for fault in faults[:_MOST]))
    template, why = _template(named)
    if template is None:
        return Part(
            "notebook",
            OPEN,
            (f"Its text and code were not compared: {why}.",),
            (f"text and code of the notebook: {why}",),
        )
    odd = [*_odd(cells, template["cells"]), *_more_outputs(cells)]
    if notebook["metadata"].get("startkit") != template["metadata"].get("startkit"):
        odd.insert(0, "its title")
    if odd:
        told = ", ".join(odd[:_MOST]) + (f" and {len(odd) - _MOST} more" if odd[_MOST:] else "")
        return Part(
            "notebook",
            OPEN,
            (f"Not from the template {_name(named)}: {told}.",),
            (f"what the notebook has that its template has not: {told}",),
        )
    return Part("notebook", GOOD, (f"Its text and code are those of the template {_name(named)}.",))


def _name(entry: Entry | None) -> str:
    return PurePosixPath(entry.value).name if entry is not None else "that is not named"


def _template(entry: Entry | None) -> tuple[dict[str, Any] | None, str]:
    """The installed template that the journal names; else why there are none."""
    digest = _SHA.search(entry.note) if entry is not None else None
    if entry is None or digest is None:
        return None, "the journal names no template by its digest"
    try:
        content = plugins.find_template(PurePosixPath(entry.value).stem).read_bytes()
        if sha256(content) != digest.group(1):
            return None, f"another version of the template {_name(entry)} is installed here"
        return dict(json.loads(content)), ""
    except (StartkitError, OSError, ValueError):
        return None, f"no template {_name(entry)} is installed here"


# --- cells ----------------------------------------------------------------------------------------


def _odd(cells: Sequence[Cell], template: Sequence[Cell]) -> Iterator[str]:
    """Cells that differ from the template's, were added to them or taken from them."""
    ours = [
        (n, cell) for n, cell in enumerate(cells, 1) if "injected-parameters" not in _tags(cell)
    ]
    here, there = [_plain(cell) for _, cell in ours], [_plain(cell) for cell in template]
    for kind, first, last, start, end in SequenceMatcher(
        None, there, here, autojunk=False
    ).get_opcodes():
        if kind != "equal":
            yield from (cell_name(n, _source(cell)) for n, cell in ours[start:end])
        if kind == "delete":
            yield from (
                f"{cell_name(n, _source(cell))} of the template is missing"
                for n, cell in enumerate(template[first:last], first + 1)
            )


def _plain(cell: Cell) -> tuple[str, ...]:
    """What of a cell is printed or run."""
    pictures = {name: _joined(bundle) for name, bundle in dict(cell.get("attachments", {})).items()}
    return (
        str(cell.get("cell_type")),
        _source(cell),
        " ".join(sorted(_tags(cell))),
        json.dumps(pictures, sort_keys=True),
    )


def _joined(bundle: Any) -> dict[str, str]:
    return {mime: _text(value) for mime, value in dict(bundle).items()}


def _text(value: Any) -> str:
    return "".join(map(str, value)) if isinstance(value, list) else str(value)


def _source(cell: Cell) -> str:
    return _text(cell.get("source", ""))


def _tags(cell: Cell) -> list[str]:
    return [str(tag) for tag in cell.get("metadata", {}).get("tags", ())]


# --- what was set and shown -----------------------------------------------------------------------


def _wrong_parameters(cells: Sequence[Cell]) -> Iterator[str]:
    """A cell of parameters sets the job and the mode, and does nothing else."""
    for number, cell in enumerate(cells, 1):
        if "injected-parameters" in _tags(cell) and _assigned(_source(cell)) != _GIVEN:
            yield f"{cell_name(number, _source(cell))} is not what printing would set"


def _assigned(source: str) -> dict[str, Any]:
    """Names and values of plain assignments; with anything else in it, nothing."""
    try:
        found = {}
        for line in ast.parse(source).body:
            if not (isinstance(line, ast.Assign) and len(line.targets) == 1):
                return {}
            found[ast.unparse(line.targets[0])] = ast.literal_eval(line.value)
        return found
    except (SyntaxError, ValueError, TypeError, RecursionError, MemoryError):
        return {}


def _wrong_outputs(cells: Sequence[Cell]) -> Iterator[str]:
    """A call of the book shows its own part, once."""
    for number, cell in enumerate(cells, 1):
        called = _CALL.fullmatch(_source(cell).strip()) if cell["cell_type"] == "code" else None
        if called is not None and _parts(cell) != [
            (called.group(1), called.group(2) or called.group(3) or "")
        ]:
            yield f"{cell_name(number, _source(cell))} shows something else"


def _parts(cell: Cell) -> list[tuple[str, str]]:
    shown = [output.get("data", {}).get(MIME) for output in cell.get("outputs", ())]
    return [
        (str(each.get("part")), str(each.get("stage") or each.get("hold") or ""))
        for each in shown
        if isinstance(each, dict)
    ]


def _more_outputs(cells: Sequence[Cell]) -> Iterator[str]:
    """Texts and pictures that a cell shows besides a part of the book: nothing derives them."""
    for number, cell in enumerate(cells, 1):
        outputs = list(cell.get("outputs", ()))
        more = len(outputs) - len(_parts(cell))
        if more:
            yield (
                f"{'an output' if more == 1 else f'{more} outputs'} of"
                + " "
                + cell_name(number, _source(cell))
            )
