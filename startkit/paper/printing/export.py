"""Printing: a job run and its record set, without whatever a notebook's own converter would bring
along.
"""

# `Any` here: a notebook's nodes are JSON that is read by attribute.
from __future__ import annotations

import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from startkit.facts.job import Job
from startkit.facts.safe_files import write_whole
from startkit.paper import attachments, evidence, job_changes, revisions
from startkit.paper.printing import typesetting
from startkit.paper.printing.record import Layout, record
from startkit.paper.printing.runs import again, run, whole
from startkit.paper.revisions import RECORDS


@dataclass(frozen=True)
class Printed:
    """A record's bytes, and whether every hold point is clear and the journal whole."""

    content: bytes
    clear: bool


@dataclass(frozen=True)
class Exported:
    """A record's file, and whether every hold point is clear and the journal whole."""

    path: Path
    clear: bool


def printed(
    folder: Path, notebook: Any, name: str, content: bytes, paper: str, form: str, company: str
) -> Printed:
    """The record of an executed notebook of the job in `folder`.

    Parameters
    ----------
    folder : pathlib.Path
    notebook : nbformat.NotebookNode
    name, content : str, bytes
        Of the notebook's file, which is attached.
    paper, form, company : str
        As in `export`.

    Raises
    ------
    PaperError
        It is damaged, it was run in form mode, the job has moved on since, or something cannot be
        printed.
    """
    job = Job(folder, read_only=True)
    revision = revisions.due(job.folder / RECORDS, revisions.stem(Path(name).stem, form))
    made = record(
        job,
        whole(notebook),
        attachments.of_job(job, name, content),
        Layout(paper, form, company),
        revision,
    )
    return Printed(
        typesetting.pdf(made, typesetting.moment(job.last_moment)), _is_clear(made.data["front"])
    )


def _is_clear(front: Mapping[str, Any]) -> bool:
    return not front["faults"] and all(hold["clear"] for hold in front["holds"])


def export(
    job_folder: Path,
    paper: str = "",
    form: str = "full",
    company: str = "",
    engine: str | None = None,
) -> Path:
    """Run a job's notebook in record mode and print it; a signed record is never written over.

    Parameters
    ----------
    job_folder : pathlib.Path
    paper : str
        ``"a4"``, ``"us-letter"``, or empty: Letter for a job in I-P units, else A4.
    form : str
        ``"full"`` or ``"short"``.
    company : str
        Name at the top of the first page.
    engine : str, optional
        Name of the papermill engine that runs the notebook.

    Returns
    -------
    pathlib.Path
        ``records/<tag>-commissioning-record.pdf`` inside the job. Once that is signed, ``…-B.pdf``,
        which names it by its digest;
        or the signed file itself, if neither the job nor the layout has changed since.

    Raises
    ------
    PaperError
        A cell fails, or something cannot be printed.
    """
    return exported(job_folder, paper, form, company, engine).path


def exported(
    job_folder: Path,
    paper: str = "",
    form: str = "full",
    company: str = "",
    engine: str | None = None,
) -> Exported:
    """As `export`, with whether everything is clear.

    Parameters are those of `export`.
    """
    notebook = run(job_folder, engine=engine)
    name = revisions.stem(notebook.stem, form)
    signed = _standing(Path(job_folder), notebook.parent, name, paper, company)
    if signed is not None:
        return signed
    content = notebook.read_bytes()
    made = printed(Path(job_folder), again(content), notebook.name, content, paper, form, company)
    written = write_whole(
        revisions.path_of(notebook.parent, name, revisions.due(notebook.parent, name).letter),
        made.content,
    )
    return Exported(written, made.clear)


def _standing(
    job_folder: Path, records: Path, name: str, paper: str, company: str
) -> Exported | None:
    """The newest record, if it is signed and a print would say the same."""
    there = revisions.existing(records, name)
    if not there or not revisions.is_signed(there[-1][1]):
        return None
    job = Job(job_folder, read_only=True)
    found = evidence.of_pdf(evidence.read(there[-1][1]))
    layout = (found.record.get("paper"), found.record.get("company"))
    same = layout == (Layout(paper).paper_for(job.system), company) and not job_changes.since(
        found, job
    )
    return Exported(there[-1][1], _is_clear(found.record["front"])) if same else None


def field_sheet(
    sheet: Path, template: Path, target: Path, system: str = "SI", paper: str = ""
) -> Path:
    """Print the blank sheet of a machine, for a pencil in the plant room.

    Parameters
    ----------
    sheet, template : pathlib.Path
        Machine sheet and notebook, as for a new job.
    target : pathlib.Path
        The PDF to write.
    system : str
        ``"SI"`` or ``"I-P"``.
    paper : str
        As in `export`.

    Raises
    ------
    SheetError, JobError, PaperError
    """
    with tempfile.TemporaryDirectory() as scratch:
        job = Job.create(Path(scratch) / "field-sheet", sheet, template, system)
        return write_whole(target, export(job.folder, paper).read_bytes())
