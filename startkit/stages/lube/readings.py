"""The oil readings of a job brought together: zero, differential over time, the sump."""

from __future__ import annotations

import math
from dataclasses import dataclass

import pint

from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.oil_readings import (
    OilDifferential,
    Zero,
    analysed_coast_down,
    differential_over_time,
    guarded,
    trip_of,
    zero_of,
)
from startkit.procedure.reading import Reading
from startkit.science.lube import (
    FoamingRisk,
    foaming_risk,
    oil_superheat,
    oil_superheat_uncertainty,
)
from startkit.science.pre_lube import CoastDown, PreLube, analyse_pre_lube
from startkit.units import Q


@dataclass(frozen=True)
class Oil:
    """What the stage's verdicts, figures and plots are made from.

    Parameters
    ----------
    zero : Zero
    set_point, trip : pint.Quantity
        As they are left; where that is not entered, as the sheet has them.
    record, coast_record : OilDifferential or None
        From pump start, and through the first stop.
    pre_lube : PreLube or None
    coast_down : CoastDown or None
    superheat, released : Reading
        Oil superheat, and the share of refrigerant that leaves the oil at the start.
    foaming : FoamingRisk or None
    problems : tuple of str
    """

    zero: Zero
    set_point: pint.Quantity
    trip: pint.Quantity
    record: OilDifferential | None
    pre_lube: PreLube | None
    coast_record: OilDifferential | None
    coast_down: CoastDown | None
    superheat: Reading
    released: Reading
    foaming: FoamingRisk | None
    problems: tuple[str, ...]


def collect(machine: Machine, entries: Entries) -> Oil:
    """Read everything once; one sentence for each thing that cannot be used."""
    problems: list[str] = []
    zero, trip = zero_of(entries), trip_of(machine, entries)
    set_point = _set_point(machine, entries)
    record, coast = (
        differential_over_time(entries, name, zero, problems) for name in ("pre_lube", "coast_down")
    )
    superheat = guarded(lambda: _superheat(machine, entries), problems)
    foaming = guarded(lambda: _foaming(machine, entries), problems)
    return Oil(
        zero=zero,
        set_point=set_point,
        trip=trip,
        record=record,
        pre_lube=_pre_lube(entries, record, set_point, trip, problems),
        coast_record=coast,
        coast_down=analysed_coast_down(entries, coast, trip, problems),
        superheat=superheat or Reading.derived(None, None, *_sump(entries)),
        released=guarded(lambda: _released(machine, entries, foaming), problems)
        or Reading.derived(None, None, *_sump(entries)),
        foaming=foaming,
        problems=tuple(dict.fromkeys(problems)),
    )


def _set_point(machine: Machine, entries: Entries) -> pint.Quantity:
    for name in ("set_point_left", "set_point_found"):
        typed = entries.quantity(name)
        if typed is not None:
            return typed
    return machine.oil.differential_set_point


def _pre_lube(
    entries: Entries,
    record: OilDifferential | None,
    set_point: pint.Quantity,
    trip: pint.Quantity,
    problems: list[str],
) -> PreLube | None:
    if record is None:
        return None
    typed = entries.quantity("pump_start")
    start = typed if typed is not None else Q(0.0, "second")
    time, differential = Q(record.time, "second"), Q(record.differential, "pascal")
    return guarded(lambda: analyse_pre_lube(time, differential, start, set_point, trip), problems)


# --- the sump ------------------------------------------------------------------------------------


def _sump(entries: Entries) -> tuple[Reading, Reading]:
    return entries.reading("sump_temperature"), entries.reading("sump_pressure")


def _dew(fluid: str, pressure: pint.Quantity) -> pint.Quantity:
    from startkit.science.refrigerant import dew_temperature

    return dew_temperature(fluid, pressure)


def _superheat(machine: Machine, entries: Entries) -> Reading | None:
    """Oil superheat with the uncertainty of thermometer, gauge and barometer."""
    temperature, pressure = _sump(entries)
    if temperature.quantity is None or pressure.quantity is None:
        return None
    fluid = machine.machine.refrigerant
    superheat = oil_superheat(temperature.quantity, _dew(fluid, pressure.quantity))
    u = _u_superheat(entries, fluid, temperature, pressure)
    return Reading.derived(superheat, u, temperature, pressure)


def _u_superheat(
    entries: Entries, fluid: str, temperature: Reading, pressure: Reading
) -> pint.Quantity | None:
    """From the thermometer, the gauge and the barometer that the gauge rests on; None if no
    instrument is named.
    """
    if temperature.u is None or pressure.u is None or pressure.quantity is None:
        return None
    p = pressure.quantity.to("pascal").magnitude
    slope = (_dew(fluid, Q(p * 1.005, "pascal")) - _dew(fluid, Q(p * 0.995, "pascal"))).to(
        "delta_degC"
    ).magnitude / (0.01 * p)
    return oil_superheat_uncertainty(
        temperature.u, Q(_u_pascal(entries, pressure), "pascal"), Q(slope, "delta_degC/pascal")
    )


def _u_pascal(entries: Entries, pressure: Reading) -> float:
    """Standard uncertainty of an absolute pressure [Pa]: gauge and barometer."""
    parts = (pressure.u, entries.job.barometer.u)
    return math.hypot(*(u.to("pascal").magnitude for u in parts if u is not None))


# --- foaming -------------------------------------------------------------------------------------


def _pressure_to_come(machine: Machine, entries: Entries) -> pint.Quantity:
    from startkit.science.refrigerant import saturation_pressure

    typed = entries.quantity("pressure_to_come")
    if typed is not None:
        return typed
    return saturation_pressure(machine.machine.refrigerant, machine.design.leaving_chilled)


def _foaming(machine: Machine, entries: Entries) -> FoamingRisk | None:
    """What the fall of pressure at start will release from the oil."""
    from startkit.science.refrigerant import saturation_pressure

    temperature, pressure = (reading.quantity for reading in _sump(entries))
    if temperature is None or pressure is None:
        return None
    fluid, after = machine.machine.refrigerant, _pressure_to_come(machine, entries)
    return foaming_risk(
        temperature,
        _dew(fluid, pressure),
        _dew(fluid, after),
        pressure,
        after,
        saturation_pressure(fluid, temperature),
    )


def _released(machine: Machine, entries: Entries, foaming: FoamingRisk | None) -> Reading:
    """Share of refrigerant that leaves the oil at the start, with its standard uncertainty."""
    parents = _sump(entries)
    to_come = entries.reading("pressure_to_come")
    rests_on = (*parents, to_come) if to_come.taken else parents
    if foaming is None:
        return Reading.derived(None, None, *rests_on)
    u = _u_released(machine, entries, foaming, *parents)
    return Reading.derived(foaming.released.to("percent"), u, *rests_on)


_STEP = 0.5  # K, over which the slope of the saturation line is taken


def _u_released(
    machine: Machine,
    entries: Entries,
    foaming: FoamingRisk,
    temperature: Reading,
    pressure: Reading,
) -> pint.Quantity | None:
    """u of (p_now - p_after) / p_sat(T): from the pressure now, and from the oil's temperature."""
    from startkit.science.refrigerant import saturation_pressure

    if temperature.u is None or pressure.u is None or temperature.quantity is None:
        return None
    fluid, kelvin = machine.machine.refrigerant, temperature.quantity.to("kelvin").magnitude
    low, middle, high = (
        float(saturation_pressure(fluid, Q(kelvin + step, "kelvin")).to("pascal").magnitude)
        for step in (-_STEP, 0.0, _STEP)
    )
    of_temperature = (high - low) / (2 * _STEP) * temperature.u.to("delta_degC").magnitude / middle
    share = float(foaming.released.to("dimensionless").magnitude)
    by_pressure = _u_pascal(entries, pressure) / middle
    return Q(100 * math.hypot(by_pressure, share * of_temperature), "percent")


def baseline(entries: Entries) -> tuple[pint.Quantity, pint.Quantity] | None:
    """Pump speed and oil temperature at the last visit, if both were entered."""
    speed, temperature = (
        entries.quantity("baseline_speed"),
        entries.quantity("baseline_temperature"),
    )
    return None if speed is None or temperature is None else (speed, temperature)
