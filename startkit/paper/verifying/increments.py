"""What was added to a printed record: empty signature fields first, then one signature each, and
nothing else.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import Any

# What an addition may change of an object that was there before.
_CATALOG, _PAGE, _FORM, _FIELD = (
    frozenset({"/AcroForm", "/Extensions", "/Version"}),
    frozenset({"/Annots"}),
    frozenset({"/SigFlags"}),
    frozenset({"/V", "/AP"}),
)
_SIGNED_CATALOG = frozenset({"/Perms", "/Extensions", "/Version"})

Key = tuple[int, int]


def faults(reader: Any, signatures: int) -> list[str]:
    """What was added to a record beside empty fields and signatures.

    Stricter than the difference analysis of pyHanko, and quick; that analysis begins at the first
    signature, this at the print.

    Parameters
    ----------
    reader : pyhanko.pdf_utils.reader.PdfFileReader
    signatures : int
        How many there are.
    """
    total = reader.total_revisions
    if total > 2 + signatures or (signatures and total != 2 + signatures):
        return [
            f"it was added to {total - 1} times, for {signatures} signatures and their empty fields"
        ]
    steps = [reader.get_historical_resolver(number) for number in range(total)]
    found = []
    if total > 1 and not _only_fields(steps[0], steps[1]):
        found.append("something was changed between printing and the first signature")
    signed = enumerate(pairwise(steps[1:]), 1)
    found += [
        f"something was changed along with signature {number}"
        for number, (before, after) in signed
        if not _only_signature(before, after)
    ]
    return found


# --- the empty fields -----------------------------------------------------------------------------


def _only_fields(before: Any, after: Any) -> bool:
    """True if the pages have gained signature fields that show nothing, and nothing else has
    changed.
    """
    pages, root = set(_pages(before.root["/Pages"])), _key(before.root_ref)
    for here, old, new in _changed(before, after):
        allowed = _CATALOG if here == root else _PAGE if here in pages else frozenset()
        if not allowed or not _same_but_for(old, new, allowed):
            return False
    if "/AcroForm" in before.root or "/AcroForm" not in after.root:
        return False
    form = after.root["/AcroForm"]
    fields = {_key(each) for each in form["/Fields"]}
    plain = set(form) <= {"/Fields", "/SigFlags"} and all(
        _is_empty(each.get_object()) for each in form["/Fields"]
    )
    return plain and all(
        _annotations(after, page) - _annotations(before, page) <= fields for page in pages
    )


def _is_empty(field: Any) -> bool:
    return (
        field.get("/FT") == "/Sig"
        and "/V" not in field
        and "/Kids" not in field
        and set(field["/AP"]) == {"/N"}
        and not field["/AP"]["/N"].data.strip()
    )


def _pages(node: Any, depth: int = 50) -> Iterator[Key]:
    """Every page of a tree (ISO 32000-1, 7.7.3)."""
    for kid in node["/Kids"] if depth else ():
        if kid.get_object().get("/Type") == "/Pages":
            yield from _pages(kid.get_object(), depth - 1)
        else:
            yield _key(kid)


def _annotations(resolver: Any, page: Key) -> set[Key]:
    from pyhanko.pdf_utils.generic import Reference

    found = resolver(Reference(*page, pdf=resolver)).get("/Annots", ())
    return {
        _key(each) if hasattr(each, "idnum") else (-1, position)
        for position, each in enumerate(found)
    }


# --- a signature ----------------------------------------------------------------------------------


def _only_signature(before: Any, after: Any) -> bool:
    """True if one field that was empty was filled, and nothing else has changed but what marks the
    file as signed.
    """
    root, form = _key(before.root_ref), _key(before.root.raw_get("/AcroForm"))
    fields = {_key(each): each.get_object() for each in before.root["/AcroForm"]["/Fields"]}
    filled = 0
    for here, old, new in _changed(before, after):
        allowed = (
            _SIGNED_CATALOG
            if here == root
            else (
                _FORM
                if here == form
                else _FIELD
                if here in fields and "/V" not in fields[here]
                else frozenset()
            )
        )
        if not allowed or not _same_but_for(old, new, allowed):
            return False
        filled += here in fields
    kept = "/Perms" not in before.root or before.root.raw_get("/Perms") == after.root.raw_get(
        "/Perms"
    )
    return filled == 1 and kept


def _changed(before: Any, after: Any) -> Iterator[tuple[Key, Any, Any]]:
    """Every object that was there before and was written again or freed."""
    for reference in after.explicit_refs_in_revision() | after.refs_freed_in_revision():
        if not before.is_ref_unassignable(reference):
            yield _key(reference), before(reference), after(reference)


def _same_but_for(before: Any, after: Any, allowed: frozenset[str]) -> bool:
    if not all(isinstance(each, dict) for each in (before, after)):
        return False
    keys = (set(before) | set(after)) - allowed
    return all(
        key in before and key in after and before.raw_get(key) == after.raw_get(key) for key in keys
    )


def _key(reference: Any) -> Key:
    return reference.idnum, reference.generation
