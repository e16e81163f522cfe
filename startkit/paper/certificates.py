"""Certificates: the name in one, its digest, and those in a file that vouch for signers."""

# `Any` here: certificates of two libraries, one of which has no types.
from __future__ import annotations

import stringprep
import unicodedata
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import Any

from startkit.errors import PaperError
from startkit.facts import given_files
from startkit.facts.digests import sha256

LARGEST = 10_000_000  # bytes of a file of certificates


def vouchers(path: Path) -> list[bytes]:
    """The certificates in a file, PEM or DER, as DER.

    Raises
    ------
    PaperError
        No such file, or no certificate in it.
    """
    from cryptography import x509

    content = given_files.content(path, LARGEST)
    with suppress(ValueError):
        found = (
            x509.load_pem_x509_certificates(content)
            if b"-----BEGIN" in content
            else [x509.load_der_x509_certificate(content)]
        )
        return [der_of(certificate) for certificate in found]
    raise PaperError(
        "there is no certificate in the file",
        str(path),
        "give the .crt file of a signer or of an authority",
    )


def fingerprint(der: bytes) -> str:
    """SHA-256 of a certificate, in groups that two people can compare over the telephone."""
    digits = sha256(der)
    return " ".join(digits[i : i + 4] for i in range(0, len(digits), 4))


def common_name(certificate: Any) -> str:
    """The name in a certificate, as asn1crypto has it."""
    found = certificate.subject.native
    return str(
        found.get("common_name")
        or found.get("organization_name")
        or certificate.subject.human_friendly
    )


def der_of(certificate: Any) -> bytes:
    """An X.509 certificate as DER."""
    from cryptography.hazmat.primitives import serialization as to

    return certificate.public_bytes(to.Encoding.DER)


def is_authority(certificate: Any) -> bool:
    """True if a certificate (asn1crypto) may vouch for others: CA is true, and its key may sign
    certificates (RFC 5280, 4.2.1.3 and 4.2.1.9).
    """
    basic, usage = certificate.basic_constraints_value, certificate.key_usage_value
    return (
        basic is not None
        and bool(basic["ca"].native)
        and usage is not None
        and "key_cert_sign" in usage.native
    )


def is_time_server(certificate: Any) -> bool:
    """True if a certificate (asn1crypto) is one of a time-stamp server (RFC 3161, 2.3)."""
    usage = certificate.extended_key_usage_value
    return usage is not None and "time_stamping" in usage.native


def outside_its_dates(certificate: Any, at: datetime | None) -> str:
    """A sentence if a certificate (asn1crypto) was not valid at a moment; empty if it was."""
    begins, ends = certificate.not_valid_before, certificate.not_valid_after
    if at is None or begins <= at <= ends:
        return ""
    return (
        f"its certificate is valid from {begins.date().isoformat()} to {ends.date().isoformat()},"
        f" not on {at.date().isoformat()}"
    )


def same_name(one: str, other: str) -> bool:
    """True if two names differ at most in case, spacing and how their accents are encoded."""
    plain = [
        " ".join(unicodedata.normalize("NFC", name).casefold().split()) for name in (one, other)
    ]
    return plain[0] == plain[1]


def unusable_letter(name: str) -> str:
    """The first letter of a name that cannot be compared between certificates; empty if all can.

    Names are prepared for that as RFC 4518 asks (RFC 5280, 7.1), which knows the letters of Unicode
    3.2 only: a signature under another name could never be verified.
    """
    return next(
        (
            letter
            for letter in name
            if any(map(stringprep.in_table_a1, (letter, *letter.lower(), *letter.casefold())))
        ),
        "",
    )
