"""A job's notebook, which is a program, compared with the template that it was made from."""

# `Any` here: a notebook's JSON; each part is checked where it is read.
from __future__ import annotations

import difflib
import json
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from startkit.errors import JobError
from startkit.facts.digests import sha256, sha256_of_file
from startkit.facts.job import Job
from startkit.facts.plugins import find_template

_SHA = re.compile(r"sha256 ([0-9a-f]{64})")
# What JupyterLab adds when it saves a notebook that was run; none of it is code.
_NOT_CODE = ("collapsed", "execution", "scrolled", "trusted")
_Notebook = dict[str, Any]  # the JSON of a notebook; each part is checked where it is read


def template_of(job: Job) -> Mapping[str, str]:
    """Name and SHA-256 of the template in the newest entry ``job.template``; empty where the
    journal has none.
    """
    entry = job.state().latest.get("job.template")
    found = _SHA.search(entry.note) if entry is not None else None
    return {
        "name": entry.value if entry is not None else "",
        "digest": found.group(1) if found else "",
    }


def is_changed(job: Job) -> bool:
    """True if the code or text of the notebook is not that of the recorded template.

    Outputs and what JupyterLab adds on saving do not count. Without a recorded digest, or without
    the notebook, there is nothing to compare: False.
    """
    recorded = template_of(job)["digest"]
    path = job.template
    if not recorded or not path.is_file() or sha256_of_file(path) == recorded:
        return False
    current = _read(path)
    if current is None:
        return True
    original = _installed(job, recorded)
    return (
        _cells(original) != _cells(current)
        if original is not None
        else sha256(_without_outputs(current)) != recorded
    )


def warning(job: Job) -> str:
    """One sentence for a person who is about to run the notebook; empty if it is unchanged."""
    if not is_changed(job):
        return ""
    return (
        f"The notebook {job.template.name} of this job differs from its template. A notebook is a"
        f" program; see what changed with:  startkit status {job.folder} --notebook"
    )


def difference(job: Job) -> list[str]:
    """The lines in which the job's notebook differs from its template, as a unified diff.

    Raises
    ------
    JobError
        The notebook or the template cannot be read.
    """
    if not is_changed(job):
        return [f"The notebook {job.template.name} is the template the job was made from."]
    recorded = template_of(job)["digest"]
    current, original = _read(job.template), _installed(job, recorded)
    if current is None:
        raise JobError("the file is not a notebook", job.template.name, "take the template again")
    heading = (
        [] if original else ["The installed template is a different version from the recorded one."]
    )
    original = original or _read(find_template(job.template.stem)) or {}
    return heading + list(
        difflib.unified_diff(
            _lines(original), _lines(current), "template", job.template.name, lineterm=""
        )
    )


def _installed(job: Job, digest: str) -> _Notebook | None:
    """The installed template of that digest; None if there is none."""
    try:
        path = find_template(job.template.stem)
        return _read(path) if sha256_of_file(path) == digest else None
    except (JobError, OSError):
        return None


def is_notebook(path: Path) -> bool:
    """True if the file is a notebook with cells."""
    return _read(path) is not None


def _read(path: Path) -> _Notebook | None:
    try:
        notebook = json.loads(path.read_bytes())
    except (OSError, ValueError, RecursionError):
        return None
    cells = notebook.get("cells") if isinstance(notebook, dict) else None
    whole = isinstance(cells, list) and all(isinstance(cell, dict) for cell in cells)
    return notebook if whole else None


def _cells(notebook: _Notebook) -> list[tuple[str, str]]:
    return [(str(cell.get("cell_type")), _source(cell)) for cell in notebook.get("cells", ())]


def _source(cell: _Notebook) -> str:
    source = cell.get("source", "")
    return "".join(map(str, source)) if isinstance(source, list) else str(source)


def _lines(notebook: _Notebook) -> list[str]:
    return [
        line
        for number, (kind, source) in enumerate(_cells(notebook), start=1)
        for line in (f"--- cell {number} ({kind})", *source.splitlines())
    ]


def _without_outputs(notebook: _Notebook) -> bytes:
    """The notebook as a template is stored: without outputs, counts and JupyterLab's additions."""
    for cell in notebook["cells"]:
        if cell.get("cell_type") == "code":
            cell["outputs"], cell["execution_count"] = [], None
        metadata = cell.get("metadata")
        if isinstance(metadata, dict):
            cell["metadata"] = {k: v for k, v in metadata.items() if k not in _NOT_CODE}
    metadata = notebook.get("metadata")
    if isinstance(metadata, dict):
        metadata.pop("widgets", None)
        metadata["language_info"] = {"name": "python"}
        metadata["kernelspec"] = {
            "display_name": "Python 3",
            "language": "python",
            "name": "python3",
        }
    return (json.dumps(notebook, indent=1, ensure_ascii=False, sort_keys=True) + "\n").encode(
        "utf-8", "surrogatepass"
    )
