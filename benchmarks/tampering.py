"""What `startkit verify` says to a record that was tampered with, in every way that we could think
of.

Run:  python benchmarks/tampering.py [--flips 200] [--write]      --write:
workbook/proof/tampering.md
"""

from __future__ import annotations

import argparse
import json
import random
import re
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from io import BytesIO
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
if str(ROOT) not in sys.path:
    sys.path.insert(0, str(ROOT))

from benchmarks import forgeries, tampering_page
from benchmarks.increments import (
    add_note,
    add_page,
    added_to,
    empty_last_signature,
    redraw_page,
    redraw_signature,
    rename,
    rotate,
    swap,
)
from startkit.desk import plots
from startkit.facts.digests import sha256
from startkit.facts.journal import Entry, digest
from startkit.paper import attachments, evidence, journal_export, signature_page
from startkit.paper.printing import runs, typesetting
from startkit.paper.printing.record import Layout, Record, record
from startkit.paper.signing import identity
from startkit.paper.verifying import verification

SEED, FLIPS = 20261125, 200
TARGET = ROOT / "workbook" / "proof" / "tampering.md"


@dataclass(frozen=True)
class Scene:
    """A job, its record as printed and as signed by technician, witness and engineer, and their
    certificates.
    """

    job: Any
    printed: bytes
    signed: bytes
    people: dict[str, identity.Identity]
    notebook: Path

    @property
    def trust(self) -> list[bytes]:
        return [person.der for person in self.people.values()]


@dataclass(frozen=True)
class Case:
    """One way to tamper.

    Parameters
    ----------
    name : str
        What was done, in words.
    made : callable
        From the scene to the bytes that are presented.
    options : dict
        Of `verification.verify`.
    """

    name: str
    made: Callable[[Scene], bytes]
    options: dict[str, Any] = field(default_factory=dict)


# --- the scene ------------------------------------------------------------------------------------


def scene(folder: Path, form: str = "full") -> Scene:
    """A small job with the installed stages, printed and signed."""
    from tests.paper import signing

    job = signing.real_job(folder / "CH-3 start-up")
    path = signing.printed(job, form)
    before = path.read_bytes()
    signing.signed(
        path,
        ("technician", signing.TECHNICIAN),
        ("owner's witness", signing.WITNESS),
        ("third", signing.ENGINEER),
        awaited=("third",),
    )
    people = {
        name: signing.person(name)
        for name in (signing.TECHNICIAN, signing.WITNESS, signing.ENGINEER)
    }
    return Scene(job, before, path.read_bytes(), people, job.folder / "records" / "CH-3.ipynb")


def said(there: Scene, content: bytes, **options: Any) -> verification.Verification:
    """What verify says to these bytes."""
    with tempfile.TemporaryDirectory() as scratch:
        path = Path(scratch) / "record.pdf"
        path.write_bytes(content)
        trust = there.trust if options.pop("trusting", False) else ()
        return verification.verify(path, trust, beside=False, draws=plots, **options)


# --- bits and bytes -------------------------------------------------------------------------------


def flipped(content: bytes, place: int, bit: int) -> bytes:
    """One bit turned over."""
    return content[:place] + bytes([content[place] ^ 1 << bit]) + content[place + 1 :]


def places(content: bytes, count: int = FLIPS) -> list[tuple[int, int]]:
    """Seeded places and bits, anywhere in the file."""
    draw = random.Random(SEED)
    return [(draw.randrange(len(content)), draw.randrange(8)) for _ in range(count)]


def revision_ends(content: bytes) -> list[int]:
    """Where each revision of the file ends."""
    return [found.end() for found in re.finditer(rb"startxref\s+\d+\s+%%EOF\s?", content)]


def cut_to(content: bytes, signatures: int) -> bytes:
    """An older revision of the file, with so many signatures; -1: as printed."""
    return content[: revision_ends(content)[1 + signatures]]


# --- entries --------------------------------------------------------------------------------------


def edited(entries: list[Entry], chained: bool) -> list[Entry]:
    """The sump 9 K colder than was read, with or without its hash and all that follow."""
    made: list[Entry] = []
    for entry in entries:
        changed = (
            replace(entry, value="43.5")
            if entry.what == "lube.sump_temperature" and entry.value == "52.5"
            else entry
        )
        if chained:
            changed = replace(
                changed, previous=made[-1].digest if made else entry.previous, digest=""
            )
            changed = replace(changed, digest=digest(changed))
        made.append(changed)
    return made


def edited_files(there: Scene, chained: bool) -> dict[str, bytes]:
    """The attached journal with an edited entry; with its hashes also the digests in the record's
    data.
    """
    content = journal_export.as_json(edited(list(there.job.state().entries), chained))
    if not chained:
        return {evidence.JOURNAL: content}
    data = json.loads(evidence.of_pdf(there.signed).files[evidence.RECORD])
    for line in data["attachments"]:
        if line["name"] == evidence.JOURNAL:
            line |= {"size": len(content), "sha256": sha256(content)}
    data["front"]["journal_digest"] = journal_export.from_json(content)[-1].digest
    return {evidence.JOURNAL: content, evidence.RECORD: journal_export.to_json(data)}


# --- forgeries: printed anew and signed anew ------------------------------------------------------


def forged(
    there: Scene,
    files: dict[str, bytes],
    change: Callable[[dict[str, Any]], None] = lambda data: None,
    edit: Callable[[Any], None] = lambda notebook: None,
) -> bytes:
    """A record printed with other attachments, other data or another notebook, not signed."""
    job, shown = there.job, runs.read(there.notebook)
    edit(shown)
    content = runs.to_bytes(shown)
    attached = attachments.of_job(job, there.notebook.name, content)
    form = evidence.of_pdf(there.printed).record["form"]
    made = record(job, runs.again(content), attached, Layout(form=form))
    changed = tuple(
        replace(each, content=files.get(each.name, each.content)) for each in made.attached
    )
    data = {**made.data, "attachments": [each.line() for each in changed]}
    change(data)
    return typesetting.pdf(
        Record(data, made.pictures, changed), typesetting.moment(job.last_moment)
    )


def signed_anew(
    there: Scene, content: bytes, people: dict[str, identity.Identity] | None = None
) -> bytes:
    """Signed by the same people, or by others under the same names, with a program that looks at
    nothing.
    """
    fields = ("technician", "witness", "third")
    signing = dict(zip(fields, (people or there.people).values(), strict=True))
    return forgeries.signed(forgeries.with_fields(content, awaited=("third",)), signing)


def signed_blindly(there: Scene, content: bytes) -> bytes:
    """The same, where the file has its fields already."""
    fields = ("technician", "witness", "third")
    return forgeries.signed(content, dict(zip(fields, there.people.values(), strict=True)))


def with_fields_and_page(writer: Any) -> None:
    """Empty fields, and with them a page."""
    from pyhanko.sign.fields import SigFieldSpec, append_signature_field

    for signatory in signature_page.SIGNATORIES:
        append_signature_field(
            writer,
            SigFieldSpec(
                signatory.field,
                signature_page.PAGE,
                signature_page.box(signatory.field, signature_page.A4),
            ),
        )
    add_page(writer)


def impostors(there: Scene) -> dict[str, identity.Identity]:
    """Other keys under the same names."""
    return {name: identity.new(name) for name in there.people}


def _with_other_end(entries: list[Entry]) -> Callable[[dict[str, Any]], None]:
    def change(data: dict[str, Any]) -> None:
        data["front"] = {**data["front"], "journal_digest": entries[-1].digest}

    return change


def forged_entry(there: Scene) -> bytes:
    """An edited entry with all hashes right, the pages as they were but for the last hash, signed
    anew by the same people.
    """
    entries = edited(list(there.job.state().entries), chained=True)
    return signed_anew(
        there,
        forged(
            there,
            {
                evidence.JOURNAL: journal_export.as_json(entries),
                evidence.CSV: journal_export.as_csv(entries),
            },
            _with_other_end(entries),
        ),
    )


def forged_verdict(there: Scene) -> bytes:
    """A verdict printed as passed that did not pass, signed anew by the same people."""

    def change(data: dict[str, Any]) -> None:
        data["body"] = json.loads(json.dumps(data["body"]))
        stage = next(block for block in data["body"] if block.get("stage") == "lube")
        verdict = next(each for each in stage["verdicts"] if each["outcome"] == "open")
        verdict.update(outcome="pass", mark="✓", sentence="In order.")

    return signed_anew(there, forged(there, {}, change))


def transplanted(there: Scene) -> bytes:
    """The last signature of one record put into another, whose last signature is of the same
    length.
    """
    other = signed_anew(there, there.printed)
    ours, theirs = (
        list(re.finditer(rb"/Contents <([0-9A-F]+)>", content))[-1]
        for content in (there.signed, other)
    )
    return (
        there.signed[: ours.start(1)]
        + theirs.group(1).ljust(len(ours.group(1)), b"0")
        + there.signed[ours.end(1) :]
    )


def rewritten(content: bytes, change: Callable[[Any], None] = lambda pdf: None) -> bytes:
    """Opened and saved by another program."""
    import pikepdf

    out = BytesIO()
    with pikepdf.open(BytesIO(content)) as pdf:
        change(pdf)
        pdf.save(out)
    return out.getvalue()


CASES = (
    Case("A page is added in an increment", lambda there: added_to(there.signed, add_page)),
    Case("A page is rotated in an increment", lambda there: added_to(there.signed, rotate)),
    Case(
        "What a page shows is replaced in an increment",
        lambda there: added_to(there.signed, redraw_page),
    ),
    Case(
        "A note is laid over a page in an increment", lambda there: added_to(there.signed, add_note)
    ),
    Case("The title is changed in an increment", lambda there: added_to(there.signed, rename)),
    Case(
        "A page is added along with the empty fields, then signed by the same people without"
        " looking",
        lambda there: signed_blindly(there, added_to(there.printed, with_fields_and_page)),
    ),
    Case(
        "The file is opened and saved by another program, nothing else",
        lambda there: rewritten(there.signed),
    ),
    Case(
        "A page is taken out, and the file saved",
        lambda there: rewritten(there.signed, lambda pdf: pdf.pages.__delitem__(0)),
    ),
    Case(
        "The attached journal is swapped for an empty one in an increment",
        lambda there: added_to(there.signed, swap({evidence.JOURNAL: journal_export.as_json([])})),
    ),
    Case(
        "The attached machine sheet is swapped, in a record not signed yet",
        lambda there: added_to(there.printed, swap({"machine.toml": b"[machine]\n"})),
    ),
    Case(
        "An entry of the attached journal is edited, hashes left",
        lambda there: added_to(there.signed, swap(edited_files(there, False))),
    ),
    Case(
        "An entry is edited, all hashes and digests made anew",
        lambda there: added_to(there.signed, swap(edited_files(there, True))),
    ),
    Case("The same, printed anew and signed anew by the same people", forged_entry),
    Case(
        "A verdict is printed as passed that did not pass, signed anew by the same people",
        forged_verdict,
    ),
    Case(
        "The record as it was, signed anew by others under the same names; checked with the"
        " people's certificates",
        lambda there: signed_anew(there, there.printed, impostors(there)),
        {"trusting": True},
    ),
    Case(
        "The last signature is taken away by an increment",
        lambda there: added_to(there.signed, empty_last_signature),
    ),
    Case(
        "The last signature is cut off: the file as it was before",
        lambda there: cut_to(there.signed, 2),
    ),
    Case("Two signatures are cut off", lambda there: cut_to(there.signed, 1)),
    Case(
        "All signatures are cut off, the empty fields stay", lambda there: cut_to(there.signed, 0)
    ),
    Case(
        "Signatures and fields are cut off: the file as it was printed",
        lambda there: cut_to(there.signed, -1),
    ),
    Case(
        "The stamp of a signature is drawn anew in an increment",
        lambda there: added_to(there.signed, redraw_signature),
    ),
    Case("A signature of another copy of the record is put in the place of the last", transplanted),
    Case("The file is cut in half", lambda there: there.signed[: len(there.signed) // 2]),
    Case("The last hundred bytes are missing", lambda there: there.signed[:-100]),
    Case("The last byte is missing", lambda there: there.signed[:-1]),
    Case("Something is written behind the end", lambda there: there.signed + b"\n% all passed\n"),
)


# --- all of them -----------------------------------------------------------------------------


def main(arguments: list[str]) -> int:
    """Try every case; fail if one was not caught, or an honest record is not valid."""
    from benchmarks import forgery_cases  # made with what is above

    options = _options(arguments)
    with tempfile.TemporaryDirectory() as scratch:
        there = scene(Path(scratch), "short")
        honest = [
            (case.name, said(there, case.made(there), **case.options))
            for case in forgery_cases.HONEST
        ]
        rows = [
            (case.name, said(there, case.made(there), **case.options))
            for case in (*CASES, *forgery_cases.FORGED)
        ]
        flips = [
            said(there, flipped(there.signed, *place))
            for place in places(there.signed, options.flips)
        ]
    caught = sum(
        tampering_page.is_caught(found) for found in (*(found for _, found in rows), *flips)
    )
    text = tampering_page.document(honest, rows, flips, caught, SEED)
    if options.write:
        TARGET.write_text(text, encoding="utf-8")
    valid = sum(found.outcome == "valid" for _, found in honest)
    print(f"{text}\ncaught {caught} of {len(rows) + len(flips)}; honest {valid} of {len(honest)}")
    return 0 if valid == len(honest) and caught == len(rows) + len(flips) else 1


def _options(arguments: list[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument(
        "--flips", type=int, default=FLIPS, help="how many bits are flipped, one at a time"
    )
    parser.add_argument("--write", action="store_true", help=f"write {TARGET.relative_to(ROOT)}")
    return parser.parse_args(arguments)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
