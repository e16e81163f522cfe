"""The oil readings of a job brought together: zero, differential over time, saturation at the sump."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pint

from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.oil_readings import (
    OilDifferential,
    analysed_coast_down,
    differential_over_time,
    guarded,
    zero_of,
)
from startkit.science.lube import FoamingRisk, foaming_risk
from startkit.science.pre_lube import CoastDown, PreLube, analyse_pre_lube
from startkit.units import Q


@dataclass(frozen=True)
class Oil:
    """What the stage's verdicts, figures and plots are made from.

    `zero` is what is subtracted, with `u_zero`; None if the transducers were never compared with
    the pump off.
    """

    zero: pint.Quantity | None
    u_zero: pint.Quantity | None
    zero_raw: str
    set_point: pint.Quantity
    trip: pint.Quantity
    trend: OilDifferential | None
    pre_lube: PreLube | None
    coast_trend: OilDifferential | None
    coast_down: CoastDown | None
    superheat: pint.Quantity | None
    u_superheat: pint.Quantity | None
    foaming: FoamingRisk | None
    problems: tuple[str, ...]


def collect(machine: Machine, entries: Entries) -> Oil:
    """Read everything once; what cannot be used is said in one sentence each."""
    problems: list[str] = []
    zero, u_zero, raw = zero_of(entries)
    left = entries.quantity("set_point_left") or entries.quantity("set_point_found")
    set_point = left if left is not None else machine.oil.differential_set_point
    setting = entries.quantity("trip_setting")
    trip = setting if setting is not None else machine.oil.low_trip
    trend, coast = (
        differential_over_time(entries.block(name), zero, name, entries, problems)
        for name in ("pre_lube", "coast_down")
    )
    superheat, u, foaming = _sump(machine, entries, problems)
    return Oil(
        zero,
        u_zero,
        raw,
        set_point,
        trip,
        trend,
        _pre_lube(entries, trend, set_point, trip, problems),
        coast,
        analysed_coast_down(entries, coast, trip, problems),
        superheat,
        u,
        foaming,
        tuple(problems),
    )


def _pre_lube(
    entries: Entries,
    trend: OilDifferential | None,
    set_point: pint.Quantity,
    trip: pint.Quantity,
    problems: list[str],
) -> PreLube | None:
    if trend is None:
        return None
    start = entries.quantity("pump_start")
    return guarded(
        lambda: analyse_pre_lube(
            Q(trend.time, "second"),
            Q(trend.differential, "pascal"),
            start if start is not None else Q(0.0, "second"),
            set_point,
            trip,
        ),
        problems,
    )


def _sump(
    machine: Machine, entries: Entries, problems: list[str]
) -> tuple[pint.Quantity | None, pint.Quantity | None, FoamingRisk | None]:
    """Oil superheat with its uncertainty, and what the fall of pressure at start will release."""
    temperature, pressure = entries.reading("sump_temperature"), entries.reading("sump_pressure")
    if temperature.quantity is None or pressure.quantity is None:
        return None, None, None
    from startkit.science.lube import oil_superheat

    fluid = machine.machine.refrigerant
    return guarded(
        lambda: (
            oil_superheat(temperature.quantity, _dew(fluid, pressure.quantity)),
            _u_superheat(entries, fluid),
            _foaming(machine, entries, fluid, temperature.quantity, pressure.quantity),
        ),
        problems,
    ) or (None, None, None)


def _dew(fluid: str, pressure: pint.Quantity) -> pint.Quantity:
    from startkit.science.refrigerant import dew_temperature

    return dew_temperature(fluid, pressure)


def _u_superheat(entries: Entries, fluid: str) -> pint.Quantity | None:
    """From the thermometer, the gauge and the barometer that the gauge rests on; None if no
    instrument is named.
    """
    from startkit.science.lube import oil_superheat_uncertainty

    temperature, pressure = entries.reading("sump_temperature"), entries.reading("sump_pressure")
    if temperature.u is None or pressure.u is None:
        return None
    p = pressure.quantity.to("pascal").magnitude
    slope = (_dew(fluid, Q(p * 1.005, "pascal")) - _dew(fluid, Q(p * 0.995, "pascal"))).to(
        "delta_degC"
    ).magnitude / (0.01 * p)
    barometer = entries.job.barometer.u
    u_pressure = np.hypot(
        pressure.u.to("pascal").magnitude,
        barometer.to("pascal").magnitude if barometer is not None else 0.0,
    )
    return oil_superheat_uncertainty(
        temperature.u, Q(u_pressure, "pascal"), Q(slope, "delta_degC/pascal")
    )


def _foaming(
    machine: Machine,
    entries: Entries,
    fluid: str,
    temperature: pint.Quantity,
    pressure: pint.Quantity,
) -> FoamingRisk:
    from startkit.science.refrigerant import saturation_pressure

    after = entries.quantity("pressure_to_come")
    if after is None:
        after = saturation_pressure(fluid, machine.design.leaving_chilled)
    return foaming_risk(
        temperature,
        _dew(fluid, pressure),
        _dew(fluid, after),
        pressure,
        after,
        saturation_pressure(fluid, temperature),
    )
