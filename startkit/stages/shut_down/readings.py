"""The readings of a stop brought together: by stopwatch, or from the oil record."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

import pint

from startkit.errors import StartkitError
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.oil_readings import coast_down_of
from startkit.procedure.reading import Reading
from startkit.procedure.starts import Next, Rules, Run, moment, next_start, rules, runs
from startkit.units import Q


@dataclass(frozen=True)
class Down:
    """The stop: times by stopwatch, else from the oil record of the stage Lubrication; starts and
    the next one.
    """

    coast_down: Reading
    post_lube: Reading
    by_record: bool
    coast_down_by_record: bool
    runs: tuple[Run, ...]
    rules: Rules
    next: Next
    due: pint.Quantity | None
    problems: tuple[str, ...]


def collect(machine: Machine, entries: Entries) -> Down:
    """Read everything once."""
    problems: list[str] = []
    recorded = coast_down_of(machine, entries.of("lube"))
    coast, post = entries.reading("coast_down_time"), entries.reading("post_lube_time")
    timed_by_hand = coast.taken
    if recorded is not None:
        coast = coast if coast.taken else recorded.coast_down_time
        post = post if post.taken else recorded.post_lube_time
    made, known = runs(entries.of("first_start"), problems), rules(machine)
    try:
        following = next_start(known, made)
    except StartkitError as error:
        problems.append(str(error))
        following = Next(None, "")
    stopped = moment(entries.text("stopped_at"))
    due = (
        None
        if following.at is None or stopped is None
        else Q(max((following.at - stopped) / timedelta(minutes=1), 0.0), "minute")
    )
    return Down(
        coast_down=coast,
        post_lube=post,
        by_record=recorded is not None,
        coast_down_by_record=recorded is not None and not timed_by_hand,
        runs=made,
        rules=known,
        next=following,
        due=due,
        problems=tuple(problems),
    )
