"""What is judged of the three phases: inrush, settled current, unbalance of current and voltage."""

from __future__ import annotations

from dataclasses import replace

import pint

from startkit.errors import StartkitError
from startkit.facts.limits import Limit, Limits
from startkit.facts.machine import Machine
from startkit.procedure import three_phase
from startkit.procedure.entries import Entries
from startkit.procedure.judging import Answer, by_choice, check
from startkit.procedure.reading import Reading
from startkit.science.supply import derating, explained_current_unbalance
from startkit.stages.first_start.fields import CURRENT_WHERE, FAST, SLOW
from startkit.stages.first_start.readings import FirstStart
from startkit.verdict import Outcome, Verdict


def _first_missing(readings: tuple[Reading, ...]) -> Reading | None:
    return next((each for each in readings if each.problem or each.quantity is None), None)


def inrush(machine: Machine, limits: Limits, entries: Entries, start: FirstStart) -> Verdict:
    """Highest current of the start against what this kind of starter should draw."""
    limit, peak = limits["first_start.inrush"], Reading.largest_of(start.peak)
    lacking = _first_missing(start.peak)
    if lacking is not None:
        return check(entries, limit, lacking, next_step="")
    try:
        due = machine.motor.expected_starting_current()
    except StartkitError as error:
        return Verdict(
            key=limit.key,
            title=limit.title,
            outcome=Outcome.UNPROVEN,
            sentence=f"{entries.show(peak.quantity, 'current', 0)}, but there is nothing to compare"
            f" it with: {error.what}.",
            next_step=f"{(error.remedy or 'complete the sheet').capitalize()}.",
            source=limit.origin,
            rests_on=peak.items,
        )
    deviation = peak.deviation_from(due)
    # A soft starter's or drive's limit is a ceiling: less current is no fault there.
    applies = replace(limit, low=None) if machine.motor.kind_of_starter.limits_current else limit
    too_low = _below(deviation, applies)
    found = check(
        entries,
        applies,
        deviation,
        next_step=(
            "The peak was missed: read it with a recorder at the next start that is due."
            if too_low
            else _inrush_step(machine)
        ),
        note=(
            f"Highest {entries.show(peak.quantity, 'current', 0)}, expected"
            f" {'at most ' if applies.low is None else ''}{entries.show(due, 'current', 0)} with"
            f" {machine.motor.kind_of_starter.phrase}."
        ),
    )
    if too_low and found.outcome is Outcome.FAIL:
        return replace(found, outcome=Outcome.UNPROVEN)
    return _at_drive_input(_slow(found, entries, start), start)


def where_read(entries: Entries) -> Verdict:
    """Where the currents were read: what they say of the motor depends on it."""
    return by_choice(
        entries,
        "current_where",
        "first_start.current_where",
        "Where the current was read",
        answers={
            choice: Answer(Outcome.PASS, f"{choice.label.capitalize()}.")
            for choice in CURRENT_WHERE
        },
        next_step="Enter where the current was read; line and winding differ.",
    )


def _at_drive_input(found: Verdict, start: FirstStart) -> Verdict:
    """What a drive draws from the supply is less than what it gives the motor at part speed."""
    if found.outcome is not Outcome.PASS or not start.at_drive_input:
        return found
    return replace(
        found,
        outcome=Outcome.UNPROVEN,
        sentence=f"{found.sentence} Read at the drive's input, it does not show what the motor"
        " draws.",
        next_step="Read it between drive and motor, or take the drive's own output current.",
        rests_on=(*found.rests_on, "first_start.current_where"),
    )


def _below(deviation: Reading, limit: Limit) -> bool:
    return (
        limit.low is not None
        and deviation.quantity is not None
        and bool(deviation.quantity < limit.low)
    )


def _inrush_step(machine: Machine) -> str:
    starter = machine.motor.kind_of_starter
    wye = (
        " A wye-delta motor that draws three times its share starts in delta: check its transition"
        " contactors."
        if starter.in_delta
        else ""
    )
    wye += (
        " The short peak at the change-over is no inrush: enter what was drawn before it."
        if starter.switches_over
        else ""
    )
    return "Compare the starter's connection, tap or current limit with the sheet." + wye


def _slow(found: Verdict, entries: Entries, start: FirstStart) -> Verdict:
    """A slow display can prove that the inrush was too high, never that it was not."""
    by = entries.code("peak_by")
    caught = start.peak_by_record or by in {choice.code for choice in FAST}
    if found.outcome is not Outcome.PASS or caught:
        return found
    reason = (
        "A panel display is too slow to catch the peak."
        if by == SLOW.code
        else "The form does not say how the peak was read."
    )
    return replace(
        found,
        outcome=Outcome.UNPROVEN,
        sentence=f"{found.sentence} {reason}",
        next_step=(
            "Read it with a recorder at the next start that is due, or waive it with a reason."
        ),
        rests_on=(*found.rests_on, "first_start.peak_by"),
    )


def settled(machine: Machine, limits: Limits, entries: Entries, start: FirstStart) -> Verdict:
    """Highest settled phase as percent of full-load current."""
    limit, full = limits["first_start.settled_current"], machine.motor.full_load_current
    lacking = _first_missing(start.settled)
    if lacking is not None:
        return check(entries, limit, lacking, next_step="")
    top = Reading.largest_of(start.settled)
    found = check(
        entries,
        limit,
        top.share_of(full),
        next_step="Stop and find what is overloading the motor: vanes, liquid, voltage or lift.",
        note=(
            f"Highest phase {entries.show(top.quantity, 'current')} of"
            f" {entries.show(full, 'current')}."
        ),
    )
    return _at_drive_input(found, start)


def voltages_of(entries: Entries) -> list[Reading]:
    """The three line voltages while it runs."""
    return [entries.reading(f"voltage_{pair}") for pair in ("12", "23", "31")]


def voltage_unbalance_of(entries: Entries) -> Reading:
    """Unbalance of the three line voltages while it runs."""
    return three_phase.unbalance(voltages_of(entries))


def supply(limits: Limits, entries: Entries) -> Verdict:
    """Voltage unbalance under load, with what it costs the motor."""
    limit, found = limits["first_start.voltage_unbalance"], voltage_unbalance_of(entries)
    if found.quantity is None:
        return check(entries, limit, found, next_step="")
    try:
        left = derating(found.quantity).to("percent")
        cost = f"It leaves the motor {entries.show(left, 'percent', 0)} of its rated power."
    except StartkitError:
        cost = "The motor must not be operated on it."
    return check(entries, limit, found, next_step=f"Have the supply balanced. {cost}")


def explained(machine: Machine, entries: Entries) -> tuple[pint.Quantity, pint.Quantity] | None:
    """The current unbalance that the supply explains by itself, from and to [percent]; None if the
    rule does not hold or voltages are missing.
    """
    found = voltage_unbalance_of(entries).quantity
    if found is None or machine.variable_speed:
        return None
    low, high = explained_current_unbalance(found)
    return low.to("percent"), high.to("percent")


def unbalance(machine: Machine, limits: Limits, entries: Entries, start: FirstStart) -> Verdict:
    """Current unbalance, and whether the supply explains it."""
    limit, found = limits["first_start.current_unbalance"], three_phase.unbalance(start.settled)
    if found.quantity is None:
        return check(entries, limit, found, next_step="")
    explanation_, step = explanation(machine, entries, found.quantity)
    judged = check(entries, limit, found, next_step=step, note=explanation_)
    return _at_drive_input(judged, start)


def explanation(machine: Machine, entries: Entries, found: pint.Quantity) -> tuple[str, str]:
    """Whether the supply explains a current unbalance, and where to look."""
    if machine.variable_speed:
        return (
            (
                "The rule of six to ten times the voltage unbalance is for a motor on the line;"
                " it does not apply behind a drive."
            ),
            "Swap nothing yet: compare the phases on the motor side and the supply side of the"
            " drive.",
        )
    span = explained(machine, entries)
    if span is None:
        return (
            "Without the three voltages, whether the supply explains it is not known.",
            "Read the three voltages while the motor runs.",
        )
    shown = " to ".join(entries.show(part, "percent", 0) for part in span)
    if found > span[1]:
        return (
            (
                f"The voltages would explain {shown} (six to ten times their unbalance): more than"
                " that points to the motor or its connections."
            ),
            (
                "Check terminals, contactors and windings; then rotate the three supply leads and"
                " see whether the high phase moves with them."
            ),
        )
    return (
        (
            f"The voltages explain {shown} (six to ten times their unbalance): the supply alone can"
            " cause it."
        ),
        "Have the supply balanced first.",
    )
