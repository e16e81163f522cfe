"""The files of a job that its journal names by digest: sheet, specification, notebook, pictures.

A file that was changed by hand is reported; a wanted change is recorded with its reason.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from functools import lru_cache
from pathlib import Path

from startkit.errors import JobError
from startkit.facts import job_notebook, pictures, safe_files
from startkit.facts import limits as limits_
from startkit.facts import machine as machine_
from startkit.facts.digests import sha256, sha256_of_file
from startkit.facts.job import NO_SPECIFICATION, PICTURE, SHEET, SPECIFICATION, Job
from startkit.facts.journal import Entry

REPLACED = "records/replaced"  # folder of a job for files that were replaced
REMEDY = "Restore the recorded file, or record the change and its reason with `startkit replace`."
_SHA = re.compile(r"sha256 ([0-9a-f]{64})")
_WORDS = {"sheet": SHEET, "specification": SPECIFICATION}


# --- what was changed --------------------------------------------------------------------------


def changes(job: Job) -> tuple[str, ...]:
    """One sentence for each file of a job that is not the one in its journal; empty if all are.

    A job made before the journal held a file's digest has no record of that file.
    """
    found = differences(
        job.state().entries,
        lambda name: _digest(pictures.within(job.folder, name)),
        job.machine.machine.tag,
    )
    entry = job.state().latest.get("job.template")
    if entry is None or not job_notebook.is_changed(job):
        return tuple(found)
    return (*found, f"{job.template.name} differs from the template named in entry {entry.seq}")


def differences(
    entries: Iterable[Entry], digest_of: Callable[[str], str], tag: str
) -> tuple[str, ...]:
    """As `changes`, of files that may be anywhere, without the notebook.

    Parameters
    ----------
    entries : iterable of Entry
        The journal.
    digest_of : callable
        SHA-256 of the file of that name; empty if there is no such file.
    tag : str
        The machine in the sheet.
    """
    latest = {entry.what: entry for entry in entries if entry.what.startswith("job.")}
    said = []
    owner = latest.get("job.machine")
    if owner is not None and owner.value != tag:
        said.append(f"the journal was started for machine {owner.value}, but {SHEET} is for {tag}")
    for name, (entry, recorded) in _recorded(latest).items():
        found = digest_of(name)
        if found == recorded or (not found and entry.what.startswith(PICTURE)):
            continue  # a missing picture is reported in its own place
        how = "removed" if not found else "changed" if recorded else "added"
        said.append(f"{name} was {how} after entry {entry.seq} ({entry.at[:16].replace('T', ' ')})")
    return tuple(said)


def _recorded(latest: Mapping[str, Entry]) -> dict[str, tuple[Entry, str]]:
    """By name of the file: the entry that records it, and the digest in it."""
    found = {}
    for what, name in (("job.sheet", SHEET), ("job.specification", SPECIFICATION)):
        entry = latest.get(what)
        held = _SHA.search(entry.note) if entry is not None else None
        if entry is not None and held is not None:
            found[name] = (entry, held.group(1))
    sheet = latest.get("job.sheet")
    if SPECIFICATION not in found and sheet is not None and NO_SPECIFICATION in sheet.note:
        found[SPECIFICATION] = (sheet, "")
    for what, entry in latest.items():
        if what.startswith(PICTURE) and entry.value:
            found[what.removeprefix(PICTURE)] = (entry, entry.value)
    return found


def _digest(path: Path | None) -> str:
    if path is None:
        return ""
    try:
        state = path.stat()
        return _remembered(str(path), state.st_mtime_ns, state.st_size, state.st_ino)
    except OSError:
        return ""


@lru_cache(maxsize=4096)
def _remembered(path: str, changed: int, size: int, number: int) -> str:
    """Digest of a file as it was at that moment: the front page asks at every entry."""
    return sha256_of_file(Path(path))


# --- a wanted change ---------------------------------------------------------------------------


def replace(job: Job, kept: str, file: Path, who: str, reason: str) -> str:
    """Put another file in place of one that the journal names, and record who did it and why.

    Parameters
    ----------
    job : Job
    kept : str
        ``"sheet"``, ``"specification"``, ``"template"`` or the name of a picture in the job, such
        as ``"photographs/setup-1.jpg"``.
    file : pathlib.Path
        The new file; the job's own one, if it was edited there.
    who, reason : str
        Who replaces it, and why.

    Returns
    -------
    str
        Name of the file in the job's folder.

    Raises
    ------
    StartkitError
        No person or no reason is named, there is no such file in the job, or the new one cannot be
        used.
    """
    if not who.strip() or not reason.strip():
        raise JobError(
            "a replaced file needs a name and a reason", kept, "give them with --who and --reason"
        )
    name = job.template.name if kept == "template" else _WORDS.get(kept, kept)
    content = _content(name, Path(file), job)
    target = job.folder / name
    try:
        _put(target, content, job.folder)
    except OSError as error:
        raise JobError(
            f"the file cannot be written ({error.strerror})",
            str(target),
            "check that the disk or stick has space and is not write-protected",
        ) from None
    job.record(_entries(job, name, sha256(content), who, reason))
    return name


def _content(name: str, file: Path, job: Job) -> bytes:
    """The bytes of the new file, if the job can use it."""
    if not file.is_file():
        raise JobError("there is no such file", str(file), "check the name")
    if name == SHEET:
        machine_.load(file)
    elif name == SPECIFICATION:
        limits_.specification(limits_.defaults(), file)
    elif name == job.template.name:
        if not job_notebook.is_notebook(file):
            raise JobError("the file is not a notebook", str(file), "give a template's notebook")
    elif pictures.within(job.folder, name) is None or not _is_picture(job, name):
        raise JobError(
            f"the job has no file {name!r}",
            str(job.folder),
            "use sheet, specification, template, or the name of a picture in the job's folder",
        )
    else:
        return pictures.as_kept(file.read_bytes(), file.name, name)
    return file.read_bytes()


def _is_picture(job: Job, name: str) -> bool:
    return any(
        picture.file == name
        for entry in job.state().latest.values()
        if name in entry.value
        for picture in pictures.named(entry.value)
    )


def _put(target: Path, content: bytes, folder: Path) -> None:
    """Keep what is there, then write: in this order, so that an interrupted change is repeated."""
    if target.is_file():
        before = target.read_bytes()
        if before == content:
            return
        old = f"{target.stem}-{sha256(before)[:12]}{target.suffix}"
        safe_files.write(folder / REPLACED / old, before)
    safe_files.write(target, content)


def _entries(job: Job, name: str, digest: str, who: str, reason: str) -> list[Entry]:
    words = {SHEET: "job.sheet", SPECIFICATION: "job.specification"}
    if name == job.template.name:
        words[name] = "job.template"
    if name not in words:
        return [Entry(f"{PICTURE}{name}", digest, who=who, note=reason)]
    made = [Entry(words[name], name, who=who, note=f"sha256 {digest}; {reason}")]
    if name == SHEET:
        tag = machine_.load(job.folder / SHEET).machine.tag
        made.append(Entry("job.machine", tag, who=who, note=""))
    return made
