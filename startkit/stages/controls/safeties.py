"""Safeties and interlocks in the stage Controls: none counts as proven unless its trip was seen, or
somebody says by name why not.
"""

from __future__ import annotations

from dataclasses import replace

import pint

from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries, Row
from startkit.procedure.judging import check
from startkit.procedure.reading import Reading
from startkit.procedure.stage import Column, Field
from startkit.verdict import Outcome, Verdict

GROUP = "Safeties and interlocks"
SOURCE = "common practice, no source: a trip that was never seen is not proven"
RISING, FALLING = "rising", "falling"
BROUGHT, AT_SENSOR, FORCED = (
    "condition brought about",
    "simulated at the sensor",
    "forced in the controls",
)
OTHER = "other"

PRESSURES = ("high condenser pressure", "low evaporator pressure", OTHER)
TEMPERATURES = (
    "low leaving chilled water",
    "low evaporator refrigerant temperature",
    "high motor winding temperature",
    "high bearing temperature",
    "high oil temperature",
    "high discharge temperature",
    OTHER,
)
CURRENTS = ("motor overcurrent", "current unbalance", OTHER)
INTERLOCKS = (
    "evaporator water flow",
    "condenser water flow",
    "emergency stop",
    "chilled water pump",
    "condenser water pump",
    "oil pump overload",
    "refrigerant detector",
    "supply monitor",
    OTHER,
)
# What every machine has, in one of these forms; low oil differential and closed vanes are proven in
# their own stages.
ALWAYS = (
    ("high condenser pressure",),
    ("low evaporator pressure", "low evaporator refrigerant temperature"),
    ("low leaving chilled water",),
    ("high motor winding temperature",),
    ("high discharge temperature",),
    ("high oil temperature", "high bearing temperature"),
    ("motor overcurrent",),
    ("evaporator water flow",),
    ("condenser water flow",),
    ("emergency stop",),
)
# Field of each table: kind of reading, title, choices, limit.
TABLES = {
    "pressure_safeties": (
        "gauge_pressure",
        "Pressure safeties",
        PRESSURES,
        "controls.trip_pressure",
    ),
    "temperature_safeties": (
        "temperature",
        "Temperature safeties",
        TEMPERATURES,
        "controls.trip_temperature",
    ),
    "current_safeties": ("percent", "Current safeties", CURRENTS, "controls.trip_current"),
}
_HOW = (
    Column("method", "Proven by", "choice", choices=(BROUGHT, AT_SENSOR, FORCED)),
    Column("reset", "Reset", "choice", choices=("by hand", "by itself")),
    Column("who", "By", "person"),
    Column("reason", "If not: why not"),
)
_HELP = (
    "Bring the condition about, watch the value, and read it at the moment of the trip. Low oil"
    " differential and closed vanes have their own stages."
)


def _field(name: str) -> Field:
    kind, title, choices, _ = TABLES[name]
    return Field(
        name,
        title,
        "table",
        _HELP + (" In percent of full-load current." if kind == "percent" else ""),
        rows=3,
        group=GROUP,
        columns=(
            Column("safety", "Safety", "choice", choices=choices, required=True),
            Column("which", "Which, if other"),
            Column("setting", "Setting", kind, required=True),
            Column("direction", "Trips when", "choice", choices=(RISING, FALLING), required=True),
            Column("seen", "Tripped at", kind),
            *_HOW,
        ),
    )


FIELDS = (
    *(_field(name) for name in TABLES),
    Field(
        "interlocks",
        "Interlocks and proofs of flow",
        "table",
        "Take each away while its circuit is ready, and see the controls drop out or refuse to"
        " start.",
        rows=4,
        group=GROUP,
        columns=(
            Column("safety", "Interlock", "choice", choices=INTERLOCKS, required=True),
            Column("which", "Which, if other"),
            Column("seen", "It acted", "yes_no"),
            *_HOW,
        ),
    ),
)


def verdicts(machine: Machine, limits: Limits, entries: Entries) -> tuple[Verdict, ...]:
    """One verdict a safety, one on the list being complete, one on the overcurrent setting."""
    found = [_safety(limits, entries, name, row) for name in TABLES for row in entries.rows(name)]
    found += [_interlock(entries, row) for row in entries.rows("interlocks")]
    return (_listed(entries), *found, *_overcurrent(machine, limits, entries))


def _listed(entries: Entries) -> Verdict:
    key, title, source = (
        "controls.listed",
        "Every safety that a machine has is listed",
        "common practice, no source",
    )
    there = {row.text("safety") for name in (*TABLES, "interlocks") for row in entries.rows(name)}
    missing = [" or ".join(names) for names in ALWAYS if not there & set(names)]
    if missing:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.OPEN,
            sentence=f"Not listed: {'; '.join(missing)}.",
            next_step="Add a row for each; if the machine lacks it, give name and reason.",
            source=source,
        )
    return Verdict(
        key=key,
        title=title,
        outcome=Outcome.PASS,
        sentence=f"{sum(len(entries.rows(name)) for name in (*TABLES, 'interlocks'))} safeties and"
        " interlocks.",
        source=source,
    )


def _title(row: Row) -> str:
    safety = row.text("safety")
    named = row.text("which") if safety in ("", OTHER) and row.text("which") else safety
    return f"Trip: {named or f'row {row.index}'}"


def _unseen(blank: Verdict, row: Row) -> Verdict:
    """No trip seen: settled only by a person's name and reason."""
    who, reason = row.text("who"), row.text("reason")
    if who and reason:
        return replace(blank, outcome=Outcome.WAIVED, sentence=f"Not tried, by {who}: {reason}.")
    if reason:
        return replace(
            blank,
            sentence=f"Not tried ({reason}), but nobody stands for it by name.",
            next_step="Enter who decided it, or prove the trip.",
        )
    return replace(
        blank,
        sentence="Its trip was not seen.",
        next_step="Prove the trip, or enter by name why not.",
    )


def _missing(row: Row, columns: tuple[tuple[str, str], ...]) -> str:
    lacking = [word for column, word in columns if not row.text(column)]
    return f"Missing: {', '.join(lacking)}." if lacking else ""


_TOLD = (("method", "how it was proven"), ("reset", "how it resets"), ("who", "by whom"))


def _safety(limits: Limits, entries: Entries, table: str, row: Row) -> Verdict:
    kind, _, _, limit_key = TABLES[table]
    limit, key = limits[limit_key], f"controls.{table}.{row.index}"
    blank = Verdict(
        key=key, title=_title(row), outcome=Outcome.OPEN, sentence="", source=limit.origin
    )
    problem = next((cell.problem for cell in row.cells.values() if cell.problem), "")
    if problem:
        return replace(blank, sentence=problem, next_step="Correct the entry.")
    seen, setting = row.reading("seen"), row.reading("setting")
    if seen.quantity is None:
        return _unseen(replace(blank, source=SOURCE), row)
    missing = _missing(
        row,
        (("setting", "the setting"), ("direction", "whether it trips rising or falling"), *_TOLD),
    )
    if missing:
        return replace(blank, sentence=missing, next_step="Enter what is missing.")
    late, u = _lateness(kind, seen, setting, row.text("direction"))
    note = (
        f"Tripped at {entries.show(seen.quantity, kind)}, setting"
        f" {entries.show(setting.quantity, kind)}, {row.text('direction')}; {row.text('method')},"
        f" reset {row.text('reset')}, by {row.text('who')}."
    )
    found = check(
        entries,
        limit,
        Reading("", "", late, u, untrusted=seen.untrusted),
        key=key,
        title=blank.title,
        note=note,
        next_step="Set it, and prove it again.",
    )
    return _forced(found, row)


def _lateness(
    kind: str, seen: Reading, setting: Reading, direction: str
) -> tuple[pint.Quantity, pint.Quantity | None]:
    """How far behind its setting it tripped: pressure as a share of the absolute setting, others as
    a difference.
    """
    sign = 1.0 if direction == RISING else -1.0
    if kind == "gauge_pressure":
        return sign * (seen.quantity / setting.quantity - 1).to("percent"), (
            None if seen.u is None else (seen.u / setting.quantity).to("percent")
        )
    gap = (seen.quantity - setting.quantity).to(
        "delta_degC" if kind == "temperature" else "percent"
    )
    return sign * gap, seen.u


def _forced(found: Verdict, row: Row) -> Verdict:
    """Forced in the controls, only their logic was proven: neither sensor nor wire."""
    if row.text("method") != FORCED or found.outcome is not Outcome.PASS:
        return found
    return replace(
        found,
        outcome=Outcome.UNPROVEN,
        sentence=f"{found.sentence} Forced: sensor and wiring were not proven.",
        next_step="Prove it at the sensor, or waive with the reason.",
    )


def _interlock(entries: Entries, row: Row) -> Verdict:
    blank = Verdict(
        key=f"controls.interlocks.{row.index}",
        title=_title(row),
        outcome=Outcome.OPEN,
        sentence="",
        source=SOURCE,
    )
    problem = next((cell.problem for cell in row.cells.values() if cell.problem), "")
    if problem:
        return replace(blank, sentence=problem, next_step="Correct the entry.")
    if row.yes("seen") is None:
        return _unseen(blank, row)
    if row.yes("seen") is False:
        return replace(
            blank,
            outcome=Outcome.FAIL,
            sentence="It did not act.",
            next_step="Find out why before anything is started, and prove it again.",
        )
    missing = _missing(row, _TOLD)
    if missing:
        return replace(blank, sentence=missing, next_step="Enter what is missing.")
    return _forced(
        replace(
            blank,
            outcome=Outcome.PASS,
            sentence=(
                f"It acted: {row.text('method')}, reset {row.text('reset')}, by {row.text('who')}."
            ),
        ),
        row,
    )


def _overcurrent(machine: Machine, limits: Limits, entries: Entries) -> tuple[Verdict, ...]:
    """The overcurrent setting against the sheet."""
    row = next(
        (r for r in entries.rows("current_safeties") if r.text("safety") == "motor overcurrent"),
        None,
    )
    if row is None:
        return ()
    setting, due = row.reading("setting"), machine.motor.overcurrent_trip
    reading = (
        setting
        if setting.quantity is None
        else Reading("", "", (setting.quantity - due).to("percent"))
    )
    return (
        check(
            entries,
            limits["controls.overcurrent_setting"],
            reading,
            note=f"Sheet {entries.show(due, 'percent')} of full-load current.",
            next_step="Set it as the sheet says, or have the change written into the sheet.",
        ),
    )
