"""A job packed as bytes for another computer, and its record packed for the way back."""

from __future__ import annotations

import io
import tempfile
import zipfile
from dataclasses import dataclass, replace
from pathlib import Path

from startkit import __version__
from startkit.errors import JobError
from startkit.facts.digests import sha256
from startkit.facts.safe_files import write_whole
from startkit.fleet import record_stamp, workers
from startkit.fleet.record_stamp import Stamp
from startkit.fleet.task import Task, carry_out
from startkit.paper.revisions import RECORDS, is_signed


@dataclass(frozen=True)
class Bundle:
    """A packed job with its task, the version that packed it, and the digest of what was packed."""

    content: bytes
    task: Task
    version: str
    made_from: str


@dataclass(frozen=True)
class Reply:
    """What comes back: the record's files, or one sentence on why there are none."""

    files: dict[str, bytes]
    fault: str = ""
    seconds: float = 0.0


def packed(task: Task) -> Bundle:
    """A job as bytes: all that its record is made from, and its signed records, which decide the
    new record's revision.
    """
    made_from = record_stamp.digest_of(task.folder, task.layout)
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        for path in sorted(task.folder.rglob("*")):
            within = path.relative_to(task.folder)
            if (
                path.is_file()
                and not any(part.startswith(".") for part in within.parts)
                and (within.parts[0] != RECORDS or is_signed(path))
            ):
                archive.write(path, within.as_posix())
    return Bundle(stream.getvalue(), task, __version__, made_from)


def carried_out(bundle: Bundle) -> Reply:
    """Carry out a task on this computer: unpack the job, print it in a fresh process, pack the
    record.
    """
    if bundle.version != __version__:
        return Reply(
            {},
            f"the worker has startkit {__version__}, this computer {bundle.version}; install the"
            " same version on both.",
        )
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / bundle.task.name
        with zipfile.ZipFile(io.BytesIO(bundle.content)) as archive:
            archive.extractall(folder)
        outcome = next(
            iter(workers.each(carry_out, [replace(bundle.task, folder=folder)], workers=1))
        )
        if outcome.fault:
            return Reply(_failed(folder / RECORDS), outcome.fault, outcome.seconds)
        return Reply(
            {name: (folder / RECORDS / name).read_bytes() for name in outcome.result.files},
            "",
            outcome.seconds,
        )


def _failed(records: Path) -> dict[str, bytes]:
    """The notebook of a failed run: it shows which cell failed."""
    return (
        {path.name: path.read_bytes() for path in records.glob("*-failed.ipynb")}
        if records.is_dir()
        else {}
    )


def unpacked(bundle: Bundle, reply: Reply) -> Stamp | None:
    """Write what came back into the job's records, the stamp last.

    Raises
    ------
    StartkitError
        A file cannot be written, or its name leads out of the folder.
    """
    records = bundle.task.folder / RECORDS
    for name, content in reply.files.items():
        if Path(name).name != name or name.startswith("."):
            raise JobError(
                f"{name!r} is not the name of a record",
                bundle.task.name,
                "check what the worker is running",
            )
        write_whole(records / name, content)
    if reply.fault:
        return None
    for path in records.glob("*-failed.ipynb"):
        path.unlink(missing_ok=True)
    done = Stamp(
        bundle.made_from,
        bundle.task.layout,
        {name: sha256(content) for name, content in reply.files.items()},
    )
    record_stamp.write(bundle.task.folder, done)
    return done
