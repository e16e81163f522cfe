"""What is judged of the record from pump start: set point reached, held, and clear of the trip."""

from __future__ import annotations

import math

import pint

from startkit.facts.limits import Limit, Limits
from startkit.procedure.entries import Entries
from startkit.procedure.judging import check
from startkit.procedure.reading import Reading
from startkit.science.pre_lube import PreLube
from startkit.stages.lube.readings import Oil
from startkit.units import Q
from startkit.verdict import COVERAGE, Outcome, Verdict, within

SET_POINT = ("lube.set_point_left", "lube.set_point_found")


def pre_lube(limits: Limits, entries: Entries, oil: Oil) -> list[Verdict]:
    """Every verdict on the record from pump start."""
    return [
        _reached(limits, entries, oil),
        _differential(limits, entries, oil),
        _steadiness(limits, entries, oil),
        _margin(limits, entries, oil),
        _stood(entries, oil),
    ]


def _no_record(entries: Entries, name: str) -> Reading:
    """The reading of a series that was not pasted, or could not be analysed."""
    return Reading(items=(f"{entries.declared.name}.{name}",))


def _differential(limits: Limits, entries: Entries, oil: Oil) -> Verdict:
    limit, pre, record = limits["lube.differential"], oil.pre_lube, oil.record
    if pre is None or record is None:
        return check(entries, limit, _no_record(entries, "pre_lube"), next_step="")
    spread = _spread(pre, oil).quantity
    return check(
        entries,
        limit,
        record.pressure(pre.mean, pre.u_mean).deviation_from(oil.set_point),
        steady=_is_steady(pre, spread, limits["lube.steadiness"]),
        next_step="Adjust the regulator or the pump speed, then record again.",
        note=(
            f"Mean {entries.show(pre.mean, 'pressure_difference')}, set point"
            f" {entries.show(oil.set_point, 'pressure_difference')}."
        ),
        rests_on=typed(entries, SET_POINT),
    )


def typed(entries: Entries, names: tuple[str, ...]) -> tuple[str, ...]:
    """Those of the items that were entered."""
    return tuple(name for name in names if entries.text(name.split(".", 1)[1]))


def _spread(pre: PreLube, oil: Oil) -> Reading:
    """Standard deviation of the steady part in percent of the set point.

    u(s) = s / sqrt(2 (n - 1)), JCGM 100:2008, E.4.3
    """
    if oil.record is None:
        return Reading()
    u = pre.standard_deviation / math.sqrt(2 * max(pre.effective_samples - 1, 1))
    return oil.record.figure(pre.standard_deviation, u).relative_to(oil.set_point)


def _steadiness(limits: Limits, entries: Entries, oil: Oil) -> Verdict:
    pre = oil.pre_lube
    return check(
        entries,
        limits["lube.steadiness"],
        _no_record(entries, "pre_lube") if pre is None else _spread(pre, oil),
        next_step=(
            "Look for air in the oil, a hunting regulator, a blocked filter or a leaking relief"
            " valve."
        ),
        note=_hunting(entries, oil),
        rests_on=typed(entries, SET_POINT),
    )


def _is_steady(pre: PreLube, spread: pint.Quantity | None, limit: Limit) -> bool:
    """Settled at the set point, or constant somewhere else: then it is wrong, not unsteady."""
    calm = within(spread, limit.low, limit.high) is Outcome.PASS
    return pre.settled or bool(calm and abs(pre.slope) <= COVERAGE * pre.u_slope)


def _reached(limits: Limits, entries: Entries, oil: Oil) -> Verdict:
    limit, pre, record = limits["lube.time_to_set_point"], oil.pre_lube, oil.record
    if pre is None or record is None:
        return check(entries, limit, _no_record(entries, "pre_lube"), next_step="")
    entered = typed(entries, (*SET_POINT, "lube.pump_start"))
    if pre.time_to_set_point is None:
        highest = record.pressure(pre.highest)
        return Verdict(
            key=limit.key,
            title=limit.title,
            outcome=Outcome.FAIL,
            sentence=f"The set point of {entries.show(oil.set_point, 'pressure_difference')} was"
            f" never reached; highest {entries.show(pre.highest, 'pressure_difference')}.",
            next_step="Check rotation of the pump, suction strainer, oil level and regulator. Do"
            " not turn the shaft.",
            reading=pre.highest,
            uncertainty=highest.u,
            kind="pressure_difference",
            source=limit.origin,
            rests_on=(*highest.items, *entered),
        )
    return check(
        entries,
        limit,
        record.figure(pre.time_to_set_point, pre.u_time_to_set_point),
        next_step="Check pump, suction strainer, check valve and oil temperature.",
        rests_on=entered,
    )


def _hunting(entries: Entries, oil: Oil) -> str:
    if oil.pre_lube is None:
        return ""
    if oil.pre_lube.hunting_period is None:
        return "No repeating cycle found."
    return (
        f"It hunts with a period of {entries.show(oil.pre_lube.hunting_period, 'time')} and an"
        f" amplitude of {entries.show(oil.pre_lube.hunting_amplitude, 'pressure_difference')}."
    )


def _margin(limits: Limits, entries: Entries, oil: Oil) -> Verdict:
    limit, pre, record = limits["lube.margin"], oil.pre_lube, oil.record
    if pre is None or record is None:
        return check(entries, limit, _no_record(entries, "pre_lube"), next_step="")
    note = (
        f"The mean is {entries.show(pre.margin, 'pressure_difference')} above the trip of"
        f" {entries.show(oil.trip, 'pressure_difference')}."
    )
    entered = typed(entries, ("lube.trip_setting",))
    if pre.margin_in_sd is None:
        return Verdict(
            key=limit.key,
            title=limit.title,
            outcome=Outcome.UNPROVEN,
            sentence="The readings do not vary at all: the display is stuck or its resolution too"
            f" coarse. {note}",
            next_step="Record with finer resolution.",
            source=limit.origin,
            rests_on=(*record.figure(pre.mean).items, *entered),
        )
    mean = record.pressure(pre.mean, pre.u_mean)
    u = (mean.u if mean.u is not None else pre.u_mean) / pre.standard_deviation
    return check(
        entries,
        limit,
        record.figure(Q(pre.margin_in_sd, "dimensionless"), u.to("dimensionless")),
        next_step="Raise the set point or steady the pressure before the shaft turns.",
        note=note,
        rests_on=entered,
    )


def over_the_trip(key: str, title: str, oil: Oil) -> Limit:
    """The low-oil trip as the lower limit of a differential."""
    return Limit(
        key=key,
        title=title,
        kind="pressure_difference",
        low=oil.trip,
        source="machine sheet: low-oil trip",
    )


def _stood(entries: Entries, oil: Oil) -> Verdict:
    limit = over_the_trip("lube.stood", "Differential never fell to the trip", oil)
    pre, record = oil.pre_lube, oil.record
    if pre is None or record is None:
        return Verdict(
            key=limit.key,
            title=limit.title,
            outcome=Outcome.OPEN,
            sentence="No record of the differential.",
            next_step="Record it from pump start.",
            source=limit.origin,
            rests_on=("lube.pre_lube",),
        )
    return check(
        entries,
        limit,
        record.pressure(pre.minimum),
        next_step="Find out why before the shaft turns.",
        note="The lowest after the set point was reached.",
        rests_on=typed(entries, ("lube.trip_setting",)),
    )
