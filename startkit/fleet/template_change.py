"""One change of a template, brought to every job of the fleet that is not signed yet."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from startkit.errors import JobError, StartkitError
from startkit.facts import plugins
from startkit.facts.digests import sha256
from startkit.facts.job import Job
from startkit.facts.journal import Entry
from startkit.facts.safe_files import write_whole
from startkit.fleet.folder import Fleet
from startkit.fleet.register_tables import few
from startkit.fleet.summary import template_of
from startkit.paper.printing import runs
from startkit.paper.revisions import RECORDS, is_signed

BROUGHT, SAME, SIGNED, OTHER = "brought", "same", "signed", "other"
REPLACED = "replaced"  # in a job's records: the notebooks that were replaced


@dataclass(frozen=True)
class Brought:
    """What became of one job: how, the template's digest before and now, or why not."""

    job: str
    how: str
    before: str = ""
    now: str = ""
    fault: str = ""


def bring(fleet: Fleet, name: str = "", who: str = "") -> list[Brought]:
    """Bring a template to every unsigned job that was made with a template of that name.

    The notebook that is replaced is kept in the job's records; the journal says from which digest
    to which.

    Parameters
    ----------
    fleet : Fleet
    name : str
        Name of the template, or a notebook file; empty: the fleet's.
    who : str
        Who brings it.

    Raises
    ------
    StartkitError
        There is no such template, or it is not a notebook that a job can run.
    """
    path = plugins.find_template(name or fleet.template)
    content = path.read_bytes()
    if not {"job", "mode"} <= set(runs.parameters_of(runs.read(path))):
        raise JobError(
            "the template has no parameters job and mode", path.name, "take a template of jobs"
        )
    return [_brought(folder, path.name, content, who) for folder in fleet.jobs()]


def _brought(folder: Path, name: str, content: bytes, who: str) -> Brought:
    now = sha256(content)
    try:
        job = Job(folder)
        made = template_of(job)
        before = made["digest"]
        if made["name"] != name:
            return Brought(folder.name, OTHER, before, before)
        if signed(folder):
            return Brought(folder.name, SIGNED, before, before)
        if before == now:
            return Brought(folder.name, SAME, before, now)
        _replace(job, name, content, before, now, who)
        return Brought(folder.name, BROUGHT, before, now)
    except StartkitError as error:
        return Brought(folder.name, "fault", fault=str(error))


def signed(folder: Path) -> bool:
    """True if any record of the job carries a signature."""
    return any(is_signed(path) for path in (folder / RECORDS).glob("*.pdf"))


def _replace(job: Job, name: str, content: bytes, before: str, now: str, who: str) -> None:
    """Keep the old notebook, put the new one in its place, write it down: in this order, so that a
    stop in between only repeats.
    """
    there = job.folder / name
    if there.is_file() and there.read_bytes() != content:
        write_whole(
            job.folder / RECORDS / REPLACED / f"{there.stem}-{before[:12] or 'unknown'}.ipynb",
            there.read_bytes(),
        )
    write_whole(there, content)
    # Straight into the journal: the value is the same name, and an entry that repeats one is not
    # recorded.
    job.journal.append(
        [
            Entry(
                "job.template",
                name,
                who=who,
                note=f"sha256 {now} in place of {before or 'unknown'}",
            )
        ]
    )


def told(found: list[Brought]) -> list[str]:
    """Lines on what became of the jobs, and which stand with which digest now."""
    words = {
        BROUGHT: "brought to it",
        SAME: "had it already",
        SIGNED: "signed, left as they are",
        OTHER: "made with another template",
    }
    lines = [
        f"{len(those)} {word}: {few(those)}"
        for how, word in words.items()
        if (those := [b.job for b in found if b.how == how])
    ]
    for digest in sorted({b.now for b in found if b.now}):
        those = [b.job for b in found if b.now == digest]
        lines.append(f"  digest {digest[:12]}: {few(those)}")
    return lines + [f"  {b.job}: {b.fault}" for b in found if b.fault]
