"""Verdicts of the stage Controls: sensors, safeties, interlocks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import pint

from startkit.facts.limits import PRACTICE, Limit, Limits
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.judging import check
from startkit.procedure.reading import Reading, Row
from startkit.science.sensors import (
    REFERENCE_RATIO,
    after_offset,
)
from startkit.science.sensors import SOURCE as AGREEMENT
from startkit.stages.controls import circumstances
from startkit.stages.controls.fields import (
    AT_SENSOR,
    BROUGHT,
    FORCED,
    OTHER,
    RISING,
    SAFETIES,
    SENSORS,
)
from startkit.stages.controls.readings import Checked
from startkit.stages.controls.refusals import refusals
from startkit.stages.controls.setting_verdicts import setting_verdicts
from startkit.units import Q, difference_kind
from startkit.verdict import Outcome, Verdict

SUSPICIOUS = (
    3.0  # an offset this many times the sensor's accuracy is worth a remark; own default, no source
)


# What the controls of every machine act on; common practice, no source.
LEAST_SENSORS = {
    "temperature_sensors": (4, "entering and leaving water of both exchangers"),
    "pressure_sensors": (2, "evaporator and condenser pressure"),
}


SEEN = "common practice, no source: a trip that was never seen is not proven"


# What every machine has, in one of these forms; low oil differential and closed vanes are proven in
# their own stages.
ALWAYS = (
    ("high_condenser_pressure",),
    ("low_evaporator_pressure", "low_evaporator_refrigerant_temperature"),
    ("low_leaving_chilled_water",),
    ("high_motor_winding_temperature",),
    ("high_discharge_temperature",),
    ("high_oil_temperature", "high_bearing_temperature"),
    ("motor_overcurrent",),
    ("evaporator_water_flow",),
    ("condenser_water_flow",),
    ("emergency_stop",),
)


# Highest overload setting in percent of full-load current, for a service factor of at least.
OVERLOAD = ((1.15, Q(125.0, "percent")), (0.0, Q(115.0, "percent")))
OVERLOAD_SOURCE = "NFPA 70 430.32(A)(1), from memory: check against the standard"


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
        *refusals(entries),
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
                rests_on=(f"controls.{table}",),
            ),
        )
    return (
        *_enough(table, title, checked),
        *(_sensor(entries, f"controls.{table}.{c.row.index}", kind, c) for c in checked),
    )


def _enough(table: str, title: str, checked: tuple[Checked, ...]) -> tuple[Verdict, ...]:
    """A machine acts on more sensors than were compared."""
    least, which = LEAST_SENSORS.get(table, (0, ""))
    if len(checked) >= least:
        return ()
    return (
        Verdict(
            key=f"controls.{table}",
            title=title,
            outcome=Outcome.UNPROVEN,
            sentence=f"{len(checked)} compared; the controls act on {which} at least.",
            next_step="Compare the others, or have it waived with the reason.",
            source=PRACTICE,
            rests_on=(f"controls.{table}",),
        ),
    )


def _sensor(entries: Entries, key: str, kind: str, c: Checked) -> Verdict:
    blank = Verdict(
        key=key,
        title=f"Sensor: {c.name}",
        outcome=Outcome.OPEN,
        sentence="",
        source=AGREEMENT,
        rests_on=c.items,
    )
    compared = c.left if c.left is not None else c.found
    if c.problem or compared is None:
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
    limit = Limit(
        key,
        blank.title,
        difference_kind(kind),
        Q(-compared.tolerance.magnitude, compared.tolerance.units),
        compared.tolerance,
        f"both accuracies combined, {AGREEMENT}",
        "published",
    )
    found = check(
        entries,
        limit,
        Reading.derived(compared.deviation, None, *c.readings),
        note=_note(entries, kind, c),
        next_step=(
            "Set an offset and read both again; replace the sensor if it does not hold."
            if c.left is None
            else "Replace the sensor, and compare it again."
        ),
    )
    return _by_reference(found, c)


def _by_reference(found: Verdict, c: Checked) -> Verdict:
    """A sensor is proven only by a reference that is named and no worse than the sensor."""
    if found.outcome is not Outcome.PASS:
        return found
    if not c.known:
        return replace(
            found,
            outcome=Outcome.UNPROVEN,
            sentence=f"{found.sentence} No reference instrument is named.",
            next_step="Name the reference instrument with its reading.",
        )
    if c.ratio is not None and c.ratio < 1:
        return replace(
            found,
            outcome=Outcome.UNPROVEN,
            sentence=f"{found.sentence} It cannot prove the sensor.",
            next_step="Compare it with a reference that is better than the sensor.",
        )
    return found


def _note(entries: Entries, kind: str, c: Checked) -> str:
    difference = difference_kind(kind)
    told: list[str] = []
    accuracy = c.row.quantity("accuracy")
    if c.left is not None and c.found is not None:
        told.append(
            f"As found {entries.show(c.found.deviation, difference)}, offset"
            f" {entries.show(c.offset, difference) if c.offset is not None else 'none'}, as left as"
            " read."
        )
        told += _follows(entries, difference, c)
    if c.offset is not None and accuracy is not None and _times(c.offset, accuracy) > SUSPICIOUS:
        told.append(
            "The offset is more than three times the sensor's accuracy: consider replacing it."
        )
    if c.ratio is not None and c.ratio < REFERENCE_RATIO:
        told.append(
            f"The reference is {c.ratio:.1f} times as good as the sensor; four times is customary."
        )
    return " ".join(told)


def _times(offset: pint.Quantity, accuracy: pint.Quantity) -> float:
    """How many times its accuracy an offset is."""
    if not accuracy.magnitude:
        return 0.0
    return abs(float((offset / accuracy).to("dimensionless").magnitude))


def _follows(entries: Entries, difference: str, c: Checked) -> list[str]:
    """Whether the readings as left are what the offset should have made of those as found."""
    if c.offset is None or c.found is None or c.left is None:
        return []
    due = after_offset(c.found, c.offset).deviation
    if abs((c.left.deviation - due).magnitude) <= c.left.tolerance.to(due.units).magnitude:
        return []
    return [
        f"The offset should have left {entries.show(due, difference)}: check its sign, or whether"
        " the sensor drifts."
    ]


def _safeties(machine: Machine, limits: Limits, entries: Entries) -> tuple[Verdict, ...]:
    """One verdict a safety, one on the list being complete, one on the overcurrent setting."""
    found = [_safety(limits, entries, name, row) for name in SAFETIES for row in entries.rows(name)]
    found += [_interlock(entries, row) for row in entries.rows("interlocks")]
    found = [
        circumstances.judged(machine, v, row)
        for v, row in zip(found, _safety_rows(entries), strict=True)
    ]
    return (
        _listed(machine, entries),
        *_listed_twice(entries),
        *found,
        *_overcurrent(machine, limits, entries),
        *setting_verdicts(machine, limits, entries),
    )


def _safety_rows(entries: Entries) -> list[Row]:
    return [row for name in (*SAFETIES, "interlocks") for row in entries.rows(name)]


def _listed_twice(entries: Entries) -> tuple[Verdict, ...]:
    """Two rows of one safety: one of them is another safety, or a copy."""
    rows = [
        row
        for row in _safety_rows(entries)
        if row.code("safety") not in ("", OTHER.code) and not row.text("which")
    ]
    codes = [row.code("safety") for row in rows]
    twice = [row for row in rows if codes.count(row.code("safety")) > 1]
    if not twice:
        return ()
    return (
        Verdict(
            key="controls.listed_twice",
            title="Each safety is listed once",
            outcome=Outcome.UNPROVEN,
            sentence="Listed more than once: "
            f"{', '.join(dict.fromkeys(row.text('safety') for row in twice))}.",
            next_step="Correct the row that is another safety, or enter which of the two it is.",
            source=PRACTICE,
            rests_on=tuple(item for row in twice for item in row.reading("safety").items),
        ),
    )


def _listed(machine: Machine, entries: Entries) -> Verdict:
    tables, rows = (*SAFETIES, "interlocks"), _safety_rows(entries)
    there = {row.code("safety") for row in rows}
    of_sheet = [(name,) for name, trip in machine.safeties if trip is not None]
    due = dict.fromkeys((*ALWAYS, *of_sheet))
    missing = [" or ".join(names).replace("_", " ") for names in due if not there & set(names)]
    found = Verdict(
        key="controls.listed",
        title="Every safety that a machine has is listed",
        outcome=Outcome.PASS,
        sentence=f"{len(rows)} safeties and interlocks{_how_proven(rows)}.",
        source=PRACTICE,
        rests_on=tuple(item for row in rows for item in row.reading("safety").items)
        or tuple(f"controls.{name}" for name in tables),
    )
    if not missing:
        return found
    return replace(
        found,
        outcome=Outcome.OPEN,
        sentence=f"Not listed: {'; '.join(missing)}.",
        next_step="Add a row for each; if the machine lacks it, give name and reason.",
    )


def _how_proven(rows: list[Row]) -> str:
    """How many were proven in which way: what was simulated was not seen to trip."""
    ways = ((BROUGHT, "seen to act"), (AT_SENSOR, "simulated at the sensor"), (FORCED, "forced"))
    counted = [(sum(row.code("method") == way.code for row in rows), words) for way, words in ways]
    told = ", ".join(f"{number} {words}" for number, words in counted if number)
    return f": {told}" if told else ""


def _title(row: Row) -> str:
    which = row.text("which")
    named = which if which and row.code("safety") in ("", OTHER.code) else row.text("safety")
    return f"Trip: {named or f'row {row.index}'}"


def _filled(row: Row) -> tuple[str, ...]:
    """Items of a row: the trip, and every cell that was filled."""
    taken = tuple(cell.what for cell in row.cells.values() if cell.taken)
    return tuple(dict.fromkeys((*row.reading("seen").items, *taken)))


def _unseen(blank: Verdict, row: Row) -> Verdict:
    """No trip seen: settled only by a person's name and reason."""
    who, reason = row.text("who"), row.text("reason")
    if who and reason:
        return replace(blank, outcome=Outcome.WAIVED, sentence=f"Not tried, by {who}: {reason}.")
    if reason:
        return replace(
            blank,
            sentence=f"Not tried ({reason}), and no one has signed for that.",
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
        key=key,
        title=_title(row),
        outcome=Outcome.OPEN,
        sentence="",
        source=limit.origin,
        rests_on=_filled(row),
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
    note = (
        f"Tripped at {entries.show(seen.quantity, kind)}, setting"
        f" {entries.show(setting.quantity, kind)}, {row.text('direction')}; {row.text('method')},"
        f" reset {row.text('reset')}, by {row.text('who')}."
    )
    return check(
        entries,
        limit,
        _lateness(kind, seen, setting, row.code("direction")),
        key=key,
        title=blank.title,
        note=note,
        next_step="Set it, and prove it again.",
        rests_on=_filled(row),
    )


def _lateness(kind: str, seen: Reading, setting: Reading, direction: str) -> Reading:
    """How far behind its setting it tripped: pressure as a share of the absolute setting, others as
    a difference; the setting, as the controls show it, is exact.
    """
    due = setting.exact()
    late = seen.deviation_from(due) if kind == "gauge_pressure" else seen.less(due)
    return late if direction == RISING.code else late.times(-1.0)


def _interlock(entries: Entries, row: Row) -> Verdict:
    blank = Verdict(
        key=f"controls.interlocks.{row.index}",
        title=_title(row),
        outcome=Outcome.OPEN,
        sentence="",
        source=SEEN,
        rests_on=_filled(row),
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
    return replace(
        blank,
        outcome=Outcome.PASS,
        sentence=(
            f"It acted: {row.text('method')}, reset {row.text('reset')}, by {row.text('who')}."
        ),
    )


def _overcurrent(machine: Machine, limits: Limits, entries: Entries) -> tuple[Verdict, ...]:
    """The overcurrent setting against the sheet, and against what the motor's service factor
    allows.
    """
    rows = entries.rows("current_safeties")
    row = next((r for r in rows if r.code("safety") == "motor_overcurrent"), None)
    if row is None:
        return ()
    setting, due = row.reading("setting"), machine.motor.overcurrent_trip
    found = check(
        entries,
        limits["controls.overcurrent_setting"],
        setting.less(due),
        note=f"Sheet {entries.show(due, 'percent')} of full-load current.",
        next_step="Set it to the sheet, or have the sheet changed.",
    )
    factor = machine.motor.service_factor
    if factor is None or setting.quantity is None or found.outcome is not Outcome.PASS:
        return (found,)
    most = next(high for least, high in OVERLOAD if factor >= least)
    if setting.quantity <= most:
        return (found,)
    return (
        replace(
            found,
            outcome=Outcome.UNPROVEN,
            sentence=f"{found.sentence} With a service factor of {factor:g} at most"
            f" {entries.show(most, 'percent', 0)} is allowed ({OVERLOAD_SOURCE}).",
            next_step="Settle the setting with the motor's maker, and correct the sheet.",
        ),
    )
