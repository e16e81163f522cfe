"""What is judged of the first start."""

from __future__ import annotations

from startkit.facts.limits import PRACTICE, Limits
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.judging import Answer, by_choice, check
from startkit.procedure.reading import Reading
from startkit.procedure.starts import Next, Run, clock, overlapping, shortfalls
from startkit.science.motor import acceleration_excess
from startkit.stages.first_start import cards
from startkit.stages.first_start.contradictions import contradictions
from startkit.stages.first_start.fields import NOT_SEEN, RIGHT, WRONG
from startkit.stages.first_start.phases import inrush, settled, supply, unbalance, where_read
from startkit.stages.first_start.readings import FirstStart
from startkit.stages.first_start.vibration import vibration
from startkit.verdict import Outcome, Verdict


def judged(
    machine: Machine, limits: Limits, entries: Entries, start: FirstStart
) -> tuple[Verdict, ...]:
    """Every verdict of the stage, in the order in which the start goes."""
    return (
        *cards.restored(entries),
        *cards.closed_proof(machine, entries),
        cards.vane_position(limits, entries),
        *cards.cards(machine, limits, entries, start),
        _rotation(machine, entries),
        _run_up(machine, limits, entries, start),
        where_read(entries),
        inrush(machine, limits, entries, start),
        settled(machine, limits, entries, start),
        supply(limits, entries),
        unbalance(machine, limits, entries, start),
        _oil(limits, entries, start),
        vibration(machine, limits, entries),
        *_temperatures(limits, entries),
        *_noise(limits, entries),
        kept_apart(entries, start),
        *contradictions(machine, limits, entries, start),
    )


# --- at the start --------------------------------------------------------------------------------


def _rotation(machine: Machine, entries: Entries) -> Verdict:
    return by_choice(
        entries,
        "rotation",
        "first_start.rotation",
        "Rotation",
        answers={
            **{c: Answer(Outcome.PASS, f"{c.label.capitalize()}.") for c in RIGHT},
            WRONG: Answer(
                Outcome.FAIL,
                "It turned the wrong way.",
                f"{machine.motor.kind_of_starter.turned_round}; then bump again.",
            ),
            NOT_SEEN: Answer(
                Outcome.UNPROVEN,
                "No one saw which way it turned.",
                "Prove rotation by phase meter and pressure rise, or bump again when a start is"
                " due.",
            ),
        },
        next_step="Bump the motor and watch which way it turns.",
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
    made = start.runs
    blank = Verdict(
        key="first_start.starts",
        title="Time between starts observed",
        outcome=Outcome.OPEN,
        sentence="No start is entered.",
        next_step="Enter every start with date and time, bumps included.",
        source=start.rules.source or PRACTICE,
        rests_on=("first_start.starts",),
    )
    if not made:
        return blank
    if not start.rules.known:
        return blank.unproven(
            f"{len(made)} starts, but neither the sheet nor the table of NEMA MG 10"
            " gives the time between them.",
            "Add start_to_start, stop_to_start or starts_per_hour to the sheet.",
        )
    muddled = overlapping(made)
    if muddled:
        return blank.left_open(
            f"Start {muddled[0]} has no stop before start {muddled[0] + 1}.",
            "Enter when it stopped.",
        )
    early = shortfalls(start.rules, made)
    if early:
        return _early(blank, early, made)
    return blank.passed(
        f"{len(made)} start{'s' if len(made) > 1 else ''}, all far enough apart. {next_said(start)}"
    )


def _early(
    blank: Verdict, early: tuple[tuple[int, float, Next], ...], made: tuple[Run, ...]
) -> Verdict:
    number, seconds, due = max(early, key=lambda found: found[1])
    said = f"Start {number} came {seconds / 60:.1f} min before {clock(due.at)} ({due.rule})"
    if seconds <= 60 and any(run.coarse for run in made[:number]):
        return blank.unproven(
            f"{said}, but the times are entered to the minute only.",
            "Enter them with seconds, or waive it with a reason.",
        )
    return blank.failed(
        f"{said}.",
        "Let the motor cool as the maker requires, and find out why the timer allowed it.",
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
