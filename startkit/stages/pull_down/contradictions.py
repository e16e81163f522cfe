"""What of a pull-down cannot all be true: plan against course, water against refrigerant."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pint

from startkit.errors import StartkitError
from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.procedure.contradiction import contradiction, where_wrong
from startkit.procedure.entries import Entries
from startkit.procedure.judging import check
from startkit.procedure.reading import Reading
from startkit.stages.pull_down.plan import PullPlan
from startkit.stages.pull_down.readings import Seen
from startkit.units import Q
from startkit.verdict import Verdict

WARM = 3.0  # K above the design's entering water from which a loop counts as warm (own default)
SAME = 3  # readings by hand in a row that are not all the same while the water falls (own default)
FALL = 2.0  # K by which it fell meanwhile
READ = ("pull_down.readings", "pull_down.trend")


def contradictions(
    machine: Machine, limits: Limits, entries: Entries, plan: PullPlan, seen: Seen | None
) -> tuple[Verdict, ...]:
    """Every contradiction found; none where the entries agree."""
    judged = [*_of_the_plan(machine, entries), *_of_the_course(machine, entries, plan, seen)]
    return (
        *where_wrong(
            *(
                check(
                    entries,
                    limits[f"pull_down.{name}"],
                    reading,
                    next_step="Correct the entry that is wrong, or look at the machine again.",
                    note=note,
                    rests_on=items,
                )
                for name, reading, note, items in judged
            )
        ),
        *(() if seen is None else _rows(seen)),
    )


Judged = tuple[str, Reading, str, tuple[str, ...]]


def _of_the_plan(machine: Machine, entries: Entries) -> Iterator[Judged]:
    start, chosen = entries.reading("start"), entries.reading("chosen")
    entering = machine.design.entering_chilled
    warm = (
        start.quantity is not None
        and entering is not None
        and start.quantity.to("kelvin").magnitude > entering.to("kelvin").magnitude + WARM
    )
    if warm and chosen.quantity is not None:
        gap = Reading.derived(machine.motor.overcurrent_trip - chosen.quantity, None, chosen)
        yield (
            "margin",
            gap,
            "The loop is warm: the vanes open on before the limiter sees the current.",
            start.items,
        )
    if machine.loop.volume is not None:
        yield (
            "volume_against_sheet",
            entries.reading("volume").relative_to(machine.loop.volume),
            f"The sheet has {entries.show(machine.loop.volume, 'loop_volume')}: one of the two is"
            " another loop, or in another unit.",
            (),
        )


def _of_the_course(
    machine: Machine, entries: Entries, plan: PullPlan, seen: Seen | None
) -> Iterator[Judged]:
    typed = entries.reading("reached")
    took = typed.quantity
    if took is None and seen is not None and seen.reached is not None:
        took = Q(seen.reached, "second")
    planned = plan.planned
    if took is not None and planned is not None and planned.inputs.chosen is not None:
        due = Q(planned.at(planned.inputs.chosen, "time"), "second")
        if np.isfinite(due.magnitude) and due.magnitude > 0:
            yield (
                "time_against_plan",
                _found((took / due).to("percent")),
                f"It took {entries.show(took, 'minutes', 0)}, planned were"
                f" {entries.show(due, 'minutes', 0)}: volume, load or capacity of the plan is"
                " wrong, or the times.",
                READ,
            )
    if seen is None:
        return
    if typed.quantity is not None and seen.reached is not None:
        yield (
            "reached_against_readings",
            typed.less(Q(seen.reached, "second")),
            "Typed less read.",
            READ,
        )
    yield from _of_the_readings(machine, seen)


def _of_the_readings(machine: Machine, seen: Seen) -> Iterator[Judged]:
    heat, capacity = seen.heat[np.isfinite(seen.heat)], machine.design.capacity
    if heat.size:
        yield (
            "heat",
            _found((Q(float(np.median(heat)), "watt") / capacity).to("percent")),
            "By flow and the water's two temperatures: one of the three has another unit or"
            " another sensor.",
            READ,
        )
    over = (
        seen.columns["current"] / float(machine.motor.full_load_current.to("ampere").magnitude)
        - seen.columns["limit"]
    )
    if np.isfinite(over).any():
        yield (
            "current_over_limit",
            _found(Q(float(np.nanmedian(over)), "dimensionless").to("percent")),
            "The limiter does not hold, or the current was read elsewhere.",
            READ,
        )
    for name, pressure, water, what in (
        ("refrigerant_under_water", "evaporator_pressure", "leaving", "evaporator"),
        ("refrigerant_over_water", "condenser_pressure", "leaving_condenser", "condenser"),
    ):
        gap = _over_water(machine, seen, pressure, water)
        if gap is not None:
            yield (
                name,
                _found(gap),
                f"No heat flows that way: the {what} gauge is wrong, absolute for gauge, or the"
                " thermometer.",
                READ,
            )


def _found(quantity: pint.Quantity) -> Reading:
    return Reading(quantity=quantity, taken=True, items=READ)


def _over_water(machine: Machine, seen: Seen, pressure: str, water: str) -> pint.Quantity | None:
    """Saturation less the water's temperature, the middle of all rows that have both."""
    from startkit.science.refrigerant import dew_temperature

    p, t = seen.columns[pressure], seen.columns[water]
    rows = np.flatnonzero(np.isfinite(p) & np.isfinite(t))
    try:
        gaps = [
            float(
                dew_temperature(machine.machine.refrigerant, Q(float(p[i]), "pascal"))
                .to("kelvin")
                .magnitude
            )
            - float(t[i])
            for i in rows[:: max(1, len(rows) // 20)]
        ]
    except StartkitError:
        return None
    return Q(float(np.median(gaps)), "delta_degC") if gaps else None


# --- row by row -----------------------------------------------------------------------------------


def _rows(seen: Seen) -> Iterator[Verdict]:
    entering, leaving = seen.columns["entering"], seen.columns["leaving"]
    known = np.isfinite(entering) & np.isfinite(leaving)
    if known.sum() >= SAME and np.median((entering - leaving)[known]) < 0:
        yield contradiction(
            "pull_down.waters",
            "Chilled water leaves colder than it enters",
            "The leaving water is the warmer one in most readings: the two thermometers are"
            " swapped, or the machine did not cool.",
            "Look which sensor is where.",
            READ,
        )
    falling = known & (seen.time <= (np.inf if seen.reached is None else seen.reached))
    still = np.flatnonzero((np.diff(entering[falling]) == 0) & (np.diff(leaving[falling]) == 0))
    runs = np.split(still, np.flatnonzero(np.diff(still) > 1) + 1) if still.size else []
    longest = max((len(run) + 1 for run in runs), default=0)
    if longest >= SAME and np.ptp(leaving[falling]) > FALL:
        yield contradiction(
            "pull_down.copied_rows",
            "Each row of the pull-down read by itself",
            f"{longest} rows in a row have the same two temperatures while the water was falling:"
            " one reading was written down again.",
            "Leave out what was not read.",
            READ,
        )
