"""A parcel: a job as bytes on its way out, its record as bytes on its way back; no disk is shared."""

from __future__ import annotations

import hashlib
import io
import tempfile
import zipfile
from dataclasses import dataclass, replace
from pathlib import Path

from startkit import __version__
from startkit.errors import JobError
from startkit.fleet import made, workers
from startkit.fleet.made import Made
from startkit.fleet.order import Order, fill
from startkit.paper.files import write_whole
from startkit.paper.revisions import is_signed
from startkit.paper.runs import RECORDS


@dataclass(frozen=True)
class Parcel:
    """One order on its way: the packed job, its name and layout, the version that packed it, the
    digest of what it was packed from.
    """

    content: bytes
    order: Order
    version: str
    made_from: str


@dataclass(frozen=True)
class Reply:
    """What comes back: the record's files, or one sentence on why there are none."""

    files: dict[str, bytes]
    fault: str = ""
    seconds: float = 0.0


def packed(order: Order) -> Parcel:
    """A job as bytes: all that its record is made from, and the signed records in whose place a new
    one may stand.
    """
    made_from = made.digest_of(order.folder, order.layout)
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        for path in sorted(order.folder.rglob("*")):
            within = path.relative_to(order.folder)
            if (
                path.is_file()
                and not any(part.startswith(".") for part in within.parts)
                and (within.parts[0] != RECORDS or is_signed(path))
            ):
                archive.write(path, within.as_posix())
    return Parcel(stream.getvalue(), order, __version__, made_from)


def worked(parcel: Parcel) -> Reply:
    """Do an order here, wherever that is: unpack, fill it in a fresh process, pack the record."""
    if parcel.version != __version__:
        return Reply(
            {},
            f"the worker has startkit {__version__}, the fleet {parcel.version}; install the same"
            " on both.",
        )
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / parcel.order.name
        with zipfile.ZipFile(io.BytesIO(parcel.content)) as archive:
            archive.extractall(folder)
        outcome = next(iter(workers.each(fill, [replace(parcel.order, folder=folder)], workers=1)))
        if outcome.fault:
            return Reply(_failed(folder / RECORDS), outcome.fault, outcome.seconds)
        return Reply(
            {name: (folder / RECORDS / name).read_bytes() for name in outcome.result.files},
            "",
            outcome.seconds,
        )


def _failed(records: Path) -> dict[str, bytes]:
    """The notebook of a run that failed: its cells say where."""
    return (
        {path.name: path.read_bytes() for path in records.glob("*-failed.ipynb")}
        if records.is_dir()
        else {}
    )


def unpacked(parcel: Parcel, reply: Reply) -> Made | None:
    """Put what came back into the job's records; the stamp comes last.

    Raises
    ------
    StartkitError
        A file cannot be written, or its name leads out of the folder.
    """
    records = parcel.order.folder / RECORDS
    for name, content in reply.files.items():
        if Path(name).name != name or name.startswith("."):
            raise JobError(
                f"{name!r} is not the name of a record",
                parcel.order.name,
                "look what the worker runs",
            )
        write_whole(records / name, content)
    if reply.fault:
        return None
    for path in records.glob("*-failed.ipynb"):
        path.unlink(missing_ok=True)
    done = Made(
        parcel.made_from,
        parcel.order.layout,
        {name: hashlib.sha256(content).hexdigest() for name, content in reply.files.items()},
    )
    made.write(parcel.order.folder, done)
    return done
