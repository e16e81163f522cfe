"""A changed template, put into every job of the fleet that is not signed yet."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from startkit.errors import JobError, StartkitError
from startkit.facts import plugins
from startkit.facts.digests import sha256
from startkit.facts.job import Job
from startkit.facts.job_notebook import template_of
from startkit.facts.journal import Entry
from startkit.facts.safe_files import write_whole
from startkit.fleet.folder import Fleet
from startkit.fleet.register_tables import few
from startkit.paper.printing import runs
from startkit.paper.revisions import RECORDS, is_signed

CHANGED, SAME, SIGNED, OTHER, FAULT = "changed", "same", "signed", "other", "fault"
REPLACED = "replaced"  # folder in a job's records for notebooks that were replaced


@dataclass(frozen=True)
class Change:
    """What happened to one job: the template's digest before and now, or the fault."""

    job: str
    how: str
    before: str = ""
    now: str = ""
    fault: str = ""


def bring(fleet: Fleet, name: str = "", who: str = "") -> list[Change]:
    """Put a template into every unsigned job that was made with a template of that name.

    The replaced notebook is kept in the job's records; the journal records both digests.

    Parameters
    ----------
    fleet : Fleet
    name : str
        Name of the template, or a notebook file; empty: the fleet's.
    who : str
        Who does this.

    Raises
    ------
    StartkitError
        There is no such template, or it is not a notebook that a job can run.
    """
    path = plugins.find_template(name or fleet.template)
    content = path.read_bytes()
    if not {"job", "mode"} <= set(runs.parameters_of(runs.read(path))):
        raise JobError(
            "the template has no parameters job and mode", path.name, "use a template made for jobs"
        )
    return [_changed(folder, path.name, content, who) for folder in fleet.jobs()]


def _changed(folder: Path, name: str, content: bytes, who: str) -> Change:
    now = sha256(content)
    try:
        job = Job(folder)
        made = template_of(job)
        before = made["digest"]
        if made["name"] != name:
            return Change(folder.name, OTHER, before, before)
        if signed(folder):
            return Change(folder.name, SIGNED, before, before)
        if before == now:
            return Change(folder.name, SAME, before, now)
        _replace(job, name, content, before, now, who)
        return Change(folder.name, CHANGED, before, now)
    except StartkitError as error:
        return Change(folder.name, FAULT, fault=str(error))


def signed(folder: Path) -> bool:
    """True if any record of the job carries a signature."""
    return any(is_signed(path) for path in (folder / RECORDS).glob("*.pdf"))


def _replace(job: Job, name: str, content: bytes, before: str, now: str, who: str) -> None:
    """Keep the old notebook, write the new one, record it: in this order, so that an interrupted
    change is simply repeated.
    """
    path = job.folder / name
    if path.is_file() and path.read_bytes() != content:
        write_whole(
            job.folder / RECORDS / REPLACED / f"{path.stem}-{before[:12] or 'unknown'}.ipynb",
            path.read_bytes(),
        )
    write_whole(path, content)
    # Straight into the journal: `Job.record` leaves out an entry that repeats a value, and the
    # name is the same.
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


def lines(found: list[Change]) -> list[str]:
    """Lines on what happened to the jobs, and which jobs have which digest now."""
    words = {
        CHANGED: "changed",
        SAME: "already up to date",
        SIGNED: "signed, not changed",
        OTHER: "made with another template",
    }
    found_lines = [
        f"{len(those)} {word}: {few(those)}"
        for how, word in words.items()
        if (those := [b.job for b in found if b.how == how])
    ]
    for digest in sorted({b.now for b in found if b.now}):
        those = [b.job for b in found if b.now == digest]
        found_lines.append(f"  digest {digest[:12]}: {few(those)}")
    return found_lines + [f"  {b.job}: {b.fault}" for b in found if b.fault]
