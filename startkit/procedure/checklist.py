"""A check list as a stage: its fields, and one function that judges every item the same way."""

from __future__ import annotations

from dataclasses import replace

from startkit.errors import SheetError
from startkit.facts.checklists import CheckList, Item
from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.holds import NAMES
from startkit.procedure.judging import check
from startkit.procedure.reading import Reading
from startkit.procedure.stage import Field, Findings, Stage
from startkit.verdict import Outcome, Verdict

# Kind of field for each kind of evidence; a number's is that of the item.
_FIELD_KINDS = {
    "yes": "yes_no",
    "photograph": "photo",
    "signature": "signature",
    "text": "long_text",
    "name": "person",
}
_LABELS = {
    "number": "Reading",
    "photograph": "Photograph",
    "signature": "Signature",
    "text": "Remark",
    "name": "Confirmed by",
}
_MISSING = {
    "yes": "an answer",
    "number": "the reading",
    "photograph": "the photograph",
    "signature": "the signature",
    "text": "the remark",
    "name": "who confirmed it",
}


def fields(checklist: CheckList, before: str) -> tuple[Field, ...]:
    """One field for each piece of evidence that an item wants, in a stage due before hold point
    `before`.
    """
    return tuple(
        _field(item, evidence, checklist, before)
        for item in checklist.items
        for evidence in item.evidence
    )


def _field(item: Item, evidence: str, checklist: CheckList, before: str) -> Field:
    gate = item.gate or checklist.before or before
    # What is due later than its stage must not keep the stage from being complete: its own verdict
    # represents it.
    required = item.required and NAMES.index(gate) <= NAMES.index(before)
    first = evidence == item.evidence[0]
    question = (
        item.question if first else f"{item.question}: {_LABELS.get(evidence, evidence).lower()}"
    )
    return Field(
        item.field_name(evidence),
        question,
        item.kind if evidence == "number" else _FIELD_KINDS[evidence],
        item.help if first else "",
        required,
        group=item.group or checklist.title,
        applies=_applies(checklist),
    )


def _applies(checklist: CheckList):
    return lambda machine: not checklist.work or machine.machine.work == checklist.work


def verdicts(checklist: CheckList, entries: Entries) -> tuple[Verdict, ...]:
    """One verdict an item; an untouched optional item is not judged."""
    if not _applies(checklist)(entries.machine):
        return ()
    return tuple(
        _verdict(item, checklist, entries)
        for item in checklist.items
        if item.required or _touched(item, entries)
    )


def _touched(item: Item, entries: Entries) -> bool:
    return any(entries.reading(item.field_name(evidence)).taken for evidence in item.evidence)


def _verdict(item: Item, checklist: CheckList, entries: Entries) -> Verdict:
    key, gate = (
        f"{entries.declared.name}.{item.name}",
        item.gate or (checklist.before if checklist.stage else ""),
    )
    readings = {evidence: entries.reading(item.field_name(evidence)) for evidence in item.evidence}
    blank = Verdict(
        key=key,
        title=item.question,
        outcome=Outcome.OPEN,
        sentence="",
        source=item.source,
        gate=gate,
        rests_on=tuple(name for reading in readings.values() for name in reading.items),
    )
    problem = next((r.problem for r in readings.values() if r.problem), "")
    if problem:
        return replace(blank, sentence=problem, next_step="Correct the entry.")
    answer = entries.yes(item.field_name("yes")) if "yes" in readings else None
    if answer is not None and answer is not item.wanted:
        return replace(
            blank,
            outcome=Outcome.FAIL,
            sentence=f"Answered {'yes' if answer else 'no'}{_by(readings)}.",
            next_step=item.next_step or "Correct it, then answer again with the reason.",
        )
    missing = [_MISSING[evidence] for evidence, reading in readings.items() if not reading.taken]
    if missing:
        return replace(
            blank,
            sentence=f"Missing: {', '.join(missing)}.",
            next_step="Enter what is missing, or state why the item does not apply.",
        )
    return replace(_in_order(item, key, entries, readings, blank), gate=gate)


def _in_order(
    item: Item, key: str, entries: Entries, readings: dict[str, Reading], blank: Verdict
) -> Verdict:
    """Everything is there: what remains is the number against its limit."""
    shown = "".join(
        f" Reading {entries.show(r.quantity, item.kind)}."
        for evidence, r in readings.items()
        if evidence == "number"
    )
    if "number" in readings and item.limit is not None:
        return check(
            entries,
            item.limit,
            readings["number"],
            key=key,
            next_step=item.next_step or "Correct it, then read again.",
            note=_told(readings),
            rests_on=blank.rests_on,
        )
    said = (
        f"In order{_by(readings)}."
        if "yes" in readings
        else "Taken."
        if "number" in readings
        else "Evidence complete."
    )
    return replace(
        blank,
        outcome=Outcome.PASS,
        sentence=" ".join(part for part in (f"{said}{shown}", _told(readings)) if part),
    )


def _by(readings: dict[str, Reading]) -> str:
    named = readings["name"].text if "name" in readings else ""
    return f", confirmed by {named}" if named else ""


def _told(readings: dict[str, Reading]) -> str:
    """The remark, ended by a full stop."""
    text = readings["text"].text.strip() if "text" in readings else ""
    return f"{text.rstrip('.')}." if text else ""


# --- as a stage, or within one --------------------------------------------------------------------


def stage(checklist: CheckList) -> Stage:
    """The check list as a stage of its own."""
    before = checklist.before or "hand_over"
    return Stage(
        checklist.name,
        checklist.title,
        checklist.purpose or "What must be seen, and by whom.",
        fields(checklist, before),
        _judge_for(checklist),
        checklist.cautions,
        before,
        checklist.order,
        applies=_applies(checklist),
    )


def _judge_for(checklist: CheckList):
    def judge(machine: Machine, limits: Limits, entries: Entries) -> Findings:
        return Findings(verdicts=verdicts(checklist, entries))

    return judge


def added(base: Stage, checklist: CheckList) -> Stage:
    """A stage with the items of a check list after its own fields.

    Raises
    ------
    SheetError
        The stage has a field of that name already: file and line.
    """
    names = {f.name for f in base.fields}
    for item in checklist.items:
        twice = next((item.field_name(e) for e in item.evidence if item.field_name(e) in names), "")
        if twice:
            raise SheetError(
                f"the stage {base.name} already has a field {twice!r}",
                item.where,
                "rename the item",
            )

    def judge(machine: Machine, limits: Limits, entries: Entries) -> Findings:
        found = base.judge(machine, limits, entries)
        return replace(found, verdicts=(*found.verdicts, *verdicts(checklist, entries)))

    return replace(
        base,
        fields=(*base.fields, *fields(checklist, base.before)),
        judge=judge,
        gated={},  # an item of the list may be due at any hold point
        cautions=tuple(dict.fromkeys((*base.cautions, *checklist.cautions))),
    )
