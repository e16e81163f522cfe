"""A job made from a record: for another office, or as the baseline of a later visit. Nothing
attached is ever executed.
"""

from __future__ import annotations

from pathlib import Path, PurePosixPath

from startkit.errors import PaperError
from startkit.facts import baseline, checklists, named_pictures, plugins, safe_files
from startkit.facts.digests import sha256
from startkit.facts.job import DATABASE, SHEET, SPECIFICATION, Job, check_new_folder
from startkit.facts.journal import Entry, Journal
from startkit.facts.safe_files import file_safe, write_whole
from startkit.paper import revisions
from startkit.paper.evidence import PICTURES, TRENDS, Evidence, of_pdf, read
from startkit.paper.printing import svg
from startkit.paper.revisions import RECORDS
from startkit.paper.signature_page import FIELDS
from startkit.paper.verifying import increments, signatures


def import_job(record: Path, folder: Path, who: str = "", template: str = "") -> Job:
    """Make a job from a record: its entries as they stand in their chain, then one that names the
    record by its digest.

    Parameters
    ----------
    record : pathlib.Path
        The PDF.
    folder : pathlib.Path
        Of the new job; it must not exist or be empty.
    who : str
        Who imports it.
    template : str
        Name or file of a notebook; empty: the installed template of the name that the job has.

    Raises
    ------
    PaperError, JobError
        The record is not in order, its template is not installed, or the folder cannot be used.
    """
    content = read(Path(record))
    evidence = sound(content)
    named = _template_entry(evidence).value
    notebook = plugins.find_template(template or PurePosixPath(named).stem)
    folder = Path(folder)
    check_new_folder(folder)
    entries = [Entry("job.imported", Path(record).name, who=who, note=f"sha256 {sha256(content)}")]
    program = notebook.read_bytes()
    note = f"sha256 {sha256(program)}"
    recorded = _template_entry(evidence).note
    if notebook.name != named or ("sha256" in recorded and note not in recorded):
        entries.append(Entry("job.template", notebook.name, who=who, note=note))
    try:
        with safe_files.folder(folder) as made:  # half a job is worse than none
            write_whole(made / notebook.name, program)
            restore(evidence, made).append(entries)
            _keep(evidence, content, made)
            Job(made, read_only=True)
    except OSError as error:
        raise PaperError(
            f"the folder cannot be made ({error.strerror})",
            str(folder),
            "check that the disk or stick has room and is not write-protected",
        ) from None
    return Job(folder)


def sound(content: bytes) -> Evidence:
    """What a record carries, if it is as recorded and, where it is signed, as signed."""
    evidence = of_pdf(content)  # first: it refuses what would never be read to its end
    signed = signatures.read(content, FIELDS)
    evidence.sound()
    faults = [
        *signed.faults,
        *increments.taken_apart(content, evidence.record).faults,
        *(fault for signature in signed.made for fault in signature.faults),
    ]
    if faults:
        raise PaperError(
            f"the record is not in order ({faults[0]})",
            "record",
            "see all that is wrong with `startkit verify`",
        )
    return evidence


def restore(evidence: Evidence, folder: Path) -> Journal:
    """The files on which a job's verdicts rest and its journal, put into an empty folder as they
    were attached.

    Raises
    ------
    JournalError
        The chain of hashes is broken.
    """
    for name, content in sorted(evidence.files.items()):
        place = _place(name, content)
        if place is not None:
            write_whole(folder / place, content)
    journal = Journal.create(folder / DATABASE)
    journal.adopt(evidence.entries)
    return journal


def _place(name: str, content: bytes) -> PurePosixPath | None:
    """Where an attachment lies in a job's folder; None if it has no place there: a record may come
    from anybody.
    """
    path = PurePosixPath(name)
    if (
        not path.parts
        or "\\" in name
        or ":" in name
        or path.is_absolute()
        or any(part in ("..", ".") or part.startswith(".") for part in path.parts)
    ):
        return None
    if name in (SHEET, SPECIFICATION, baseline.FILE) or (
        path.parts[0] == TRENDS and len(path.parts) > 1
    ):
        return path
    if path.parts[0] == checklists.FOLDER and len(path.parts) == 2 and path.suffix == ".toml":
        return path
    if path.parts[0] == PICTURES and len(path.parts) > 1:
        picture = name.removeprefix(f"{PICTURES}/")
        if not named_pictures.name_fault(picture) and _is_picture(content):
            return PurePosixPath(picture)
    return None


def _is_picture(content: bytes) -> bool:
    try:
        return named_pictures.is_raster(content) or bool(
            svg.safe(content.decode("utf-8"), PICTURES)
        )
    except (UnicodeDecodeError, PaperError):
        return False


def _template_entry(evidence: Evidence) -> Entry:
    found = (entry for entry in reversed(evidence.entries) if entry.what == "job.template")
    return next(found, Entry("job.template", ""))


def _keep(evidence: Evidence, content: bytes, folder: Path) -> None:
    """The record itself, under the name that a print here would give it, so that the next revision
    names it.
    """
    data = evidence.record
    name = revisions.stem(
        file_safe(str(data["front"].get("machine", {}).get("tag", ""))),
        str(data.get("form", "full")),
    )
    write_whole(
        revisions.path_of(folder / RECORDS, name, revisions.of_line(data.get("revision")).letter),
        content,
    )
