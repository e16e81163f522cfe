"""A record taken as the baseline with which a later visit is compared."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from startkit.errors import JobError, PaperError
from startkit.facts import baseline
from startkit.facts.digests import sha256
from startkit.facts.job import Job
from startkit.facts.journal import Entry
from startkit.facts.safe_files import write_whole
from startkit.paper.evidence import RECORD, read
from startkit.paper.verifying import verification
from startkit.paper.verifying.job_import import sound
from startkit.paper.verifying.result import BAD


def import_baseline(record: Path, folder: Path, who: str = "") -> Path:
    """Put the data of an earlier record into a job, as the baseline against which it is held.

    Parameters
    ----------
    record : pathlib.Path
        The PDF.
    folder : pathlib.Path
        Of the job.
    who : str
        Who imports it.

    Returns
    -------
    pathlib.Path
        ``baseline.json`` in the job's folder.

    Raises
    ------
    PaperError, JobError
        The record is not in order, is of another machine, or the job already has a baseline.
    """
    content = read(Path(record))
    evidence = sound(content)
    job = Job(Path(folder))
    _refuse_another_machine(evidence.record["front"].get("machine", {}), job)
    target = job.folder / baseline.FILE
    if target.exists():
        raise JobError(
            "the job already has a baseline", str(target), "remove it if the new one should be used"
        )
    _refuse_invalid(Path(record))
    write_whole(target, evidence.files[RECORD])
    try:
        baseline.load(target)
    except JobError:
        target.unlink()
        raise
    job.record(Entry("job.baseline", Path(record).name, who=who, note=f"sha256 {sha256(content)}"))
    return target


def _refuse_invalid(record: Path) -> None:
    """What figures are compared with must be what was measured, and a person must answer for it."""
    found = verification.verify(record)
    if not found.valid:
        part = next(part for part in found.parts if part.mark == BAD)
        raise PaperError(
            f"the record is not valid ({part.name}: {part.said[0].rstrip('.')})",
            record.name,
            "run `startkit verify` to see everything that is wrong; a baseline is a record that"
            " is signed and verified",
        )


def _refuse_another_machine(printed: Mapping[str, str], job: Job) -> None:
    """A serial number identifies a machine; a tag may have changed."""
    ours = job.machine.machine
    if str(printed.get("serial", "")) != ours.serial:
        raise JobError(
            f"the record is for machine {printed.get('tag')} with serial number"
            f" {printed.get('serial')}",
            f"{ours.tag}, {ours.serial}",
            "give an earlier record of this machine",
        )
