"""Verdicts of the stage Controls: sensors, safeties, interlocks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import pint

from startkit.facts.limits import PRACTICE, Limit, Limits
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries, Row
from startkit.procedure.judging import check
from startkit.procedure.reading import Reading
from startkit.science.sensors import (
    REFERENCE_RATIO,
    after_offset,
)
from startkit.science.sensors import SOURCE as AGREEMENT
from startkit.stages.controls.fields import FORCED, OTHER, RISING, SAFETIES, SENSORS
from startkit.stages.controls.readings import Checked
from startkit.units import Q, difference_kind
from startkit.verdict import Outcome, Verdict

SUSPICIOUS = (
    3.0  # an offset this many times the sensor's accuracy is worth a remark; own default, no source
)


SEEN = "common practice, no source: a trip that was never seen is not proven"


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


def judged(
    machine: Machine,
    limits: Limits,
    entries: Entries,
    checked: Mapping[str, tuple[Checked, ...]],
) -> tuple[Verdict, ...]:
    """Every sensor, then every safety and interlock."""
    return (
        *(v for table, rows in checked.items() for v in _sensors(entries, table, rows)),
        *_safeties(machine, limits, entries),
    )


def _sensors(entries: Entries, table: str, checked: tuple[Checked, ...]) -> tuple[Verdict, ...]:
    """One verdict a sensor; one for a table that no machine does without."""
    kind, title, required = SENSORS[table]
    if not checked and required:
        return (
            Verdict(
                key=f"controls.{table}",
                title=title,
                outcome=Outcome.OPEN,
                sentence="No sensor entered.",
                next_step="Compare every sensor that the controls act on with a reference.",
                source=AGREEMENT,
            ),
        )
    return tuple(_sensor(entries, f"controls.{table}.{c.row.index}", kind, c) for c in checked)


def _sensor(entries: Entries, key: str, kind: str, c: Checked) -> Verdict:
    blank = Verdict(
        key=key, title=f"Sensor: {c.name}", outcome=Outcome.OPEN, sentence="", source=AGREEMENT
    )
    if c.problem:
        return replace(
            blank, sentence=c.problem, next_step="Take the reading, or correct the entry."
        )
    if c.offset is not None and c.offset.magnitude != 0 and c.left is None:
        return replace(
            blank,
            sentence=(
                f"An offset of {entries.show(c.offset, difference_kind(kind))} was set and nothing"
                " was read afterwards."
            ),
            next_step="Read sensor and reference again.",
        )
    judged = c.left if c.left is not None else c.found
    limit = Limit(
        key,
        blank.title,
        difference_kind(kind),
        Q(-judged.tolerance.magnitude, judged.tolerance.units),
        judged.tolerance,
        f"both accuracies combined, {AGREEMENT}",
        "published",
    )
    found = check(
        entries,
        limit,
        Reading("", "", judged.deviation, untrusted=c.untrusted),
        note=_note(entries, kind, c),
        next_step=(
            "Set an offset and read both again; renew the sensor if it does not hold."
            if c.left is None
            else "Renew the sensor, and compare it again."
        ),
    )
    if not c.known and found.outcome is Outcome.PASS:
        return replace(
            found,
            outcome=Outcome.UNPROVEN,
            sentence=f"{found.sentence} No reference instrument is named.",
            next_step="Name the reference instrument beside its reading.",
        )
    return found


def _note(entries: Entries, kind: str, c: Checked) -> str:
    difference = difference_kind(kind)
    told = []
    if c.left is not None:
        told.append(
            f"As found {entries.show(c.found.deviation, difference)}, offset"
            f" {entries.show(c.offset, difference) if c.offset is not None else 'none'}, as left as"
            " read."
        )
        told += _follows(entries, difference, c)
    if (
        c.offset is not None
        and c.row.quantity("accuracy").magnitude
        and abs(c.offset / c.row.quantity("accuracy")).to("dimensionless").magnitude > SUSPICIOUS
    ):
        told.append(
            "The offset is more than three times the sensor's accuracy: think of renewing it."
        )
    if c.ratio is not None and c.ratio < REFERENCE_RATIO:
        told.append(
            f"The reference is {c.ratio:.1f} times as good as the sensor; four times is customary."
        )
    return " ".join(told)


def _follows(entries: Entries, difference: str, c: Checked) -> list[str]:
    """Whether the readings as left are what the offset should have made of those as found."""
    if c.offset is None:
        return []
    due = after_offset(c.found, c.offset).deviation
    if abs(c.left.deviation - due) <= c.left.tolerance:
        return []
    return [
        f"The offset should have left {entries.show(due, difference)}: check its sign, or whether"
        " the sensor wanders."
    ]


def _safeties(machine: Machine, limits: Limits, entries: Entries) -> tuple[Verdict, ...]:
    """One verdict a safety, one on the list being complete, one on the overcurrent setting."""
    found = [_safety(limits, entries, name, row) for name in SAFETIES for row in entries.rows(name)]
    found += [_interlock(entries, row) for row in entries.rows("interlocks")]
    return (_listed(entries), *found, *_overcurrent(machine, limits, entries))


def _listed(entries: Entries) -> Verdict:
    key, title, source = (
        "controls.listed",
        "Every safety that a machine has is listed",
        PRACTICE,
    )
    there = {row.text("safety") for name in (*SAFETIES, "interlocks") for row in entries.rows(name)}
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
        sentence=f"{sum(len(entries.rows(name)) for name in (*SAFETIES, 'interlocks'))} safeties and"
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
    kind, _, _, limit_key = SAFETIES[table]
    limit, key = limits[limit_key], f"controls.{table}.{row.index}"
    blank = Verdict(
        key=key, title=_title(row), outcome=Outcome.OPEN, sentence="", source=limit.origin
    )
    problem = next((cell.problem for cell in row.cells.values() if cell.problem), "")
    if problem:
        return replace(blank, sentence=problem, next_step="Correct the entry.")
    seen, setting = row.reading("seen"), row.reading("setting")
    if seen.quantity is None:
        return _unseen(replace(blank, source=SEEN), row)
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
        source=SEEN,
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
