"""What is judged and shown of the shut-down."""

from __future__ import annotations

from collections.abc import Iterator

from startkit.facts.limits import PRACTICE, Limits
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.judging import Answer, by_choice, check, confirm
from startkit.procedure.starts import clock
from startkit.stages.shut_down.fields import (
    MADE,
    NO,
    NOT_SEEN,
    OPEN,
    RUNNING,
    UNDER_LOAD,
    UNLOADED,
    YES,
)
from startkit.stages.shut_down.readings import Down
from startkit.verdict import Outcome, Verdict

# Vane position from which a stop is no longer unloaded, and up to which it is not one under load;
# common practice, no source.
LOADED, UNLOADED_SHARE = 60.0, 20.0  # [%]


def judged(machine: Machine, limits: Limits, entries: Entries, down: Down) -> tuple[Verdict, ...]:
    """Every verdict of the stage, in the order in which a stop goes."""
    return (
        *_proof(machine, entries),
        _closing(machine, limits, entries),
        check(
            entries,
            limits["shut_down.vane_position"],
            entries.reading("vane_position"),
            next_step=(
                "Find what is holding the vanes open, and stroke them again before the next start."
            ),
        ),
        _coast_down(machine, limits, entries, down),
        _backward(entries),
        *_post_lube(machine, limits, entries, down),
        confirm(
            entries,
            "heater_on",
            "shut_down.heater",
            "Oil heater on after the stop",
            good="It came on.",
            bad="It stayed off: refrigerant will dissolve in the oil.",
            next_step="Find out why the heater stays off before you leave the machine.",
        ),
        _timer(limits, entries, down),
        *_early(entries),
        *_contradicted(entries, down),
    )


def _contradicted(entries: Entries, down: Down) -> tuple[Verdict, ...]:
    """What was chosen against what was read."""
    said = tuple(_contradictions(entries, down))
    if not said:
        return ()
    sentence = "; ".join(each for each, _ in said)
    return (
        Verdict(
            key="shut_down.together",
            title="The stop as it was entered",
            outcome=Outcome.UNPROVEN,
            sentence=f"{sentence[0].upper()}{sentence[1:]}.",
            next_step="Correct the one or the other.",
            source=PRACTICE,
            rests_on=tuple(item for _, items in said for item in items),
        ),
    )


def _contradictions(entries: Entries, down: Down) -> Iterator[tuple[str, tuple[str, ...]]]:
    vanes, stop = entries.reading("vanes_before"), entries.reading("stop")
    if vanes.quantity is not None and stop.code in (UNLOADED.code, UNDER_LOAD.code):
        share = float(vanes.quantity.to("percent").magnitude)
        unloaded = stop.code == UNLOADED.code
        if (share > LOADED) if unloaded else (share < UNLOADED_SHARE):
            yield (
                f"the choice is '{stop.label}', with the vanes at {share:.0f} %",
                (*stop.items, *vanes.items),
            )
    left = entries.reading("left_as")
    if down.runs and left.code:
        runs = down.runs[-1].ended is None
        if runs is not (left.code == RUNNING.code):
            still = "still running" if runs else "stopped"
            yield (
                f"it is left '{left.label}', but {still} according to the table of starts",
                (*left.items, "first_start.starts"),
            )


def _proof(machine: Machine, entries: Entries) -> tuple[Verdict, ...]:
    if machine.vanes.switch == "none":
        return ()
    return (
        by_choice(
            entries,
            "closed_proof",
            "shut_down.closed_proof",
            "Vanes proven closed after the stop",
            answers={
                MADE: Answer(Outcome.PASS, "The switch made."),
                OPEN: Answer(
                    Outcome.FAIL,
                    "The switch did not make: the next start would be with open vanes or an"
                    " unproven switch.",
                    "Calibrate the vanes again before the next start.",
                ),
            },
            next_step="Read the switch once the vanes have stopped.",
        ),
    )


def _closing(machine: Machine, limits: Limits, entries: Entries) -> Verdict:
    limit, seen = limits["shut_down.closing_time"], entries.reading("closing_time")
    if seen.quantity is None:
        return check(entries, limit, seen, next_step="")
    due = machine.vanes.closing_time
    before = entries.quantity("vanes_before")
    note = f"{entries.show(seen.quantity, 'time')}, full stroke {entries.show(due, 'time')}" + (
        f", from {entries.show(before, 'percent', 0)}." if before is not None else "."
    )
    return check(
        entries,
        limit,
        seen.relative_to(due),
        next_step="Check actuator and linkage.",
        note=note,
    )


def _coast_down(machine: Machine, limits: Limits, entries: Entries, down: Down) -> Verdict:
    limit, seen, due = (
        limits["shut_down.coast_down_time"],
        down.coast_down,
        machine.oil.coast_down_time,
    )
    if seen.quantity is None:
        return check(entries, limit, seen, next_step="")
    shown = entries.show(seen.quantity, "time")
    if due is None:
        return Verdict(
            key=limit.key,
            title=limit.title,
            outcome=Outcome.NA,
            sentence=f"{shown}: kept as a baseline; the sheet gives no coast-down time.",
            source="machine sheet",
            rests_on=seen.items,
        )
    return check(
        entries,
        limit,
        seen.deviation_from(due),
        next_step=(
            "Shorter: look for a dragging bearing or seal. Longer: look for flow through open"
            " vanes."
        ),
        note=f"Measured {shown}, sheet {entries.show(due, 'time')}.",
    )


def _backward(entries: Entries) -> Verdict:
    return by_choice(
        entries,
        "backward",
        "shut_down.backward",
        "Shaft did not turn backward",
        answers={
            NO: Answer(Outcome.PASS, "It came to rest without turning backward."),
            YES: Answer(
                Outcome.FAIL,
                "It turned backward: gas flowed back through the machine.",
                "Find out why the vanes were not closed in time; check the oil differential while"
                " it turned backward.",
            ),
            NOT_SEEN: Answer(
                Outcome.UNPROVEN,
                "No one saw the last turns.",
                "Watch them at the next stop, or waive it with a reason.",
            ),
        },
        next_step="Watch the last turns at the next stop.",
    )


def _post_lube(
    machine: Machine, limits: Limits, entries: Entries, down: Down
) -> tuple[Verdict, ...]:
    due, seen = machine.oil.post_lube_time, down.post_lube
    if due is None:
        # Without a time in the sheet the stage Lubrication's own limit counts, there for a record
        # and here for a stopwatch.
        return (
            ()
            if down.by_record
            else (
                check(
                    entries,
                    limits["lube.post_lube"],
                    seen,
                    key="shut_down.post_lube",
                    next_step="Set the post-lube timer as the maker specifies.",
                ),
            )
        )
    limit = limits["shut_down.post_lube"]
    if seen.quantity is None:
        return (check(entries, limit, seen, next_step=""),)
    return (
        check(
            entries,
            limit,
            seen.relative_to(due),
            next_step="Set the post-lube timer to the time in the sheet.",
            note=f"{entries.show(seen.quantity, 'time')} of {entries.show(due, 'time')}.",
        ),
    )


_STOPS = ("shut_down.stopped_at", "first_start.starts")


def _timer(limits: Limits, entries: Entries, down: Down) -> Verdict:
    limit, shown = limits["shut_down.restart_timer"], entries.reading("timer_left")
    if shown.quantity is None:
        return check(entries, limit, shown, next_step="")
    if down.due is None:
        why = (
            "no rule for the time between starts is known"
            if not down.rules.known
            else "the starts and this stop are not all entered"
        )
        return Verdict(
            key=limit.key,
            title=limit.title,
            outcome=Outcome.UNPROVEN,
            sentence=f"{entries.show(shown.quantity, 'minutes')} shown, but {why}.",
            next_step="Enter starts and stops in the stage First start, and the timers in the"
            " sheet.",
            source=limit.origin,
            rests_on=(*shown.items, *_STOPS),
        )
    return check(
        entries,
        limit,
        shown.less(down.due),
        next_step="Set the restart timers as in the sheet.",
        note=(
            f"Shown {entries.show(shown.quantity, 'minutes')}, due"
            f" {entries.show(down.due, 'minutes')} ({down.next.rule}): not before"
            f" {clock(down.next.at)}."
        ),
        rests_on=_STOPS,
    )


def _early(entries: Entries) -> tuple[Verdict, ...]:
    if not entries.reading("early_start").taken:
        return ()
    return (
        confirm(
            entries,
            "early_start",
            "shut_down.early_start",
            "Early start refused",
            good="The start was refused.",
            bad="A start was allowed before the timer ran out.",
            next_step="Have the timer corrected; count the start.",
        ),
    )
