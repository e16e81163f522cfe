"""The card of each start: what was checked before it, and what was read at the start command.

Journals from before the cards hold one switch and one vane position for all starts; they are judged
by those.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime

from startkit.facts.limits import PRACTICE, Limits
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.judging import check
from startkit.procedure.reading import Reading, Row
from startkit.procedure.starts import TRIP, clock, moment
from startkit.stages.first_start.fields import MADE
from startkit.stages.first_start.readings import FirstStart
from startkit.verdict import Outcome, Verdict, worst

CHECKS = {
    "taken_out": "jumpers, forced points or simulated sensors",
    "automatic": "automatic control",
    "unlocked": "locks and tags",
    "people_clear": "people clear of the machine",
}
READ = ("closed", "vanes", "oil_before", "oil_after", "flows", "limit")
STARTS, NEVER = "first_start.starts", datetime.min
INTERLOCK = "Do not start again until the interlock prevents a start with the switch open."
CLOSE = "Stop. Close the vanes, and find out why the start was allowed."


def restored(entries: Entries) -> tuple[Verdict, ...]:
    """Whether the machine was restored and clear of people before the first start: the shaft waits
    for it.
    """
    if not _carded(entries):
        return ()
    rows = entries.rows("starts")
    found = Verdict(
        key="first_start.restored",
        title="Restored, and clear of people, before the shaft turns",
        outcome=Outcome.OPEN,
        sentence="Not checked.",
        next_step="Go through the check before the first start, and enter it by name.",
        source=PRACTICE,
        gate="turn_shaft",
        rests_on=(STARTS,),
    )
    if not rows:
        return (found,)
    outcome, sentence, step = _checked(rows[0])
    items = tuple(rows[0].reading(column).what for column in (*CHECKS, "by"))
    return (replace(found, outcome=outcome, sentence=sentence, next_step=step, rests_on=items),)


def closed_proof(machine: Machine, entries: Entries) -> tuple[Verdict, ...]:
    """The closed-position switch at the last start; those before it have their cards."""
    if machine.vanes.switch == "none":
        return ()
    seen = _at_the_last_start(entries, "closed_proof", "closed")
    found = Verdict(
        key="first_start.closed_proof",
        title="Vanes proven closed at start",
        outcome=Outcome.PASS,
        sentence="The closed-position switch was made.",
        source=PRACTICE,
        rests_on=seen.items,
    )
    if seen.problem or not seen.taken:
        return (
            replace(
                found,
                outcome=Outcome.OPEN,
                sentence=seen.problem or "Not read.",
                next_step="Enter whether the closed-position switch was made at the start command.",
            ),
        )
    if seen.code == MADE.code:
        return (found,)
    return (
        replace(
            found,
            outcome=Outcome.FAIL,
            sentence="The start command was given with the closed-position switch open.",
            next_step=INTERLOCK,
        ),
    )


def vane_position(limits: Limits, entries: Entries) -> Verdict:
    """The vanes at the last start."""
    return check(
        entries,
        limits["first_start.vane_position"],
        _at_the_last_start(entries, "vane_position", "vanes"),
        next_step=CLOSE,
    )


def _at_the_last_start(entries: Entries, single: str, column: str) -> Reading:
    """What was read at the last start; in a journal from before the cards the one reading for all
    starts.
    """
    last = max(
        _started(entries), key=lambda row: moment(row.text("started")) or NEVER, default=None
    )
    if last is not None:
        return last.reading(column)
    old = entries.reading(single)
    return old if old.taken else Reading(items=(STARTS,))


def _name(row: Row) -> str:
    return f"Start {row.index}"


def _carded(entries: Entries) -> bool:
    """False in a journal from before the cards: one switch or position for all starts, and none
    with its start.
    """
    cells = any(
        row.reading(column).taken
        for row in entries.rows("starts")
        for column in (*CHECKS, "by", *READ)
    )
    old = entries.reading("closed_proof").taken or entries.reading("vane_position").taken
    return cells or not old


def _started(entries: Entries) -> tuple[Row, ...]:
    """The starts that were made and have a card."""
    if not _carded(entries):
        return ()
    return tuple(row for row in entries.rows("starts") if moment(row.text("started")) is not None)


# --- one card ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Part:
    """One thing on a card: what it is worth, in words, and what to do."""

    outcome: Outcome
    sentence: str
    next_step: str = ""
    rests_on: tuple[str, ...] = ()


def cards(
    machine: Machine, limits: Limits, entries: Entries, start: FirstStart
) -> tuple[Verdict, ...]:
    """One verdict for each start."""
    return tuple(_card(machine, limits, entries, start, row) for row in _started(entries))


def _card(
    machine: Machine, limits: Limits, entries: Entries, start: FirstStart, row: Row
) -> Verdict:
    parts = tuple(_parts(machine, limits, entries, start, row))
    outcome = worst([part.outcome for part in parts])
    told = [part for part in parts if part.outcome is outcome]
    return Verdict(
        key=f"first_start.start_{row.index}",
        title=f"{_name(row)}, {clock(moment(row.text('started')))}",
        outcome=outcome,
        sentence=" ".join(part.sentence for part in told),
        next_step="" if outcome is Outcome.PASS else told[0].next_step,
        source=PRACTICE,
        rests_on=tuple(dict.fromkeys(item for part in parts for item in part.rests_on)),
    )


def _parts(
    machine: Machine, limits: Limits, entries: Entries, start: FirstStart, row: Row
) -> Iterator[_Part]:
    items = tuple(row.reading(column).what for column in (*CHECKS, "by"))
    yield _Part(*_checked(row), items)
    if machine.vanes.switch != "none":
        yield _switch(row)
    yield _vanes(limits, entries, row.reading("vanes"))
    for column, when in (("oil_before", "before"), ("oil_after", "after")):
        yield _oil(limits, entries, start, row.reading(column), when)
    yield _flows(row)
    yield _limit(machine, entries, row)
    yield from _fault(row)


def _checked(row: Row) -> tuple[Outcome, str, str]:
    """The check before a start: outcome, sentence, next step."""
    problem = next(
        (each.problem for name in (*CHECKS, "by") if (each := row.reading(name)).problem), ""
    )
    if problem:
        return Outcome.OPEN, problem, "Correct the entry."
    left = [words for name, words in CHECKS.items() if row.yes(name) is False]
    if left:
        return Outcome.FAIL, f"Not cleared before it: {', '.join(left)}.", "Correct it first."
    missing = [words for name, words in CHECKS.items() if row.yes(name) is None]
    missing += [] if row.text("by") else ["who checked"]
    if missing:
        step = "Go through the check before each start, and enter it by name."
        return Outcome.OPEN, f"Not checked before it: {', '.join(missing)}.", step
    return Outcome.PASS, f"Restored and clear, by {row.text('by')}.", ""


def _switch(row: Row) -> _Part:
    seen = row.reading("closed")
    if seen.problem or not seen.taken:
        return _Part(
            Outcome.OPEN,
            seen.problem or "Switch not read.",
            "Enter whether the closed-position switch was made at the start command.",
            seen.items,
        )
    if seen.code == MADE.code:
        return _Part(Outcome.PASS, "Switch made.", "", seen.items)
    return _Part(Outcome.FAIL, "Switch open.", INTERLOCK, seen.items)


def _vanes(limits: Limits, entries: Entries, seen: Reading) -> _Part:
    found = check(entries, limits["first_start.vane_position"], seen, next_step=CLOSE)
    said = f"Vanes {entries.show(seen.quantity, 'percent')}" if seen.quantity is not None else ""
    return _part(found, said or "Vanes", "")


def _oil(limits: Limits, entries: Entries, start: FirstStart, shown: Reading, when: str) -> _Part:
    """Oil differential before or after the start, over the trip by the same margin as in the
    run-up.
    """
    true = start.oil_zero.subtracted_from(shown)
    found = check(
        entries,
        limits["first_start.oil_margin"],
        true.deviation_from(start.oil_trip),
        next_step="Find out why the oil pressure is low before the next start.",
    )
    if true.quantity is None:
        return _part(found, f"Oil {when}", "")
    said = f"Oil {entries.show(true.quantity, 'pressure_difference')} {when}"
    trip = entries.show(start.oil_trip, "pressure_difference")
    return _part(found, said, f" over the trip at {trip}")


def _part(found: Verdict, said: str, over: str) -> _Part:
    """A reading in a few words where it passes, with all that was found where it does not."""
    sentence = f"{said}." if found.outcome is Outcome.PASS else f"{said}{over}: {found.sentence}"
    return _Part(found.outcome, sentence, found.next_step, found.rests_on)


def _flows(row: Row) -> _Part:
    seen, proven = row.reading("flows"), row.yes("flows")
    if proven is None:
        return _Part(
            Outcome.OPEN,
            seen.problem or "Water flows not entered.",
            "Enter whether both flows were proven.",
            seen.items,
        )
    if proven:
        return _Part(Outcome.PASS, "Both flows proven.", "", seen.items)
    return _Part(
        Outcome.FAIL,
        "Started without both water flows proven.",
        "Find out why the start was allowed without flow.",
        seen.items,
    )


def _limit(machine: Machine, entries: Entries, row: Row) -> _Part:
    seen = row.reading("limit")
    if seen.quantity is None:
        return _Part(
            Outcome.OPEN,
            seen.problem or "Current limit not entered.",
            "Enter the limit that was set.",
            seen.items,
        )
    shown, trip = entries.show(seen.quantity, "percent", 0), machine.motor.overcurrent_trip
    if seen.quantity >= trip:
        return _Part(
            Outcome.FAIL,
            f"Limit {shown}, not below the overcurrent trip at {entries.show(trip, 'percent', 0)}.",
            "Set the limit below the trip: the motor trips before the limit holds it.",
            seen.items,
        )
    return _Part(Outcome.PASS, f"Limit {shown}.", "", seen.items)


def _fault(row: Row) -> Iterator[_Part]:
    """A start that tripped has the fault that came first."""
    if row.code("end") != TRIP:
        return
    seen = row.reading("fault")
    if seen.text:
        yield _Part(Outcome.PASS, f"Tripped: {seen.text}.", "", seen.items)
    else:
        yield _Part(
            Outcome.OPEN,
            "Tripped, and the first fault is not entered.",
            "Enter the fault that the panel shows first.",
            seen.items,
        )
