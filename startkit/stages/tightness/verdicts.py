"""Verdicts of the stage Tightness: pressure hold, search, evacuation, refrigerant, leak log."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime

import pint

from startkit.errors import StartkitError
from startkit.facts.limits import PRACTICE, Limits
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.judging import check, confirm
from startkit.procedure.reading import Reading, Row
from startkit.science.charge import LEAK_RATE_SOURCE, annualised_leak_rate
from startkit.science.evacuation import BOTH, LEAK, MOISTURE, TIGHT, UNDECIDED, Rise
from startkit.stages.tightness.fields import APPLIANCES, CHARGED, VACUUM
from startkit.stages.tightness.hold_verdicts import hold_verdicts, kind_of_test, low_pressure
from startkit.stages.tightness.readings import Evacuated, Tested
from startkit.units import Q
from startkit.verdict import Outcome, Verdict

# Time after the shut-off in which the first reading of the rise is still that of the shut-off, and
# the factor between the two that is no error; common practice, no source.
SOON, BEGINS = 600.0, 1.6  # [s]

# What to do, by the shape of the rise.
NEXT = {
    TIGHT: "Evacuate deeper, then take the rise again.",
    LEAK: (
        "The pressure rises along a straight line: a leak. Find it at pressure with soap or a"
        " detector, then evacuate again."
    ),
    MOISTURE: (
        "The pressure levels off: moisture. Warm the machine, sweep it with dry nitrogen, and"
        " evacuate again."
    ),
    BOTH: "Leak and moisture together. Find the leak at pressure first, then dry the machine.",
    UNDECIDED: (
        "The record is too short or too unsteady to distinguish leak from moisture: take a"
        " reading every five minutes for longer."
    ),
    "": "Paste the rise over time: its shape distinguishes leak from moisture.",
}


def judged(
    machine: Machine, limits: Limits, entries: Entries, tested: Tested
) -> tuple[Verdict, ...]:
    """Pressure hold, evacuation, charge, search, leak log."""
    found = (
        *hold_verdicts(machine, limits, entries, tested.held),
        *_evacuation(limits, entries, tested.evacuated),
        _freezing(entries),
        *_charging(machine, limits, entries, tested.charge),
    )
    return (
        *(_scoped(v, entries) for v in low_pressure(machine, entries, found)),
        *_vacuum_hold(machine, limits, entries, tested.evacuated),
        *_contradicted_scope(entries, tested),
        *_search(entries),
        *_leak_log(machine, limits, entries),
    )


def _scoped(found: Verdict, entries: Entries) -> Verdict:
    """A machine that came charged and was not opened is neither filled with gas nor evacuated; what
    was measured all the same is judged.
    """
    if entries.code("scope") != CHARGED.code or found.outcome is not Outcome.OPEN:
        return found
    return replace(
        found,
        outcome=Outcome.NA,
        sentence="Shipped with its charge and not opened.",
        next_step="",
        rests_on=(*found.rests_on, "tightness.scope"),
    )


def _vacuum_hold(
    machine: Machine, limits: Limits, entries: Entries, found: Evacuated
) -> tuple[Verdict, ...]:
    """A vacuum in place of a pressure hold stands as long as the pressure would."""
    if kind_of_test(machine, entries) != VACUUM.code:
        return ()
    step = "Hold the vacuum longer, and read again."
    return (check(entries, limits["tightness.vacuum_hold_time"], found.duration, next_step=step),)


def _search(entries: Entries) -> tuple[Verdict, ...]:
    searched = confirm(
        entries,
        "joints",
        "tightness.joints",
        "Joints searched",
        good="Every joint was searched at pressure.",
        bad="Not every joint was searched.",
        next_step="Search the others at pressure.",
        source="UFGS 15652A 3.2.1.2: soap every joint",
    )
    return (searched, *_leaks(entries))


def _leaks(entries: Entries) -> tuple[Verdict, ...]:
    """Every leak found is repaired and was found tight afterwards."""
    rows = entries.rows("leaks")
    if not rows:
        return ()
    places = [(row.text("place") or f"row {n}", row) for n, row in enumerate(rows, 1)]
    answers = [(place, row.yes("repaired"), row.yes("tight")) for place, row in places]
    left = [place for place, *said in answers if False in said]
    unsaid = [place for place, *said in answers if None in said]
    found = Verdict(
        key="tightness.leaks",
        title="Leaks found are repaired",
        outcome=Outcome.PASS,
        sentence=f"{len(rows)} found, repaired and tight afterwards.",
        source=PRACTICE,
        rests_on=tuple(
            item
            for row in rows
            for column in ("repaired", "tight")
            for item in row.reading(column).items
        ),
    )
    if left:
        return (
            replace(
                found,
                outcome=Outcome.FAIL,
                sentence=f"Still leaking: {', '.join(left)}.",
                next_step="Repair them, and search again at pressure.",
            ),
        )
    if unsaid:
        return (
            replace(
                found,
                outcome=Outcome.OPEN,
                sentence=f"Not entered whether repaired and tight: {', '.join(unsaid)}.",
                next_step="Search again at pressure, and enter what was found.",
            ),
        )
    return (found,)


def _evacuation(limits: Limits, entries: Entries, found: Evacuated) -> tuple[Verdict, ...]:
    """Depth, temperature, time and end of the rise."""
    kind = found.rise.kind if found.rise is not None else ""
    return (
        _depth(limits, entries, found),
        check(
            entries,
            limits["tightness.evacuation_temperature"],
            entries.reading("coldest"),
            next_step="Warm the machine: water in a cold corner leaves it too slowly to be seen.",
        ),
        check(
            entries,
            limits["tightness.rise_time"],
            found.duration,
            next_step="Watch it longer after the pump is shut off.",
        ),
        check(
            entries,
            limits["tightness.rise"],
            found.end,
            next_step=NEXT[kind],
            note=_said(entries, found.rise),
        ),
    )


def _depth(limits: Limits, entries: Entries, found: Evacuated) -> Verdict:
    """The pressure at which the pump was shut off, which is where the rise begins."""
    shut_off = entries.reading("shut_off")
    judged = check(
        entries,
        limits["tightness.vacuum"],
        shut_off,
        next_step="Evacuate longer; change the pump's oil, open every valve, warm the machine.",
    )
    soon = found.time.size > 0 and found.time[0] <= SOON
    if judged.outcome is not Outcome.PASS or shut_off.quantity is None or not soon:
        return judged
    deep, first = float(shut_off.quantity.to("pascal").magnitude), float(found.pressure[0])
    if deep / BEGINS <= first <= deep * BEGINS:
        return judged
    begins = entries.show(Q(first, "pascal"), "vacuum")
    return replace(
        judged,
        outcome=Outcome.UNPROVEN,
        sentence=f"{judged.sentence} The rise begins at {begins}: one of the two is wrong.",
        next_step="Look for a decimal or a unit, and correct it.",
        rests_on=(*judged.rests_on, "tightness.rise"),
    )


def _contradicted_scope(entries: Entries, tested: Tested) -> tuple[Verdict, ...]:
    """A machine that came charged and was not opened was neither evacuated nor charged."""
    worked = [
        word
        for word, done in (
            ("an evacuation", tested.evacuated.time.size or entries.reading("shut_off").taken),
            ("cylinders", bool(entries.rows("cylinders"))),
        )
        if done
    ]
    if entries.code("scope") != CHARGED.code or not worked:
        return ()
    return (
        Verdict(
            key="tightness.scope",
            title="State of the refrigerant side",
            outcome=Outcome.UNPROVEN,
            sentence="Entered as shipped with its charge and not opened, but"
            f" {' and '.join(worked)} are entered as well.",
            next_step="Correct the one or the other.",
            source=PRACTICE,
            rests_on=("tightness.scope", "tightness.shut_off", "tightness.cylinders"),
        ),
    )


def _freezing(entries: Entries) -> Verdict:
    """Water in the tubes freezes while refrigerant boils below its freezing point."""
    return confirm(
        entries,
        "freezing_guarded",
        "tightness.freezing",
        "Kept from freezing while evacuating and charging",
        good="Water drained or moving; gas only until saturation was above freezing.",
        bad="The tubes were not kept from freezing.",
        next_step="Drain the water or run its pumps; look for burst tubes before going on.",
    )


def _said(entries: Entries, found: Rise | None) -> str:
    return "" if found is None else f"Shape of the rise: {found.kind}."


def _charging(
    machine: Machine, limits: Limits, entries: Entries, charge: Reading
) -> tuple[Verdict, ...]:
    """Charge against the sheet, and what was in the cylinders."""
    return (_charge(machine, limits, entries, charge), _label(machine, entries))


def _charge(machine: Machine, limits: Limits, entries: Entries, charge: Reading) -> Verdict:
    limit, due = limits["tightness.charge"], machine.machine.refrigerant_charge
    if charge.quantity is None:
        return check(entries, limit, charge, next_step="")
    went_in = f"{entries.show(charge.quantity, 'mass')} went in"
    if due is None:
        return Verdict(
            key=limit.key,
            title=limit.title,
            outcome=Outcome.UNPROVEN,
            sentence=f"{went_in}; the sheet gives no charge.",
            next_step="Add refrigerant_charge to the sheet.",
            source=limit.origin,
            rests_on=charge.items,
        )
    return check(
        entries,
        limit,
        charge.deviation_from(due),
        note=f"{went_in}, sheet {entries.show(due, 'mass')}.",
        next_step=(
            "Weigh in what is missing, or recover what is too much; final trimming is done at load."
        ),
    )


def _label(machine: Machine, entries: Entries) -> Verdict:
    """Every cylinder holds the sheet's refrigerant."""
    from startkit.science.refrigerant import canonical

    due, rows = machine.machine.refrigerant, entries.rows("cylinders")
    labels = [(_named(row, n), row.text("label")) for n, row in enumerate(rows, 1)]
    blank = Verdict(
        key="tightness.cylinder_label",
        title="Refrigerant on the cylinders",
        outcome=Outcome.OPEN,
        sentence="Not read from every cylinder.",
        next_step="Read the label of each cylinder before it is connected.",
        source="machine sheet",
        rests_on=(
            *(item for row in rows for item in row.reading("label").items),
            "tightness.cylinders",
        ),
    )
    if not labels or any(not label for _, label in labels):
        return blank
    try:
        other = [name for name, label in labels if canonical(label) != canonical(due)]
    except StartkitError as error:
        return replace(blank, sentence=str(error), next_step="Correct the entry.")
    if other:
        return replace(
            blank,
            outcome=Outcome.FAIL,
            sentence=f"Not {due}: {', '.join(other)}.",
            next_step="Do not connect it; if it went in, recover the whole charge and evacuate"
            " again.",
        )
    number = f"{len(labels)} cylinder{'s' if len(labels) > 1 else ''}"
    return replace(
        blank, outcome=Outcome.PASS, sentence=f"{canonical(due)} on {number}.", next_step=""
    )


def _named(row: Row, number: int) -> str:
    return row.text("number") or f"row {number}"


def _leak_log(machine: Machine, limits: Limits, entries: Entries) -> tuple[Verdict, ...]:
    """The annualised leak rate of what was added, judged only where the log was entered."""
    added, kind = entries.reading("added"), entries.code("appliance")
    if not added.taken:
        return ()
    limit = limits[f"tightness.leak_rate_{kind or APPLIANCES[-1].code}"]
    full, since = machine.machine.refrigerant_charge, _since(entries)
    names = ("tightness.appliance", "tightness.added_before", "tightness.added_on")
    if added.quantity is None or not kind or full is None or since is None:
        lacking = [
            word
            for word, missing in (
                ("kind of system", not kind),
                ("full charge in the sheet", full is None),
                ("both dates", since is None),
            )
            if missing
        ]
        told = added.problem or f"Missing: {', '.join(lacking)}."
        return (
            Verdict(
                key="tightness.leak_rate",
                title=limit.title,
                outcome=Outcome.OPEN,
                sentence=told,
                next_step="Enter what is missing.",
                source=limit.origin,
                rests_on=(*added.items, *names),
            ),
        )
    rate = annualised_leak_rate(added.quantity, full, since)
    u = None if added.u is None else annualised_leak_rate(added.u, full, since)
    return (
        check(
            entries,
            limit,
            added.with_quantity(rate, u),
            key="tightness.leak_rate",
            note=f"Annualised by {LEAK_RATE_SOURCE}.",
            next_step=(
                "Above the trigger the leak is repaired within 30 days and the repair is verified;"
                " local rules decide."
            ),
            rests_on=names,
        ),
    )


def _since(entries: Entries) -> pint.Quantity | None:
    """Time between the addition before and this one."""
    before, now = (_day(entries.text(name)) for name in ("added_before", "added_on"))
    return None if before is None or now is None or now <= before else Q((now - before).days, "day")


def _day(text: str) -> date | None:
    try:
        return datetime.fromisoformat(text).date() if text else None
    except ValueError:
        return None
