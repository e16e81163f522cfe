"""A small job of the installed stages, its record, and people who sign it: no kernel is started."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import nbformat
from nbformat.v4 import new_code_cell

from startkit.facts.job import Job
from startkit.facts.journal import Entry
from startkit.facts.plugins import find_template
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
    return make_job(folder, readings, system=system, installed=find_template("new-machine"))


def notebook_of(job: Job) -> Any:
    """The executed notebook of a job, as a print leaves it; what its template does not show comes
    last.
    """
    stages = registry.for_job(job)
    seen = assessed(job, stages)
    parts = {
        "book.front()": payload.front_part(seen),
        **{f'book.stage("{name}")': payload.stage_part(seen, name) for name in stages},
        **{f'book.hold("{hold.name}")': payload.hold_part(seen, hold.name) for hold in HOLDS},
        "book.handover()": payload.handover_part(seen),
    }
    notebook = nbformat.read(find_template("new-machine"), as_version=4)
    for cell in notebook.cells:
        if cell.source in parts:
            cell.outputs = part_cell(parts.pop(cell.source), cell.source).outputs
    place = next(n for n, cell in enumerate(notebook.cells, 1) if cell.source.startswith("job ="))
    given = new_code_cell(
        '# Parameters\njob = "."\nmode = "record"\n',
        metadata={"tags": ["injected-parameters"]},
        id="run-4",
    )
    notebook.cells.insert(place, given)
    notebook.cells += [part_cell(part, source) for source, part in parts.items()]
    return notebook


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
