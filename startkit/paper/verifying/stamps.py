"""The stamps of the signatures: drawn again from the certificates and compared with those that the
file shows.
"""

# `Any` here: pyHanko's and asn1crypto's classes have no usable types.
from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from startkit.paper import signature_page, stamp
from startkit.paper.verifying.increments import Added
from startkit.paper.verifying.signatures import OWN_CLOCK, Signature

# The stamp is drawn before the key is used, and a token or a time-stamp server may take a while.
_MINUTES = 3
_IMPORTED = re.compile(rb"/Import[0-9a-f]{32}")  # pyHanko's name for the page, another each time
_DEPTH = 40


@dataclass(frozen=True)
class Looked:
    """What a comparison of a stamp has found.

    Parameters
    ----------
    fault : str
        It is not the stamp of this signature.
    unchecked : str
        It was drawn with other versions and could not be compared.
    """

    fault: str = ""
    unchecked: str = ""


def compared(number: int, added: Added, signature: Signature, row: Mapping[str, Any]) -> Looked:
    """Draw the stamp of a signature again and compare it with what its box shows.

    Parameters
    ----------
    number : int
        Which signature it is, from 1.
    added : Added
    signature : Signature
    row : mapping
        Its row of the signature page.
    """
    who = row["role"] or added.field
    try:
        shown = _graph(_Reference(added.appearance), added.objects, _DEPTH)
    except Exception:  # packed data that were damaged fail in many ways
        return Looked(fault=f"the stamp of the {who} is damaged")
    at = _moment(added)
    for minutes in range(_MINUTES + 1):
        if at is None:
            break
        texts = stamp.of_signature(
            number,
            row,
            signature.signer,
            signature.fingerprint,
            at - timedelta(minutes=minutes),
            signature.clock != OWN_CLOCK,
        )
        if _drawn(texts, added.field) == shown:
            return Looked()
    if at is None or _drawn_with(added) == stamp.drawn_with():
        return Looked(fault=f"the stamp of the {who} is not the one of this signature")
    return Looked(unchecked=f"the stamp of the {who}, drawn with other versions")


def _moment(added: Added) -> datetime | None:
    from pyhanko.pdf_utils import generic

    try:
        return generic.parse_pdf_date(str(added.values["/M"]))
    except Exception:  # nothing there, or nothing that is a time
        return None


def _drawn_with(added: Added) -> str:
    """What the stamp was drawn with, according to the signature; empty if not given."""
    properties: Any = added.values.get("/Prop_Build")
    try:
        return str(properties.raw_get("/App").raw_get("/REx"))
    except (AttributeError, KeyError):
        return ""


def _drawn(texts: stamp.Stamp, field: str) -> Any:
    from pyhanko.pdf_utils.layout import BoxConstraints
    from pyhanko.pdf_utils.writer import PdfFileWriter

    left, bottom, right, top = signature_page.box(field, signature_page.A4)
    writer = PdfFileWriter()
    with stamp.style(stamp.drawn(texts, field)) as style:
        box = BoxConstraints(width=round(right - left, 4), height=round(top - bottom, 4))
        form = style.create_stamp(writer, box, {}).as_form_xobject()
    return _graph(form, writer, _DEPTH)


# --- what is drawn, as plain values ---------------------------------------------------------------


@dataclass(frozen=True)
class _Reference:
    """A reference into the objects of an addition."""

    key: tuple[int, int]


def _graph(value: Any, objects: Any, depth: int) -> Any:
    """An object with all that it names in place, as values that can be compared."""
    if depth == 0:
        return "too deep"
    if isinstance(value, _Reference):
        return _graph(objects.get(value.key), objects, depth - 1)
    if hasattr(value, "idnum"):
        found = (
            objects.get((value.idnum, value.generation))
            if isinstance(objects, Mapping)
            else objects.get_object(value.reference)
        )
        return _graph(found, objects, depth - 1)
    if isinstance(value, dict):
        inside = sorted(
            (_plain(str(key).encode()), _graph(each, objects, depth - 1))
            for key, each in dict.items(value)
            if key not in ("/Length", "/Filter")
        )
        return ("stream", _plain(value.data), inside) if hasattr(value, "data") else inside
    if isinstance(value, list):
        return [_graph(each, objects, depth - 1) for each in list.__iter__(value)]
    if isinstance(value, int | float | Decimal) and not isinstance(value, bool):
        return float(value)
    return _plain(str(value).encode("utf-8", "replace"))


def _plain(content: bytes) -> str:
    return _IMPORTED.sub(b"/Import", bytes(content)).decode("latin-1")
