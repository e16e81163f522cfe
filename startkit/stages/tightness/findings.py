"""Figures of the stage Tightness: what pressure hold, rise and weighing say."""

from __future__ import annotations

from startkit.errors import StartkitError
from startkit.procedure.entries import Entries
from startkit.procedure.reading import Reading
from startkit.procedure.stage import Figure
from startkit.science import tightness
from startkit.science.evacuation import BOTH, LEAK, MOISTURE, TIGHT, UNDECIDED, Rise, only_ice
from startkit.science.water_vapour import boiling_temperature, vapour_pressure
from startkit.stages.tightness.readings import (
    Evacuated,
    Held,
    Tested,
    hours_needed,
    leak_rate,
    smallest_leak,
)
from startkit.units import Q


def figures(entries: Entries, tested: Tested) -> tuple[Figure, ...]:
    """Of the pressure hold, the evacuation and the charge."""
    return (
        *_hold_figures(entries, tested.held),
        *_rise_figures(entries, tested.evacuated),
        *_charge_figures(tested.charge),
    )


def _hold_figures(entries: Entries, held: Held) -> tuple[Figure, ...]:
    """What a tight machine would show, how sure that is, and what the test could have seen."""
    if held.found is None or held.start is None:
        return ()
    u = held.found.u if held.known else None
    slope = tightness.temperature_slope(held.start.pressure, held.start.temperature)
    found = [
        Figure(
            "Expected at the end",
            held.found.expected,
            "pressure",
            note="a tight machine at the temperature of the end, nitrogen as a real gas",
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
                " kelvin, is right near one pressure only"
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
    smallest, wanted = smallest_leak(entries, held), entries.quantity("wanted_leak")
    rate = leak_rate(entries, held)
    if smallest is None or rate is None:
        return ()
    told = (
        "missed in one case of twenty; test gas at test pressure, the refrigerant lost later is"
        " another figure"
    )
    found = (
        Figure("Lost, as nitrogen", rate[0], "yearly_loss", rate[1], "at test pressure"),
        Figure(
            "Smallest leak that this hold could have seen",
            smallest.mass_rate,
            "yearly_loss",
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


def _rise_figures(entries: Entries, found: Evacuated) -> tuple[Figure, ...]:
    """The shape of the rise, and the state of water at that pressure."""
    shown: list[Figure] = []
    if found.rise is not None:
        shown.append(
            Figure(
                "Shape of the rise",
                found.rise.kind,
                note=(
                    "the simplest of tight, leak, moisture, both that fits (AICc, Burnham and"
                    " Anderson 2002)"
                ),
            )
        )
        shown += _rates(entries, found.rise)
    return (*shown, *_water(entries, found))


def _rates(entries: Entries, found: Rise) -> list[Figure]:
    hour = Q(1, "hour")
    told = {
        TIGHT: "at most this could hide in the scatter",
        MOISTURE: "besides the moisture",
        UNDECIDED: "if all of it is a leak",
    }.get(found.kind, "constant leak")
    rows = [
        Figure(
            "Rise by a leak in an hour",
            (found.rate * hour).to("pascal"),
            "vacuum",
            (found.u_rate * hour).to("pascal"),
            told,
            "tightness.rise_rate",
            2,
        )
    ]
    volume = entries.quantity("test_volume")
    if volume is not None and found.kind in (LEAK, BOTH):
        rows.append(
            Figure(
                "Leak into the vacuum",
                (found.rate * volume).to("pascal*meter**3/second"),
                "throughput",
                (found.u_rate * volume).to("pascal*meter**3/second"),
                "air from outside",
            )
        )
    if found.kind == MOISTURE:
        rows.append(
            Figure(
                "Levels off at",
                found.plateau,
                "vacuum",
                note=(
                    "vapour pressure of water at the coldest part:"
                    f" {entries.show(vapour_pressure(entries.quantity('coldest')), 'vacuum')}"
                ),
            )
        )
    return rows


def _water(entries: Entries, found: Evacuated) -> list[Figure]:
    """What water would do at that pressure: ice only where the shell was cold enough for it."""
    shut_off, coldest = entries.quantity("shut_off"), entries.quantity("coldest")
    lowest = min(
        [Q(float(p), "pascal") for p in found.pressure[:1]]
        + ([shut_off] if shut_off is not None else []),
        default=None,
    )
    if lowest is None or lowest.magnitude <= 0:
        return []
    try:
        boiling = boiling_temperature(lowest)
    except StartkitError:
        return []
    at = entries.show(boiling, "temperature")
    if coldest is not None and coldest > boiling:
        text = f"leaves as vapour, above {at}"
        note = (
            f"the coldest part is at {entries.show(coldest, 'temperature')}; a wet spot may still"
            " chill itself to ice while it dries"
        )
    elif only_ice(lowest) and coldest is not None:
        text = f"ice at {at}"
        note = "below 611.7 Pa there is no liquid water: ice hides and leaves slowly"
    elif coldest is not None:
        text, note = f"water at {at}", "it boils there"
    else:
        text, note = f"stays where it is colder than {at}", "the coldest part was not measured"
    return [Figure("Water left inside", text, note=note)]


def _charge_figures(charge: Reading) -> tuple[Figure, ...]:
    """Refrigerant that went in."""
    return (
        ()
        if charge.quantity is None
        else (
            Figure(
                "Refrigerant charged",
                charge.quantity,
                "mass",
                charge.u,
                "by the weight of the cylinders",
                "tightness.charge",
            ),
        )
    )
