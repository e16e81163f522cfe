"""What is judged of the machine at standstill: gas that does not condense."""

from __future__ import annotations

import pint

from startkit.errors import StartkitError
from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.judging import check
from startkit.procedure.reading import Reading
from startkit.science import performance
from startkit.units import Q
from startkit.verdict import Outcome, Verdict


def non_condensables(machine: Machine, limits: Limits, entries: Entries) -> Verdict:
    """Condenser pressure at standstill above that of the refrigerant: air or nitrogen."""
    limit = limits["load_up.non_condensables"]
    pressure, temperature = (
        entries.reading("standstill_pressure"),
        entries.reading("standstill_temperature"),
    )
    if pressure.quantity is None or temperature.quantity is None:
        return check(
            entries,
            limit,
            Reading.derived(None, None, pressure, temperature),
            next_step="",
        )
    try:
        found = performance.non_condensables(
            machine.machine.refrigerant, pressure.quantity, temperature.quantity
        )
    except StartkitError as error:
        return Verdict(
            key=limit.key,
            title=limit.title,
            outcome=Outcome.OPEN,
            sentence=str(error),
            next_step="Check the entries.",
            source=limit.origin,
            rests_on=(*pressure.items, *temperature.items),
        )
    return check(
        entries,
        limit,
        Reading.derived(
            found.equivalent,
            _u_air(machine, entries, pressure, temperature),
            pressure,
            temperature,
        ),
        next_step="Purge or recover the gas, then read again.",
        note=f"Excess pressure {entries.show(found.excess_pressure, 'pressure_difference')}.",
    )


def _u_air(
    machine: Machine, entries: Entries, pressure: Reading, temperature: Reading
) -> pint.Quantity | None:
    from startkit.science.refrigerant import bubble_temperature

    if pressure.u is None or temperature.u is None:
        return None
    barometer = entries.job.barometer.u
    u = (
        pressure.u
        if barometer is None
        else (pressure.u**2 + barometer.to(pressure.u.units) ** 2) ** 0.5
    )
    shifted = [
        bubble_temperature(machine.machine.refrigerant, pressure.quantity + sign * u)
        .to("kelvin")
        .magnitude
        for sign in (1, -1)
    ]
    return Q(
        (((shifted[0] - shifted[1]) / 2) ** 2 + temperature.u.to("delta_degC").magnitude ** 2)
        ** 0.5,
        "delta_degC",
    )
