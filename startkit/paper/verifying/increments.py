"""What was added to a printed record: the empty signature fields first, then one signature each,
and nothing else, object by object.

The fields are made anew with the function that makes them and compared; of a signature everything
is fixed but the signature itself, and its stamp is drawn again (`stamps`).
"""

# `Any` here: pyHanko's and asn1crypto's classes have no usable types.
from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from io import BytesIO
from typing import Any

from startkit.errors import PaperError
from startkit.paper import signature_fields, signature_page
from startkit.paper.verifying.revision_layout import Key, Section, object_at, objects, sections

# pyHanko's objects have no usable types: they are Any throughout this module.
Objects = Mapping[Key, Any]

_TRAILER = {"/Size", "/Root", "/Info", "/ID", "/Prev"}
# All that the dictionary of a signature may hold (ISO 32000-1, table 252).
_SIGNATURE = {
    *("/Type", "/Filter", "/SubFilter", "/Contents", "/ByteRange", "/M", "/Name", "/Reason"),
    *("/Reference", "/Prop_Build"),
}
_EXTENSION = {"/Type", "/BaseVersion", "/ExtensionLevel", "/ExtensionRevision", "/URL"}
_VERSIONS = {"/1.7", "/2.0"}  # a signature on a curve marks the file as PDF 2.0 (ISO/TS 32002)


@dataclass(frozen=True)
class Added:
    """One signature as it was added.

    Parameters
    ----------
    field : str
    values : mapping of str to object
        The signature's dictionary.
    appearance : tuple of int
        Key of what is drawn in its box.
    objects : mapping
        All objects of the addition.
    """

    field: str
    values: Mapping[str, Any]
    appearance: Key
    objects: Objects


@dataclass(frozen=True)
class Layout:
    """The file taken apart.

    Parameters
    ----------
    printed : bytes
        The print, as it was before anything was added.
    signed : tuple of Added
    faults : tuple of str
        What is wrong with what was added.
    """

    printed: bytes
    signed: tuple[Added, ...] = ()
    faults: tuple[str, ...] = ()


def taken_apart(content: bytes, record: Mapping[str, Any]) -> Layout:
    """The print and what was added to it.

    Parameters
    ----------
    content : bytes
    record : mapping
        The data that the record carries: its paper and its signature rows decide what the fields
        must be.
    """
    try:
        made = sections(content)
    except PaperError as error:
        return Layout(content, faults=(error.what,))
    printed = content[: made[0].end]
    if len(made) == 1:
        return Layout(printed)
    try:
        faults = _fields_faults(content, made, record)
        signed = []
        for index in range(2, len(made)):
            added, wrong = _signature(content, made, index, record)
            faults += wrong
            signed += [added] if added is not None else []
    except PaperError as error:
        return Layout(printed, faults=(error.what,))
    except Exception:  # a damaged object fails in any way, where it is asked for
        return Layout(printed, faults=("what was added to it is damaged",))
    return Layout(printed, tuple(signed), tuple(dict.fromkeys(faults)))


# --- the empty fields -----------------------------------------------------------------------------


def _fields_faults(content: bytes, made: Sequence[Section], record: Mapping[str, Any]) -> list[str]:
    """The fields as they are against the fields as this version adds them to the same print."""
    rows = {str(row["field"]): row for row in record["signatures"]}
    found = objects(content, made[1])
    awaited = {
        str(value.raw_get("/T"))
        for value in found.values()
        if _has(value, "/FT") and _has(value, "/Ff") and value.raw_get("/Ff") == 2
    }
    owed = signature_fields.owed(record["signatures"])
    faults = [
        f"the field of the {rows[name]['role'] or name} is not marked as awaited"
        for name in owed
        if name not in awaited
    ]
    again = signature_fields.with_fields(
        content[: made[0].end],
        str(record["paper"]),
        {name: str(row["role"]) for name, row in rows.items()},
        awaited,
    )
    ours = sections(again)
    if len(ours) != 2 or _written(found) != _written(objects(again, ours[1])):
        faults.append("something other than the empty fields was added between print and signature")
    return [*faults, *_trailer_faults(made, 1)]


def _written(found: Objects) -> dict[Key, bytes]:
    return {key: _bytes(value) for key, value in found.items()}


def _bytes(value: Any) -> bytes:
    """An object as it would be written: what is equal here is equal to every reader."""
    stream = BytesIO()
    value.write_to_stream(stream, None)
    return stream.getvalue()


def _trailer_faults(made: Sequence[Section], index: int) -> list[str]:
    """A trailer names the same outermost objects as the print's."""
    here, first = made[index].trailer, made[0].trailer
    same = (
        set(here) == _TRAILER
        and all(_bytes(here.raw_get(k)) == _bytes(first.raw_get(k)) for k in ("/Root", "/Info"))
        and _bytes(here.raw_get("/ID")[0]) == _bytes(first.raw_get("/ID")[0])
    )
    return [] if same else ["an addition names different root objects from the print"]


# --- a signature ----------------------------------------------------------------------------------


def _signature(
    content: bytes, made: Sequence[Section], index: int, record: Mapping[str, Any]
) -> tuple[Added | None, list[str]]:
    """The signature that a section adds, and what is wrong with it."""
    number = index - 1
    wrong = [f"something was changed along with signature {number}"]
    found = objects(content, made[index])
    before = _before(content, list(made), index, found)
    faults = _trailer_faults(made, index)
    field_key = next((key for key in found if _is_field(before.get(key))), None)
    root, form = _outermost(content, list(made), index - 1)
    if field_key is None or set(before) - {field_key, root, form}:
        return None, [*faults, *wrong]
    field = found[field_key]
    value, appearance = _reference(field, "/V"), _reference(field.raw_get("/AP"), "/N")
    added = Added(str(field.raw_get("/T")), dict(dict.items(found[value])), appearance, found)
    kept = (
        _same_but_for(before[field_key], field, {"/V", "/AP"})
        and not _has(before[field_key], "/V")
        and set(field.raw_get("/AP")) == {"/N"}
        and _form_is_kept(before.get(form), found.get(form))
        and _root_is_kept(before.get(root), found.get(root), value, number == 1)
        and _reached(found, (value, appearance)) | {field_key, root, form} >= set(found)
        and _value_is_plain(content, made[index], added, record)
    )
    return added, [*faults, *([] if kept else wrong)]


def _before(content: bytes, made: list[Section], index: int, found: Objects) -> dict[Key, Any]:
    """The objects that the section writes again, as they were."""
    known = {key for section in made[:index] for key in section.places}
    return {key: object_at(content, made, key[0], index - 1) for key in found if key in known}


def _outermost(content: bytes, made: list[Section], index: int) -> tuple[Key, Key]:
    """Keys of the catalog and of the form."""
    root = made[0].trailer.raw_get("/Root")
    catalog = object_at(content, made, root.idnum, index)
    form = catalog.raw_get("/AcroForm")
    return (root.idnum, root.generation), (form.idnum, form.generation)


def _is_field(value: Any) -> bool:
    return _has(value, "/FT") and value.raw_get("/FT") == "/Sig"


def _has(value: Any, key: str) -> bool:
    return isinstance(value, dict) and key in value


def _reference(holder: Any, key: str) -> Key:
    found = holder.raw_get(key)
    return found.idnum, found.generation


def _same_but_for(before: Any, after: Any, allowed: set[str]) -> bool:
    keys = (set(before) | set(after)) - allowed
    return all(
        key in before and key in after and _bytes(before.raw_get(key)) == _bytes(after.raw_get(key))
        for key in keys
    )


def _form_is_kept(before: Any, after: Any) -> bool:
    return after is None or (
        _same_but_for(before, after, {"/SigFlags"}) and after.raw_get("/SigFlags") == 3
    )


def _root_is_kept(before: Any, after: Any, value: Key, certifies: bool) -> bool:
    """The catalog names the signature that certifies, and is otherwise unchanged."""
    if after is None:
        return not certifies
    allowed = {"/Extensions", "/Version", *(("/Perms",) if certifies else ())}
    if not _same_but_for(before, after, allowed):
        return False
    if certifies:
        perms = after.raw_get("/Perms")
        if set(perms) != {"/DocMDP"} or _reference(perms, "/DocMDP") != value:
            return False
    extensions = after.raw_get("/Extensions") if "/Extensions" in after else {}
    return all(_is_extension(each) for each in dict.values(extensions)) and (
        "/Version" not in after or str(after.raw_get("/Version")) in _VERSIONS
    )


def _is_extension(value: Any) -> bool:
    """One entry, or several of one developer, that say no more than which extension is used."""
    if isinstance(value, list):
        return all(map(_is_extension, list.__iter__(value)))
    return isinstance(value, dict) and set(value) <= _EXTENSION


def _reached(found: Objects, begin: Sequence[Key]) -> set[Key]:
    """Every object of the addition that its signature and its stamp lead to."""
    reached: set[Key] = set()
    waiting = list(begin)
    while waiting:
        key = waiting.pop()
        if key not in reached and key in found:
            reached.add(key)
            waiting += references(found[key])
    return reached


def references(value: Any) -> list[Key]:
    """The objects that one names, wherever inside it."""
    if hasattr(value, "idnum"):
        return [(value.idnum, value.generation)]
    if isinstance(value, dict):
        return [key for each in dict.values(value) for key in references(each)]
    if isinstance(value, list):
        return [key for each in list.__iter__(value) for key in references(each)]
    return []


def _value_is_plain(
    content: bytes, section: Section, added: Added, record: Mapping[str, Any]
) -> bool:
    """The signature states what the signature page states, and leaves out only its own bytes, which
    are written plainly: hexadecimal digits, then zeros.
    """
    says = {str(row["field"]): str(row["says"]) for row in record["signatures"]}
    values = added.values
    first, length, start, rest = (int(each) for each in values["/ByteRange"])
    gap = content[length:start]
    return (
        set(values) <= _SIGNATURE
        and added.field in signature_page.FIELDS
        and str(values.get("/Reason")) == says.get(added.field)
        and (first, start + rest) == (0, section.end)
        and section.start < length < start < section.table
        and re.fullmatch(rb"<(?:[0-9A-F]{2})+>", gap) is not None
    )
