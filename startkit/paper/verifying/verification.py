"""Verification: is a record what was signed, and does what it prints follow from what it carries?
No job is needed.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from functools import partial
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from startkit import __version__
from startkit.errors import PaperError, StartkitError
from startkit.facts.digests import sha256
from startkit.paper import evidence, interpreter, signature_page
from startkit.paper.evidence import Evidence
from startkit.paper.signature_page import FIELDS
from startkit.paper.verifying import signatures
from startkit.paper.verifying.signatures import Signature, Signatures
from startkit.side_process import Lost, process

if TYPE_CHECKING:
    from startkit.facts.job import Job

T = TypeVar("T")
GOOD, BAD, OPEN = "✓", "✗", "○"
MOST = 12  # sentences of one part that are shown


@dataclass(frozen=True)
class Part:
    """One thing that was looked at.

    Parameters
    ----------
    name : str
    mark : str
        `GOOD`, `BAD`, or `OPEN` for what could not be looked at or needs a person's eye.
    said : tuple of str
        Sentences.
    """

    name: str
    mark: str
    said: tuple[str, ...]


@dataclass(frozen=True)
class Verification:
    """Everything that was found.

    Parameters
    ----------
    file, sha256 : str
    title, revision : str
        Of the record; empty if it cannot be read.
    signatures : tuple of Signature
    parts : tuple of Part
    asked : bool
        True if certificates were given that vouch for signers.
    """

    file: str
    sha256: str
    title: str
    revision: str
    signatures: tuple[Signature, ...]
    parts: tuple[Part, ...]
    asked: bool

    @property
    def valid(self) -> bool:
        """True if nothing is wrong."""
        return all(part.mark != BAD for part in self.parts)

    def lines(self) -> list[str]:
        """For a person."""
        head = (
            f"{self.file}:"
            f" {self.title or 'not a record'}{f', revision {self.revision}' if self.revision else ''}"
        )
        lines = [head]
        for part in self.parts:
            lines += [
                f"{part.mark if n == 0 else ' '} {part.name if n == 0 else '':12} {sentence}"
                for n, sentence in enumerate(part.said)
            ]
        wrong = sum(part.mark == BAD for part in self.parts)
        lines.append(
            "VALID"
            if self.valid
            else f"NOT VALID: {wrong} of {len(self.parts)} things looked at are wrong"
        )
        if self.signatures and not self.asked:
            lines.append(
                "Who the signers are rests on their certificates: compare the SHA-256 of each with"
                " its owner, or give the certificates with --trust."
            )
        return lines

    def as_json(self) -> dict[str, Any]:
        """For a machine."""
        return {
            "schema": "startkit-verification-1",
            "valid": self.valid,
            "file": self.file,
            "sha256": self.sha256,
            "title": self.title,
            "revision": self.revision,
            "checked_with": __version__,
            "trust_given": self.asked,
            "signatures": [{**asdict(s), "good": s.good} for s in self.signatures],
            "parts": [
                {
                    "part": part.name,
                    "outcome": {GOOD: "good", BAD: "bad", OPEN: "open"}[part.mark],
                    "said": list(part.said),
                }
                for part in self.parts
            ],
        }


def verify(
    path: Path, trust: Sequence[bytes] = (), signed_by: Iterable[str] = (), beside: bool = True
) -> Verification:
    """Check a record on a machine that has never seen its job.

    Parameters
    ----------
    path : pathlib.Path
        The PDF.
    trust : sequence of bytes
        Certificates (DER) that vouch for signers, from `certificates.vouchers`; empty: nobody is asked
        who they are.
    signed_by : iterable of str
        Roles that must have signed, beside those that the technician named when signing.
    beside : bool
        True: signatures are checked in a process beside, which halves the time.

    Raises
    ------
    PaperError
        There is no such file, or a role is not one of the record's.
    """
    path = Path(path)
    content = evidence.read(path)
    with _apart(content, trust, beside) as (carried, sealed), interpreter.collection_paused():
        _load()
        try:
            found = carried()
            found.record  # noqa: B018 - read here, so that its fault is reported for this file
        except PaperError as error:
            return Verification(
                path.name,
                sha256(content),
                "",
                "",
                (),
                (Part("file", BAD, (str(error),)),),
                bool(trust),
            )
        return _looked_at(path, content, found, sealed, trust, signed_by)


def _load() -> None:
    """Load what judges while the file is read beside: it takes as long to load as to judge."""
    from startkit.procedure import registry

    for name in (
        "startkit.paper.verifying.verdict_comparison",
        "startkit.paper.verifying.page_comparison",
        "scipy.optimize",
    ):
        import_module(name)
    registry.stages()


def _looked_at(
    path: Path,
    content: bytes,
    found: Evidence,
    sealed: Callable[[], Signatures | PaperError],
    trust: Sequence[bytes],
    signed_by: Iterable[str],
) -> Verification:
    from startkit.paper import revisions

    data = found.record
    rows = {str(row["field"]): row for row in data["signatures"]}
    wanted = [signature_page.field_of(role, rows) for role in signed_by]
    contents = _contents(found, content)
    signed = sealed()
    parts = (*_signed(signed, rows, wanted), *contents, _revision(path, data))
    return Verification(
        path.name,
        sha256(content),
        str(data.get("title", "")),
        revisions.of_line(data.get("revision")).letter,
        _made(signed),
        parts,
        bool(trust),
    )


# --- signatures -----------------------------------------------------------------------------------


@contextmanager
def _apart(
    content: bytes, trust: Sequence[bytes], beside: bool
) -> Iterator[tuple[Callable[[], Evidence], Callable[[], Signatures | PaperError]]]:
    """What the file carries, and its signatures: two calls that wait for what a process beside
    reads.
    """
    carried = partial(evidence.of_pdf, content)
    sealed = partial(signatures.read_or_refuse, content, tuple(FIELDS), tuple(trust))
    if not beside:
        yield carried, sealed
        return
    with process() as pool:
        yield (
            _or_here(pool.submit(evidence.of_pdf, *carried.args), carried),
            _or_here(pool.submit(signatures.read_apart, *sealed.args), sealed),
        )


def _or_here(waiting: Future[T], here: Callable[[], T]) -> Callable[[], T]:
    """A call that waits for what the process beside finds, and finds it here if that was lost."""

    def found() -> T:
        try:
            return waiting.result()
        except Lost:
            return here()

    return found


def _made(signed: Signatures | PaperError) -> tuple[Signature, ...]:
    return signed.made if isinstance(signed, Signatures) else ()


def _signed(
    signed: Signatures | PaperError, rows: Mapping[str, Mapping[str, Any]], wanted: Sequence[str]
) -> Iterator[Part]:
    if isinstance(signed, PaperError):
        yield Part("signatures", BAD, (str(signed),))
        return
    for signature in signed.made:
        yield _signature(signature, rows.get(signature.field, {}))
    if not signed.made:
        yield Part("signatures", BAD, ("Nobody has signed, or the signatures were taken away.",))
    missing = [
        field
        for field in FIELDS
        if field in (*signed.awaited, *wanted) and field not in [s.field for s in signed.made]
    ]
    if signed.made and missing:
        yield Part(
            "signatures",
            BAD,
            tuple(
                f"{_who(rows.get(field, {}), field)} is to sign and has not, or the signature was"
                " taken away."
                for field in missing
            ),
        )
    yield Part(
        "file",
        BAD if signed.faults else GOOD,
        tuple(f"{fault[0].upper()}{fault[1:]}." for fault in signed.faults)
        or ("Nothing was added to it but empty fields and signatures.",),
    )


def _signature(signature: Signature, row: Mapping[str, Any]) -> Part:
    at = signature.at.replace("T", " ")
    said = [
        f"{row.get('role') or signature.field}: {signature.signer}, {at} by"
        f" {signature.clock}{'; certifies the record' if signature.certifies else ''}."
    ]
    said += [f"{fault[0].upper()}{fault[1:]}." for fault in signature.faults]
    said += [f"Note: {note}." for note in signature.notes]
    if row.get("name") and row["name"].casefold() != signature.signer.casefold():
        said.append(f"Note: the record names {row['name']} here.")
    return Part(
        "signature",
        GOOD if signature.good else BAD,
        (*said, f"SHA-256 of the certificate: {signature.fingerprint}"),
    )


def _who(row: Mapping[str, Any], field: str) -> str:
    role = str(row.get("role") or field)
    return f"{role[0].upper()}{role[1:]}" + (f" ({row['name']})" if row.get("name") else "")


# --- what it carries ------------------------------------------------------------------------------


def _contents(found: Evidence, content: bytes) -> list[Part]:
    """Attachments, journal, verdicts and pages, each only as far as the one before it holds."""
    from startkit.paper.verifying import verdict_comparison

    parts = [_attachments(found), _journal(found)]
    if any(part.mark == BAD for part in parts):
        return [
            *parts,
            Part(
                "verdicts", OPEN, ("Not derived again: what is attached is not what was recorded.",)
            ),
        ]
    with tempfile.TemporaryDirectory() as scratch:
        try:
            job = verdict_comparison.restored(found, Path(scratch))
        except StartkitError as error:
            return [*parts, Part("verdicts", BAD, (f"They cannot be derived again: {error}",))]
        # The page is set outside of Python while the verdicts are derived in it; each has the job
        # opened for itself.
        with ThreadPoolExecutor(1) as thread:
            pages = thread.submit(_pages, found, job.folder, content)
            return [*parts, _verdicts(found, job), pages.result()]


def _attachments(found: Evidence) -> Part:
    faults = found.attachment_faults
    good = f"{len(found.files)} files, each equal to its recorded digest."
    return Part(
        "attachments",
        BAD if faults else GOOD,
        tuple(f"{fault}." for fault in faults[:MOST]) or (good,),
    )


def _journal(found: Evidence) -> Part:
    try:
        faults = found.journal_faults
    except PaperError as error:
        return Part("journal", BAD, (str(error),))
    said = tuple(f"{fault[0].upper()}{fault[1:]}." for fault in faults[:MOST])
    return Part(
        "journal",
        BAD if faults else GOOD,
        said
        or (f"{len(found.entries)} entries, the chain of hashes is unbroken and ends as printed.",),
    )


def _verdicts(found: Evidence, job: Job) -> Part:
    from startkit.paper.verifying import verdict_comparison

    try:
        derived = verdict_comparison.held_against(found, job)
    except StartkitError as error:
        return Part("verdicts", BAD, (f"They cannot be derived again: {error}",))
    except Exception as error:  # an added stage may fail in any way
        return Part(
            "verdicts", BAD, (f"They cannot be derived again ({type(error).__name__}: {error}).",)
        )
    made_with = next(
        (
            line["version"]
            for line in found.record.get("versions", [])
            if line.get("name") == "startkit"
        ),
        "unknown",
    )
    same = made_with == __version__
    told = [
        str(difference) + "." for difference in derived.differences if difference.weighty or same
    ]
    wording = len(derived.differences) - len(told)
    said = [
        f"{derived.verdicts} derived again with startkit"
        f" {__version__}{'' if same else f', printed by {made_with}'}:"
        f" {'as printed' if not told else f'{len(told)} things are printed otherwise'}."
    ]
    said += [f"{wording} texts are worded otherwise."] if wording else []
    more = [f"And {len(told) - MOST} more."] if len(told) > MOST else []
    return Part("verdicts", BAD if told else GOOD, (*said, *told[:MOST], *more))


def _pages(found: Evidence, folder: Path, content: bytes) -> Part:
    from startkit.facts.job import Job
    from startkit.paper.verifying import page_comparison

    try:
        made = page_comparison.again(found, Job(folder, read_only=True))
    except StartkitError as error:
        return Part("pages", BAD, (str(error),))
    other = page_comparison.other_versions(found)
    if other:
        return Part(
            "pages",
            OPEN,
            (
                "Their data are those of the attached notebook.",
                f"Not set again: they were set with {'; '.join(other)}.",
            ),
        )
    try:
        same = page_comparison.same_pages(made, content, found.set_at)
    except Exception as error:  # whatever stands in a foreign file
        return Part("pages", BAD, (f"They cannot be set again ({type(error).__name__}).",))
    return Part(
        "pages",
        GOOD if same else BAD,
        (
            (
                "Set again from the attached data: as signed, byte for byte."
                if same
                else "Set again from the attached data they are not those of this file."
            ),
        ),
    )


def _revision(path: Path, data: Mapping[str, Any]) -> Part:
    """The record that this one replaces, and those that replace this one, as far as they lie beside
    it.
    """
    from startkit.paper import revisions

    revision = revisions.of_line(data.get("revision"))
    said, mark = [], GOOD
    if revision.replaces:
        before = path.with_name(Path(revision.file).name)
        said.append(
            f"{revision.letter}, in place of revision {revision.replaces}, SHA-256"
            f" {revision.sha256}."
        )
        if before.is_file() and before != path:
            same = sha256(before.read_bytes()) == revision.sha256
            mark = GOOD if same else BAD
            said.append(
                f"{before.name} lies beside it and is"
                f" {'the one' if same else 'another file than the one'} that it names."
            )
    else:
        said.append(f"{revision.letter}, the first.")
    later = revisions.later(path)
    if later:
        said.append(f"{later[-1].name} lies beside it: this record has been replaced.")
    return Part("revision", OPEN if later and mark == GOOD else mark, tuple(said))
