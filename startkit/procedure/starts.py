"""Starts counted: when each came, whether it was allowed, and the clock time of the next one."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

from startkit.errors import StartkitError
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.science import starts as science
from startkit.units import Q

MINUTE = 60.0
TRIP = "trip"  # code of the choice that a start ended by a trip


@dataclass(frozen=True)
class Run:
    """One start with its stop; `ended` None while it runs. `end` is how it ended, in words;
    `tripped` if that was a trip; `coarse` if a moment was written to the minute.
    """

    began: datetime
    ended: datetime | None
    end: str
    remark: str
    coarse: bool
    tripped: bool = False


@dataclass(frozen=True)
class Rules:
    """What may not be undercut between starts, with the sources."""

    start_to_start: float | None  # s
    stop_to_start: float | None  # s
    per_hour: float | None
    source: str

    @property
    def known(self) -> bool:
        return any(
            rule is not None for rule in (self.start_to_start, self.stop_to_start, self.per_hour)
        )


@dataclass(frozen=True)
class Next:
    """The earliest next start as a clock time, and the rule that decides it; `at` None if the
    machine still runs or no rule is known.
    """

    at: datetime | None
    rule: str


def moment(text: str) -> datetime | None:
    """A typed moment as the wall clock on site; None if it cannot be read."""
    try:
        return datetime.fromisoformat(text.strip()).replace(tzinfo=None)
    except ValueError:
        return None


def clock(at: datetime | None) -> str:
    """``"14:32 on 2026-11-25"``; seconds only where there are any, a dash for no moment."""
    if at is None:
        return "–"
    return f"{at:%H:%M:%S} on {at:%Y-%m-%d}" if at.second else f"{at:%H:%M} on {at:%Y-%m-%d}"


def runs(entries: Entries, problems: list[str]) -> tuple[Run, ...]:
    """Every start of the table, oldest first; a row without a readable start is reported, not
    dropped silently.
    """
    found = []
    for row in entries.rows("starts"):
        if not any(row.text(column) for column in ("started", "stopped", "end", "remark")):
            continue  # only checked so far, before the start
        began, ended = moment(row.text("started")), moment(row.text("stopped"))
        if began is None:
            problems.append(
                f"Starts, row {row.index}: no date and time of the start; write it as 2026-11-25"
                " 14:30."
            )
        elif ended is not None and ended < began:
            problems.append(
                f"Starts, row {row.index}: the stop is earlier than its start; correct one of them."
            )
        else:
            coarse = any(
                text.count(":") < 2 for text in (row.text("started"), row.text("stopped")) if text
            )
            tripped = row.code("end") == TRIP
            found.append(Run(began, ended, row.text("end"), row.text("remark"), coarse, tripped))
    return tuple(sorted(found, key=lambda run: run.began))


def rules(machine: Machine) -> Rules:
    """The sheet's timers and starts per hour; where the sheet has none, the table of NEMA MG 10 if
    it covers the motor.
    """
    motor = machine.motor
    start, stop = (
        None if timer is None else float(timer.to("second").magnitude)
        for timer in (motor.start_to_start, motor.stop_to_start)
    )
    if start is not None or stop is not None or motor.starts_per_hour is not None:
        return Rules(start, stop, motor.starts_per_hour, "machine sheet")
    if motor.poles is None or motor.load_inertia is None:
        return Rules(None, None, None, "")
    try:
        allowed = science.allowable_starts(motor.rated_power, motor.poles, motor.load_inertia)
    except StartkitError:
        return Rules(None, None, None, "")
    return Rules(
        None, float(allowed.rest.magnitude), float(allowed.per_hour.magnitude), science.SOURCE
    )


def next_start(known: Rules, so_far: tuple[Run, ...]) -> Next:
    """The earliest start after those so far."""
    if not so_far or not known.known or so_far[-1].ended is None:
        return Next(None, "")
    zero = so_far[0].began
    starts = [(run.began - zero).total_seconds() for run in so_far]
    stops = [((run.ended or run.began) - zero).total_seconds() for run in so_far]
    timers = {
        name: Q(value, "second")
        for name, value in (
            ("start_to_start", known.start_to_start),
            ("stop_to_start", known.stop_to_start),
        )
        if value is not None
    }
    hourly = (
        {} if known.per_hour is None else {"starts_per_hour": Q(known.per_hour, "dimensionless")}
    )
    found = science.earliest_next_start(starts, stops, **timers, **hourly)
    return Next(zero + timedelta(seconds=float(found.at.magnitude)), found.rule)


def shortfalls(known: Rules, made: tuple[Run, ...]) -> tuple[tuple[int, float, Next], ...]:
    """Starts that came too early: (number, by how many seconds, what was due)."""
    found = []
    for index in range(1, len(made)):
        due = next_start(known, made[:index])
        if due.at is not None and made[index].began < due.at:
            found.append((index + 1, (due.at - made[index].began).total_seconds(), due))
    return tuple(found)


def overlapping(made: tuple[Run, ...]) -> tuple[int, ...]:
    """Numbers of starts before whose stop the next one is written, or whose stop is missing
    although another start follows.
    """
    return tuple(
        i + 1 for i, (a, b) in enumerate(pairwise(made)) if a.ended is None or a.ended > b.began
    )
