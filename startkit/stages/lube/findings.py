"""What is shown of the lubrication: figures, the pump's baseline, the differential over time."""

from __future__ import annotations

import pint

from startkit.errors import StartkitError
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.stage import Figure, Heading, Table
from startkit.science.oil_pump import compare_pump_speed
from startkit.science.viscosity import iso_grade, viscosity_at, viscosity_slope
from startkit.stages.lube.readings import Oil, baseline
from startkit.units import Q


def figures(machine: Machine, entries: Entries, oil: Oil) -> tuple[Figure, ...]:
    """Figures with keys are the baseline for the next visit."""
    found = (
        Figure(
            "Oil superheat",
            oil.superheat.quantity,
            "temperature_difference",
            oil.superheat.u,
            "sump temperature above saturation at sump pressure",
            "lube.oil_superheat",
            1,
        ),
        *_foaming(oil),
        Figure(
            "Transducer zero, subtracted",
            oil.zero.reading.quantity,
            "pressure_difference",
            oil.zero.reading.u,
            oil.zero.how,
            "lube.zero",
        ),
        *_pre_lube(oil),
        *_viscosity(machine, entries),
        Figure(
            "Pump speed at the set point",
            entries.quantity("pump_speed"),
            "frequency",
            entries.reading("pump_speed").u,
            "",
            "lube.pump_speed",
        ),
        Figure(
            "Oil supply temperature",
            entries.quantity("supply_temperature"),
            "temperature",
            entries.reading("supply_temperature").u,
            "",
            "lube.supply_temperature",
        ),
        Figure(
            "Filter drop",
            entries.quantity("filter_drop"),
            "pressure_difference",
            entries.reading("filter_drop").u,
            "",
            "lube.filter_drop",
        ),
        *_coast_down(oil),
    )
    return tuple(f for f in found if f.value is not None)


def _foaming(oil: Oil) -> tuple[Figure, ...]:
    if oil.foaming is None:
        return ()
    ideal = "mole fraction in the oil, ideal solution: an indicator"
    return (
        Figure(
            "Oil superheat after start",
            oil.foaming.superheat_after,
            "temperature_difference",
            note="at the pressure expected when running",
            digits=1,
        ),
        Figure(
            "Refrigerant dissolved now",
            oil.foaming.dissolved_now.to("percent"),
            "percent",
            note=ideal,
            digits=0,
        ),
        Figure(
            "Refrigerant dissolved after start",
            oil.foaming.dissolved_after.to("percent"),
            "percent",
            note=ideal,
            digits=0,
        ),
    )


def _pre_lube(oil: Oil) -> tuple[Figure, ...]:
    pre = oil.pre_lube
    if pre is None:
        return ()
    return (
        Figure(
            "Time to the set point",
            pre.time_to_set_point,
            "time",
            pre.u_time_to_set_point,
            "",
            "lube.time_to_set_point",
        ),
        Figure(
            "Settling time",
            pre.settling_time,
            "time",
            note="within 5 % of the set point from then on",
        ),
        Figure("Overshoot", pre.overshoot, "pressure_difference"),
        Figure(
            "Mean differential",
            pre.mean,
            "pressure_difference",
            pre.u_mean,
            f"steady part, equivalent to {pre.effective_samples:.0f} independent readings",
            "lube.differential",
        ),
        Figure(
            "Standard deviation",
            pre.standard_deviation,
            "pressure_difference",
            note="steady part",
            digits=2,
        ),
        Figure(
            "Lowest differential",
            pre.minimum,
            "pressure_difference",
            note="after the set point was reached",
        ),
    )


def _coast_down(oil: Oil) -> tuple[Figure, ...]:
    if oil.coast_down is None:
        return ()
    down = oil.coast_down
    ended = "until it fell below the trip" if down.post_lube_ended else "to the end of the record"
    return (
        Figure("Coast-down time", down.coast_down_time, "time", key="lube.coast_down_time"),
        Figure(
            "Lowest differential in the coast-down",
            down.minimum,
            "pressure_difference",
            key="lube.coast_down_minimum",
        ),
        Figure("Post-lube", down.post_lube_time, "time", note=ended),
    )


# --- viscosity and the pump's baseline -----------------------------------------------------------


def _sheet_points(machine: Machine) -> tuple[pint.Quantity, ...] | None:
    oil = machine.oil
    if oil.viscosity_40 is None or oil.viscosity_100 is None:
        return None
    return (oil.viscosity_40, Q(40.0, "degC"), oil.viscosity_100, Q(100.0, "degC"))


def _viscosity(machine: Machine, entries: Entries) -> tuple[Figure, ...]:
    """Viscosity of the clean oil at the bearings by ASTM D341 from the sheet's two points."""
    temperature, points = entries.quantity("supply_temperature"), _sheet_points(machine)
    if temperature is None or points is None:
        return ()
    try:
        value = viscosity_at(temperature, *points)
    except StartkitError:
        return ()
    grade = iso_grade(machine.oil.viscosity_40)
    note = (
        f"clean oil, ASTM D341{f'; ISO VG {grade} by ISO 3448' if grade else ''}; dissolved"
        " refrigerant makes it thinner"
    )
    return (
        Figure(
            "Oil viscosity at the bearings",
            value,
            "viscosity",
            _u_viscosity(entries, points),
            note,
            "lube.viscosity",
        ),
    )


def _u_viscosity(entries: Entries, points: tuple[pint.Quantity, ...]) -> pint.Quantity | None:
    reading = entries.reading("supply_temperature")
    if reading.u is None:
        return None
    return abs(viscosity_slope(reading.quantity, *points)) * Q(
        reading.u.to("delta_degC").magnitude, "kelvin"
    )


def tables(entries: Entries, oil: Oil) -> tuple[Table, ...]:
    """The pump against its last visit, where one is known."""
    machine, before = entries.machine, baseline(entries)
    speed, temperature, points = (
        entries.reading("pump_speed"),
        entries.reading("supply_temperature"),
        _sheet_points(entries.machine),
    )
    if before is None or speed.quantity is None or temperature.quantity is None or points is None:
        return ()
    now, then = viscosity_at(temperature.quantity, *points), viscosity_at(before[1], *points)
    u_speed = speed.u if speed.u is not None else Q(0.1, "hertz")
    u_viscosity = _u_viscosity(entries, points)
    compared = compare_pump_speed(
        speed.quantity,
        before[0],
        now,
        then,
        u_speed,
        u_viscosity if u_viscosity is not None else 0.02 * now,
    )
    head = (
        Heading("Pump speed"),
        Heading("Speed", "frequency"),
        Heading("Oil at", "temperature"),
        Heading("Viscosity", "viscosity"),
    )
    rows = (
        ("last visit", before[0], before[1], then),
        ("this visit", speed.quantity, temperature.quantity, now),
    )
    note = (
        "At today's viscosity the pump is expected to need"
        f" {entries.show(compared.expected_low, 'frequency')} to"
        f" {entries.show(compared.expected_high, 'frequency')}: {compared.outcome}."
        + (f" Candidates: {'; '.join(compared.candidates)}." if compared.candidates else "")
    )
    return (
        Table(f"Pump speed compared with the last visit, {machine.oil.kind}", head, rows, note),
    )
