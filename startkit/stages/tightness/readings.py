"""Readings of the stage Tightness: both ends of the pressure hold, the rise, the weighed charge."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
import pint

from startkit.errors import StartkitError
from startkit.procedure.entries import Entries
from startkit.procedure.reading import Reading
from startkit.science import nitrogen, tightness
from startkit.science.air import WEATHER
from startkit.science.charge import charged_mass
from startkit.science.evacuation import Rise, rise
from startkit.science.tightness import DECISION, DETECTION, Hold, Leak
from startkit.science.water_vapour import vapour_pressure
from startkit.stages.tightness.fields import TRACE
from startkit.units import Q, split, unit_for

# The gas is not everywhere as warm as the thermometer: difference if none was measured.
# Common practice, no source.
SPREAD = Q(1.0, "delta_degC")
# Correlation of two readings of one gauge that was not touched. Common practice, no source.
LEFT_IN_PLACE = 0.9
# A trace of refrigerant is up to 5 % of the volume: its mean, and the standard uncertainty of a
# share that may be anything between. Own default.
TRACE_SHARE, U_TRACE_SHARE = 0.025, 0.05 / math.sqrt(12)


@dataclass(frozen=True)
class End:
    """One end of the hold: absolute pressure and temperature, with what is known of them."""

    pressure: pint.Quantity
    u_gauge: pint.Quantity | None
    temperature: pint.Quantity
    u_temperature: pint.Quantity | None
    barometer: Reading | None  # None: read as absolute, no barometer needed
    readings: tuple[Reading, ...]

    @property
    def instrument(self) -> tuple[str, ...]:
        """The gauge."""
        return self.readings[0].instruments


@dataclass(frozen=True)
class Held:
    """The hold; `found` is None if a reading is missing, `known` False if an instrument is."""

    start: End | None
    end: End | None
    found: Hold | None
    known: bool
    duration: Reading
    gas: pint.Quantity | None  # temperature
    remarks: tuple[str, ...]

    @property
    def readings(self) -> tuple[Reading, ...]:
        """What was read at both ends."""
        return tuple(r for end in (self.start, self.end) if end is not None for r in end.readings)


@dataclass(frozen=True)
class Evacuated:
    """The rise: times and pressures as read, what it says, and the last reading that counts."""

    time: np.ndarray
    pressure: np.ndarray
    rise: Rise | None
    end: Reading
    duration: Reading
    problems: tuple[str, ...]


@dataclass(frozen=True)
class Tested:
    """What was read: the pressure hold, the evacuation and the mass of refrigerant that went in."""

    held: Held
    evacuated: Evacuated
    charge: Reading


def collect(entries: Entries) -> Tested:
    """Everything that was read in this stage."""
    return Tested(pressure_hold(entries), evacuation(entries), refrigerant_charge(entries))


def pressure_hold(entries: Entries) -> Held:
    """Both ends, the duration, and what nitrogen does between them."""
    start, end = _end(entries, "start"), _end(entries, "end")
    duration, remarks = _duration(entries)
    if start is None or end is None:
        return Held(start, end, None, False, duration, None, remarks)
    try:
        found, known, told = _hold(entries, start, end)
    except StartkitError as error:
        return Held(start, end, None, False, duration, None, (*remarks, str(error)))
    return Held(start, end, found, known, duration, end.temperature, (*remarks, *told))


def _end(entries: Entries, which: str) -> End | None:
    pressure, temperature = (
        entries.reading(f"{which}_pressure"),
        entries.reading(f"{which}_temperature"),
    )
    if pressure.quantity is None or temperature.quantity is None:
        return None
    site = entries.job.barometer
    barometer = entries.reading(f"{which}_barometer") if is_relative(pressure) else None
    absolute, read = pressure.quantity, [pressure, temperature]
    if barometer is not None and barometer.quantity is not None and site.quantity is not None:
        # The reading was raised by the site's barometer; the one read at this end is nearer to it.
        absolute = absolute - site.quantity + barometer.quantity
        read.append(barometer)
    elif barometer is not None:
        read.append(site)
    return End(absolute, pressure.u, temperature.quantity, temperature.u, barometer, tuple(read))


def is_relative(reading: Reading) -> bool:
    """True if a pressure was typed against the barometer: gauge or vacuum."""
    if reading.entry is None:
        return False
    typed = split(reading.entry.value)[1] or reading.entry.unit
    return unit_for(typed, "gauge_pressure").reference != ""


def _duration(entries: Entries) -> tuple[Reading, tuple[str, ...]]:
    moments = [entries.reading(f"{which}_at") for which in ("start", "end")]
    blank = Reading.derived(None, None, *moments)
    if any(m.problem or not m.taken for m in moments):
        return blank, ()
    began, ended = (datetime.fromisoformat(m.text).replace(tzinfo=None) for m in moments)
    seconds = (ended - began).total_seconds()
    if seconds <= 0:
        return blank, ("The pressure hold ends before it begins: correct one of the two times.",)
    return Reading.derived(Q(seconds / 3600, "hour"), None, *moments), ()


def _hold(entries: Entries, start: End, end: End) -> tuple[Hold, bool, tuple[str, ...]]:
    known = None not in (start.u_gauge, end.u_gauge, start.u_temperature, end.u_temperature)
    spread = entries.quantity("temperature_spread")
    even = (SPREAD if spread is None else spread) / (2 * math.sqrt(3))
    u_gauge = max(
        (u for u in (start.u_gauge, end.u_gauge) if u is not None), default=Q(0.0, "pascal")
    )
    u_t = [_together(even, u) for u in (start.u_temperature, end.u_temperature)]
    left = entries.yes("gauge_left") is True and start.instrument == end.instrument
    found = tightness.hold(
        start.pressure,
        start.temperature,
        end.pressure,
        end.temperature,
        u_gauge,
        *u_t,
        LEFT_IN_PLACE if left else 0.0,
        *((TRACE_SHARE, U_TRACE_SHARE) if entries.reading("test_gas").code == TRACE.code else ()),
    )
    u_weather, told = _weather(start, end)
    u = _together(found.u, u_weather)
    lost = bool(found.residual.to("pascal").magnitude < -DECISION * u.to("pascal").magnitude)
    return (
        replace(found, u=u, threshold=DECISION * u, detectable=DETECTION * u, lost=lost),
        known,
        told,
    )


def _together(first: pint.Quantity, second: pint.Quantity | None) -> pint.Quantity:
    return first if second is None else (first**2 + second.to(first.units) ** 2) ** 0.5


def _weather(start: End, end: End) -> tuple[pint.Quantity, tuple[str, ...]]:
    """What the barometer adds to a gauge reading: its own uncertainty at both ends, or the weather
    between them.
    """
    own = [end_.barometer for end_ in (start, end) if end_.barometer is not None]
    if not own:
        return Q(0.0, "pascal"), ()
    if len(own) == 2 and all(reading.quantity is not None for reading in own):
        parts = [reading.u if reading.u is not None else Q(0.0, "pascal") for reading in own]
        return _together(*parts), ()
    return Q(WEATHER, "pascal"), (
        (
            "The barometer was not read at both ends of the pressure hold: the weather's move"
            " counts as uncertainty (1 kPa, common practice, no source)."
        ),
    )


def test_pressure(entries: Entries) -> Reading:
    """Test pressure at the start, above the barometer."""
    pressure, site = entries.reading("start_pressure"), entries.job.barometer
    if pressure.quantity is None or site.quantity is None:
        return pressure
    if is_relative(pressure):  # raised by the barometer when it was read: its error cancels
        return pressure.with_quantity(pressure.quantity - site.quantity, pressure.u)
    return pressure.less(site)


def smallest_leak(entries: Entries, held: Held) -> Leak | None:
    """The smallest leak that the hold could have seen; None without volume, duration or
    uncertainty.
    """
    volume = entries.quantity("test_volume")
    if (
        held.found is None
        or not held.known
        or held.duration.quantity is None
        or held.gas is None
        or volume is None
        or volume.magnitude <= 0
    ):
        return None
    return tightness.leak(
        held.found.detectable,
        held.duration.quantity,
        volume,
        held.gas,
        held.found.expected,
    )


def leak_rate(entries: Entries, held: Held) -> tuple[pint.Quantity, pint.Quantity] | None:
    """What the hold lost as nitrogen a year, with its standard uncertainty; None where the smallest
    leak is not known.
    """
    smallest, volume = smallest_leak(entries, held), entries.quantity("test_volume")
    if smallest is None or held.found is None or held.start is None or held.end is None:
        return None
    expected = held.found.expected
    amount = tightness.amount_lost(
        volume, expected, held.end.temperature, held.end.pressure, held.end.temperature
    )
    mass = amount * Q(nitrogen.MOLAR_MASS, "kilogram/mole")
    return (mass / held.duration.quantity).to("kilogram/second"), smallest.mass_rate / DETECTION


def hours_needed(entries: Entries, held: Held, wanted: pint.Quantity) -> pint.Quantity | None:
    """How long to hold this machine with these instruments to see a leak of the wanted size."""
    volume = entries.quantity("test_volume")
    if (
        held.found is None
        or not held.known
        or volume is None
        or volume.magnitude <= 0
        or wanted.magnitude <= 0
    ):
        return None
    one = tightness.leak(
        Q(1.0, "pascal"), Q(1.0, "second"), volume, held.gas, held.found.expected
    ).mass_rate
    return tightness.needed_hold(
        held.found.u, Q((wanted / one).to("dimensionless").magnitude, "pascal/second")
    )


def evacuation(entries: Entries) -> Evacuated:
    """The pasted rise, else the one reading at its end."""
    block = entries.block("rise")
    time, pressure = (block.columns.get(name, np.array([])) for name in ("time", "pressure"))
    usable = np.isfinite(time) & np.isfinite(pressure) if len(block) else np.array([], bool)
    time, pressure = time[usable], pressure[usable]
    if time.size < 2:
        end, duration = entries.reading("rise_end"), entries.reading("rise_time")
        if block.problems and not end.taken:
            end = Reading(items=(block.item,)).unreadable(block.problems[0])
        return Evacuated(time, pressure, None, end, duration, ())
    found, problems = _rise(entries, time, pressure)
    return Evacuated(
        time,
        pressure,
        found,
        block.reading("pressure", Q(float(pressure[-1]), "pascal")),
        block.reading("time", Q(float(time[-1] - time[0]), "second")),
        problems,
    )


def _rise(
    entries: Entries, time: np.ndarray, pressure: np.ndarray
) -> tuple[Rise | None, tuple[str, ...]]:
    coldest = entries.quantity("coldest")
    if coldest is None:
        return None, (
            "The shape of the rise is judged once the temperature of the coldest part is entered.",
        )
    try:
        return rise(Q(time, "second"), Q(pressure, "pascal"), vapour_pressure(coldest)), ()
    except StartkitError as error:
        return None, (str(error),)


def refrigerant_charge(entries: Entries) -> Reading:
    """Mass of refrigerant that went in: the sum over all cylinders; a row that lacks a weight
    leaves it open.
    """
    rows = entries.rows("cylinders")
    weights = [(row.reading("before"), row.reading("after")) for row in rows]
    blank = Reading.derived(None, None, *(r for pair in weights for r in pair))
    if not rows:
        return Reading(items=(f"{entries.declared.name}.cylinders",))
    if blank.problem:
        return blank
    lacking = [
        row.text("number") or f"row {n}"
        for n, (row, pair) in enumerate(zip(rows, weights, strict=True), 1)
        if any(r.quantity is None for r in pair)
    ]
    if lacking:
        return blank.unreadable(f"A weight is missing: cylinder {', '.join(lacking)}.")
    return _summed(entries, weights)


def _summed(entries: Entries, weights: list[tuple[Reading, Reading]]) -> Reading:
    both = [r for pair in weights for r in pair]
    us = [r.u.to("kilogram").magnitude for r in both if r.u is not None]
    known = len(us) == len(both)
    scale = math.sqrt(sum(u * u for u in us) / len(both)) if known else 0.0
    before, after = ([_kilograms(pair[i]) for pair in weights] for i in (0, 1))
    residue = entries.reading("residue")
    parents = (*both, residue) if residue.quantity is not None else both
    try:
        found = charged_mass(
            Q(before, "kilogram"),
            Q(after, "kilogram"),
            Q(scale, "kilogram"),
            Q(0.0, "kilogram") if residue.quantity is None else residue.quantity,
        )
    except StartkitError as error:
        return Reading.derived(None, None, *both).unreadable(str(error))
    return Reading.derived(found.mass, found.u if known else None, *parents)


def _kilograms(reading: Reading) -> float:
    assert reading.quantity is not None
    return float(reading.quantity.to("kilogram").magnitude)
