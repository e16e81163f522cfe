"""Importing a trend's file into a job: file and confirmed map are kept and journalled."""

from __future__ import annotations

import re
from pathlib import Path

from startkit.errors import JobError, ReadingError
from startkit.facts import safe_files
from startkit.facts.digests import sha256_of_file
from startkit.facts.job import Job
from startkit.facts.journal import Entry
from startkit.facts.trend import column_map, store
from startkit.facts.trend.trend import Trend, build


def import_file(
    job: Job, path: Path, map_path: Path, who: str, at: str = "", name: str = ""
) -> Trend:
    """Keep a trend's file and its confirmed map in the job's folder and write that into the
    journal.

    Parameters
    ----------
    job : Job
    path, map_path : pathlib.Path
    who : str
        Who confirmed the map.
    at : str
        Moment of the entry; empty: now.
    name : str
        Under which the stages know it; default: the file's name.

    Raises
    ------
    ReadingError, SheetError, JobError
        No one is named, the map is not confirmed, the file cannot be read, or another file has that
        name already.
    """
    path, map_path = Path(path), Path(map_path)
    if not who.strip():
        raise ReadingError(
            "no one is named as having confirmed the map", map_path.name, "give --who"
        )
    made = column_map.load(map_path)
    if not made.confirmed:
        raise ReadingError(
            "this map is not confirmed",
            map_path.name,
            "check every line, correct it and set  confirmed = true",
        )
    if not made.used:
        raise ReadingError(
            "no column in the map is assigned to a point",
            map_path.name,
            "name the points of the columns that matter",
        )
    name = name or _name_of(path)
    digest = sha256_of_file(path)
    known = job.state().latest.get(store.ITEM + name)
    if known is not None and store.digests(known)[0] not in ("", digest):
        raise JobError(
            f"another file has already been imported as trend {name!r}",
            path.name,
            "rename the file",
        )
    found = build(path, made, name, digest)
    kept, kept_map = _kept(job, path, name), _kept(job, map_path, name)
    _copy(path, kept)
    _copy(map_path, kept_map)
    first, last = found.moment(found.clock[0]), found.moment(found.clock[-1])
    note = (
        f"sha256 {digest}; map {kept_map.name} sha256 {sha256_of_file(kept_map)}; {len(found)} rows"
        f" of {len(found.values)} points, {first} to {last}"
    )
    job.record(Entry(store.ITEM + name, kept.name, "", who, "", note, at))
    return found


def _name_of(path: Path) -> str:
    name = re.sub(r"[^a-z0-9]+", "-", path.stem.casefold()).strip("-")[:60].strip("-")
    return f"trend-{name}".strip("-") if not name or safe_files.is_reserved(name) else name


def _kept(job: Job, path: Path, name: str) -> Path:
    return job.folder / store.FOLDER / f"{name}{path.suffix.lower()}"


def _copy(source: Path, target: Path) -> None:
    try:
        if not target.exists() or not target.samefile(source):
            safe_files.copy(source, target)
    except OSError as error:
        raise JobError(
            f"the file cannot be kept in the job ({error.strerror})",
            str(target),
            "check that the job's folder is writable",
        ) from None
