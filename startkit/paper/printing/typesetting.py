"""From the record's data to PDF/A-3b, through one fixed Typst template."""

# `Any` here: typst's stub does not say that a whole document is bytes.
from __future__ import annotations

import json
import os
import shutil
import tempfile
from collections.abc import Sequence
from datetime import UTC, datetime
from importlib import resources
from pathlib import Path
from typing import Any

from startkit.errors import PaperError
from startkit.paper import glyphs
from startkit.paper.attachments import Attachment
from startkit.paper.evidence import RECORD
from startkit.paper.journal_export import to_json
from startkit.paper.printing import damaged
from startkit.paper.printing.record import Record
from startkit.paper.printing.slimming import slim

PAGE, SHARED = "record.typ", "parts.typ"
STANDARD = "a-3b"
WIDEST = 80  # letters of a file's name in the list of attachments


def moment(last_entry: datetime) -> datetime:
    """The time that the PDF carries: SOURCE_DATE_EPOCH if it is set, else that of the last entry.

    Raises
    ------
    PaperError
        SOURCE_DATE_EPOCH is not a number of seconds.
    """
    epoch = os.environ.get("SOURCE_DATE_EPOCH", "")
    if not epoch:
        return last_entry.replace(microsecond=0)
    try:
        return datetime.fromtimestamp(int(epoch), UTC)
    except (ValueError, OverflowError, OSError):
        raise PaperError(
            f"{epoch!r} is not a time in seconds",
            "SOURCE_DATE_EPOCH",
            "unset it or set it to whole seconds since 1970",
        ) from None


def pdf(record: Record, at: datetime, page: str = PAGE, name: str = RECORD) -> bytes:
    """The typeset record with its attachments.

    Parameters
    ----------
    record : Record
    at : datetime.datetime
        Time that the PDF carries.
    page : str
        The Typst template next to this module.
    name : str
        Name under which the record's data are attached.

    Raises
    ------
    PaperError
        Typst refuses the page.
    """
    import typst

    data = Attachment(name, to_json(record.data), "data", "The data printed in this record")
    with tempfile.TemporaryDirectory() as scratch:
        root = Path(scratch)
        _lay_out(root, page, record, [data, *record.attached])
        try:
            return _compiled(root, page, at)
        except typst.TypstError as error:
            # One damaged picture must not cost the record; a sound record is not looked through.
            if damaged.replaced(root, record.pictures):
                return _compiled(root, page, at)
            raise PaperError(
                f"the page cannot be typeset ({error.message})",
                "record",
                "report this with the job's folder",
            ) from None


def _compiled(root: Path, page: str, at: datetime) -> bytes:
    import typst

    compiler = typst.Compiler(
        str(root / page), root=str(root), font_paths=glyphs.fonts(), ignore_system_fonts=True
    )
    # Its stub knows no standard but by name, and gives a list for several pages.
    compiled: Any = compiler.compile
    return slim(compiled(format="pdf", pdf_standards=[STANDARD], timestamp=at))


def _lay_out(root: Path, page: str, record: Record, attached: Sequence[Attachment]) -> None:
    """The folder that Typst may read, and nothing else."""
    for name in (page, SHARED):
        shutil.copyfile(str(resources.files("startkit.paper.printing") / name), root / name)
    printed = glyphs.for_print(record.data)
    printed["files"] = [
        {**a.line(), "path": f"attachment-{n}", "shown": _shown(a.name)}
        for n, a in enumerate(attached, start=1)
    ]
    (root / "record.json").write_bytes(
        json.dumps(printed, ensure_ascii=False).encode("utf-8", "replace")
    )  # read by the page alone: without the blanks that people want
    for name, content in record.pictures.items():
        (root / name).write_bytes(content)
    for n, attachment in enumerate(attached, start=1):
        (root / f"attachment-{n}").write_bytes(attachment.content)


def _shown(name: str) -> str:
    """The name of a file as the page can print it; one that is wider than its column is broken."""
    known = glyphs.printable(name)
    return known if len(known) <= WIDEST else glyphs.breakable(known)
