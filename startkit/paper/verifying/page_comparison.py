"""Pages set again from what a record carries, and held against those that were signed; the attached
notebook is read, never run.
"""

from __future__ import annotations

from datetime import datetime
from typing import Any

from startkit.errors import PaperError, StartkitError
from startkit.facts.job import Job
from startkit.paper import revisions
from startkit.paper.attachments import Attachment
from startkit.paper.evidence import PICTURES, Evidence
from startkit.paper.printing import typesetting, versions
from startkit.paper.printing.record import Layout, Record, record
from startkit.paper.verifying import notebook_data

SETTING = (
    "startkit",
    "typst",
    "matplotlib",
)  # what decides how a page looks: layout, engine, fonts
_BY_VERSION = frozenset({"versions", "equations", "attachments"})


def again(evidence: Evidence, job: Job) -> Record:
    """The record of the attached notebook.

    Raises
    ------
    PaperError
        There is no notebook, or it does not show what is printed.
    """
    printed = evidence.record
    made = _recorded(evidence, job)
    differing = [
        key
        for key, value in made.data.items()
        if key not in _BY_VERSION and printed.get(key) != value
    ]
    if differing:
        raise PaperError(
            f"what is printed is not what the attached notebook shows ({', '.join(differing)})",
            "record",
            "ask the signer for the record as it was printed",
        )
    return Record(printed, made.pictures, made.attached)


def _recorded(evidence: Evidence, job: Job) -> Record:
    printed, notebook = evidence.record, _notebook(evidence)
    try:
        return record(
            job,
            notebook,
            _attached(evidence),
            Layout(printed["paper"], printed["form"], printed["company"]),
            revisions.of_line(printed.get("revision")),
        )
    except StartkitError:
        raise
    except (
        Exception
    ):  # the notebook is not held against its schema: what it lacks is seen where it is looked for
        raise _damaged("notebook") from None


def _notebook(evidence: Evidence) -> Any:
    names = [name for name in evidence.files if name.endswith(".ipynb") and "/" not in name]
    if len(names) != 1:
        raise PaperError(
            f"{len(names)} notebooks are attached",
            "record",
            "give a record that startkit has printed",
        )
    try:
        return notebook_data.of_bytes(evidence.files[names[0]])
    except Exception:  # of many kinds for a damaged file
        raise _damaged(names[0]) from None


def _damaged(name: str) -> PaperError:
    return PaperError(
        "the attached notebook is damaged", name, "take an undamaged copy of the record"
    )


def _attached(evidence: Evidence) -> list[Attachment]:
    """The attachments as they were listed; pictures are added again by the record itself."""
    lines = [
        line
        for line in evidence.record["attachments"]
        if not line["name"].startswith(f"{PICTURES}/")
    ]
    return [
        Attachment(
            line["name"], evidence.files[line["name"]], line["relationship"], line["description"]
        )
        for line in lines
    ]


def other_versions(evidence: Evidence) -> list[str]:
    """What is installed here in another version than the pages were set with, ``"typst 0.14.0, here
    0.15.2"``.
    """
    here = {line["name"]: line["version"] for line in versions.versions({})}
    then = {line["name"]: line["version"] for line in evidence.record.get("versions", [])}
    return [
        f"{name} {then.get(name, 'unknown')}, here {here.get(name, 'none')}"
        for name in SETTING
        if then.get(name) != here.get(name)
    ]


def same_pages(made: Record, content: bytes, at: datetime | None) -> bool:
    """True if the file begins with exactly the bytes that the record gives when it is set again.

    Parameters
    ----------
    made : Record
    content : bytes
    at : datetime.datetime or None
        When the pages were set, as the file says; a record always says so.
    """
    return at is not None and content.startswith(typesetting.pdf(made, at))
