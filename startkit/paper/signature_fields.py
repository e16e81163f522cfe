"""The signature fields of a record, empty, added to the print as an incremental update.

The signature page is imported where it is needed: checking signatures does without all that it
brings along.
"""

# `Any` here: pyHanko's and asn1crypto's classes have no usable types.
from __future__ import annotations

import functools
from collections.abc import Iterable, Mapping
from io import BytesIO
from typing import Any

AWAITED = 2  # flag "required" of a form field (ISO 32000-1, table 221): to be signed


def writer_for(content: bytes) -> Any:
    """A pyHanko writer that adds to the PDF in `content`."""
    return _writer_class()(BytesIO(content))


@functools.cache
def _writer_class() -> Any:
    """pyHanko's writer without its own touch on the metadata: rewritten, they would no longer be
    those of a PDF/A-3 file. pyHanko has no setting for that, so a private method is replaced;
    `test_signing_leaves_the_metadata_alone` fails once it has another name or is not needed.
    """
    from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter

    class Increment(IncrementalPdfFileWriter):
        def _update_meta(self) -> None:
            pass

    return Increment


def owed(rows: Iterable[Mapping[str, Any]]) -> list[str]:
    """Fields that are to be signed in any case: the first, and those of the other signing roles
    for which a person is named.
    """
    from startkit.procedure import people

    signing = {role.code for role in people.SIGNING}
    return [
        row["field"]
        for row in rows
        if row["field"] == people.FIRST.code or (row["field"] in signing and row["name"])
    ]


def with_fields(
    content: bytes, paper: str, titles: Mapping[str, str], awaited: Iterable[str]
) -> bytes:
    """A printed record with an empty field in every box of its signature page.

    Parameters
    ----------
    content : bytes
        The record as it was printed.
    paper : str
        Its paper.
    titles : mapping of str to str
        Role by field, for those who have the page read to them.
    awaited : iterable of str
        Fields that are to be signed: one that stays empty makes the record incomplete, and so does
        one that is emptied again.
    """
    writer = writer_for(content)
    add_fields(writer, paper, titles, awaited)
    out = BytesIO()
    writer.write(out)
    return out.getvalue()


def add_fields(writer: Any, paper: str, titles: Mapping[str, str], awaited: Iterable[str]) -> None:
    """Add the empty fields to what a writer will write; parameters as in `with_fields`."""
    from pyhanko.pdf_utils import generic
    from pyhanko.sign.fields import SigFieldSpec, append_signature_field

    from startkit.paper import signature_page

    wanted = frozenset(awaited)
    for signatory in signature_page.SIGNATORIES:
        box: Any = signature_page.box(signatory.field, paper)  # points need not be whole
        title = f"Signature: {titles.get(signatory.field) or signatory.field}"
        append_signature_field(
            writer,
            SigFieldSpec(signatory.field, signature_page.PAGE, box, readable_field_name=title),
        )
    for reference in writer.root["/AcroForm"]["/Fields"]:
        field = reference.get_object()
        if str(field["/T"]) in wanted:
            field[generic.NameObject("/Ff")] = generic.NumberObject(AWAITED)
