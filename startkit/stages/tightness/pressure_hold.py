"""The pressure hold of the stage Tightness: readings brought to absolute pressure, the gas law, and
what is judged of it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime

import pint

from startkit.errors import StartkitError
from startkit.facts.limits import Limit, Limits
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.judging import check, confirm
from startkit.procedure.reading import Reading
from startkit.procedure.stage import Figure
from startkit.science import tightness
from startkit.science.air import WEATHER
from startkit.science.tightness import DECISION, DETECTION, Hold, Leak
from startkit.units import Q, split, unit_for
from startkit.verdict import Outcome, Verdict

DRY, TRACE, OTHER = "dry nitrogen", "dry nitrogen with a trace of refrigerant", "something else"
# The gas is not everywhere as warm as the thermometer: difference between places if nobody looked.
# Common practice, no source.
SPREAD = Q(1.0, "delta_degC")
LEFT_IN_PLACE = (
    0.9  # correlation of two readings of one gauge that was not touched; common practice, no source
)
SOURCE_GAS = "ASHRAE 15-1994 interim action, 10.1.2"


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


def collect(entries: Entries) -> Held:
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


# --- verdicts ----------------------------------------------------------------------------------


def verdicts(machine: Machine, limits: Limits, entries: Entries, held: Held) -> tuple[Verdict, ...]:
    """Gas, test pressure, duration, loss and what the test could have seen."""
    return (
        _gas(entries),
        _regulator(entries),
        *_test_pressure(machine, limits, entries, held),
        _duration_verdict(limits, entries, held),
        _loss(limits, entries, held),
        _sensitivity(limits, entries, held),
    )


def _gas(entries: Entries) -> Verdict:
    key, title, gas = "tightness.gas", "Test gas", entries.text("test_gas")
    if not gas:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.OPEN,
            sentence="Not said.",
            next_step="Say what the machine was filled with.",
            source=SOURCE_GAS,
        )
    if gas in (DRY, TRACE):
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.PASS,
            sentence=f"{gas.capitalize()}.",
            source=SOURCE_GAS,
        )
    return Verdict(
        key=key,
        title=title,
        outcome=Outcome.FAIL,
        sentence="Neither dry nitrogen nor dry nitrogen with a trace of refrigerant.",
        next_step="Let it off and fill with dry nitrogen; oxygen and air can explode with oil.",
        source=SOURCE_GAS,
    )


def _regulator(entries: Entries) -> Verdict:
    return confirm(
        entries,
        "test_regulator",
        "tightness.regulator",
        "Regulator and relief device in the filling line",
        good="Both are in the line, the relief set above the test pressure.",
        bad="The line lacks one of them.",
        next_step="Stop filling until regulator and relief device are in the line.",
        source=SOURCE_GAS,
    )


def gauge_pressure(entries: Entries, held: Held) -> pint.Quantity | None:
    """Test pressure over the barometer at the start."""
    if held.start is None:
        return None
    own = held.start.barometer.quantity if held.start.barometer is not None else None
    return held.start.pressure - (entries.job.barometer.quantity if own is None else own)


def _start_reading(
    entries: Entries, held: Held, value: Callable[[pint.Quantity], pint.Quantity]
) -> Reading:
    """The test pressure, changed by `value`, with the gauge's uncertainty changed alike; the
    missing reading if it is missing.
    """
    pressure = gauge_pressure(entries, held)
    if pressure is None:
        missing = (entries.reading(name) for name in ("start_pressure", "start_temperature"))
        return next((r for r in missing if r.problem), Reading(""))
    u = held.start.u_gauge
    return Reading(
        "", "", value(pressure), None if u is None else value(u), untrusted=held.start.untrusted
    )


def _test_pressure(machine: Machine, limits: Limits, entries: Entries, held: Held) -> list[Verdict]:
    from startkit.science.refrigerant import is_low_pressure

    if is_low_pressure(machine.machine.refrigerant):
        limit = limits["tightness.low_pressure_test"]
        return [
            check(
                entries,
                limit,
                _start_reading(entries, held, lambda q: q),
                next_step=(
                    "Let gas off at once: the relief device of a low-pressure machine opens a"
                    " little above this."
                ),
            )
        ]
    limit, due = limits["tightness.test_pressure"], _due_pressure(machine)
    if due is None:
        return [
            Verdict(
                key=limit.key,
                title=limit.title,
                outcome=Outcome.OPEN,
                sentence="The sheet gives neither design pressure nor relief setting.",
                next_step="Add design_pressure or relief_setting of the exchangers to the sheet.",
                source=limit.origin,
            )
        ]
    note = f"Lower of design pressure and relief setting: {entries.show(due, 'relative_pressure')}."
    return [
        check(
            entries,
            limit,
            _start_reading(entries, held, lambda q: (q / due).to("percent")),
            note=note,
            next_step=(
                "Take the test pressure from the maker's manual and local code, and test again; or"
                " put the maker's figure into the sheet."
            ),
        )
    ]


def _due_pressure(machine: Machine) -> pint.Quantity | None:
    sides = (machine.evaporator, machine.condenser)
    known = [
        p for side in sides for p in (side.design_pressure, side.relief_setting) if p is not None
    ]
    return min(known) if known else None


def _duration_verdict(limits: Limits, entries: Entries, held: Held) -> Verdict:
    return check(
        entries,
        limits["tightness.hold_time"],
        held.duration,
        next_step="Hold it longer, and read again.",
    )


def _loss(limits: Limits, entries: Entries, held: Held) -> Verdict:
    """Loss at constant temperature as a share of the test pressure; a loss told apart from the
    uncertainty never passes.
    """
    limit = limits["tightness.hold"]
    if held.found is None:
        return check(entries, limit, _missing(entries), next_step="")
    share = (held.found.residual / held.start.pressure).to("percent")
    u = (held.found.u / held.start.pressure).to("percent") if held.known else None
    note = (
        f"Expected {entries.show(held.found.expected, 'pressure')}, read"
        f" {entries.show(held.end.pressure, 'pressure')}:"
        f" {entries.show(held.found.residual, 'pressure_difference')} at constant temperature."
    )
    found = check(
        entries,
        limit,
        Reading("", "", share, u, untrusted=held.start.untrusted or held.end.untrusted),
        note=note,
        next_step="Search for the leak at pressure, repair it, and hold again.",
    )
    if found.outcome is not Outcome.PASS:
        return found
    if not held.known:
        return replace(
            found,
            outcome=Outcome.UNPROVEN,
            sentence=(
                f"{note} Without the instruments' accuracy nobody can say whether that is a loss."
            ),
            next_step="Name gauge and thermometer beside the readings.",
        )
    if held.found.lost:
        return replace(
            found,
            outcome=Outcome.UNPROVEN,
            sentence=(
                f"{found.sentence} It is more than gauge and thermometer explain: it leaks a"
                " little."
            ),
            next_step="Search for the leak at pressure, or hold longer.",
        )
    return found


def _missing(entries: Entries) -> Reading:
    names = ("start_pressure", "start_temperature", "end_pressure", "end_temperature")
    return next((r for r in map(entries.reading, names) if r.problem), Reading(""))


def _sensitivity(limits: Limits, entries: Entries, held: Held) -> Verdict:
    """The smallest leak that this test could have seen, against what was asked for."""
    limit = limits["tightness.sensitivity"]
    smallest, wanted = seen(entries, held), entries.quantity("wanted_leak")
    if held.found is None or not held.known or held.duration is None:
        empty = check(entries, limit, None, next_step="")
        if held.found is None or held.known:
            return empty
        return replace(
            empty,
            sentence=(
                "Neither gauge nor thermometer is named, so nobody can say what it would have"
                " missed."
            ),
            next_step="Name gauge and thermometer beside the readings.",
        )
    if wanted is not None and smallest is not None:
        asked = Limit(
            limit.key,
            limit.title,
            "yearly_mass",
            high=wanted,
            source="largest leak that may stay unseen",
            authority="asked for on site",
        )
        return check(entries, asked, smallest.mass_rate, next_step=_longer(entries, held, wanted))
    daily = (held.found.detectable / held.start.pressure / held.duration * Q(24, "hour")).to(
        "percent"
    )
    return check(
        entries,
        limit,
        daily,
        next_step="Hold longer, or use a finer gauge and thermometer.",
        note="Of the test pressure in a day.",
    )


def seen(entries: Entries, held: Held) -> Leak | None:
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


def _longer(entries: Entries, held: Held, wanted: pint.Quantity) -> str:
    hours = hours_needed(entries, held, wanted)
    return (
        f"Hold for {entries.show(hours, 'hours', 0)} with these instruments, or search with a"
        " trace-gas detector."
        if hours is not None
        else ""
    )


# --- figures -----------------------------------------------------------------------------------


def figures(entries: Entries, held: Held) -> tuple[Figure, ...]:
    """What the gas law says, how sure that is, and what the test could have seen."""
    if held.found is None:
        return ()
    u = held.found.u if held.known else None
    slope = tightness.temperature_slope(held.start.pressure, held.start.temperature)
    found = [
        Figure(
            "Expected at the end",
            held.found.expected,
            "pressure",
            note="a tight machine at the temperature of the end, gas law",
        ),
        Figure(
            "Change at constant temperature",
            held.found.residual,
            "pressure_difference",
            u,
            "read less expected",
            "tightness.residual",
            2,
        ),
        Figure(
            "Pressure by temperature",
            f"{entries.show(slope * Q(1, 'delta_degC'), 'pressure_difference', 2)} a kelvin",
            note=(
                f"the fixed slope of {tightness.FIXED_SLOPE_SOURCE},"
                f" {entries.show(Q(tightness.FIXED_SLOPE, 'pascal'), 'pressure_difference', 2)} a"
                " kelvin, is right near 1000 kPa gauge only"
            ),
        ),
    ]
    if held.known:
        found.append(
            Figure(
                "Loss from which on it counts as a leak",
                held.found.threshold,
                "pressure_difference",
                note="one false alarm in twenty",
                digits=2,
            )
        )
    return (*found, *_leak_figures(entries, held))


def _leak_figures(entries: Entries, held: Held) -> tuple[Figure, ...]:
    smallest, wanted = seen(entries, held), entries.quantity("wanted_leak")
    if smallest is None:
        return ()
    told = (
        "missed in one case of twenty; test gas at test pressure, the refrigerant lost later is"
        " another figure"
    )
    found = (
        Figure(
            "Smallest leak that this hold could have seen",
            smallest.mass_rate,
            "yearly_mass",
            note=told,
        ),
        Figure("as throughput", smallest.throughput, "throughput", note=told),
    )
    hours = hours_needed(entries, held, wanted) if wanted is not None else None
    return (
        found
        if hours is None
        else (
            *found,
            Figure(
                "Hold needed to see the wanted leak",
                hours,
                "hours",
                note="with these instruments",
                digits=0,
            ),
        )
    )
