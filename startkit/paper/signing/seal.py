"""The seal: a digital signature on a record, the technician's first, the others added to it."""

# `Any` here: pyHanko's and asn1crypto's classes have no usable types.
from __future__ import annotations

import tempfile
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from io import BytesIO
from pathlib import Path
from typing import Any

from startkit.errors import PaperError, StartkitError
from startkit.facts.digests import sha256
from startkit.facts.job import DATABASE, Job
from startkit.facts.safe_files import write_whole
from startkit.paper import (
    evidence,
    interpreter,
    job_changes,
    revisions,
    signature_fields,
    signature_page,
    stamp,
)
from startkit.paper.certificates import (
    common_name,
    fingerprint,
    outside_its_dates,
    same_name,
    unusable_letter,
)
from startkit.paper.interpreter import with_own_loop
from startkit.paper.revisions import RECORDS
from startkit.paper.verifying import (
    increments,
    page_comparison,
    signatures,
    verdict_comparison,
)
from startkit.procedure import people

MECHANISM = "sha256"
EARLIEST = 2000  # year before which no clock is right


@dataclass(frozen=True)
class Ready:
    """A record that one of its signatories may sign now.

    Parameters
    ----------
    path : pathlib.Path
    content : bytes
        With its empty fields.
    row : mapping
        The signatory's row of the signature page: field, role, name, firm, says.
    number : int
        Which signature it will be.
    compared : bool
        True if the job is at hand and is as printed.
    unchecked : tuple of str
        What of its pages could not be compared with its data: other versions have set them.
    sha256 : str
        Of the file as it was found.
    changed : tuple of str
        One sentence for each attached file that is not the one in the journal.
    """

    path: Path
    content: bytes
    row: Mapping[str, Any]
    number: int
    compared: bool
    sha256: str
    unchecked: tuple[str, ...] = ()
    changed: tuple[str, ...] = ()


@dataclass(frozen=True)
class Signed:
    """What was signed: file, role as the record names it, name in the certificate, and when."""

    path: Path
    role: str
    signer: str
    at: str


def ready(path: Path, role: str, awaited: Iterable[str] = ()) -> Ready:
    """Look whether a record can be signed.

    Parameters
    ----------
    path : pathlib.Path
        The record, or the folder of a job: then its newest record.
    role : str
        Role or name as on the signature page, or the name of its field.
    awaited : iterable of str
        Roles that are to sign besides those of the technician and of a named witness; used at the
        first signature only.

    Raises
    ------
    PaperError
        The record is not in order, its job has changed since it was printed, or it is not this
        role's turn.
    """
    _refuse_clock()
    path = record_of(Path(path))
    content = evidence.read(path)
    before = sha256(content)
    found = evidence.of_pdf(content).sound()
    rows = {row["field"]: row for row in found.record["signatures"]}
    field = signature_page.field_of(role, rows)
    so_far = signatures.read(content, rows, thorough=False)
    layout = increments.taken_apart(content, found.record)
    _refuse(so_far, layout, field, rows)
    later = revisions.later(path)
    if later:
        raise PaperError(
            f"{later[-1].name} replaced it and names it unchanged",
            path.name,
            "sign that one",
        )
    pages = _pages(found, layout)
    compared = _unchanged(path, found)
    if not so_far.empty and not so_far.made:
        wanted = {
            *signature_fields.owed(rows.values()),
            *(signature_page.field_of(each, rows) for each in awaited),
        }
        content = signature_fields.with_fields(
            content,
            found.record["paper"],
            {name: row["role"] for name, row in rows.items()},
            wanted,
        )
    number = len(so_far.made) + 1
    return Ready(
        path,
        content,
        rows[field],
        number,
        compared,
        before,
        pages.unchecked,
        (*found.changed_files, *_history(found)),
    )


def _history(found: evidence.Evidence) -> list[str]:
    """What page 1 says if the journal is not that of the revision before it, carried on."""
    history = revisions.of_line(found.record.get("revision")).history(found.entries)
    return [history.rstrip(".")] if history else []


def another(this: Ready, signer: Any) -> str:
    """The name in the certificate, if the record names another person as this signatory; else
    empty.
    """
    name = common_name(signer.signing_cert)
    return "" if not this.row["name"] or same_name(this.row["name"], name) else name


def sign(this: Ready, signer: Any, timestamper: Any = None, for_another: bool = False) -> Signed:
    """Sign a record; the bytes that were there stay as they are.

    Parameters
    ----------
    this : Ready
    signer : pyhanko.sign.Signer
        From `identity.Identity.signer` or `token.signer`.
    timestamper : pyhanko.sign.timestamps.TimeStamper, optional
        From `credentials.time_stamp_server`; without one the time is the signer's own clock.
    for_another : bool
        True: the signer knows that the record names another person here.

    Raises
    ------
    PaperError
        The certificate is of another person or out of its dates, the key cannot be used, the
        server does not answer, or the file was changed meanwhile.
    """
    at = datetime.now().astimezone()
    _refuse_certificate(this, signer, at, for_another)
    drawn = stamp_page(this, signer, at, timestamper is not None)
    made = signed_bytes(this, signer, drawn, timestamper)
    if not made.startswith(this.content) or sha256(evidence.read(this.path)) != this.sha256:
        raise PaperError(
            "the record was changed while it was being signed", str(this.path), "sign again"
        )
    write_whole(this.path, made)
    return Signed(
        this.path,
        str(this.row["role"] or this.row["field"]),
        common_name(signer.signing_cert),
        at.isoformat(timespec="seconds"),
    )


def _refuse_certificate(this: Ready, signer: Any, at: datetime, for_another: bool) -> None:
    name = another(this, signer)
    if name and not for_another:
        raise PaperError(
            f"the record names {this.row['name']} here, the certificate belongs to {name}",
            "signature",
            "sign with the key of the person named, or state that you sign for someone else",
        )
    letter = unusable_letter(signer.signing_cert.subject.human_friendly)
    if letter:
        raise PaperError(
            f"the letter {letter} (U+{ord(letter):04X}) of the certificate's name cannot be"
            " compared by those who verify",
            "signature",
            "sign with a certificate in other letters",
        )
    dates = outside_its_dates(signer.signing_cert, at)
    if dates:
        raise PaperError(dates, "signature", "sign with a certificate that is valid today")


def _refuse_clock() -> None:
    """A clock that was never set makes signatures that cannot be checked, or none at all."""
    if datetime.now().year < EARLIEST:
        raise PaperError(
            f"the clock of this computer is set to {datetime.now():%Y-%m-%d}",
            "clock",
            "set date and time, then sign",
        )


def record_of(path: Path) -> Path:
    """The record itself, or the newest one of a job's folder.

    Raises
    ------
    PaperError
        The job has no record yet.
    """
    if not path.is_dir():
        return path
    found = revisions.newest(path / RECORDS)
    if found is None:
        raise PaperError("there is no record to sign", str(path), "print it with `startkit print`")
    return found


def _refuse(
    so_far: signatures.Signatures,
    layout: increments.Layout,
    field: str,
    rows: Mapping[str, Mapping[str, Any]],
) -> None:
    """It must be this signatory's turn, and what others have signed must be whole."""
    faults = [
        *so_far.faults,
        *layout.faults,
        *(fault for signature in so_far.made for fault in signature.faults),
    ]
    if faults:
        raise PaperError(
            f"the record does not check out ({faults[0]})",
            "record",
            "run `startkit verify` to see everything that is wrong",
        )
    name = rows[field]["role"] or field
    if any(signature.field == field for signature in so_far.made):
        raise PaperError(
            f"the {name} has already signed",
            "--as",
            "print a new revision if something needs correcting",
        )
    if not so_far.made and field != signature_page.FIRST:
        raise PaperError(
            f"the {people.FIRST.label} signs first",
            "--as",
            f"sign as {signature_page.FIRST}, then as {name}",
        )


def _pages(found: evidence.Evidence, layout: increments.Layout) -> page_comparison.Pages:
    """The pages typeset again from what the record carries: no other pages may be signed."""
    with tempfile.TemporaryDirectory() as scratch:
        job = verdict_comparison.restored(found, Path(scratch))
        pages = page_comparison.compared(found, job, layout.printed)
    if pages.faults:
        raise PaperError(
            f"the pages do not match the record's data ({pages.faults[0]})",
            "record",
            "print it again, then sign",
        )
    return pages


# --- is the job still as it was printed? ----------------------------------------------------------


def _unchanged(path: Path, found: evidence.Evidence) -> bool:
    """True if the record's job is at hand and is as printed; False if it is not at hand."""
    folder = path.resolve().parent.parent
    if not (folder / DATABASE).is_file():
        return False
    try:
        said = job_changes.since(found, Job(folder, read_only=True))
    except PaperError:
        raise
    except StartkitError as error:
        raise PaperError(
            f"the job cannot be compared with its record ({error.what})",
            str(folder),
            "repair the job first",
        ) from None
    if said:
        raise PaperError(
            f"the job has changed since this record was printed: {'; '.join(said)}",
            path.name,
            "print it again, then sign",
        )
    return True


# --- the signature --------------------------------------------------------------------------------


def stamp_page(this: Ready, signer: Any, at: datetime, stamped: bool) -> bytes:
    """The page that is shown in the signature's box."""
    certificate = signer.signing_cert
    texts = stamp.of_signature(
        this.number,
        this.row,
        common_name(certificate),
        fingerprint(certificate.dump()),
        at,
        stamped,
    )
    return stamp.drawn(texts, this.row["field"])


def _said(error: Exception) -> str:
    return " ".join(str(error).split())[:160].rstrip(".") or type(error).__name__


def signed_bytes(this: Ready, signer: Any, drawn: bytes, timestamper: Any) -> bytes:
    """The record with one signature more.

    Raises
    ------
    PaperError
        The key cannot be used, or the server does not answer.
    """
    from pyhanko.sign.fields import MDPPerm, SigSeedSubFilter
    from pyhanko.sign.signers import PdfSignatureMetadata, PdfSigner
    from pyhanko.sign.signers.pdf_byterange import BuildProps

    metadata = PdfSignatureMetadata(
        field_name=this.row["field"],
        md_algorithm=MECHANISM,
        subfilter=SigSeedSubFilter.PADES,
        certify=this.number == 1,
        docmdp_permissions=MDPPerm.FILL_FORMS,
        name=common_name(signer.signing_cert),
        reason=this.row["says"],
        app_build_props=BuildProps("startkit", stamp.drawn_with()),
    )
    out = BytesIO()
    try:
        with interpreter.collection_paused(), stamp.style(drawn) as style:
            sealer = PdfSigner(metadata, signer, timestamper=timestamper, stamp_style=style)
            with_own_loop(
                lambda: sealer.sign_pdf(
                    signature_fields.writer_for(this.content), existing_fields_only=True, output=out
                )
            )
    except (
        Exception
    ) as error:  # of many kinds: a token that was pulled out, a server that does not answer
        raise PaperError(
            f"the record was not signed ({_said(error)})",
            "signature",
            "correct it and sign again",
        ) from None
    return out.getvalue()
