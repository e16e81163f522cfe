"""What of the first start cannot all be true: typed against recorded, and what no motor does."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pint

from startkit.facts.limits import Limit, Limits
from startkit.facts.machine import Machine, TemperatureTrip
from startkit.procedure.contradiction import contradiction, under_the_trip, where_wrong
from startkit.procedure.entries import Entries
from startkit.procedure.judging import check
from startkit.procedure.reading import Reading, Row
from startkit.science.insulation import CLASS_TEMPERATURES
from startkit.stages.first_start.phases import voltages_of
from startkit.stages.first_start.readings import FirstStart
from startkit.units import Q
from startkit.verdict import Verdict

LEAST_POINTS = 4  # vibration readings that may not all be one figure (own default)


def contradictions(
    machine: Machine, limits: Limits, entries: Entries, start: FirstStart
) -> tuple[Verdict, ...]:
    """Every contradiction found; none where the entries agree."""
    return (
        *_against_record(limits, entries, start),
        *_impossible(machine, limits, entries, start),
        *_temperatures(machine, limits, entries),
        *_copied_vibration(entries),
    )


# --- typed against recorded -----------------------------------------------------------------------


def _against_record(limits: Limits, entries: Entries, start: FirstStart) -> Iterator[Verdict]:
    record, run_up = start.record, start.run_up
    if record is None:
        return
    begins = record.columns["vanes"][np.isfinite(record.columns["vanes"])]
    pairs = (
        ("time_against_record", entries.reading("run_up_time"), run_up and run_up.time),
        ("oil_against_record", entries.reading("oil_lowest"), run_up and run_up.oil_lowest),
        *(
            (("vanes_against_record", vanes, recorded),)
            if (recorded := _first(begins)) is not None
            and (vanes := _nearest(entries, recorded)) is not None
            else ()
        ),
    )
    for key, typed, found in pairs:
        if found is not None:
            yield from _apart(limits[f"first_start.{key}"], entries, typed, found)
    if run_up is not None and not start.peak_by_record:
        yield from _peaks(limits, entries, start)


def _first(values: np.ndarray) -> pint.Quantity | None:
    return Q(float(values[0]), "dimensionless") if values.size else None


def _nearest(entries: Entries, recorded: pint.Quantity) -> Reading | None:
    """Of the starts the vane position that fits the record best: which start was recorded is not
    said.
    """
    typed = [row.reading("vanes") for row in entries.rows("starts")]
    typed.append(entries.reading("vane_position"))
    known = [(abs(r.quantity - recorded), r) for r in typed if r.quantity is not None]
    return min(known, key=lambda pair: pair[0])[1] if known else None


def _apart(
    limit: Limit, entries: Entries, typed: Reading, recorded: pint.Quantity
) -> tuple[Verdict, ...]:
    if typed.quantity is None:
        return ()
    return where_wrong(
        check(
            entries,
            limit,
            typed.less(recorded),
            next_step="Check the record: it may be of another start, or in another unit.",
            note=f"Typed {entries.show(typed.quantity, limit.kind)}, the record has"
            f" {entries.show(recorded, limit.kind)}.",
            rests_on=("first_start.run_up",),
        )
    )


def _peaks(limits: Limits, entries: Entries, start: FirstStart) -> tuple[Verdict, ...]:
    """The highest current typed, against that of the record."""
    assert start.run_up is not None
    found = start.run_up.peak
    typed = Reading.largest_of(r for r in start.peak if r.quantity is not None)
    if found is None or typed.quantity is None or not np.isfinite(found.magnitude).any():
        return ()
    recorded = Q(float(np.nanmax(found.to("ampere").magnitude)), "ampere")
    return where_wrong(
        check(
            entries,
            limits["first_start.peak_against_record"],
            typed.deviation_from(recorded),
            next_step="Leave the typed peak empty where a recorder was used, or read it again.",
            note=f"Typed {entries.show(typed.quantity, 'current', 0)}, the record has"
            f" {entries.show(recorded, 'current', 0)}.",
            rests_on=("first_start.run_up",),
        )
    )


# --- what no motor does ---------------------------------------------------------------------------


def _impossible(
    machine: Machine, limits: Limits, entries: Entries, start: FirstStart
) -> tuple[Verdict, ...]:
    motor = machine.motor
    speed = entries.reading("full_speed")
    settled, peak = (
        Reading.largest_of(r for r in each if r.quantity is not None)
        for each in (start.settled, start.peak)
    )
    by_line = not motor.kind_of_starter.limits_current
    volts = [v for v in voltages_of(entries) if v.quantity is not None]
    drive = "_of_drive" if machine.variable_speed else ""
    judged = (
        (
            "run_up_short",
            _share(start.run_up_time, motor.run_up_time),
            "No motor accelerates the same shaft so much faster: the time is wrong, or the motor"
            " did not reach speed.",
        ),
        (
            f"full_speed{drive}",
            _share(speed, motor.speed),
            "Of the sheet's speed: the motor is not at speed, or the speed is another shaft's or in"
            " another unit.",
        ),
        (
            "settled_over_peak",
            settled.share_of(peak) if by_line else Reading(),
            "Of the highest current of the start: a motor on the line draws most while it starts.",
        ),
        (
            f"running_voltage{drive}",
            Reading.mean_of(volts).deviation_from(motor.voltage) if len(volts) == 3 else Reading(),
            "Mean of the three against rated: a motor does not run steadily on it.",
        ),
        (
            "oil_over_set_point",
            start.oil_lowest.relative_to(machine.oil.differential_set_point),
            "Of the set point, at the lowest: its regulator would not let it rise so far.",
        ),
    )
    return where_wrong(
        *(
            check(
                entries,
                limits[f"first_start.{name}"],
                reading,
                next_step="Read it again; check the unit.",
                note=note,
            )
            for name, reading, note in judged
        )
    )


def _share(reading: Reading, due: pint.Quantity | None) -> Reading:
    return Reading() if due is None else reading.relative_to(due)


# --- temperatures ---------------------------------------------------------------------------------

# Words in the name of a place, and the trip that watches it.
TRIPS = (
    ("winding", "high_motor_winding_temperature"),
    ("bearing", "high_bearing_temperature"),
    ("discharge", "high_discharge_temperature"),
    ("oil", "high_oil_temperature"),
)


def _temperatures(machine: Machine, limits: Limits, entries: Entries) -> Iterator[Verdict]:
    for row in entries.rows("temperatures"):
        place = row.text("place").lower()
        name = next((trip for word, trip in TRIPS if word in place), "")
        trip = getattr(machine.safeties, name) if name else None
        title = f"{row.text('place')} under its trip"
        key = f"first_start.temperature_{row.index}"
        reading = row.reading("temperature")
        if trip is None and "winding" in place:
            trip = _class(entries)
        if trip is None and "bearing" in place:
            yield from _bearing(limits, entries, row, key)
        yield from under_the_trip(entries, key, title, reading, trip)


def _class(entries: Entries) -> TemperatureTrip:
    """What the winding's insulation bears, where the sheet gives no trip; of no class the best."""
    code = entries.of("electrical").code("thermal_class")
    bears = CLASS_TEMPERATURES.get(code, max(CLASS_TEMPERATURES.values()))
    source = f"IEC 60085, class {code or 'H'}, from memory: check against the standard"
    return TemperatureTrip(setting=Q(float(bears), "degC"), source=source)


def _bearing(limits: Limits, entries: Entries, row: Row, key: str) -> tuple[Verdict, ...]:
    limit = limits["first_start.bearing_metal"]
    return where_wrong(
        check(
            entries,
            limit,
            row.reading("temperature"),
            key=key,
            next_step="Stop. Check oil flow, oil temperature and alignment, or read it again.",
            note=f"{row.text('place')}.",
        )
    )


# --- one figure for every bearing -----------------------------------------------------------------


def _copied_vibration(entries: Entries) -> Iterator[Verdict]:
    rows = [row for row in entries.rows("vibration") if row.quantity("velocity") is not None]
    texts = {row.text("velocity") for row in rows}
    if len(rows) >= LEAST_POINTS and len(texts) == 1:
        yield contradiction(
            "first_start.copied_vibration",
            "Each bearing read by itself",
            f"{texts.pop()} at all {len(rows)} measuring points: one reading was entered for all.",
            "Read each bearing in each direction.",
            [item for row in rows for item in row.reading("velocity").items],
        )
