"""Records forged before they were signed, by someone with a key or with access to the file only:
pages, fields, versions, certificates.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from datetime import UTC, datetime, timedelta
from io import BytesIO
from pathlib import Path
from typing import Any

from startkit.facts.digests import sha256
from startkit.paper import evidence, signature_fields
from startkit.paper.signing import identity, seal

Change = Callable[[Any], None]
People = Mapping[str, identity.Identity]


def rows_of(content: bytes) -> dict[str, Mapping[str, Any]]:
    """The signature page of a record, by field."""
    return {row["field"]: row for row in evidence.of_pdf(content).record["signatures"]}


def with_fields(
    content: bytes,
    change: Change = lambda writer: None,
    awaited: Iterable[str] = (),
) -> bytes:
    """The empty fields as startkit adds them, and something else in the same addition."""
    record = evidence.of_pdf(content).record
    rows = record["signatures"]
    writer = signature_fields.writer_for(content)
    titles = {row["field"]: row["role"] for row in rows}
    wanted = {*signature_fields.owed(rows), *awaited}
    signature_fields.add_fields(writer, record["paper"], titles, wanted)
    change(writer)
    out = BytesIO()
    writer.write(out)
    return out.getvalue()


def signed(
    content: bytes, people: People, drawn: Callable[[bytes], bytes] = lambda page: page
) -> bytes:
    """Signed field by field by a program that looks at nothing before it signs."""
    rows = rows_of(content)
    for number, (field, person) in enumerate(people.items(), start=1):
        this = seal.Ready(Path("record.pdf"), content, rows[field], number, False, sha256(content))
        signer = person.signer()
        page = seal.stamp_page(this, signer, datetime.now().astimezone(), False)
        content = seal.signed_bytes(this, signer, drawn(page), None)
    return content


# --- pages ----------------------------------------------------------------------------------------

_TABLE = re.compile(rb"\nxref\n0 \d+\n((?:\d{10} \d{5} [nf][ \r]\n)+)")


def after(first: bytes, second: bytes) -> bytes:
    """A whole second document behind the first, which no table reaches any more."""
    by = len(first) + 1
    at = second.rfind(b"\nxref\n")
    rows = _TABLE.match(second, at)
    assert rows is not None
    moved = re.sub(
        rb"(\d{10}) (\d{5}) n", lambda row: b"%010d %s n" % (int(row[1]) + by, row[2]), rows[1]
    )
    tail = re.sub(
        rb"startxref\n(\d+)",
        lambda found: b"startxref\n%d" % (int(found[1]) + by),
        second[rows.end() :],
    )
    return first + b"\n" + second[: rows.start(1)] + moved + tail


def painted(content: bytes, words: bytes) -> bytes:
    """The first page painted over, with words on it or without."""
    import pikepdf

    with pikepdf.open(BytesIO(content)) as document:
        font = pikepdf.Dictionary(
            Type=pikepdf.Name.Font, Subtype=pikepdf.Name.Type1, BaseFont=pikepdf.Name.Helvetica
        )
        document.pages[0].add_resource(font, pikepdf.Name.Font, pikepdf.Name("/FX"))
        document.pages[0].contents_add(
            b"q 1 g 0 0 600 850 re f Q "
            + (b"q BT /FX 30 Tf 60 500 Td (%s) Tj ET Q" % words if words else b"")
        )
        out = BytesIO()
        document.save(
            out,
            object_stream_mode=pikepdf.ObjectStreamMode.disable,
            fix_metadata_version=False,
        )
    return out.getvalue()


# --- fields ---------------------------------------------------------------------------------------


def _field(writer: Any, place: int = 0) -> Any:
    return writer.root["/AcroForm"]["/Fields"][place].get_object()


def _name(text: str) -> Any:
    from pyhanko.pdf_utils import generic

    return generic.NameObject(text)


def _script() -> Any:
    from pyhanko.pdf_utils import generic

    return generic.DictionaryObject(
        {_name("/S"): _name("/JavaScript"), _name("/JS"): generic.TextStringObject("app.alert(1)")}
    )


def field_runs_a_script(writer: Any) -> None:
    _field(writer)[_name("/A")] = _script()


def opening_runs_a_script(writer: Any) -> None:
    writer.root[_name("/OpenAction")] = _script()
    writer.update_root()


def field_over_the_page(writer: Any) -> None:
    from pyhanko.pdf_utils import generic

    _field(writer)[_name("/Rect")] = generic.ArrayObject(
        generic.NumberObject(n) for n in (0, 0, 600, 850)
    )


def field_with_another_tooltip(writer: Any) -> None:
    from pyhanko.pdf_utils import generic

    _field(writer)[_name("/TU")] = generic.TextStringObject("Already signed by the authority")


def field_shows_something(writer: Any) -> None:
    from pyhanko.pdf_utils.content import RawContent
    from pyhanko.pdf_utils.layout import BoxConstraints

    _field(writer, 2)["/AP"][_name("/N")] = writer.add_object(
        RawContent(b"0 0 200 80 re f", box=BoxConstraints(221, 85)).as_form_xobject()
    )


def field_is_hidden(writer: Any) -> None:
    from pyhanko.pdf_utils import generic

    _field(writer)[_name("/F")] = generic.NumberObject(2)


def field_locks(writer: Any) -> None:
    from pyhanko.pdf_utils import generic

    _field(writer)[_name("/Lock")] = generic.DictionaryObject(
        {_name("/Type"): _name("/SigFieldLock"), _name("/Action"): _name("/All")}
    )


def links_are_removed(writer: Any) -> None:
    from pyhanko.pdf_utils import generic

    page = writer.find_page_for_modification(0)[0].get_object()
    page[_name("/Annots")] = generic.ArrayObject()
    writer.update_container(page)


def catalog_claims_a_version(writer: Any) -> None:
    writer.root[_name("/Version")] = _name("/9.9")
    writer.update_root()


def an_object_that_nothing_names(writer: Any) -> None:
    from pyhanko.pdf_utils import generic

    writer.add_object(generic.TextStringObject("nothing leads here"))


ADDED_WITH_FIELDS: dict[str, Change] = {
    "A field runs a script": field_runs_a_script,
    "Opening the file runs a script": opening_runs_a_script,
    "A field covers its whole page": field_over_the_page,
    "A field has another tooltip": field_with_another_tooltip,
    "An empty field shows something": field_shows_something,
    "A field is hidden": field_is_hidden,
    "A field locks the others": field_locks,
    "The links of a page are removed": links_are_removed,
    "The catalog claims a version": catalog_claims_a_version,
    "An object is added that nothing names": an_object_that_nothing_names,
}


# --- certificates ---------------------------------------------------------------------------------


def issued_by(issuer: identity.Identity, name: str) -> identity.Identity:
    """A certificate in another person's name, signed with the key of one who is no authority."""
    made = identity.new(name)
    return identity.Identity(
        made.key, _built(name, issuer.certificate.subject, made.key, issuer.key), (issuer,)
    )


def dated(name: str, begins: datetime, years: int = 1) -> identity.Identity:
    """A self-signed certificate with other dates."""
    made = identity.new(name)
    return identity.Identity(
        made.key, _built(name, made.certificate.subject, made.key, made.key, begins, years)
    )


def _built(
    name: str,
    issuer: Any,
    key: Any,
    signing: Any,
    begins: datetime | None = None,
    years: int = 1,
) -> Any:
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes

    since = begins or datetime.now(UTC) - timedelta(minutes=5)
    usage = x509.KeyUsage(True, True, False, False, False, False, False, False, False)
    return (
        x509.CertificateBuilder()
        .subject_name(x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, name)]))
        .issuer_name(issuer)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(since)
        .not_valid_after(since + timedelta(days=365 * years))
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(usage, critical=True)
        .sign(signing, hashes.SHA256())
    )
