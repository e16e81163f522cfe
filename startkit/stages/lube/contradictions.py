"""What of the oil readings cannot all be true: one pressure read three times, two records of one
oil, temperatures that nothing heats.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from startkit.errors import StartkitError
from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.procedure.block import Block
from startkit.procedure.contradiction import contradiction, under_the_trip, where_wrong
from startkit.procedure.entries import Entries
from startkit.procedure.judging import check
from startkit.procedure.reading import Reading
from startkit.procedure.saturation import dew_reading
from startkit.stages.lube.readings import Oil
from startkit.units import Q
from startkit.verdict import Verdict


def contradictions(
    machine: Machine, limits: Limits, entries: Entries, oil: Oil
) -> tuple[Verdict, ...]:
    """Every contradiction found; none where the entries agree."""
    return (
        *_sump_pressures(machine, limits, entries),
        *_standstill(machine, limits, entries),
        *_temperatures(machine, limits, entries),
        *_series(limits, entries),
        *_settings(machine, limits, entries, oil),
    )


# --- the sump at rest -----------------------------------------------------------------------------


@dataclass(frozen=True)
class Said:
    """One reading of the pressure in the machine at rest, and at what temperature it saturates."""

    by: str
    pressure: Reading
    saturation: Reading


def _at_rest(machine: Machine, entries: Entries) -> list[Said]:
    """The sump by gauge, by transducers with the pump off, and as the record of the pump begins."""
    rows = [row.reading("sump") for row in entries.rows("zero")]
    zeros = Reading.mean_of((row for row in rows if row.quantity is not None), 1.0)
    said = (
        ("the sump gauge", entries.reading("sump_pressure")),
        ("the transducers with the pump off", zeros),
        ("the record from pump start", _first_of(entries.block("pre_lube"), "sump")),
    )
    return [
        Said(by, pressure, saturation)
        for by, pressure in said
        if (saturation := _saturation(machine, entries, pressure)) is not None
    ]


def _first_of(block: Block, column: str) -> Reading:
    """The first reading of a column."""
    values = block.columns.get(column, np.array([]))
    known = values[np.isfinite(values)]
    return block.reading(column, Q(float(known[0]), "pascal")) if known.size else Reading()


def _saturation(machine: Machine, entries: Entries, pressure: Reading) -> Reading | None:
    try:
        found = dew_reading(entries, machine.machine.refrigerant, pressure)
    except StartkitError:
        return None
    return None if found.quantity is None else found


def _sump_pressures(machine: Machine, limits: Limits, entries: Entries) -> Iterator[Verdict]:
    """At rest there is one pressure in the machine, whatever reads it."""
    limit, said = limits["lube.sump_pressures"], _at_rest(machine, entries)
    pairs = [(a, b) for i, a in enumerate(said) for b in said[i + 1 :]]
    apart = [
        (a, b)
        for a, b in pairs
        if where_wrong(check(entries, limit, a.saturation.less(b.saturation), next_step=""))
    ]
    if not apart:
        return
    worst = max(apart, key=lambda pair: _gap(*pair))
    odd = _outvoted(said, apart)
    yield contradiction(
        limit.key,
        limit.title,
        " ".join(
            (
                f"{_upper(worst[0].by)}: {_shown(entries, worst[0])}; {worst[1].by}:"
                f" {_shown(entries, worst[1])}. At rest they read the same pressure.",
                f"Likely wrong: {odd}, which the others contradict." if odd else "",
                _slip(entries, *worst),
            )
        ).strip(),
        "Read the sump again with the pump off, by gauge and by both transducers.",
        [item for pair in apart for each in pair for item in each.pressure.items],
    )


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]


def _shown(entries: Entries, said: Said) -> str:
    return (
        f"{entries.show(said.pressure.quantity, 'gauge_pressure')}, saturated at"
        f" {entries.show(said.saturation.quantity, 'temperature')}"
    )


def _gap(a: Said, b: Said) -> float:
    gap = a.saturation.less(b.saturation).quantity
    return 0.0 if gap is None else abs(float(gap.to_base_units().magnitude))


def _outvoted(said: list[Said], apart: list[tuple[Said, Said]]) -> str:
    """The one of three that both others contradict while they agree with each other."""
    against = {each.by: sum(each in pair for pair in apart) for each in said}
    odd = [by for by, count in against.items() if count == len(said) - 1]
    return odd[0] if len(said) > 2 and len(odd) == 1 else ""


NEAR_BAROMETER = 0.1  # of it, within which a difference of two pressures is taken for it


def _slip(entries: Entries, a: Said, b: Said) -> str:
    """Whether one was likely typed absolute where gauge was asked, or the other way."""
    air = entries.job.barometer.quantity
    if air is None or a.pressure.quantity is None or b.pressure.quantity is None:
        return ""
    gap = abs((a.pressure.quantity - b.pressure.quantity).to("pascal").magnitude)
    close = abs(gap / air.to("pascal").magnitude - 1) < NEAR_BAROMETER
    return "They differ by the barometer: one is absolute, one gauge." if close else ""


_KNOWN_AT_REST = (
    ("water", "evaporator_temperature"),
    ("water", "condenser_temperature"),
    ("electrical", "winding_temperature"),
)


def _standstill(machine: Machine, limits: Limits, entries: Entries) -> tuple[Verdict, ...]:
    """The machine at rest saturates between its coldest and its warmest part."""
    limit, said = limits["lube.standstill_saturation"], _at_rest(machine, entries)
    known = [
        reading
        for stage, name in _KNOWN_AT_REST
        if (reading := entries.of(stage).reading(name)).quantity is not None
    ]
    if not said or not known:
        return ()
    warm, cold = Reading.largest_of(known), Reading.smallest_of(known)
    saturation = said[0].saturation
    above, below = saturation.less(warm), saturation.less(cold)
    outside = above if _positive(above) else below if not _positive(below) else None
    if outside is None:
        return ()
    return where_wrong(
        check(
            entries,
            limit,
            outside,
            next_step=(
                "Read the sump again; check its unit, and whether it is gauge or absolute. If it"
                " is right, there is air in the machine, or another refrigerant."
            ),
            note=f"{_upper(said[0].by)} saturates at"
            f" {entries.show(saturation.quantity, 'temperature')}; the machine's parts were at"
            f" {entries.show(cold.quantity, 'temperature')} to"
            f" {entries.show(warm.quantity, 'temperature')} at rest.",
        )
    )


def _positive(difference: Reading) -> bool:
    quantity = difference.quantity
    return quantity is not None and bool(quantity.magnitude > 0)


# --- temperatures ---------------------------------------------------------------------------------


def _temperatures(machine: Machine, limits: Limits, entries: Entries) -> Iterator[Verdict]:
    sump, supply = entries.reading("sump_temperature"), entries.reading("supply_temperature")
    trip = machine.safeties.high_oil_temperature
    for name, reading, title in (
        ("sump", sump, "Sump temperature under its trip"),
        ("supply", supply, "Oil supply under the oil trip"),
    ):
        yield from under_the_trip(entries, f"lube.{name}_under_trip", title, reading, trip)
    yield from where_wrong(
        check(
            entries,
            limits["lube.supply_over_sump"],
            supply.less(sump),
            next_step="Read both again.",
            note="Nothing heats the oil between sump and bearings but the pump: a thermometer is"
            " off, or a unit.",
        )
    )


# --- the records ----------------------------------------------------------------------------------


def _series(limits: Limits, entries: Entries) -> Iterator[Verdict]:
    for name in ("pre_lube", "coast_down"):
        yield from _columns(limits, entries, name)
    blocks = [entries.block(name) for name in ("pre_lube", "coast_down")]
    if all(len(block) for block in blocks) and _same(*blocks):
        yield contradiction(
            "lube.copied_record",
            "Pump start and first stop recorded by themselves",
            "The record of the first stop is the one from pump start, row for row.",
            "Paste the record of the first stop.",
            [block.item for block in blocks],
        )


def _same(first: Block, second: Block) -> bool:
    return all(first.texts[name] == second.texts[name] for name in ("supply", "differential"))


def _columns(limits: Limits, entries: Entries, name: str) -> tuple[Verdict, ...]:
    """The differential shown, against supply less sump in the same rows."""
    block, limit = entries.block(name), limits["lube.series_differential"]
    if not len(block):
        return ()
    gap = block.columns["differential"] - (block.columns["supply"] - block.columns["sump"])
    known = gap[np.isfinite(gap)]
    if not known.size:
        return ()
    middle = Reading(quantity=Q(float(np.median(known)), "pascal"), taken=True, items=(block.item,))
    return where_wrong(
        check(
            entries,
            limit,
            middle,
            key=f"{limit.key}.{name}",
            next_step="Compare the columns with the panel; check their units.",
            note=(
                "The differential column is this far from supply less sump: one of the three has"
                " a different unit or sensor."
            ),
        )
    )


# --- settings and pump ----------------------------------------------------------------------------


def _settings(machine: Machine, limits: Limits, entries: Entries, oil: Oil) -> Iterator[Verdict]:
    yield from where_wrong(
        check(
            entries,
            limits["lube.trip_setting"],
            entries.reading("trip_setting").deviation_from(machine.oil.low_trip),
            next_step="Set it to the sheet, and prove it again.",
            note=f"The sheet says {entries.show(machine.oil.low_trip, 'pressure_difference')}.",
        ),
        check(
            entries,
            limits["lube.pump_speed_recorded"],
            _pump_speed(entries, oil),
            next_step="Read the pump speed again at the set point.",
            note="Typed, against the last third of the record.",
        ),
    )


def _pump_speed(entries: Entries, oil: Oil) -> Reading:
    typed = entries.reading("pump_speed")
    if oil.record is None or typed.quantity is None:
        return Reading()
    late = oil.record.speed[-len(oil.record.speed) // 3 :]
    known = late[np.isfinite(late)]
    if not known.size or not known.mean():
        return Reading()
    speed = oil.record.block.reading("speed", Q(float(known.mean()), "hertz"))
    return typed.deviation_from(speed.exact())
