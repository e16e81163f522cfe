"""A job made from a record: that of the next visit, or the same one again for another office.
Nothing attached is ever executed.
"""

from __future__ import annotations

from pathlib import Path, PurePosixPath

from startkit import units
from startkit.errors import PaperError
from startkit.facts import baseline, checklists, last_visit, named_pictures, plugins, safe_files
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
    """Make the job of the next visit from a record: its machine, limits and check lists. A record
    is not a visit: none of its entries is taken over; they are shown as those of last time.

    Parameters
    ----------
    record : pathlib.Path
        The PDF.
    folder : pathlib.Path
        Of the new job; it must not exist or be empty.
    who : str
        Who imports it.
    template : str
        Name or file of a notebook; empty: the installed template of the name that the record has.

    Raises
    ------
    PaperError, JobError
        The record is not in order, its template is not installed, or the folder cannot be used.
    """
    content = read(Path(record))
    evidence = sound(content)
    notebook = plugins.find_template(
        template or PurePosixPath(_template_entry(evidence).value).stem
    )
    folder, digest = Path(folder), sha256(content)
    check_new_folder(folder)
    try:
        with safe_files.folder(folder) as made:
            put_files(evidence, made, _OF_A_MACHINE)
            write_whole(made / notebook.name, notebook.read_bytes())
            shown = last_visit.text(Path(record).name, digest, evidence.entries)
            write_whole(made / last_visit.FILE, shown.encode("utf-8"))
            begun = Job.begin(made, notebook.name, _units(evidence), who)
            begun.record(
                Entry("job.last_visit", Path(record).name, who=who, note=f"sha256 {digest}")
            )
    except OSError as error:
        raise _cannot_be_made(folder, error) from None
    return Job(folder)


def restore_job(record: Path, folder: Path, who: str = "", template: str = "") -> Job:
    """Make the job of a record again, for another office or after a loss: the same visit, with its
    entries in their chain, then one that names the record by its digest.

    Parameters
    ----------
    record, folder, who, template
        As of `import_job`.

    Raises
    ------
    PaperError, JobError
        As of `import_job`.
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
        raise _cannot_be_made(folder, error) from None
    return Job(folder)


def _cannot_be_made(folder: Path, error: OSError) -> PaperError:
    return PaperError(
        f"the folder cannot be made ({error.strerror})",
        str(folder),
        "check that the disk or stick has space and is not write-protected",
    )


def _units(evidence: Evidence) -> str:
    found = {entry.what: entry.value for entry in evidence.entries}.get("job.units", units.SI)
    return found if found in units.SYSTEMS else units.SI


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
            f"the record does not check out ({faults[0]})",
            "record",
            "run `startkit verify` to see everything that is wrong",
        )
    return evidence


# What belongs to the machine and its order, not to one visit.
_OF_A_MACHINE = (SHEET, SPECIFICATION, checklists.FOLDER)


def put_files(evidence: Evidence, folder: Path, only: tuple[str, ...] = ()) -> None:
    """Put the attached files of a job into a folder; `only` those below these names, if given."""
    for name, content in sorted(evidence.files.items()):
        place = _place(name, content)
        if place is not None and (not only or place.parts[0] in only):
            write_whole(folder / place, content)


def restore(evidence: Evidence, folder: Path) -> Journal:
    """The files on which a job's verdicts rest and its journal, put into an empty folder as they
    were attached.

    Raises
    ------
    JournalError
        The chain of hashes is broken.
    """
    put_files(evidence, folder)
    journal = Journal.create(folder / DATABASE)
    journal.adopt(evidence.entries)
    return journal


def _place(name: str, content: bytes) -> PurePosixPath | None:
    """Where an attachment belongs in a job's folder; None if it has no place there: a record may
    come from anybody.
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
