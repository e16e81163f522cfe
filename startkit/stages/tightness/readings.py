"""Readings of the stage Tightness: both ends of the pressure hold, the rise, the weighed charge."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
import pint

from startkit.errors import StartkitError
from startkit.facts.instruments import can_read
from startkit.procedure.entries import Entries
from startkit.procedure.reading import Reading
from startkit.science import tightness
from startkit.science.air import WEATHER
from startkit.science.charge import charged_mass
from startkit.science.evacuation import Rise, rise
from startkit.science.tightness import DECISION, DETECTION, Hold, Leak
from startkit.science.water import vapour_pressure
from startkit.units import Q, split, unit_for

# The gas is not everywhere as warm as the thermometer: difference between places if nobody looked.
# Common practice, no source.
SPREAD = Q(1.0, "delta_degC")


LEFT_IN_PLACE = (
    0.9  # correlation of two readings of one gauge that was not touched; common practice, no source
)


@dataclass(frozen=True)
class End:
    """One end of the hold: absolute pressure and temperature, with what is known of them."""

    pressure: pint.Quantity
    u_gauge: pint.Quantity | None
    temperature: pint.Quantity
    u_temperature: pint.Quantity | None
    barometer: Reading | None  # None: read as absolute, no barometer needed
    instrument: str
    untrusted: str


@dataclass(frozen=True)
class Held:
    """The hold: `found` is None if a reading is missing, its uncertainties NaN if an instrument is."""

    start: End | None
    end: End | None
    found: Hold | None
    known: bool
    duration: pint.Quantity | None
    gas: pint.Quantity | None  # temperature
    remarks: tuple[str, ...]


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
class Charge:
    """Refrigerant that went in, its standard uncertainty (None if a weighing names no scale), and
    what is wrong.
    """

    mass: pint.Quantity | None
    u: pint.Quantity | None
    untrusted: str
    problem: str


@dataclass(frozen=True)
class Tested:
    """What was read: the pressure hold, the evacuation and the refrigerant that went in."""

    held: Held
    evacuated: Evacuated
    charge: Charge


def collect(entries: Entries) -> Tested:
    """Everything that was read in this stage."""
    return Tested(pressure_hold(entries), evacuation(entries), refrigerant_charge(entries))


def pressure_hold(entries: Entries) -> Held:
    """Both ends, the duration, and the gas law between them."""
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
    barometer = _own_barometer(entries, which) if _is_relative(pressure) else None
    absolute = pressure.quantity
    if barometer is not None and barometer.quantity is not None:
        # The reading was raised by the site's barometer; the one read at this end stands nearer to
        # it.
        absolute = absolute - entries.job.barometer.quantity + barometer.quantity
    return End(
        absolute,
        pressure.u,
        temperature.quantity,
        temperature.u,
        barometer,
        pressure.entry.instrument if pressure.entry else "",
        pressure.untrusted or temperature.untrusted,
    )


def _own_barometer(entries: Entries, which: str) -> Reading:
    return entries.reading(f"{which}_barometer")


def _is_relative(reading: Reading) -> bool:
    """True if the pressure was typed against the barometer: gauge or vacuum."""
    typed = split(reading.entry.value)[1] or reading.entry.unit
    return unit_for(typed, "gauge_pressure").reference != ""


def _duration(entries: Entries) -> tuple[pint.Quantity | None, tuple[str, ...]]:
    moments = [entries.reading(f"{which}_at") for which in ("start", "end")]
    if any(m.problem or not m.taken for m in moments):
        return None, ()
    began, ended = (datetime.fromisoformat(m.text).replace(tzinfo=None) for m in moments)
    seconds = (ended - began).total_seconds()
    if seconds <= 0:
        return None, ("The pressure hold ends before it begins: correct one of the two times.",)
    return Q(seconds / 3600, "hour"), ()


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


def gauge_pressure(entries: Entries, held: Held) -> pint.Quantity | None:
    """Test pressure over the barometer at the start."""
    if held.start is None:
        return None
    own = held.start.barometer.quantity if held.start.barometer is not None else None
    return held.start.pressure - (entries.job.barometer.quantity if own is None else own)


def smallest_leak(entries: Entries, held: Held) -> Leak | None:
    """The smallest leak that the hold could have seen; None without volume, duration or
    uncertainty.
    """
    volume = entries.quantity("test_volume")
    if (
        held.found is None
        or not held.known
        or held.duration is None
        or volume is None
        or volume.magnitude <= 0
    ):
        return None
    return tightness.leak(held.found.detectable, held.duration, volume, held.gas)


def hours_needed(entries: Entries, held: Held, wanted: pint.Quantity) -> pint.Quantity | None:
    """How long this machine must be held with these instruments to see a leak of the wanted size."""
    volume = entries.quantity("test_volume")
    if (
        held.found is None
        or not held.known
        or volume is None
        or volume.magnitude <= 0
        or wanted.magnitude <= 0
    ):
        return None
    one = tightness.leak(Q(1.0, "pascal"), Q(1.0, "second"), volume, held.gas).mass_rate
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
        return Evacuated(
            time, pressure, None, entries.reading("rise_end"), entries.reading("rise_time"), ()
        )
    found, problems = _rise(entries, time, pressure)
    end, u, untrusted = Q(float(pressure[-1]), "pascal"), *_gauge(entries, float(pressure[-1]))
    return Evacuated(
        time,
        pressure,
        found,
        Reading("", "", end, u, untrusted=untrusted),
        Reading("", "", Q(float(time[-1] - time[0]), "second")),
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


def _gauge(entries: Entries, pressure: float) -> tuple[pint.Quantity | None, str]:
    """Uncertainty of the vacuum gauge that the record was taken with, and what is wrong with it."""
    entry = entries.entry("rise")
    instrument = entries.job.instruments.get(entry.instrument) if entry is not None else None
    if instrument is None or not can_read(instrument.kind, "vacuum"):
        return None, ""
    overdue = instrument.in_calibration(entry.day) is False
    return (
        instrument.standard_uncertainty(Q(pressure, "pascal")),
        (
            f"instrument {entry.instrument} was out of calibration since"
            f" {instrument.calibration_due}"
            if overdue
            else ""
        ),
    )


def refrigerant_charge(entries: Entries) -> Charge:
    """The sum over all cylinders; a row that lacks a weight keeps the charge open."""
    rows = entries.rows("cylinders")
    weights = [(row.reading("before"), row.reading("after")) for row in rows]
    faulty = next((r for pair in weights for r in pair if r.problem), None)
    if faulty is not None:
        return Charge(None, None, "", faulty.problem)
    lacking = [
        row.text("number") or f"row {n}"
        for n, (row, pair) in enumerate(zip(rows, weights, strict=True), 1)
        if any(r.quantity is None for r in pair)
    ]
    if lacking:
        return Charge(None, None, "", f"A weight is missing: cylinder {', '.join(lacking)}.")
    if not rows:
        return Charge(None, None, "", "")
    return _summed(entries, weights)


def _summed(entries: Entries, weights: list[tuple[Reading, Reading]]) -> Charge:
    both = [r for pair in weights for r in pair]
    us = [r.u.to("kilogram").magnitude for r in both if r.u is not None]
    known = len(us) == len(both)
    scale = math.sqrt(sum(u * u for u in us) / len(both)) if known else 0.0
    before, after = (
        [pair[i].quantity.to("kilogram").magnitude for pair in weights] for i in (0, 1)
    )
    residue = entries.quantity("residue")
    try:
        found = charged_mass(
            Q(before, "kilogram"),
            Q(after, "kilogram"),
            Q(scale, "kilogram"),
            Q(0.0, "kilogram") if residue is None else residue,
        )
    except StartkitError as error:
        return Charge(None, None, "", str(error))
    return Charge(
        found.mass,
        found.u if known else None,
        next((r.untrusted for r in both if r.untrusted), ""),
        "",
    )
