"""Targets of the fuzzing: entry sheets, journals, records, notebooks."""

from __future__ import annotations

import functools
import io
import json
import zipfile
from pathlib import Path
from typing import Any

from benchmarks.fuzz_base import MACHINES, ROOT, exchanged, unless_refused, written


@functools.cache
def _sheet_job() -> tuple[Any, Path]:
    """A job and its entry sheet; both last as long as the process."""
    import atexit
    import tempfile

    from startkit.desk.entry_sheet import export
    from startkit.facts.job import Job

    scratch = tempfile.TemporaryDirectory()
    atexit.register(scratch.cleanup)
    job = Job.create(
        Path(scratch.name) / "J", MACHINES / "CH-1.toml", ROOT / "templates" / "new-machine.ipynb"
    )
    return job, export.write(job.folder, Path(scratch.name) / "sheet.xlsx")


def _tabs() -> list[str]:
    with zipfile.ZipFile(_sheet_job()[1]) as archive:
        return [
            name for name in archive.namelist() if name.endswith(".xml") and "theme" not in name
        ]


def entry_parts() -> list[bytes]:
    """Parts of an entry sheet, each behind the number of its place."""
    with zipfile.ZipFile(_sheet_job()[1]) as archive:
        return [bytes((n,)) + archive.read(name) for n, name in enumerate(_tabs())]


def entry_sheet(data: bytes, folder: Path) -> None:
    from startkit.desk.entry_sheet import reader
    from startkit.procedure import registry

    job, sheet = _sheet_job()
    changed = _tabs()[data[0] % len(_tabs())] if data else ""
    reader.read(
        exchanged(sheet.read_bytes(), changed, data[1:], folder / "sheet.xlsx"),
        job,
        registry.for_job(job),
    )


@functools.cache
def journal() -> bytes:
    import tempfile

    from startkit.facts.journal import Entry, Journal

    with tempfile.TemporaryDirectory() as folder:
        journal = Journal.create(Path(folder) / "job.db")
        journal.append(
            [
                Entry("job.machine", "CH-1"),
                *(Entry(f"lube.note{n}", f"reading {n}", "kPa", "Ana") for n in range(40)),
                Entry("vanes.trace", "1\t2\t3\n" * 1500),
            ]
        )
        return journal.path.read_bytes()


def damaged_journal(data: bytes, folder: Path) -> None:
    """A journal as it is opened, and as it is rescued: no entry that its hash does not prove."""
    from startkit.facts.journal import Journal, digest
    from startkit.facts.rescue import whole_entries

    path = written(data, folder, "job.db")
    assert all(digest(entry) == entry.digest for entry in whole_entries(path).values())
    opened = unless_refused(functools.partial(Journal.open, read_only=True), path)
    entries = unless_refused(opened.read) if opened is not None else None
    if entries:
        unless_refused(opened.faults)
        [(entry.moment, entry.day) for entry in entries]


def evidence(data: bytes, folder: Path) -> None:
    """What an imported record carries: data, journal, attachments."""
    from startkit.paper.evidence import Evidence

    kind, content = data[:1], data[1:]
    files = {"record.json": carried()[0], "journal.json": carried()[1]} | {
        "record.json" if kind == b"r" else "journal.json": content
    }
    found = Evidence(files)
    for fault in (
        lambda: found.attachment_faults,
        lambda: found.journal_faults,
        found.sound,
        lambda: [(e.moment, e.day) for e in found.entries],
    ):
        unless_refused(fault)


@functools.cache
def carried() -> tuple[bytes, bytes]:
    from startkit.facts.journal import GENESIS, Entry, chained
    from startkit.paper import journal_export

    entries = chained(
        [
            Entry("job.machine", "CH-1"),
            Entry("lube.filter_drop", "12", "kPa", "Ana", "P-1", "", "2026-11-25T14:30:00+01:00"),
        ],
        0,
        GENESIS,
    )
    front = {
        "machine": {"tag": "CH-1", "serial": "1"},
        "journal_digest": entries[-1].digest,
        "people": [],
        "units": "SI",
    }
    lines = [{"name": "journal.json", "mime": "application/json", "size": 3, "sha256": "0" * 64}]
    figures = [
        {
            "key": "lube.filter",
            "number": 12000.0,
            "u_number": 100.0,
            "kind": "pressure_difference",
            "label": "Filter",
            "text": "12 kPa",
        }
    ]
    record = {
        "schema": "startkit-record-1",
        "title": "CH-1",
        "front": front,
        "body": [{"block": "stage", "figures": figures}],
        "attachments": lines,
        "signatures": [],
    }
    return journal_export.to_json(record), journal_export.as_json(entries)


def record_pdf(data: bytes, folder: Path) -> None:
    from startkit.paper.evidence import of_pdf

    found = of_pdf(data)
    unless_refused(lambda: found.attachment_faults)
    unless_refused(lambda: found.journal_faults)


@functools.cache
def pdf() -> bytes:
    import pikepdf

    made = pikepdf.new()
    made.add_blank_page()
    for name, content in zip(("record.json", "journal.json"), carried(), strict=True):
        made.attachments[name] = pikepdf.AttachedFileSpec(made, content, filename=name)
    stream = io.BytesIO()
    made.save(
        stream,
        compress_streams=False,
        object_stream_mode=pikepdf.ObjectStreamMode.disable,
        deterministic_id=True,
    )
    return stream.getvalue()


def baseline(data: bytes, folder: Path) -> None:
    from startkit.facts import baseline

    found = baseline.load(written(data, folder, "baseline.json"))
    assert found.figures


def notebook(data: bytes, folder: Path) -> None:
    from startkit.paper.printing import outputs, runs

    found = runs.read(written(data, folder, "job.ipynb"))
    runs.parameters_of(found)
    outputs.collect(found)


@functools.cache
def notebooks() -> list[bytes]:
    words = (
        "# A job\n\n- *one* `two` [three](http://127.0.0.1:9/x) ![four](file:///x.png)\n\n| a | b"
        " |\n|---|---|\n| 1 | 2 |\n\n<b>five</b>"
    )
    cells: list[dict[str, Any]] = [
        {"cell_type": "markdown", "id": "a", "metadata": {}, "source": words},
        {
            "cell_type": "code",
            "id": "b",
            "metadata": {"tags": ["parameters"]},
            "execution_count": 1,
            "source": 'job = "."\nmode = "form"\n',
            "outputs": [
                {"output_type": "stream", "name": "stdout", "text": "said\n"},
                {"output_type": "display_data", "metadata": {}, "data": {"text/plain": "part"}},
            ],
        },
    ]
    return [
        json.dumps(
            {"cells": cells, "metadata": {}, "nbformat": 4, "nbformat_minor": 5}, indent=1
        ).encode()
    ]
