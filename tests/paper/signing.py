"""A small job of the installed stages, its record, and people who sign it: no kernel is started."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

from nbformat.v4 import new_markdown_cell, new_notebook

from startkit.facts.job import Job
from startkit.facts.journal import Entry
from startkit.paper import revisions
from startkit.paper.printing.exporter import RecordExporter
from startkit.paper.signing import identity, seal
from startkit.procedure import payload, registry
from startkit.procedure.holds import HOLDS
from tests.paper.conftest import assessed, make_job, part_cell, put

TECHNICIAN, WITNESS, ENGINEER = "R. Calder", "M. Osei", "T. Brandt"
READINGS = [
    Entry("setup.people.1.name", TECHNICIAN, who=TECHNICIAN),
    Entry("setup.people.1.role", "technician", who=TECHNICIAN),
    Entry("setup.people.1.firm", "Northline Cooling Service", who=TECHNICIAN),
    Entry("setup.people.2.name", WITNESS, who=TECHNICIAN),
    Entry("setup.people.2.role", "owner's witness", who=TECHNICIAN),
    Entry("setup.people.3.name", ENGINEER, who=TECHNICIAN),
    Entry("setup.people.3.role", "commissioning engineer", who=TECHNICIAN),
    Entry("setup.barometer", "101.3", "kPa abs", who=TECHNICIAN),
    Entry("lube.sump_temperature", "51,5", "°C", who=TECHNICIAN),
    Entry(
        "lube.sump_temperature", "52.5", "°C", who=TECHNICIAN, note="Read again after ten minutes"
    ),
    Entry("lube.filter_drop", "12", "kPa", who=TECHNICIAN),
    Entry("waiver.lube.complete", "Oil is read at the second visit", who=WITNESS),
]


@cache
def person(name: str) -> identity.Identity:
    """An identity; the key of each is made once, which takes its time."""
    return identity.new(name, "Northline Cooling Service")


def real_job(folder: Path, readings: list[Entry] = READINGS, system: str = "SI") -> Job:
    """A job of the installed stages."""
    return make_job(folder, readings, system=system)


def notebook_of(job: Job) -> Any:
    """The executed notebook of a job, each part once."""
    stages = registry.for_job(job)
    seen = assessed(job, stages)
    cells = [
        new_markdown_cell("# Start-up of a new machine", id="title"),
        part_cell(payload.front_part(seen), "book.front()"),
    ]
    cells += [part_cell(payload.stage_part(seen, name), f'book.stage("{name}")') for name in stages]
    cells += [
        part_cell(payload.hold_part(seen, hold.name), f'book.hold("{hold.name}")') for hold in HOLDS
    ]
    cells.append(part_cell(payload.handover_part(seen), "book.handover()"))
    return new_notebook(cells=cells, metadata={"startkit": {"title": "Start-up of a new machine"}})


def printed(
    job: Job, form: str = "full", change: Callable[[Any], None] = lambda notebook: None
) -> Path:
    """The job's record, printed without a kernel, where a print would put it."""
    notebook = notebook_of(job)
    change(notebook)
    source = put(job, notebook)
    content, _ = RecordExporter(form=form).from_filename(str(source))
    name = revisions.stem(source.stem, form)
    path = revisions.path_of(source.parent, name, revisions.due(source.parent, name).letter)
    path.write_bytes(content)
    return path


def signed(path: Path, *roles: tuple[str, str], awaited: tuple[str, ...] = ()) -> Path:
    """The record, signed in turn by (role, name)."""
    for role, name in roles or (("technician", TECHNICIAN), ("owner's witness", WITNESS)):
        seal.sign(seal.ready(path, role, awaited), person(name).signer(), for_another=True)
    return path
