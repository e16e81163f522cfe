"""Messages: what a form asks of the book, and the answer; the answer is "saved" only after the
journal has it.
"""

# `Any` here: a message is JSON from the browser, checked value by value.
from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from startkit.desk import fieldset, releasing, uploads
from startkit.desk.book import Book
from startkit.errors import StartkitError
from startkit.facts import taken
from startkit.facts.job import ROW_REMOVED, needs_reason
from startkit.facts.journal import Entry, now
from startkit.facts.pictures import FOLDERS
from startkit.procedure import site, tags
from startkit.procedure.entries import Entries
from startkit.procedure.stage import SERIES, TABLE, Column, Field
from startkit.procedure.waivers import NOT_APPLICABLE, WAIVER
from startkit.units import KINDS, SYSTEMS, split, unit_for
from startkit.verdict import Verdict

Message = Mapping[str, Any]
_WAIVE = {"waiver": WAIVER, "not_applicable": NOT_APPLICABLE}


class Refused(Exception):
    """The book refuses it: one sentence, and what else the form has to show."""

    def __init__(self, why: str, **more: Any) -> None:
        super().__init__(why)
        self.more = more


def answer(book: Book, stage: str, message: Message) -> dict[str, Any]:
    """The answer to one message of a form; never an exception, which no one would see.

    Parameters
    ----------
    book : Book
    stage : str
        Stage of the form; empty for a card without fields.
    message : mapping
        ``{"id", "ask", ...}``; ``ask`` is one of open, save, read, piece, picture, look, history,
        waive, release, desk, refresh.
        What is sent as bytes is under ``"bytes"``.

    Returns
    -------
    dict
        ``{"id", "tell", ...}``; ``tell`` is ``"refused"`` with ``why`` if nothing was saved.
    """
    try:
        return {"id": message.get("id"), **_asked(message)(book, stage, message)}
    except Refused as refusal:
        return {"id": message.get("id"), "tell": "refused", "why": str(refusal), **refusal.more}
    except StartkitError as error:
        return {"id": message.get("id"), "tell": "refused", "why": str(error)}
    except Exception as error:  # a fault of ours must still reach the person who typed
        return {
            "id": message.get("id"),
            "tell": "refused",
            "why": f"it could not be saved ({type(error).__name__}: {error}).",
        }


def _asked(message: Message) -> Callable[[Book, str, Message], dict[str, Any]]:
    try:
        return {
            "open": _open,
            "save": _save,
            "read": _read,
            "piece": _piece,
            "picture": _picture,
            "look": _look,
            "history": _history,
            "waive": _waive,
            "release": _release,
            "desk": _desk,
            "refresh": _refresh,
        }[message["ask"]]
    except (KeyError, TypeError):
        raise Refused(
            "the form asked for something the workbook does not know; run all cells again."
        ) from None


def _open(book: Book, stage: str, message: Message) -> dict[str, Any]:
    return {"tell": "form", **book.form(stage)} if stage else {"tell": "card"}


def _refresh(book: Book, stage: str, message: Message) -> dict[str, Any]:
    book.refresh()
    return {"tell": "refreshed"}


# --- saving ------------------------------------------------------------------------------------


def _save(book: Book, stage: str, message: Message) -> dict[str, Any]:
    """Write the changes of one message in one transaction."""
    with book.lock:
        who = _who(book)
        entries = book.assessment().stage_entries(stage)
        changes = [
            _entry(change, entries, book, who, str(message.get("note", "")).strip())
            for change in message["changes"]
        ]
        _refuse_conflicts(message["changes"], changes, entries)
        _refuse_strangers(changes, entries)
        _refuse_without_reason(changes, entries)
        when = _taken(message)
        # The reason belongs to what is corrected, not to what was blank before.
        kept = [e if _is_correction(e, entries) else replace(e, note="") for e in changes]
        book.job.record(taken.dated(kept, when))
        return _saved(book, stage, changes, [change["field"] for change in message["changes"]])


def _taken(message: Message) -> str:
    """When the readings were taken, if that was typed; the time of an entry is never typed."""
    text = str(message.get("taken", "")).strip()
    when = taken.typed(text) if text else ""
    if text and (problem := taken.problem(when or text, now())):
        raise Refused(f"Read at: {problem}.")
    return when


def _saved(book: Book, stage: str, made: list[Entry], names: list[str]) -> dict[str, Any]:
    """The answer once the journal has it: when, and the state of its fields now."""
    after = book.assessment().stage_entries(stage)
    return {
        "tell": "saved",
        "at": _saved_at(made, after),
        "states": {
            name: fieldset.state(after.fields[name], after) for name in dict.fromkeys(names)
        },
    }


def _read(book: Book, stage: str, message: Message) -> dict[str, Any]:
    """Return how a pasted series is read; nothing is saved."""
    entries = book.assessment().stage_entries(stage)
    field, _ = _declared({"field": message["field"]}, entries)
    if not isinstance(field, Field) or field.kind != SERIES:
        raise Refused("this field does not take a series.")
    return {"tell": "read", **fieldset.read_series(str(message["value"]), field, entries)}


def _piece(book: Book, stage: str, message: Message) -> dict[str, Any]:
    """Hold a part of a photograph until its last one has come."""
    book.uploads.add(
        str(message["upload"]), int(message["piece"]), bytes(message.get("bytes", b""))
    )
    return {"tell": "held"}


def _picture(book: Book, stage: str, message: Message) -> dict[str, Any]:
    """Put a photograph or a drawn signature into the job's folder, then into the journal."""
    with book.lock:
        who = _who(book)
        field, what = _declared(message, book.assessment().stage_entries(stage))
        if field is None or field.kind not in FOLDERS:
            raise Refused("this field does not take a picture.")
        made = uploads.entry(book.job, book.uploads, what, {**message, "kind": field.kind}, who)
        book.job.record(made)
        return _saved(book, stage, [made], [field.name])


def _look(book: Book, stage: str, message: Message) -> dict[str, Any]:
    return {
        "tell": "look",
        "address": uploads.thumbnail(book.job.folder, str(message.get("file", ""))),
    }


def _who(book: Book) -> str:
    if not book.who:
        raise Refused("enter your name first.", needs="who")
    return book.who


def _saved_at(changes: list[Entry], entries: Entries) -> str:
    times = [entries.job.latest[c.what].at for c in changes if c.what in entries.job.latest]
    return max(times)[11:19] if times else ""


def _entry(change: Message, entries: Entries, book: Book, who: str, note: str) -> Entry:
    """The journal's entry for one change; a unit typed in the text wins over that of the
    field.
    """
    declared, what = _declared(change, entries)
    value = str(change["value"]).strip()
    if declared is None:
        return Entry(what, ROW_REMOVED, who=who, note=note)
    if declared.kind not in KINDS:
        return Entry(what, value, who=who, note=note)
    number, unit = _typed(value, declared.kind, str(change.get("unit", "")))
    tag = change.get("instrument")
    return Entry(
        what,
        number,
        unit if number else "",
        who,
        (book.instruments.get(declared.kind, "") if tag is None else str(tag)) if number else "",
        note,
    )


def _declared(change: Message, entries: Entries) -> tuple[Field | Column | None, str]:
    """The field or column that a change is meant for, and its name in the journal; None: a row is
    removed.
    """
    field = entries.fields.get(str(change["field"]))
    if field is None:
        raise Refused("the form no longer matches this stage; run all cells again.")
    what = f"{entries.declared.name}.{field.name}"
    if field.kind != TABLE:
        return field, what
    row = int(change["row"])
    if row < 1:
        raise Refused("rows count from 1.")
    if change["column"] == "row":
        return None, f"{what}.{row}.row"
    column = next((c for c in field.columns if c.name == change["column"]), None)
    if column is None:
        raise Refused("the table no longer has that column; run all cells again.")
    return column, f"{what}.{row}.{column.name}"


def _typed(value: str, kind: str, beside: str) -> tuple[str, str]:
    """Number and unit as typed; a text that cannot be read stays as it is."""
    number, unit = split(value)
    if not unit:
        return value, beside
    try:
        unit_for(unit, kind)
    except StartkitError:
        return value, ""
    return number, unit


def _refuse_strangers(made: list[Entry], entries: Entries) -> None:
    """Refuse a reading whose instrument is not on the job."""
    if site.PREFIX in entries.job.stages:
        for _, told in tags.strangers(made, entries.job.latest):
            raise Refused(told)


def _refuse_conflicts(changes: list[Message], made: list[Entry], entries: Entries) -> None:
    """Refuse a change based on a value that someone else has replaced since."""
    for change, entry in zip(changes, made, strict=True):
        newest = entries.job.latest.get(entry.what)
        seen = change.get("seq")
        if (
            newest is not None
            and seen is not None
            and newest.seq != seen
            and (newest.value, newest.unit) != (entry.value, entry.unit)
        ):
            shown = f"{newest.value} {newest.unit}".strip() or "blank"
            state = fieldset.state(entries.fields[change["field"]], entries)
            raise Refused(
                f"{newest.who or 'someone'} entered {shown} here at {newest.at[11:19]} in the"
                " meantime; check it, then type yours again.",
                conflict=change["field"],
                states={change["field"]: state},
            )


def _refuse_without_reason(made: list[Entry], entries: Entries) -> None:
    lacking = [e for e in made if _is_correction(e, entries) and not e.note]
    if lacking:
        raise Refused(
            "give the reason for the change in a few words.",
            needs="reason",
            what=[e.what for e in lacking],
        )


def _is_correction(entry: Entry, entries: Entries) -> bool:
    if entry.value != ROW_REMOVED:
        return needs_reason(entries.job.latest.get(entry.what), entry)
    row = entry.what.removesuffix(".row") + "."
    return any(what.startswith(row) and old.value for what, old in entries.job.latest.items())


# --- history, waivers, who and with what -------------------------------------------------------


def _history(book: Book, stage: str, message: Message) -> dict[str, Any]:
    _, what = _declared(message, book.assessment().stage_entries(stage))
    state = book.job.state()
    rows = [
        {
            "value": f"{e.value} {e.unit}".strip() or "blank",
            "who": e.who,
            "when": e.at[:19].replace("T", " "),
            "instrument": e.instrument,
            "note": "; ".join(t for t in (e.note, taken.sentence(state.taken(e), e.at)) if t),
        }
        for e in state.history(what)
    ]
    return {"tell": "history", "rows": rows}


def _waive(book: Book, stage: str, message: Message) -> dict[str, Any]:
    """Write a waiver or a not-applicable reason under the name given, or withdraw it."""
    who, reason, key = (str(message.get(k, "")).strip() for k in ("who", "reason", "key"))
    if not who or not reason:
        raise Refused("a waiver needs a name and a reason.")
    judged = next((v for v in book.assessment().findings(stage).verdicts if v.key == key), None)
    if judged is None:
        raise Refused("that verdict is no longer on this card.")
    latest = book.job.state().latest
    if message.get("verb") == "withdraw":
        standing = [p + key for p in _WAIVE.values() if p + key in latest and latest[p + key].value]
        written = book.job.record(Entry(what, "", who=who, note=reason) for what in standing)
    else:
        _refuse_exemption(book, message["verb"], judged, who, reason)
        written = book.job.record(
            Entry(
                _WAIVE[message["verb"]] + key,
                reason,
                who=who,
                note=reason if _WAIVE[message["verb"]] + key in latest else "",
            )
        )
    return {"tell": "saved", "at": written[-1].at[11:19] if written else "", "states": {}}


def _refuse_exemption(book: Book, verb: str, judged: Verdict, who: str, reason: str) -> None:
    """Refuse a reason that would not count, instead of writing it down."""
    rules = book.assessment().exempted
    objection = (
        rules.objection_to_waiver(judged.key, who, reason)
        if verb == "waiver"
        else rules.objection_to_lacking(judged, who)
    )
    if objection:
        raise Refused(f"{objection}.")


def _release(book: Book, stage: str, message: Message) -> dict[str, Any]:
    """Release a hold point under the name given, or withdraw its release."""
    name, who, witness = (str(message.get(k, "")).strip() for k in ("hold", "who", "witness"))
    with book.lock:
        assessment = book.assessment()
        written = (
            releasing.withdraw(book.job, assessment, name, who)
            if message.get("verb") == "withdraw"
            else releasing.release(book.job, assessment, name, who, witness)
        )
    return {"tell": "saved", "at": written.at[11:19], "states": {}}


def _desk(book: Book, stage: str, message: Message) -> dict[str, Any]:
    """Set who enters, the instrument for a kind of reading, or the job's units."""
    entries = []
    who = str(message.get("who", book.who)).strip()
    if "who" in message and not who:
        raise Refused("enter your name first.", needs="who")
    if "who" in message:
        entries.append(Entry("job.who", who, who=who))
    for kind, tag in dict(message.get("instruments", {})).items():
        if kind not in KINDS:
            raise Refused(f"{kind!r} is not a kind of reading.")
        told = tags.stranger(str(tag).strip(), tags.known(book.assessment().state.latest))
        if told and site.PREFIX in book.assessment().stages:
            raise Refused(told)
        entries.append(Entry(f"job.instrument.{kind}", str(tag).strip(), who=who))
    if "units" in message:
        if message["units"] not in SYSTEMS:
            raise Refused(f"units are {' or '.join(SYSTEMS)}.")
        entries.append(Entry("job.units", message["units"], who=who))
    book.set_desk(
        who,
        {
            e.what.removeprefix("job.instrument."): e.value
            for e in entries
            if e.what.startswith("job.instrument.")
        },
        entries,
    )
    return {"tell": "desk", **book.desk(stage)}
