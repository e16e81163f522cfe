"""The signatures of a record: who signed what and when, and whether anything was changed since."""

# `Any` here: pyHanko's and asn1crypto's classes have no usable types.
from __future__ import annotations

import logging
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from io import BytesIO
from typing import Any

from startkit.errors import PaperError
from startkit.paper import certificates, interpreter, signature_fields, unpacking
from startkit.paper.interpreter import with_own_loop
from startkit.paper.verifying import signature_bytes

OWN_CLOCK = "the signer's own clock"
FILL_FORMS = (
    2  # DocMDP: after certifying nothing may be done but fill in fields (ISO 32000-1, table 254)
)
# pyHanko reports what it finds through its results as well; a technician needs it once.
for _name in ("pyhanko", "pyhanko_certvalidator"):
    logging.getLogger(_name).addHandler(logging.NullHandler())


@dataclass(frozen=True)
class Signature:
    """One digital signature.

    Parameters
    ----------
    field : str
        Name of its field, as on the signature page.
    signer, fingerprint : str
        Name in the certificate, and the certificate's SHA-256.
    at, clock : str
        When, and by whose clock.
    certifies : bool
        True for the first: from then on nothing but signing is allowed.
    trusted : bool or None
        Whether a given certificate vouches for the signer; None if none was given.
    faults, notes : tuple of str
        What makes it bad, and what a reader should know.
    """

    field: str
    signer: str = ""
    fingerprint: str = ""
    at: str = ""
    clock: str = OWN_CLOCK
    certifies: bool = False
    trusted: bool | None = None
    faults: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def good(self) -> bool:
        return not self.faults


@dataclass(frozen=True)
class Signatures:
    """All signatures of a file, in the order in which they were made.

    Parameters
    ----------
    made : tuple of Signature
    empty : tuple of str
        Unsigned fields.
    awaited : tuple of str
        Those of them that are to be signed.
    faults : tuple of str
        What is wrong with the file as a whole.
    """

    made: tuple[Signature, ...] = ()
    empty: tuple[str, ...] = ()
    awaited: tuple[str, ...] = ()
    faults: tuple[str, ...] = ()

    @property
    def good(self) -> bool:
        """True if nothing signed was changed; whether all have signed is another question."""
        return not self.faults and all(signature.good for signature in self.made)


def read(
    content: bytes, known: Iterable[str], trust: Sequence[bytes] = (), thorough: bool = True
) -> Signatures:
    """Check every signature of a file.

    Parameters
    ----------
    content : bytes
        The PDF.
    known : iterable of str
        Fields that a record has.
    trust : sequence of bytes
        Certificates (DER) that vouch for signers; empty: none is required.
    thorough : bool
        False: without the difference analysis of pyHanko, which reads every object of the file; the
        additions are checked all the same.

    Raises
    ------
    PaperError
        The bytes are not a PDF that can be read.
    """
    from pyhanko.pdf_utils.reader import PdfFileReader

    try:
        with interpreter.collection_paused():
            return _read(
                PdfFileReader(BytesIO(content)), content, frozenset(known), trust, thorough
            )
    except PaperError:
        raise
    except Exception as error:  # a damaged PDF fails in any way
        raise unpacking.unreadable(error) from None


def read_apart(
    content: bytes, known: Iterable[str], trust: Sequence[bytes]
) -> Signatures | PaperError:
    """As `read_or_refuse`, in a process that does nothing else.

    Parameters are those of `read`.
    """
    return read_or_refuse(content, known, trust)


def read_or_refuse(
    content: bytes, known: Iterable[str], trust: Sequence[bytes]
) -> Signatures | PaperError:
    """The signatures, or the error, to be reported with the other findings.

    Parameters are those of `read`.
    """
    try:
        return read(content, known, trust)
    except PaperError as error:
        return error


def _read(
    reader: Any, content: bytes, known: frozenset[str], trust: Sequence[bytes], thorough: bool
) -> Signatures:
    from pyhanko.sign.fields import enumerate_sig_fields

    # Plain texts: the library's own hold on to the whole file, which would then go from one process
    # to the other.
    fields = [
        (str(name), value, reference.get_object())
        for name, value, reference in enumerate_sig_fields(reader)
    ]
    embedded = sorted(reader.embedded_signatures, key=lambda each: each.signed_revision)
    # One analysis, from the signature that certifies, sees all that came after it.
    made = tuple(_one(each, trust, thorough and place == 0) for place, each in enumerate(embedded))
    if made:  # the bytes of the others are covered by this one
        made = (
            *made[:-1],
            replace(
                made[-1], faults=(*made[-1].faults, *signature_bytes.faults(embedded[-1], content))
            ),
        )
    empty = tuple(name for name, value, _ in fields if value is None)
    awaited = tuple(
        name
        for name, value, field in fields
        if value is None and int(field.get("/Ff", 0)) & signature_fields.AWAITED
    )
    filled = sum(value is not None for _, value, _ in fields)
    faults = [
        f"the field {name!r} does not belong to a record"
        for name, _, _ in fields
        if name not in known
    ]
    if filled != len(made):
        faults.append("a signature is of a kind that cannot be checked")
    return Signatures(made, empty, awaited, (*faults, *_of_file(embedded)))


def _of_file(embedded: Sequence[Any]) -> list[str]:
    """Whether the last signature covers the whole file, and the first certifies it."""
    from pyhanko.sign.validation.status import SignatureCoverageLevel

    found = []
    if (
        embedded
        and embedded[-1].evaluate_signature_coverage() is not SignatureCoverageLevel.ENTIRE_FILE
    ):
        found.append("something was added to the file after the last signature")
    levels = [each.docmdp_level for each in embedded]
    if levels and (
        levels[0] is None
        or levels[0].value != FILL_FORMS
        or any(level is not None for level in levels[1:])
    ):
        found.append("the first signature does not certify the record")
    return found


def _one(embedded: Any, trust: Sequence[bytes], analysed: bool) -> Signature:
    certificate = embedded.signer_cert
    said = embedded.self_reported_timestamp
    first = Signature(
        str(embedded.field_name),
        certificates.common_name(certificate),
        certificates.fingerprint(certificate.dump()),
        said.isoformat(timespec="seconds") if said else "",
        certifies=embedded.docmdp_level is not None,
    )
    return _judged(first, embedded, _status(embedded, trust, said, analysed), bool(trust))


def _status(embedded: Any, trust: Sequence[bytes], said: datetime | None, analysed: bool) -> Any:
    """pyHanko's own status; the error if it refuses."""
    from pyhanko.sign.validation import KeyUsageConstraints, validate_pdf_signature
    from pyhanko_certvalidator import ValidationContext

    # A certificate runs out long before a machine does: what counts is whether it was good when it
    # was used.
    moment = min(said or datetime.now(UTC), datetime.now(UTC)).astimezone(UTC)
    signers, servers = _roots(embedded.signer_cert, trust)
    # Never fetches anything: a record must be checked where there is no network.
    of_signer, of_server = (
        ValidationContext(
            trust_roots=roots, allow_fetching=False, moment=moment, revocation_mode="soft-fail"
        )
        for roots in (signers, servers)
    )
    try:
        usage = KeyUsageConstraints(
            key_usage={"digital_signature", "non_repudiation"}, match_all_key_usages=False
        )
        return with_own_loop(
            lambda: validate_pdf_signature(
                embedded,
                of_signer,
                ts_validation_context=of_server,
                key_usage_settings=usage,
                skip_diff=not analysed,
            )
        )
    except Exception as error:  # of many kinds for a damaged or foreign signature
        return error


def _roots(own: Any, trust: Sequence[bytes]) -> tuple[list[Any], list[Any]]:
    """Certificates on which a signer may rest, and those on which a time-stamp may.

    Only an authority vouches for others; any other certificate that was given vouches for itself,
    byte for byte.
    """
    from asn1crypto import x509

    given = [x509.Certificate.load(each) for each in trust]
    authorities = [each for each in given if certificates.is_authority(each)]
    servers = [*authorities, *(each for each in given if certificates.is_time_server(each))]
    if not trust:
        return [own], servers
    return [*authorities, *([own] if own.dump() in trust else [])], servers


def _judged(first: Signature, embedded: Any, status: Any, asked: bool) -> Signature:
    if isinstance(status, Exception):
        said = " ".join(str(status).split())[:120] or type(status).__name__
        return replace(first, faults=(f"it cannot be checked ({said})",))
    stamped = status.timestamp_validity
    dates = certificates.outside_its_dates(
        embedded.signer_cert, stamped.timestamp if stamped else embedded.self_reported_timestamp
    )
    faults = [*_faults(status), *(_distrust(status, dates) if asked else ())]
    judged = replace(
        first,
        trusted=bool(status.trusted) and not dates if asked else None,
        faults=tuple(faults),
        notes=((dates,) if dates and not asked else _expiry(embedded.signer_cert)),
    )
    if stamped is None:
        return judged
    return replace(
        judged,
        at=stamped.timestamp.isoformat(timespec="seconds"),
        clock=f"time-stamp of {certificates.common_name(stamped.signing_cert)}",
    )


def _faults(status: Any) -> Iterator[str]:
    """What is wrong, regardless of the signer."""
    stamped = status.timestamp_validity
    if not status.intact:
        yield "what was signed has been changed"
    elif not status.valid:
        yield "it was not made with its certificate's key"
    if status.intact and not _kept(status):
        yield "the file was changed afterwards, other than by signing it"
    if stamped is not None and not (stamped.intact and stamped.valid):
        yield "its time-stamp is damaged"


def _distrust(status: Any, dates: str) -> Iterator[str]:
    """Why the given certificates do not vouch for the signer."""
    stamped = status.timestamp_validity
    if not status.trusted:
        yield "none of the given certificates vouches for this signer"
    if dates:
        yield dates
    if stamped is not None and not stamped.trusted:
        yield "none of the given certificates vouches for the time-stamp"


def _kept(status: Any) -> bool:
    """True if all that was signed is still there, and only signing came after it."""
    from pyhanko.sign.validation.status import SignatureCoverageLevel

    level = status.modification_level
    return (
        status.coverage >= SignatureCoverageLevel.ENTIRE_REVISION
        and status.docmdp_ok is not False
        and (level is None or level.value <= FILL_FORMS)
    )


def _expiry(certificate: Any) -> tuple[str, ...]:
    ends = certificate.not_valid_after
    return (
        (f"its certificate expired on {ends.date().isoformat()}",)
        if ends < datetime.now(UTC)
        else ()
    )
