"""The bytes of the last signature: the only ones of a file that no signature covers, so they must
be exactly as they are written.

A signature's container (CMS, RFC 5652) repeats things that are not compared elsewhere: versions,
the list of digest algorithms, the signer's name. It is built anew here from what the signature does
protect, and compared. Certificates between signer and authority are protected by the authority's
own signature, if its certificate is among them or is given.

Without this a file with a bit changed there would count as it was signed, byte for byte: pyHanko
reads past such a change, and has no check for it.
"""

# `Any` here: pyHanko's and asn1crypto's classes have no usable types.
from __future__ import annotations

from collections.abc import Iterator
from typing import Any

TOKEN = "signature_time_stamp_token"


def faults(embedded: Any, content: bytes) -> list[str]:
    """What is odd about the stretch of the file that a signature leaves out.

    Parameters
    ----------
    embedded : pyhanko.sign.validation.pdf_embedded.EmbeddedPdfSignature
    content : bytes
        The whole file.
    """
    from asn1crypto import cms

    _, length, start, _ = (int(each) for each in embedded.byte_range)
    whole = embedded.pkcs7_content
    try:
        encoded = _container(cms.ContentInfo.load(whole))
        _chained(embedded)
    except (ValueError, TypeError, KeyError, IndexError, AttributeError):
        return ["its own bytes were changed"]
    as_written = content[
        length:start
    ] == b"<" + whole.hex().upper().encode() + b">" and whole == encoded.ljust(len(whole), b"\0")
    return [] if as_written else ["its own bytes were changed"]


def _container(message: Any) -> bytes:
    """A CMS message of one signer, built anew."""
    from asn1crypto import cms

    return cms.ContentInfo(
        {"content_type": "signed_data", "content": _signed_data(message["content"])}
    ).dump()


def _signed_data(given: Any) -> Any:
    from asn1crypto import cms

    (signer,) = given["signer_infos"]
    algorithm = _algorithm(signer["digest_algorithm"])
    plain = given["encap_content_info"]["content_type"].native == "data"
    return cms.SignedData(
        {
            "version": "v1" if plain else "v3",  # RFC 5652, 5.1
            "digest_algorithms": [algorithm],
            "encap_content_info": (
                {"content_type": "data"} if plain else given["encap_content_info"]
            ),
            "certificates": given["certificates"],
            "signer_infos": [_signer(signer, _certificate(given, signer), algorithm)],
        }
    )


def _certificate(given: Any, signer: Any) -> Any:
    """The signer's certificate, found by its number: the name with it is what is to be checked."""
    number = signer["sid"].chosen["serial_number"].native
    (found,) = [
        each.chosen
        for each in given["certificates"]
        if each.name == "certificate" and each.chosen.serial_number == number
    ]
    return found


def _signer(given: Any, certificate: Any, algorithm: Any) -> Any:
    from asn1crypto import cms

    parts = {
        "version": "v1",
        "sid": cms.SignerIdentifier(
            {
                "issuer_and_serial_number": {
                    "issuer": certificate.issuer,
                    "serial_number": certificate.serial_number,
                }
            }
        ),
        "digest_algorithm": algorithm,
        "signed_attrs": given["signed_attrs"],
        "signature_algorithm": _algorithm(given["signature_algorithm"]),
        "signature": given["signature"].native,
    }
    unsigned = [
        cms.CMSAttribute({"type": attribute["type"].native, "values": list(_tokens(attribute))})
        for attribute in given["unsigned_attrs"] or ()
    ]
    return cms.SignerInfo({**parts, **({"unsigned_attrs": unsigned} if unsigned else {})})


def _tokens(attribute: Any) -> Iterator[Any]:
    """The time-stamp, checked in the same way; anything else has no place there."""
    from asn1crypto import cms

    if attribute["type"].native != TOKEN:
        raise ValueError(attribute["type"].native)
    for token in attribute["values"]:
        if _container(token) != token.dump():
            raise ValueError(TOKEN)
        yield cms.ContentInfo.load(token.dump())


def _algorithm(given: Any) -> Any:
    """The algorithm with its parameters left out or null, as it is written; with real parameters it
    is taken unchanged.
    """
    from asn1crypto import core

    parameters = given["parameters"]
    if not isinstance(parameters, core.Null | core.Void):
        return given
    fresh = type(given)({"algorithm": given["algorithm"].native})
    if isinstance(parameters, core.Null):
        fresh["parameters"] = core.Null()
    return fresh


def _chained(embedded: Any) -> None:
    """Every certificate besides the signer's must be signed by its issuer, as far as that is among
    them.
    """
    from cryptography import x509
    from cryptography.exceptions import InvalidSignature

    others = [x509.load_der_x509_certificate(each.dump()) for each in embedded.other_embedded_certs]
    for certificate in (x509.load_der_x509_certificate(embedded.signer_cert.dump()), *others):
        for issuer in others:
            if issuer.subject == certificate.issuer:
                try:
                    certificate.verify_directly_issued_by(issuer)
                except InvalidSignature:
                    raise ValueError("chain") from None
