"""What is judged of the vibration: every measuring point in its zone, the worst one named."""

from __future__ import annotations

from dataclasses import dataclass, replace

import pint

from startkit.facts.limits import Limit, Limits
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.judging import check
from startkit.procedure.reading import Row
from startkit.science.vibration import Zone, frequency_band, machine_group, zone
from startkit.stages.first_start.fields import FROM_2_HZ, FROM_10_HZ
from startkit.verdict import Outcome, Verdict, worst


@dataclass(frozen=True)
class Point:
    """One measuring point with its zone; `limit` is what applied, None if nothing did."""

    row: Row
    name: str
    zone: Zone | None
    limit: Limit | None
    outcome: Outcome
    why: str = ""


def points(machine: Machine, limits: Limits, entries: Entries) -> tuple[Point, ...]:
    """Every row of the vibration table, zoned and judged."""
    return tuple(
        _point(machine, limits["first_start.vibration"], entries, row)
        for row in entries.rows("vibration")
    )


def _point(machine: Machine, limit: Limit, entries: Entries, row: Row) -> Point:
    reading, name = (
        row.reading("velocity"),
        f"{row.text('bearing')} {row.text('direction')}".strip() or f"row {row.index}",
    )
    if reading.quantity is None:
        return Point(row, name, None, None, Outcome.OPEN, reading.problem or "no velocity")
    speed = row.quantity("speed") if row.quantity("speed") is not None else machine.motor.speed
    if speed is None:
        return Point(
            row, name, None, None, Outcome.OPEN, "no shaft speed: enter it here or in the sheet"
        )
    group = machine.motor.vibration_group or machine_group(machine.motor.rated_power)
    found = zone(reading.quantity, group, machine.motor.support, speed, machine.motor.rated_power)
    own = (
        limit
        if limit.high is not None
        else replace(limit, high=found.bc)
        if found.in_scope
        else None
    )
    if own is None:
        return Point(row, name, found, None, Outcome.NA, found.reason)
    judged = check(entries, own, reading, next_step="")
    wrong_band = limit.high is None and row.code("band") != _band(speed)
    if wrong_band and judged.outcome is Outcome.PASS:
        return Point(
            row, name, found, own, Outcome.UNPROVEN, "not measured in the band of the standard"
        )
    return Point(row, name, found, own, judged.outcome, reading.untrusted)


def _band(speed: pint.Quantity) -> str:
    """Code of the band in which the standard wants this speed measured."""
    low, _ = frequency_band(speed)
    return (FROM_10_HZ if low.to("hertz").magnitude == 10 else FROM_2_HZ).code


def vibration(machine: Machine, limits: Limits, entries: Entries) -> Verdict:
    """All bearings in one verdict, the worst first."""
    limit, found = limits["first_start.vibration"], points(machine, limits, entries)
    if not found:
        return (
            check(entries, limit, None, next_step="")
            if limit.high is not None
            else Verdict(
                key=limit.key,
                title=limit.title,
                outcome=Outcome.OPEN,
                sentence="Not taken.",
                next_step="Measure every bearing housing in at least two directions.",
                source=limit.origin,
                rests_on=("first_start.vibration",),
            )
        )
    judged = [point for point in found if point.limit is not None or point.outcome is Outcome.OPEN]
    if not judged:
        return Verdict(
            key=limit.key,
            title=limit.title,
            outcome=Outcome.UNPROVEN,
            sentence=f"{len(found)} points recorded, not zoned: {found[0].why}.",
            next_step="Put the maker's limit under [limits] in the sheet, or waive with the"
            " reason.",
            source=limit.origin,
            rests_on=_items(found),
        )
    outcome = worst([point.outcome for point in judged])
    top = max(
        (p for p in judged if p.outcome is outcome),
        key=_velocity,
    )
    return Verdict(
        key=limit.key,
        title=limit.title,
        outcome=outcome,
        sentence=_said(entries, top, len(judged), len(found) - len(judged)),
        next_step="" if outcome is Outcome.PASS else _vibration_step(outcome),
        reading=top.row.quantity("velocity"),
        uncertainty=top.row.reading("velocity").u,
        kind="vibration",
        low=None,
        high=top.limit.high if top.limit is not None else None,
        source=limit.origin,
        rests_on=_items(found),
    )


def _items(found: tuple[Point, ...]) -> tuple[str, ...]:
    return tuple(item for point in found for item in point.row.reading("velocity").items)


def _velocity(point: Point) -> float:
    found = point.row.quantity("velocity")
    return 0.0 if found is None else float(found.to("m/s").magnitude)


def _said(entries: Entries, top: Point, judged: int, recorded: int) -> str:
    aside = f" {recorded} more recorded, no zone." if recorded else ""
    if top.outcome is Outcome.OPEN:
        return f"{top.name}: {top.why}.{aside}"
    letter = (
        f"zone {top.zone.letter}, {top.zone.reason}"
        if top.zone is not None and top.zone.in_scope
        else "judged by the sheet's own limit"
    )
    why = f"; {top.why}" if top.why else ""
    lead = (
        f"All {judged} points are within limits; highest at"
        if top.outcome is Outcome.PASS
        else "At"
    )
    return (
        f"{lead} {top.name}: {entries.show(top.row.quantity('velocity'), 'vibration')},"
        f" {letter}{why}.{aside}"
    )


def _vibration_step(outcome: Outcome) -> str:
    if outcome is Outcome.OPEN:
        return "Complete the row."
    if outcome is Outcome.UNPROVEN:
        return "Measure again in the standard's band with a meter in calibration."
    return "Do not load. Check feet, alignment, coupling and pipe strain; look at the spectrum."
