"""What a verification finds of the signers: who, whether all have signed, what was added, when."""

# `Any` here: a part is JSON, in the schema of `startkit.procedure.payload`.
from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

from startkit.errors import PaperError
from startkit.facts.journal import Entry
from startkit.paper import certificates
from startkit.paper.signature_page import FIELDS
from startkit.paper.verifying import stamps
from startkit.paper.verifying.increments import Added, Layout
from startkit.paper.verifying.result import BAD, GOOD, OPEN, Part
from startkit.paper.verifying.signatures import Signature, Signatures

Rows = Mapping[str, Mapping[str, Any]]
# Two clocks of one plant room need not agree to the minute.
SLACK = timedelta(minutes=10)


def of_signatures(
    signed: Signatures | PaperError, rows: Rows, wanted: Sequence[str], asked: bool
) -> Iterator[Part]:
    """One part for each signature, and one for those that are missing.

    Parameters
    ----------
    signed : Signatures or PaperError
    rows : mapping
        The signature page, by field.
    wanted : sequence of str
        Fields that must be signed.
    asked : bool
        True if it was asked who the signers are: then name and certificate must agree.
    """
    if isinstance(signed, PaperError):
        yield Part("signatures", BAD, (str(signed),))
        return
    for signature in signed.made:
        yield _signature(
            signature, rows.get(signature.field, {}), _disagreeing(signed, signature, rows), asked
        )
    if not signed.made:
        yield Part("signatures", BAD, ("There are no signatures, or they were removed.",))
        return
    there = {signature.field for signature in signed.made}
    missing = [
        field for field in FIELDS if field in (*signed.awaited, *wanted) and field not in there
    ]
    if missing:
        said = tuple(
            f"{_who(rows.get(field, {}), field)} has not signed yet, or the signature was removed."
            for field in missing
        )
        yield Part("signatures", BAD, said)


def _disagreeing(signed: Signatures, signature: Signature, rows: Rows) -> list[str]:
    """Where name and certificate of a signer do not agree with the record or with each other."""
    name = str(rows.get(signature.field, {}).get("name") or "")
    found = []
    if name and not certificates.same_name(name, signature.signer):
        found.append(f"the record names {name} here, but the certificate names {signature.signer}")
    same = [
        _role(rows, other.field)
        for other in signed.made
        if other.fingerprint == signature.fingerprint and other.field != signature.field
    ]
    if same:
        found.append(f"the {same[0]} has signed with the same certificate")
    return found


def _signature(
    signature: Signature, row: Mapping[str, Any], disagreeing: list[str], asked: bool
) -> Part:
    at = signature.at.replace("T", " ")
    said = [
        f"{row.get('role') or signature.field}: {signature.signer}, {at} by"
        f" {signature.clock}{'; certifies the record' if signature.certifies else ''}."
    ]
    faults = [*signature.faults, *(disagreeing if asked else ())]
    notes = [*signature.notes, *(() if asked else disagreeing)]
    said += [f"{fault[0].upper()}{fault[1:]}." for fault in faults]
    said += [f"Note: {note}." for note in notes]
    return Part(
        "signature",
        BAD if faults else GOOD,
        (*said, f"SHA-256 of the certificate: {signature.fingerprint}"),
    )


def _who(row: Mapping[str, Any], field: str) -> str:
    role = str(row.get("role") or field)
    return f"{role[0].upper()}{role[1:]}" + (f" ({row['name']})" if row.get("name") else "")


def _role(rows: Rows, field: str) -> str:
    return str(rows.get(field, {}).get("role") or field)


# --- what was added -------------------------------------------------------------------------------


def of_additions(signed: Signatures | PaperError, layout: Layout, rows: Rows) -> Part:
    """Whether the file is the print, the empty fields, the signatures, and nothing else."""
    faults, unchecked = list(layout.faults), []
    if isinstance(signed, Signatures):
        faults += [fault for fault in signed.faults if fault not in faults]
        added = {each.field: (number, each) for number, each in enumerate(layout.signed, 1)}
        if not faults and set(added) != {each.field for each in signed.made}:
            faults.append("the signatures are not those that were added to it")
        for signature in signed.made if not faults else ():
            number, each = added[signature.field]
            looked = stamps.compared(number, each, signature, rows[signature.field])
            faults += [*_calls(each, signature), *([looked.fault] if looked.fault else [])]
            unchecked += [looked.unchecked] if looked.unchecked else []
    if faults:
        return Part("file", BAD, tuple(f"{fault[0].upper()}{fault[1:]}." for fault in faults))
    return Part(
        "file",
        OPEN if unchecked else GOOD,
        ("Nothing was added to it but empty fields and signatures.",),
        tuple(unchecked),
    )


def _calls(added: Added, signature: Signature) -> list[str]:
    """PDF readers show the name that the file gives: it must be the certificate's."""
    name = str(added.values.get("/Name", ""))
    return [] if name == signature.signer else [f"it calls {signature.signer} {name or 'nothing'}"]


# --- when -----------------------------------------------------------------------------------------


def of_times(signed: Signatures | PaperError, entries: Sequence[Entry]) -> Iterator[Part]:
    """A part if the times of signing contradict the journal, each other, or today."""
    if isinstance(signed, PaperError) or not signed.made:
        return
    said = list(dict.fromkeys(_contradictions(signed.made, entries)))
    if said:
        yield Part(
            "times",
            OPEN,
            tuple(f"{each}." for each in said),
            ("when it was signed: the times contradict each other",),
        )


def _contradictions(made: Sequence[Signature], entries: Sequence[Entry]) -> Iterator[str]:
    last = max((at for entry in entries if (at := _moment(entry.at))), default=None)
    before: datetime | None = None
    for signature in made:
        at = _moment(signature.at)
        if at is None:
            yield f"the time at which {signature.signer} signed cannot be read"
            continue
        if last is not None and at < last - SLACK:
            yield (
                f"{signature.signer} signed at {at:%Y-%m-%d %H:%M}, before the last entry of"
                f" {last:%Y-%m-%d %H:%M}"
            )
        if before is not None and at < before - SLACK:
            yield (f"{signature.signer} signed at {at:%Y-%m-%d %H:%M}, before the first signer")
        if at > datetime.now(UTC) + timedelta(days=1):
            yield f"{signature.signer} signed at {at:%Y-%m-%d %H:%M}, which is in the future"
        before = at


def _moment(text: str) -> datetime | None:
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        return None
    return found if found.tzinfo else found.replace(tzinfo=UTC)
