"""What travels inside the record: the notebook as it is on disk, the journal, the data, the sheet,
the trends.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from startkit.errors import PaperError
from startkit.facts import baseline, checklists, file_types
from startkit.facts.digests import sha256
from startkit.facts.job import SHEET, SPECIFICATION, Job
from startkit.paper import journal_export
from startkit.paper.evidence import CSV, JOURNAL, PICTURES, TRENDS


@dataclass(frozen=True)
class Attachment:
    """One attached file; `relationship` is PDF's: source, data or supplement."""

    name: str
    content: bytes
    relationship: str
    description: str

    @property
    def mime(self) -> str:
        return file_types.media_type(self.name)

    def line(self) -> dict[str, object]:
        """Its line in the record: name, type, size, digest."""
        return {
            "name": self.name,
            "mime": self.mime,
            "relationship": self.relationship,
            "description": self.description,
            "size": len(self.content),
            "sha256": sha256(self.content),
        }


def of_job(job: Job, notebook_name: str, notebook: bytes) -> list[Attachment]:
    """Everything that is attached besides the record's own data."""
    entries = job.state().entries
    return [
        Attachment(
            notebook_name, notebook, "source", "The executed notebook printed in this record"
        ),
        Attachment(
            JOURNAL,
            journal_export.as_json(entries),
            "data",
            "Every entry of the job with its chain of hashes",
        ),
        Attachment(
            CSV, journal_export.as_csv(entries), "supplement", "The entries for a spreadsheet"
        ),
        *sources(job.folder),
    ]


def sources(folder: Path) -> list[Attachment]:
    """The files of a job, besides its journal, on which its verdicts rest."""
    single = (
        (SHEET, "source", "The machine sheet"),
        (SPECIFICATION, "source", "The job's own limits"),
        (baseline.FILE, "source", "Data of the earlier record"),
    )
    found = [
        Attachment(name, (folder / name).read_bytes(), relationship, said)
        for name, relationship, said in single
        if (folder / name).is_file()
    ]
    lists = sorted((folder / checklists.FOLDER).glob("*.toml"))
    found += [
        Attachment(
            f"{checklists.FOLDER}/{path.name}",
            path.read_bytes(),
            "source",
            "The job's own check list",
        )
        for path in lists
    ]
    return found + _trends(folder / TRENDS)


def pictures(files: Mapping[str, bytes]) -> list[Attachment]:
    """The photographs and drawn signatures that the record prints, by their names in the job's
    folder.
    """
    return [
        Attachment(f"{PICTURES}/{name}", content, "supplement", "Picture, as in the job's folder")
        for name, content in sorted(files.items())
    ]


def _trends(folder: Path) -> list[Attachment]:
    """The imported trend files; a link to a file elsewhere is refused."""
    if not folder.is_dir():
        return []
    paths = sorted(
        p
        for p in folder.rglob("*")
        if not any(part.startswith(".") for part in p.relative_to(folder).parts)
    )
    linked = [
        p.name for p in paths if p.is_symlink() or not p.resolve().is_relative_to(folder.resolve())
    ]
    if linked:
        raise PaperError(
            f"the trend file {linked[0]!r} is only a link",
            TRENDS,
            "copy the file itself into the folder",
        )
    return [
        Attachment(
            f"{TRENDS}/{p.relative_to(folder).as_posix()}", p.read_bytes(), "data", "Trend data"
        )
        for p in paths
        if p.is_file()
    ]
