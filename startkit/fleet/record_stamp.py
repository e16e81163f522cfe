"""The stamp of a record: one digest of everything that the record was made from."""

# `Any` here: what a JSON file holds is checked value by value.
from __future__ import annotations

import functools
import json
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

from startkit.facts.digests import sha256, sha256_of_file
from startkit.facts.job import DATABASE
from startkit.facts.journal import Journal
from startkit.facts.plugins import entry_points
from startkit.facts.safe_files import write_whole
from startkit.paper.revisions import RECORDS

STAMP, SCHEMA = ".made.json", "startkit-made-1"
# bytes: a larger file is identified by its size and time instead of its digest
LARGE = 1_000_000
_ADDED = ("startkit.stages", "startkit.checklists")


@dataclass(frozen=True)
class Stamp:
    """What a record was made from, its layout, and the digest of each file made."""

    made_from: str
    layout: str
    files: Mapping[str, str]


def digest_of(folder: Path, layout: str = "") -> str:
    """SHA-256 over a job's entries and files, the layout, and the versions of the software.

    Raises
    ------
    JournalError
        The journal cannot be read.
    """
    newest = Journal.open(Path(folder) / DATABASE, read_only=True).newest()
    parts = [layout, newest.digest if newest else "", *_files(Path(folder)), *versions()]
    return sha256("\n".join(parts).encode("utf-8", "surrogateescape"))


def _files(folder: Path) -> Iterator[str]:
    """Every file that a job reads, each with its digest or its size and time."""
    for path in sorted(folder.rglob("*")):
        within = path.relative_to(folder)
        if (
            within.parts[0] == RECORDS
            or within.parts[0].startswith(DATABASE)
            or any(part.startswith(".") for part in within.parts)
            or not path.is_file()
        ):
            continue
        stat = path.stat()
        known = (
            f"{stat.st_size} {stat.st_mtime_ns}" if stat.st_size > LARGE else sha256_of_file(path)
        )
        yield f"{within.as_posix()} {known}"


@functools.cache
def versions() -> tuple[str, ...]:
    """Name and version of what makes a record: this tool, the property library, packages that add
    stages.
    """
    added = {
        point.dist.name: point.dist.version
        for group in _ADDED
        for point in entry_points(group=group)
        if point.dist is not None
    }
    return (
        *(f"{name} {_version(name)}" for name in ("startkit", "CoolProp")),
        *(f"{name} {number}" for name, number in sorted(added.items())),
    )


def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return ""


# --- the stamp ------------------------------------------------------------------------------------


def write(folder: Path, stamp: Stamp) -> None:
    """Write the stamp into the job's records, after the record itself."""
    content = {"schema": SCHEMA, **asdict(stamp)}
    write_whole(
        Path(folder) / RECORDS / STAMP,
        (json.dumps(content, indent=1, sort_keys=True) + "\n").encode(),
    )


def read(folder: Path) -> Stamp | None:
    """The stamp of a job; None if there is no readable one."""
    try:
        content: Any = json.loads((Path(folder) / RECORDS / STAMP).read_text(encoding="utf-8"))
        return (
            Stamp(str(content["made_from"]), str(content["layout"]), dict(content["files"]))
            if content["schema"] == SCHEMA
            else None
        )
    except (OSError, ValueError, KeyError, TypeError):
        return None


def is_current(folder: Path, layout: str = "") -> bool:
    """True if the job's record exists and was made from what the job holds now, in this layout."""
    stamp = read(folder)
    return (
        stamp is not None
        and stamp.layout == layout
        and all((Path(folder) / RECORDS / name).is_file() for name in stamp.files)
        and stamp.made_from == digest_of(folder, layout)
    )
