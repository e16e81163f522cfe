"""What is judged of the first start."""

from __future__ import annotations

from startkit.facts.limits import PRACTICE, Limits
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.judging import check
from startkit.procedure.reading import Reading
from startkit.procedure.starts import Next, Run, clock, overlapping, shortfalls
from startkit.science.motor import acceleration_excess
from startkit.stages.first_start.fields import MADE, RIGHT, WRONG
from startkit.stages.first_start.phases import inrush, settled, supply, unbalance
from startkit.stages.first_start.readings import FirstStart
from startkit.stages.first_start.vibration import vibration
from startkit.verdict import Outcome, Verdict


def judged(
    machine: Machine, limits: Limits, entries: Entries, start: FirstStart
) -> tuple[Verdict, ...]:
    """Every verdict of the stage, in the order in which the start goes."""
    return (
        *_closed_proof(machine, entries),
        check(
            entries,
            limits["first_start.vane_position"],
            entries.reading("vane_position"),
            next_step="Stop. Close the vanes, and find out why the start was allowed.",
        ),
        _rotation(entries),
        _run_up(machine, limits, entries, start),
        inrush(machine, limits, entries, start),
        settled(machine, limits, entries, start),
        supply(limits, entries),
        unbalance(machine, limits, entries, start),
        _oil(limits, entries, start),
        vibration(machine, limits, entries),
        *_temperatures(limits, entries),
        *_noise(limits, entries),
        kept_apart(entries, start),
    )


# --- at the start --------------------------------------------------------------------------------


def _closed_proof(machine: Machine, entries: Entries) -> tuple[Verdict, ...]:
    if machine.vanes.switch == "none":
        return ()
    key, title, seen = (
        "first_start.closed_proof",
        "Vanes proven closed at start",
        entries.reading("closed_proof"),
    )
    if seen.problem or not seen.taken:
        return (
            Verdict(
                key=key,
                title=title,
                outcome=Outcome.OPEN,
                sentence=seen.problem or "Not read.",
                next_step="Enter whether the closed-position switch was made at the start command.",
                source=PRACTICE,
                rests_on=seen.items,
            ),
        )
    if seen.code == MADE.code:
        return (
            Verdict(
                key=key,
                title=title,
                outcome=Outcome.PASS,
                sentence="The closed-position switch was made.",
                source=PRACTICE,
                rests_on=seen.items,
            ),
        )
    return (
        Verdict(
            key=key,
            title=title,
            outcome=Outcome.FAIL,
            sentence="The start command was given with the closed-position switch open.",
            next_step="Do not start again until the interlock prevents a start with the switch"
            " open.",
            source=PRACTICE,
            rests_on=seen.items,
        ),
    )


def _rotation(entries: Entries) -> Verdict:
    key, title, seen = "first_start.rotation", "Rotation", entries.reading("rotation")
    if seen.problem or not seen.taken:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.OPEN,
            sentence=seen.problem or "Not entered.",
            next_step="Bump the motor and watch which way it turns.",
            source=PRACTICE,
            rests_on=seen.items,
        )
    if seen.code in {choice.code for choice in RIGHT}:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.PASS,
            sentence=f"{seen.label.capitalize()}.",
            source=PRACTICE,
            rests_on=seen.items,
        )
    if seen.code == WRONG.code:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.FAIL,
            sentence="It turned the wrong way.",
            next_step="Lock out, swap two phases at the supply to the starter, and bump again.",
            source=PRACTICE,
            rests_on=seen.items,
        )
    return Verdict(
        key=key,
        title=title,
        outcome=Outcome.UNPROVEN,
        sentence="No one saw which way it turned.",
        next_step="Prove rotation by phase meter and pressure rise, or bump again when a start is"
        " due.",
        source=PRACTICE,
        rests_on=seen.items,
    )


# --- run-up and inrush ---------------------------------------------------------------------------


def _run_up(machine: Machine, limits: Limits, entries: Entries, start: FirstStart) -> Verdict:
    limit, measured, due = (
        limits["first_start.run_up_time"],
        start.run_up_time,
        machine.motor.run_up_time,
    )
    if measured.quantity is None or due is None:
        return check(entries, limit, measured, next_step="")
    excess = acceleration_excess(measured.quantity, due).to("percent")
    how = (
        f" Found from the record's {start.run_up.found_by}."
        if start.run_up is not None and start.timed_by_record
        else ""
    )
    return check(
        entries,
        limit,
        Reading.derived(excess, measured.relative_to(due).u, measured),
        next_step=(
            "Look for low voltage at start, open vanes, liquid, or a dragging bearing before the"
            " next start."
        ),
        note=(
            f"Measured {entries.show(measured.quantity, 'time')}, sheet"
            f" {entries.show(due, 'time')}.{how}"
        ),
    )


# --- oil, vibration, temperatures -----------------------------------------------------------------


def _oil(limits: Limits, entries: Entries, start: FirstStart) -> Verdict:
    limit, lowest = limits["first_start.oil_margin"], start.oil_lowest
    if lowest.quantity is None:
        return check(entries, limit, lowest, next_step="")
    when = (
        f", {entries.show(start.oil_at, 'time')} after the start"
        if start.oil_at is not None
        else ""
    )
    zero = "zero subtracted" if start.oil_zero.known else "zero error of the transducers not known"
    return check(
        entries,
        limit,
        lowest.deviation_from(start.oil_trip),
        next_step=(
            "Stop. Find out why the oil pressure falls while the shaft runs up: foaming, pump,"
            " filter, set point."
        ),
        note=(
            f"Lowest {entries.show(lowest.quantity, 'pressure_difference')} ({zero}){when}; trip at"
            f" {entries.show(start.oil_trip, 'pressure_difference')}."
        ),
    )


def _temperatures(limits: Limits, entries: Entries) -> tuple[Verdict, ...]:
    """Bearing temperatures where sheet or specification gives a limit."""
    limit = limits["first_start.bearing_temperature"]
    rows = [row for row in entries.rows("temperatures") if "bearing" in row.text("place").lower()]
    if limit.high is None and limit.low is None:
        return ()
    hottest = Reading.largest_of(row.reading("temperature") for row in rows)
    return (
        check(
            entries,
            limit,
            hottest if rows else Reading(items=("first_start.temperatures",)),
            next_step="Stop, and check oil flow, oil temperature and alignment.",
        ),
    )


def _noise(limits: Limits, entries: Entries) -> tuple[Verdict, ...]:
    limit = limits["first_start.noise"]
    return (
        ()
        if limit.high is None
        else (
            check(
                entries,
                limit,
                entries.reading("noise"),
                next_step="Look for the source: surge, rubbing, loose panels, pipework.",
            ),
        )
    )


# --- starts ---------------------------------------------------------------------------------------


def kept_apart(entries: Entries, start: FirstStart) -> Verdict:
    """Every start against restart timers and starts per hour, and when the next may come."""
    key, title, source = (
        "first_start.starts",
        "Time between starts observed",
        start.rules.source or PRACTICE,
    )
    made = start.runs
    if not made:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.OPEN,
            sentence="No start is entered.",
            next_step="Enter every start with date and time, bumps included.",
            source=source,
            rests_on=("first_start.starts",),
        )
    if not start.rules.known:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.UNPROVEN,
            sentence=f"{len(made)} starts, but neither the sheet nor the table of NEMA MG 10"
            " gives the time between them.",
            next_step="Add start_to_start, stop_to_start or starts_per_hour to the sheet.",
            source=source,
            rests_on=("first_start.starts",),
        )
    muddled = overlapping(made)
    if muddled:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.OPEN,
            sentence=f"Start {muddled[0]} has no stop before start {muddled[0] + 1}.",
            next_step="Enter when it stopped.",
            source=source,
            rests_on=("first_start.starts",),
        )
    early = shortfalls(start.rules, made)
    if early:
        return _early(key, title, source, early, made)
    return Verdict(
        key=key,
        title=title,
        outcome=Outcome.PASS,
        sentence=f"{len(made)} start{'s' if len(made) > 1 else ''}, all far enough apart."
        f" {next_said(start)}",
        source=source,
        rests_on=("first_start.starts",),
    )


def _early(
    key: str,
    title: str,
    source: str,
    early: tuple[tuple[int, float, Next], ...],
    made: tuple[Run, ...],
) -> Verdict:
    number, seconds, due = max(early, key=lambda found: found[1])
    said = f"Start {number} came {seconds / 60:.1f} min before {clock(due.at)} ({due.rule})"
    if seconds <= 60 and any(run.coarse for run in made[:number]):
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.UNPROVEN,
            sentence=f"{said}, but the times are entered to the minute only.",
            next_step="Enter them with seconds, or waive it with a reason.",
            source=source,
            rests_on=("first_start.starts",),
        )
    return Verdict(
        key=key,
        title=title,
        outcome=Outcome.FAIL,
        sentence=f"{said}.",
        next_step="Let the motor cool as the maker requires, and find out why the timer allowed"
        " it.",
        source=source,
        rests_on=("first_start.starts",),
    )


def next_said(start: FirstStart) -> str:
    """The earliest next start in words."""
    if start.next.at is not None:
        return f"Earliest next start: {clock(start.next.at)} ({start.next.rule})."
    return (
        "It is still running: the time to the next start counts from its stop."
        if start.runs and start.runs[-1].ended is None
        else ""
    )
