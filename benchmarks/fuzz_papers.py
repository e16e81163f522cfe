"""Targets of the fuzzing: what a verification looks at, a signed file's layout, pictures."""

from __future__ import annotations

import functools
import io
import struct
from collections.abc import Callable
from pathlib import Path
from typing import Any

from benchmarks.fuzz_base import ROOT, unless_refused, written

OLD = ROOT / "tests" / "paper" / "records" / "signed-2026-11.pdf"
RECORD, NOTEBOOK = b"r", b"n"  # first byte of an input: which file it takes the place of


@functools.cache
def _scene() -> tuple[Any, dict[str, bytes], str]:
    """A small job, what its record carries, and the name of its notebook; nothing is set."""
    import atexit
    import tempfile

    from startkit.paper import attachments, journal_export
    from startkit.paper.printing import runs
    from startkit.paper.printing.record import Layout, record
    from tests.paper import signing

    scratch = tempfile.TemporaryDirectory()
    atexit.register(scratch.cleanup)
    job = signing.real_job(Path(scratch.name) / "CH-3 start-up")
    shown = signing.notebook_of(job)
    content = runs.to_bytes(shown)
    attached = attachments.of_job(job, "CH-3.ipynb", content)
    made = record(job, runs.again(content), attached, Layout())
    files = {each.name: each.content for each in made.attached}
    return job, {**files, "record.json": journal_export.to_json(made.data)}, "CH-3.ipynb"


def carried() -> list[bytes]:
    """The record's data, and its notebook, each behind the byte that names it."""
    _, files, notebook = _scene()
    return [RECORD + files["record.json"], NOTEBOOK + files[notebook]]


def looked_at(data: bytes, folder: Path) -> None:
    """All parts of a verification but signatures and typesetting, over changed data or a changed
    notebook.
    """
    from startkit.paper.evidence import Evidence
    from startkit.paper.verifying import signers, succession, verification
    from startkit.paper.verifying.increments import Layout
    from startkit.paper.verifying.signatures import Signature, Signatures

    job, files, notebook = _scene()
    name = notebook if data[:1] == NOTEBOOK else "record.json"
    found = Evidence({**files, name: data[1:]})
    record = unless_refused(lambda: found.record)
    if record is None:
        return
    rows = {str(row["field"]): row for row in record["signatures"]}
    signed = Signatures((Signature("technician", "Ana", "00", "2026-11-25T09:00:00+01:00"),))
    signers.of_additions(signed, Layout(b"", faults=("odd",)), rows)
    entries = unless_refused(lambda: found.entries) or ()
    parts = [
        *signers.of_signatures(signed, rows, ["witness"], True),
        *signers.of_times(signed, entries),
        *verification.carried(found),
        *verification.judged(found, job, None),
        succession.part(folder / "record.pdf", found),
    ]
    assert all(part.said and all(isinstance(each, str) for each in part.said) for part in parts)


@functools.cache
def _old() -> tuple[bytes, bytes, dict[str, Any]]:
    """A signed record: its print, what was added to it, and its data."""
    from startkit.paper import evidence
    from startkit.paper.verifying import revision_layout

    content = OLD.read_bytes()
    end = revision_layout.sections(content)[0].end
    return content[:end], content[end:], evidence.of_pdf(content).record


def added() -> list[bytes]:
    """The empty fields and the signatures, as they were added."""
    return [_old()[1]]


def layout(data: bytes, folder: Path) -> None:
    """A print and what was added to it, taken apart."""
    from startkit.paper.verifying import increments

    made = increments.taken_apart(_old()[0] + data, _old()[2])
    assert all(isinstance(fault, str) for fault in made.faults)


# --- pictures -------------------------------------------------------------------------------------


@functools.cache
def pictures() -> list[bytes]:
    """Pictures as cameras and programs write them."""
    from PIL import Image

    made = []
    settings: tuple[tuple[str, str, Callable[[], dict[str, Any]]], ...] = (
        ("RGB", "JPEG", lambda: {"exif": _exif()}),
        ("CMYK", "JPEG", dict),
        ("RGBA", "PNG", dict),
        ("I;16", "PNG", dict),
        ("RGB", "WEBP", dict),
        ("RGB", "TIFF", dict),
        ("RGB", "BMP", dict),
    )
    for mode, form, more in settings:
        out = io.BytesIO()
        Image.new(mode, (24, 18)).save(out, form, **more())
        made.append(out.getvalue())
    return [*made, DRAWING, struct.pack(">I", 24) + b"ftypheic\0\0\0\0mif1heic" + bytes(200)]


def _exif() -> Any:
    from PIL import Image

    exif = Image.Exif()
    exif[274], exif[271] = 6, "Maker"
    return exif


DRAWING = (
    b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 90 40"><defs><path id="p" d="M0 0L9 9"/>'
    b'</defs><use href="#p" x="1"/><text x="3" y="9">Oil</text></svg>'
)


def picture(data: bytes, folder: Path) -> None:
    """A picture that is uploaded, and one that lies in the job's folder under any ending."""
    from startkit.facts import named_pictures
    from startkit.facts import pictures as kept
    from startkit.paper.printing import photographs

    unless_refused(kept.keep_photograph, folder, data, "IMG_1.HEIC", "lube-photographs")
    for name in ("a.jpg", "a.svg"):
        written(data, folder, name)
        unless_refused(named_pictures.refuse, folder, "lube.photographs", name)
        unless_refused(kept.thumbnail, folder, name)
        field = {"kind": "photo", "value": name, "question": "Plate", "problem": ""}
        photographs.shown({"block": "stage", "entered": [field]}, folder, {}, {})
