"""Findings as display-ready data: the one form from which screen and paper are both drawn.

Every value is a text, a number or a list of such; the desk adds the plots' SVG.
"""

# `Any` here: the parts are JSON, in the schema that this module defines.
from __future__ import annotations

from itertools import pairwise
from typing import Any

import pint

from startkit.facts.journal import OF_THE_JOB
from startkit.procedure.assessment import Assessment
from startkit.procedure.early_entries import Mark
from startkit.procedure.entered import Early, correction, entered, entered_tables, is_correction
from startkit.procedure.entries import Entries
from startkit.procedure.holds import HoldState
from startkit.procedure.passing import early_lines, released, to_release
from startkit.procedure.people import STATEMENTS
from startkit.procedure.stage import Figure, Findings, Stage, Table
from startkit.procedure.times import back_dated, clock, restored
from startkit.unit_registry import base
from startkit.units import difference_kind, label, show
from startkit.verdict import COVERAGE, Outcome, Verdict, worst

MIME = "application/vnd.startkit.part+json"


def stage_part(assessment: Assessment, name: str, early: Early | None = None) -> dict[str, Any]:
    """One stage: what was entered, what was found, what is judged.

    Which entries were made early depends on every stage; `early` gives that from a moment ago,
    where the stage must be shown before the whole job is judged again.
    """
    early = assessment.early if early is None else early
    stage, findings = assessment.stages[name], assessment.findings(name)
    entries = assessment.stage_entries(name)
    outcome = assessment.outcome(name)
    return {
        "part": "stage",
        "stage": name,
        "title": stage.title,
        "purpose": stage.purpose,
        "cautions": list(stage.cautions),
        "started": assessment.started(name),
        "outcome": outcome.value,
        "mark": outcome.mark,
        "counts": counts(findings.verdicts),
        **findings_part(findings, entries),
        "remarks": [*_early_remark(assessment, name, early), *findings.remarks],
        "entered": entered(entries, early),
        "entered_tables": entered_tables(entries, early),
        "problems": list(entries.problems()),
    }


def _early_remark(assessment: Assessment, name: str, early: Early) -> list[str]:
    """One sentence if the stage has entries that were made too early."""
    found = early_entries(assessment, name, early)
    if not found:
        return []
    many = "1 entry was" if len(found) == 1 else f"{len(found)} entries were"
    return [f"{many} {found[-1].sentence}: kept, and marked early."]


def early_entries(assessment: Assessment, name: str, early: Early) -> list[Mark]:
    """For each early entry of a stage that still counts, why it is."""
    latest = (
        entry
        for what, entry in assessment.entries.latest.items()
        if what.startswith(f"{name}.") and entry.value
    )
    return [early[entry.seq] for entry in latest if entry.seq in early]


def counts(verdicts: tuple[Verdict, ...]) -> dict[str, int]:
    """How many verdicts of each outcome."""
    return {o.value: n for o in Outcome if (n := sum(v.outcome is o for v in verdicts))}


def findings_part(findings: Findings, entries: Entries) -> dict[str, Any]:
    """Figures, verdicts, tables and remarks as texts."""
    return {
        "figures": [figure(f, entries) for f in findings.figures],
        "verdicts": [verdict(v, entries) for v in findings.verdicts],
        "tables": [table(t, entries) for t in findings.tables],
        "remarks": list(findings.remarks),
    }


def figure(found: Figure, entries: Entries) -> dict[str, Any]:
    """One figure with its expanded uncertainty."""
    value = (
        found.value
        if isinstance(found.value, str)
        else entries.show(found.value, found.kind, found.digits)
    )
    return {
        "key": found.key,
        "label": found.label,
        "text": value,
        "note": found.note,
        "uncertainty": _plus_minus(found.u, found.kind, entries, found.digits),
        "number": _number(found.value),
        "u_number": _number(found.u),
        "kind": found.kind,
    }


def _number(value: Any) -> float | None:
    """SI base magnitude, for the machine-readable record."""
    return float(base(value)) if isinstance(value, pint.Quantity) else None


def _plus_minus(
    u: pint.Quantity | None, kind: str, entries: Entries, digits: int | None = None
) -> str:
    if u is None:
        return ""
    return "± " + show(
        COVERAGE * u,
        difference_kind(kind),
        entries.job.system,
        digits=_digits_for(COVERAGE * u, difference_kind(kind), entries, digits),
    )


def _digits_for(u: pint.Quantity, kind: str, entries: Entries, digits: int | None) -> int:
    """Enough decimals that an uncertainty does not print as zero."""
    from math import floor, log10

    from startkit.units import kind as kind_of
    from startkit.units import magnitude

    places = kind_of(kind).digits(entries.job.system) if digits is None else digits
    size = abs(magnitude(u, kind, entries.job.system))
    return places if size == 0 or size >= 10**-places else min(6, -floor(log10(size)))


def verdict(judged: Verdict, entries: Entries) -> dict[str, Any]:
    """One verdict with reading, limit, source and next step, and what a person may do about it."""
    rules = entries.job.limits.exemptions if entries.job.limits is not None else None
    return {
        "key": judged.key,
        "title": judged.title,
        "outcome": judged.outcome.value,
        "mark": judged.outcome.mark,
        "sentence": judged.sentence,
        "next": judged.next_step,
        "reading": entries.show(judged.reading, judged.kind) if judged.reading is not None else "",
        "uncertainty": _plus_minus(judged.uncertainty, judged.kind, entries),
        "limit": limit_text(judged, entries),
        "source": judged.source,
        "number": _number(judged.reading),
        "u_number": _number(judged.uncertainty),
        "kind": judged.kind,
        "low": _number(judged.low),
        "high": _number(judged.high),
        "rests_on": list(judged.rests_on),
        "may_waive": rules is None or rules.can_be_waived(judged.key),
        "may_lack": rules is not None
        and judged.outcome is Outcome.OPEN
        and rules.can_be_lacking(judged.key),
    }


def limit_text(judged: Verdict, entries: Entries) -> str:
    """``"≥ 140 kPa"``, ``"≤ 45 s"``, ``"140 kPa to 210 kPa"``."""
    low, high = (
        entries.show(side, judged.kind) if side is not None else ""
        for side in (judged.low, judged.high)
    )
    if low and high:
        return f"{low} to {high}"
    return f"≥ {low}" if low else f"≤ {high}" if high else ""


def table(found: Table, entries: Entries) -> dict[str, Any]:
    """A table of findings: the unit is in the header, cells carry numbers or texts."""
    system = entries.job.system
    columns = [
        {
            "label": c.label,
            "unit": label(c.kind, system) if c.kind else "",
            "align": "decimal" if c.kind else "left",
        }
        for c in found.columns
    ]
    rows = [
        [_cell(cell, c.kind, c.digits, entries) for cell, c in zip(row, found.columns, strict=True)]
        for row in found.rows
    ]
    return {"title": found.title, "columns": columns, "rows": rows, "note": found.note}


def _cell(cell: Any, kind: str, digits: int | None, entries: Entries) -> str:
    if cell is None:
        return "–"
    if isinstance(cell, pint.Quantity):
        return show(
            cell, kind, entries.job.system, entries.job.barometer.quantity, digits, with_unit=False
        )
    return str(cell)


# --- hold points and the front page ------------------------------------------------------------


def hold_part(assessment: Assessment, name: str) -> dict[str, Any]:
    """One hold point with what is in its way."""
    return {"part": "hold", **hold(assessment.hold(name), assessment)}


def hold(state: HoldState, assessment: Assessment) -> dict[str, Any]:
    """A hold point as plain data: its headline, what is in its way and what was waived."""
    entries = assessment.any_entries
    return {
        "hold": state.hold.name,
        "clear": state.is_clear,
        "state": state.word,
        "headline": state.headline,
        **released(assessment, state),
        "early": early_lines(assessment, state.hold),
        "needed": len(state.needed),
        "in_the_way": [_with_stage(v, entries, assessment) for v in state.in_the_way],
        "waived": [_with_stage(v, entries, assessment) for v in state.waived],
    }


def _with_stage(judged: Verdict, entries: Entries, assessment: Assessment) -> dict[str, Any]:
    stage = _stage_of(judged, assessment)
    return {**verdict(judged, entries), "stage": stage.name, "stage_title": stage.title}


def _stage_of(judged: Verdict, assessment: Assessment) -> Stage:
    return next(stage for stage, v in assessment.verdicts() if v is judged or v.key == judged.key)


def front_part(assessment: Assessment) -> dict[str, Any]:
    """Page 1 and the first screen: machine, hold points, stages, all that is not a pass."""
    entries = assessment.any_entries
    everything = assessment.verdicts()
    state = assessment.state
    return {
        "part": "front",
        "faults": list(state.faults),
        "changed": list(assessment.changes()),
        "machine": machine_facts(assessment),
        "people": people(assessment),
        "holds": [hold(h, assessment) for h in assessment.holds()],
        "stages": [stage_line(assessment, name) for name in assessment.stages],
        "next": next_step(assessment),
        "not_passed": [
            _with_stage(v, entries, assessment)
            for _, v in everything
            if v.outcome not in (Outcome.PASS, Outcome.NA)
        ],
        "waivers": [
            _with_stage(v, entries, assessment)
            for _, v in everything
            if v.outcome is Outcome.WAIVED
        ],
        "not_applicable": [
            _with_stage(v, entries, assessment)
            for _, v in everything
            if v.outcome is Outcome.NA and v.key in assessment.not_applicable
        ],
        "outcome": worst([v.outcome for _, v in everything]).value,
        "counts": counts(tuple(v for _, v in everything)),
        "corrections": sum(
            1 for e in state.entries if e.note and not e.what.startswith(OF_THE_JOB)
        ),
        "clock": [
            *clock(state.entries),
            *restored(state.entries),
            *back_dated(assessment),
        ],
        "first_entry": state.entries[0].at if state.entries else "",
        "last_entry": state.entries[-1].at if state.entries else "",
        "entries": len(state.entries),
        "journal_digest": state.entries[-1].digest if state.entries else "",
        "units": assessment.system,
        **equations(assessment),
    }


def equations(assessment: Assessment) -> dict[str, Any]:
    """By what the refrigerant was calculated: citation and version, for the record."""
    from startkit.errors import StartkitError
    from startkit.science.refrigerant import citation, version

    try:
        fluid = assessment.machine.machine.refrigerant
        library, _, number = version(fluid).partition(" ")
        return {"equations": citation(fluid), "versions": {library: number}}
    except StartkitError as error:
        return {"equations": str(error), "versions": {}}


def machine_facts(assessment: Assessment) -> dict[str, str]:
    """What identifies the machine, for heads and first page."""
    sheet, entries = assessment.machine, assessment.any_entries
    design = sheet.design
    return {
        "tag": sheet.machine.tag,
        "plant": sheet.site.plant,
        "maker": sheet.machine.maker,
        "model": sheet.machine.model,
        "serial": sheet.machine.serial,
        "year": str(sheet.machine.year or ""),
        "work": sheet.machine.work,
        "refrigerant": sheet.machine.refrigerant,
        "capacity": entries.show(design.capacity, "cooling"),
        "power": entries.show(design.power, "power"),
        "starter": sheet.motor.starter,
        "full_load_current": entries.show(sheet.motor.full_load_current, "current", 0),
        "elevation": entries.show(sheet.site.elevation, "elevation"),
        "selection": sheet.selection.document,
    }


def people(assessment: Assessment) -> list[dict[str, str]]:
    """People on the job with their roles."""
    return [
        {"name": person.name, "role": person.role, "firm": person.firm}
        for person in assessment.entries.people
    ]


def stage_line(assessment: Assessment, name: str) -> dict[str, Any]:
    """One stage in the overview."""
    findings, outcome = assessment.findings(name), assessment.outcome(name)
    settled = sum(v.settled for v in findings.verdicts)
    return {
        "stage": name,
        "title": assessment.stages[name].title,
        "outcome": outcome.value,
        "mark": outcome.mark,
        "started": assessment.started(name),
        "settled": settled,
        "of": len(findings.verdicts),
        "before": assessment.stages[name].before,
        "early": len(early_entries(assessment, name, assessment.early)),
    }


def next_step(assessment: Assessment) -> dict[str, str]:
    """What to do now: release what is clear, else the first thing that is not settled, in working
    order.
    """
    if (waiting := to_release(assessment)) is not None:
        return {
            "stage": "",
            "title": "",
            "what": f"{waiting.clear}, but not released",
            "do": "Release it by name before you go on.",
        }
    for stage, judged in assessment.verdicts():
        if not judged.settled:
            return {
                "stage": stage.name,
                "title": stage.title,
                "what": judged.title,
                "do": judged.next_step or judged.sentence,
            }
    return {
        "stage": "",
        "title": "",
        "what": "Everything is settled",
        "do": "Print the record and sign it.",
    }


# --- handover ----------------------------------------------------------------------------------


def handover_part(assessment: Assessment) -> dict[str, Any]:
    """What is left: open items, every correction, people and the lines that they sign."""
    entries = assessment.any_entries
    named = [person for person in people(assessment) if person["name"]]
    return {
        "part": "handover",
        "open_items": [
            _with_stage(v, entries, assessment) for _, v in assessment.verdicts() if not v.settled
        ],
        "waivers": [
            _with_stage(v, entries, assessment)
            for _, v in assessment.verdicts()
            if v.outcome is Outcome.WAIVED
        ],
        "corrections": corrections(assessment),
        "people": named,
        "statements": [{**person, "statement": _statement(assessment, person)} for person in named],
    }


def _statement(assessment: Assessment, person: dict[str, str]) -> str:
    """What a person states: their own words where a stage asks for them, else the usual line."""
    asked = (assessment.stage_entries(name) for name in assessment.stages)
    rows = [row for entries in asked for row in entries.rows(STATEMENTS)]
    own = [
        row
        for row in rows
        if (row.text("name"), row.text("role")) == (person["name"], person["role"])
        and row.text("statement")
    ]
    return own[-1].text("statement") if own else "This record states what I saw, measured and did."


def corrections(assessment: Assessment) -> list[dict[str, str]]:
    """Every correction in the order in which it was made; settings of the job itself are none."""
    state = assessment.state
    pairs = (
        (before, after)
        for what in dict.fromkeys(
            e.what for e in state.entries if not e.what.startswith(OF_THE_JOB)
        )
        for before, after in pairwise(state.history(what))
        if is_correction(before, after)
    )
    return [
        correction(before, after) for before, after in sorted(pairs, key=lambda pair: pair[1].seq)
    ]
