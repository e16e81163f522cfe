"""Certificates: the name in one, its digest, and those in a file that vouch for signers."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path
from typing import Any

from startkit.errors import PaperError
from startkit.facts.digests import sha256


def vouchers(path: Path) -> list[bytes]:
    """The certificates in a file, PEM or DER, as DER.

    Raises
    ------
    PaperError
        No such file, or no certificate in it.
    """
    from cryptography import x509

    try:
        content = path.read_bytes()
    except OSError as error:
        raise PaperError(
            f"the file cannot be read ({error.strerror})", str(path), "check the name"
        ) from None
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
