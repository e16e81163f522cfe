"""Pages set again from what a record carries, and held against those that were signed; the attached notebook is read, never run."""

from __future__ import annotations

from datetime import datetime
from io import BytesIO
from typing import Any

from startkit.errors import PaperError
from startkit.facts.job import Job
from startkit.paper import revisions, typesetting, versions
from startkit.paper.attachments import Attachment
from startkit.paper.evidence import Evidence
from startkit.paper.names import PICTURES
from startkit.paper.record import Layout, Record, record

SETTING = ("startkit", "typst", "matplotlib")  # what decides how a page looks: layout, engine, fonts
_BY_VERSION = frozenset({"versions", "equations", "attachments"})


def again(evidence: Evidence, job: Job) -> Record:
    """The record of the attached notebook.

    Raises
    ------
    PaperError
        There is no notebook, or it does not show what is printed.
    """
    printed = evidence.record
    made = record(job, _notebook(evidence), _attached(evidence), Layout(printed["paper"], printed["form"], printed["company"]), revisions.of_line(printed.get("revision")))
    differing = [key for key, value in made.data.items() if key not in _BY_VERSION and printed.get(key) != value]
    if differing:
        raise PaperError(f"what is printed is not what the attached notebook shows ({', '.join(differing)})", "record", "ask the signer for the record as it was printed")
    return Record(printed, made.pictures, made.attached)


def _notebook(evidence: Evidence) -> Any:
    import nbformat

    names = [name for name in evidence.files if name.endswith(".ipynb") and "/" not in name]
    if len(names) != 1:
        raise PaperError(f"{len(names)} notebooks are attached", "record", "give a record that startkit has printed")
    try:
        return nbformat.reads(evidence.files[names[0]].decode("utf-8"), as_version=4)
    except Exception:  # nbformat raises many kinds for a damaged file
        raise PaperError("the attached notebook is damaged", names[0], "take an undamaged copy of the record") from None


def _attached(evidence: Evidence) -> list[Attachment]:
    """The attachments as they were listed; pictures are added again by the record itself."""
    lines = [line for line in evidence.record["attachments"] if not line["name"].startswith(f"{PICTURES}/")]
    return [Attachment(line["name"], evidence.files[line["name"]], line["relationship"], line["description"]) for line in lines]


def other_versions(evidence: Evidence) -> list[str]:
    """What is installed here in another version than the pages were set with, ``"typst 0.14.0, here 0.15.2"``."""
    here = {line["name"]: line["version"] for line in versions.versions({})}
    then = {line["name"]: line["version"] for line in evidence.record.get("versions", [])}
    return [f"{name} {then.get(name, 'unknown')}, here {here.get(name, 'none')}" for name in SETTING if then.get(name) != here.get(name)]


def same_pages(made: Record, content: bytes) -> bool:
    """True if the file begins with exactly the bytes that the record gives when it is set again."""
    return content.startswith(typesetting.pdf(made, _moment(content)))


def _moment(content: bytes) -> datetime:
    """When the pages were set, as the file says."""
    from pyhanko.pdf_utils import generic
    from pyhanko.pdf_utils.reader import PdfFileReader

    return generic.parse_pdf_date(PdfFileReader(BytesIO(content)).trailer_view["/Info"]["/CreationDate"])
