"""Changes: what of a job is no longer as a record has printed it."""

from __future__ import annotations

from startkit.facts.digests import sha256
from startkit.facts.job import DATABASE, Job
from startkit.facts.journal import Entry
from startkit.paper.attachments import sources
from startkit.paper.evidence import CSV, JOURNAL, PICTURES, RECORD, Evidence

MOST = 5  # entries that are named


def since(evidence: Evidence, job: Job) -> list[str]:
    """One sentence for each thing that changed in a job after its record was printed; empty if
    nothing did.
    """
    return [*_entries(evidence.entries, job.state().entries), *_files(evidence, job)]


def _entries(printed: tuple[Entry, ...], now: tuple[Entry, ...]) -> list[str]:
    """New entries by name; reports a journal that has lost or altered what was printed."""
    for before, after in zip(printed, now, strict=False):
        if before.digest != after.digest:
            return [
                f"entry {before.seq} of the job ({after.what}) is not the one that was printed:"
                f" {DATABASE} is from another job or was altered"
            ]
    if len(now) < len(printed):
        return [
            f"the job has {len(now)} entries, but {len(printed)} were printed: {DATABASE} is older"
            " than the record"
        ]
    new = now[len(printed) :]
    latest = {entry.what: entry for entry in printed}
    said = []
    for entry in new[:MOST]:
        said.append(_said(latest.get(entry.what), entry))
        latest[entry.what] = entry
    return said + ([f"and {len(new) - MOST} more entries"] if len(new) > MOST else [])


def _said(before: Entry | None, after: Entry) -> str:
    """``"entry 21: oil.sump was 52,5 °C and is 53 °C (R. Calder, 2026-11-25 08:31)"``."""
    who = ", ".join(part for part in (after.who, after.at[:16].replace("T", " ")) if part)
    value = (
        f"is {_short(after)}"
        if before is None or not before.value
        else f"was {_short(before)} and is {_short(after)}"
    )
    return f"entry {after.seq}: {after.what} {value} ({who})"


def _short(entry: Entry) -> str:
    text = " ".join(f"{entry.value} {entry.unit}".split()) or "blank"
    return text if len(text) <= 60 else f"{text[:60]}…"


def _files(evidence: Evidence, job: Job) -> list[str]:
    """Files that were changed, added or removed."""
    here = {a.name: sha256(a.content) for a in sources(job.folder)}
    pictures = {
        name: job.folder / name.removeprefix(f"{PICTURES}/")
        for name in evidence.files
        if name.startswith(f"{PICTURES}/")
    }
    here |= {name: sha256(path.read_bytes()) for name, path in pictures.items() if path.is_file()}
    printed = {
        name: sha256(content)
        for name, content in evidence.files.items()
        if name not in (RECORD, JOURNAL, CSV) and not _notebook(name)
    }
    said = [
        f"the file {name} was changed"
        for name in printed
        if name in here and here[name] != printed[name]
    ]
    said += [f"the file {name} was removed" for name in printed if name not in here]
    return said + [f"the file {name} was added" for name in here if name not in printed]


def _notebook(name: str) -> bool:
    # The executed notebook follows from the job and its template; it is output, not a source.
    return name.endswith(".ipynb") and "/" not in name
