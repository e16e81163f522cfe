"""Verdicts of the stage Setup: people, instruments, barometer, nameplate and order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pint

from startkit.errors import StartkitError
from startkit.facts.instruments import due_too_late, too_good
from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.judging import check
from startkit.procedure.people import SIGNING
from startkit.procedure.reading import Row
from startkit.procedure.site import instrument_of
from startkit.verdict import COVERAGE, Outcome, Verdict


def judged(machine: Machine, limits: Limits, entries: Entries) -> tuple[Verdict, ...]:
    """People, instruments, barometer, then nameplate and order against the sheet."""
    return (
        _people(entries),
        _instruments(entries),
        _barometer(entries, limits),
        _serial(machine, entries),
        _refrigerant(entries, "nameplate_refrigerant", machine.machine.refrigerant),
        *_nameplate(machine, limits, entries),
        *_order(machine, limits, entries),
    )


def _people(entries: Entries) -> Verdict:
    named = {person.code for person in entries.job.people if person.name}
    missing = [role.label for role in SIGNING if role.code not in named]
    found = Verdict(
        key="setup.people",
        title="People and roles",
        outcome=Outcome.PASS,
        sentence="Technician and witness are named.",
        rests_on=entries.items("people", "name", "role"),
    )
    if not missing:
        return found
    return replace(
        found,
        outcome=Outcome.OPEN,
        sentence=f"No one is named as {' or '.join(missing)}.",
        next_step="Enter name and role.",
    )


def _instruments(entries: Entries) -> Verdict:
    rows = entries.rows("instruments")
    found = Verdict(
        key="setup.instruments",
        title="Instruments in calibration",
        outcome=Outcome.PASS,
        sentence=f"{len(rows)} instruments, all in calibration.",
        rests_on=entries.items("instruments", "tag", "kind", "accuracy", "due"),
    )
    unreadable = [
        row.text("tag") or f"row {n}" for n, row in enumerate(rows, 1) if instrument_of(row) is None
    ]
    if not rows or unreadable:
        return replace(
            found,
            outcome=Outcome.OPEN,
            sentence=(
                f"Cannot be read: {', '.join(unreadable)}."
                if rows
                else "No instrument is entered, so no figure has an uncertainty."
            ),
            next_step=(
                "Give tag, what it reads, and accuracy such as 0.1 K or 0.5 % of range."
                if rows
                else "Enter every instrument with accuracy and due date."
            ),
        )
    overdue = [row.text("tag") for row in rows if _overdue(row)]
    if overdue:
        return replace(
            found,
            outcome=Outcome.FAIL,
            sentence=f"Out of calibration when entered: {', '.join(overdue)}. What rests on them is"
            " unproven.",
            next_step="Take the readings again with another instrument.",
        )
    undated = [row.text("tag") for row in rows if not row.text("due")]
    if undated:
        return replace(
            found,
            outcome=Outcome.UNPROVEN,
            sentence=f"No due date: {', '.join(undated)}.",
            next_step="Enter the due date from the certificate, or waive with the reason.",
        )
    return _believed(found, rows)


def _believed(found: Verdict, rows: Sequence[Row]) -> Verdict:
    """A slip in accuracy or due date makes every reading look better than it is."""
    known = [
        (row, instrument, row.reading("tag").entry)
        for row in rows
        if (instrument := instrument_of(row)) is not None
    ]
    good = [row.text("tag") for row, each, _ in known if too_good(each, row.text("range"))]
    late = [
        row.text("tag")
        for row, instrument, entry in known
        if due_too_late(instrument, entry.day if entry is not None else None)
    ]
    if not good and not late:
        return found
    told = [f"More accurate than field instruments are: {', '.join(good)}."] if good else []
    told += [f"Due more than two years from now: {', '.join(late)}."] if late else []
    return replace(
        found,
        outcome=Outcome.UNPROVEN,
        sentence=" ".join(told),
        next_step="Compare with the certificate and correct it, or waive it with the reason.",
    )


def _overdue(row: Row) -> bool:
    instrument, entry = instrument_of(row), row.reading("tag").entry
    return (
        instrument is not None
        and entry is not None
        and instrument.in_calibration(entry.day) is False
    )


def _barometer(entries: Entries, limits: Limits) -> Verdict:
    from startkit.science.air import standard_barometer

    limit, measured = limits["setup.barometer"], entries.reading("barometer")
    expected = standard_barometer(entries.machine.site.elevation)
    found = check(
        entries,
        limit,
        measured.less(expected),
        next_step=(
            "Check that the reading is not reduced to sea level, and the elevation in the sheet."
        ),
        note=(
            f"Measured {entries.show(measured.quantity, 'barometer')}, standard atmosphere"
            f" {entries.show(expected, 'barometer')}."
            if measured.quantity is not None
            else ""
        ),
    )
    used = entries.job.barometer
    if measured.taken or used.u is None:
        return found
    return replace(
        found,
        sentence=f"Not measured: {entries.show(expected, 'barometer')} from elevation is used"
        f" meanwhile, with an uncertainty of ± {entries.show(COVERAGE * used.u, 'barometer')}.",
        next_step="Read a barometer on site; on a low-pressure machine this matters most.",
        reading=expected,
        uncertainty=used.u,
        kind="barometer",
        low=None,
        high=None,
    )


def _serial(machine: Machine, entries: Entries) -> Verdict:
    seen, due = entries.text("nameplate_serial"), machine.machine.serial
    same = seen.replace(" ", "").lower() == due.replace(" ", "").lower()
    return _same_text(entries, "nameplate_serial", "setup.serial", "Serial number", due, same)


def _refrigerant(
    entries: Entries,
    name: str,
    due: str,
    key: str = "setup.refrigerant",
    title: str = "Refrigerant",
    where: str = "nameplate",
) -> Verdict:
    from startkit.science.refrigerant import canonical

    seen = entries.text(name)
    try:
        same = bool(seen) and canonical(seen) == canonical(due)
    except StartkitError as error:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.OPEN,
            sentence=str(error),
            next_step="Correct the entry.",
            rests_on=(f"setup.{name}",),
        )
    return _same_text(entries, name, key, title, due, same, where)


def _same_text(
    entries: Entries,
    name: str,
    key: str,
    title: str,
    due: str,
    same: bool,
    where: str = "nameplate",
) -> Verdict:
    seen = entries.text(name)
    blank = Verdict(
        key=key,
        title=title,
        outcome=Outcome.OPEN,
        sentence=f"Not read from the {where}.",
        next_step="Read it from the machine.",
        source="machine sheet",
        rests_on=(f"setup.{name}",),
    )
    if not seen:
        return blank
    if same:
        said = f"{seen}: as in the sheet."
        return replace(blank, outcome=Outcome.PASS, sentence=said, next_step="")
    return replace(
        blank,
        outcome=Outcome.FAIL,
        sentence=f"The {where} says {seen}, the sheet {due}.",
        next_step="Find out which is right before anything else.",
    )


def _nameplate(machine: Machine, limits: Limits, entries: Entries) -> list[Verdict]:
    """The motor's nameplate against the sheet; frequency, charge and model where they were read."""
    step = (
        "Find out whether sheet or nameplate is right; percent of full-load current depends on it."
    )
    found = [
        _deviation(limits, entries, name, due, "Nameplate", step)
        for name, due in (
            ("nameplate_voltage", machine.motor.voltage),
            ("nameplate_current", machine.motor.full_load_current),
        )
    ]
    more = (
        ("nameplate_frequency", machine.motor.frequency),
        ("nameplate_charge", machine.machine.refrigerant_charge),
    )
    found += [
        _deviation(
            limits, entries, name, due, "Nameplate", "Find out whether sheet or nameplate is right."
        )
        for name, due in more
        if due is not None and entries.reading(name).taken
    ]
    seen = entries.text("nameplate_model") if entries.has("nameplate_model") else ""
    return (
        [
            *found,
            _same_text(
                entries,
                "nameplate_model",
                "setup.model",
                "Model",
                machine.machine.model,
                _folded(seen) == _folded(machine.machine.model),
            ),
        ]
        if seen
        else found
    )


def _folded(text: str) -> str:
    return text.replace(" ", "").replace("-", "").casefold()


def _deviation(
    limits: Limits, entries: Entries, name: str, due: pint.Quantity, where: str, next_step: str
) -> Verdict:
    """One figure in percent of the sheet's."""
    limit, seen, kind = limits[f"setup.{name}"], entries.reading(name), entries.fields[name].kind
    if seen.quantity is None:
        return check(entries, limit, seen, next_step="")
    return check(
        entries,
        limit,
        seen.deviation_from(due),
        next_step=next_step,
        note=f"{where} {entries.show(seen.quantity, kind)}, sheet {entries.show(due, kind)}.",
    )


def _order(machine: Machine, limits: Limits, entries: Entries) -> list[Verdict]:
    """The order against the sheet, where the order was entered."""
    step = "Settle the difference with the office before the start."
    pairs = (
        ("order_capacity", machine.design.capacity),
        ("order_refrigerant_charge", machine.machine.refrigerant_charge),
        ("order_voltage", machine.motor.voltage),
    )
    found = [
        _deviation(limits, entries, name, due, "Order", step)
        for name, due in pairs
        if due is not None and entries.reading(name).taken
    ]
    if entries.text("order_refrigerant"):
        found.append(
            _refrigerant(
                entries,
                "order_refrigerant",
                machine.machine.refrigerant,
                "setup.order_refrigerant",
                "Refrigerant, order against sheet",
                "order",
            )
        )
    leaving = entries.reading("order_leaving_chilled")
    if leaving.taken:
        due = machine.design.leaving_chilled
        note = (
            ""
            if leaving.quantity is None
            else (
                f"Order {entries.show(leaving.quantity, 'temperature')}, sheet"
                f" {entries.show(due, 'temperature')}."
            )
        )
        found.append(
            check(
                entries,
                limits["setup.order_leaving_chilled"],
                leaving.less(due),
                next_step=step,
                note=note,
            )
        )
    return found
