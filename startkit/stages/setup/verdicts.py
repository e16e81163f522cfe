"""Verdicts of the stage Setup: people, instruments, barometer, nameplate and order."""

from __future__ import annotations

import pint

from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries, instrument_of
from startkit.procedure.judging import check
from startkit.procedure.reading import Reading
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
    roles = {row.text("role") for row in entries.rows("people") if row.text("name")}
    missing = [role for role in ("technician", "owner's witness") if role not in roles]
    title = "People and roles"
    if missing:
        return Verdict(
            key="setup.people",
            title=title,
            outcome=Outcome.OPEN,
            sentence=f"Nobody is named as {' or '.join(missing)}.",
            next_step="Enter name and role.",
        )
    return Verdict(
        key="setup.people",
        title=title,
        outcome=Outcome.PASS,
        sentence="Technician and witness are named.",
    )


def _instruments(entries: Entries) -> Verdict:
    key, title = "setup.instruments", "Instruments in calibration"
    rows = entries.rows("instruments")
    if not rows:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.OPEN,
            sentence="No instrument is entered, so no figure has an uncertainty.",
            next_step="Enter every instrument with accuracy and due date.",
        )
    unreadable = [
        row.text("tag") or f"row {n}" for n, row in enumerate(rows, 1) if instrument_of(row) is None
    ]
    if unreadable:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.OPEN,
            sentence=f"Cannot be read: {', '.join(unreadable)}.",
            next_step="Give tag, what it reads, and accuracy such as 0.1 K or 0.5 % of range.",
        )
    undated = [row.text("tag") for row in rows if not row.text("due")]
    overdue = [row.text("tag") for row in rows if _overdue(row)]
    if overdue:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.FAIL,
            sentence=f"Out of calibration when entered: {', '.join(overdue)}. What rests on them is"
            " unproven.",
            next_step="Take the readings again with another instrument.",
        )
    if undated:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.UNPROVEN,
            sentence=f"No due date: {', '.join(undated)}.",
            next_step="Enter the due date from the certificate, or waive with the reason.",
        )
    return Verdict(
        key=key,
        title=title,
        outcome=Outcome.PASS,
        sentence=f"{len(rows)} instruments, all in calibration.",
    )


def _overdue(row) -> bool:
    instrument, entry = instrument_of(row), row.reading("tag").entry
    return (
        instrument is not None
        and entry is not None
        and instrument.in_calibration(entry.day) is False
    )


def _barometer(entries: Entries, limits: Limits) -> Verdict:
    from startkit.science.air import standard_barometer

    limit = limits["setup.barometer"]
    measured = entries.reading("barometer")
    expected = standard_barometer(entries.machine.site.elevation)
    if measured.problem:
        return Verdict(
            key=limit.key,
            title=limit.title,
            outcome=Outcome.OPEN,
            sentence=measured.problem,
            next_step="Correct the entry.",
        )
    if measured.quantity is None:
        used, u = entries.show(expected, "barometer"), entries.job.barometer.u
        return Verdict(
            key=limit.key,
            title=limit.title,
            outcome=Outcome.OPEN,
            sentence=f"Not measured: {used} from elevation is used meanwhile, with an uncertainty"
            " of ±"
            f" {entries.show(COVERAGE * u, 'barometer')}.",
            next_step="Read a barometer on site; on a low-pressure machine this matters most.",
            reading=expected,
            uncertainty=u,
            kind="barometer",
            source=limit.origin,
        )
    gap = Reading(
        measured.what,
        measured.text,
        measured.quantity - expected,
        measured.u,
        untrusted=measured.untrusted,
    )
    return check(
        entries,
        limit,
        gap,
        next_step=(
            "Check that the reading is not reduced to sea level, and the elevation in the sheet."
        ),
        note=(
            f"Measured {entries.show(measured.quantity, 'barometer')}, standard atmosphere"
            f" {entries.show(expected, 'barometer')}."
        ),
    )


def _serial(machine: Machine, entries: Entries) -> Verdict:
    seen, due = entries.text("nameplate_serial"), machine.machine.serial
    return _same_text(
        "setup.serial",
        "Serial number",
        seen,
        due,
        seen.replace(" ", "").lower() == due.replace(" ", "").lower(),
    )


def _refrigerant(
    entries: Entries,
    name: str,
    due: str,
    key: str = "setup.refrigerant",
    title: str = "Refrigerant",
    where: str = "nameplate",
) -> Verdict:
    from startkit.errors import StartkitError
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
        )
    return _same_text(key, title, seen, due, same, where)


def _same_text(
    key: str, title: str, seen: str, due: str, same: bool, where: str = "nameplate"
) -> Verdict:
    if not seen:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.OPEN,
            sentence=f"Not read from the {where}.",
            next_step="Read it from the machine.",
            source="machine sheet",
        )
    if same:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.PASS,
            sentence=f"{seen}: as in the sheet.",
            source="machine sheet",
        )
    return Verdict(
        key=key,
        title=title,
        outcome=Outcome.FAIL,
        sentence=f"The {where} says {seen}, the sheet {due}.",
        next_step="Find out which is right before anything else.",
        source="machine sheet",
    )


def _nameplate(machine: Machine, limits: Limits, entries: Entries) -> list[Verdict]:
    """The motor's nameplate against the sheet; frequency, charge and model where they were read."""
    step = "Find out whether sheet or nameplate is right; percent of full-load current hangs on it."
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
        if entries.reading(name).taken
    ]
    seen = entries.text("nameplate_model") if entries.has("nameplate_model") else ""
    return (
        [
            *found,
            _same_text(
                "setup.model",
                "Model",
                seen,
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
        (seen.quantity / due - 1).to("percent"),
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
        gap = (
            leaving
            if leaving.quantity is None
            else Reading(leaving.what, leaving.text, (leaving.quantity - due).to("delta_degC"))
        )
        note = (
            ""
            if leaving.quantity is None
            else (
                f"Order {entries.show(leaving.quantity, 'temperature')}, sheet"
                f" {entries.show(due, 'temperature')}."
            )
        )
        found.append(
            check(entries, limits["setup.order_leaving_chilled"], gap, next_step=step, note=note)
        )
    return found
