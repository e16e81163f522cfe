"""What is drawn of the lubrication: the differential over time."""

from __future__ import annotations

import numpy as np
import pint

from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.oil_readings import OilDifferential
from startkit.procedure.stage import Line, Plot, Rule
from startkit.stages.lube.readings import Oil
from startkit.units import Q


def plotted(machine: Machine, entries: Entries, oil: Oil) -> tuple[Plot, ...]:
    """Differential over time with set point, trip and pre-lube window; then the coast-down."""
    levels = (Rule("set point", _pascal(oil.set_point)), Rule("low-oil trip", _pascal(oil.trip)))
    found = []
    if oil.record is not None:
        start = entries.quantity("pump_start")
        begin = 0.0 if start is None else float(start.to("second").magnitude)
        window = (
            (
                Rule(
                    "pre-lube", begin, "x", begin + machine.oil.pre_lube_time.to("second").magnitude
                ),
            )
            if machine.oil.pre_lube_time is not None
            else (Rule("pump starts", begin, "x"),)
        )
        found.append(
            _plot("Oil differential from pump start", oil.record, (*levels, *window), entries, oil)
        )
    if oil.coast_record is not None:
        moments = tuple(
            Rule(label, float(q.to("second").magnitude), "x")
            for label, name in (("motor stopped", "stopped"), ("shaft at rest", "at_rest"))
            if (q := entries.quantity(name)) is not None
        )
        found.append(
            _plot(
                "Oil differential through the first stop",
                oil.coast_record,
                (*levels, *moments),
                entries,
                oil,
            )
        )
    return tuple(found)


def _pascal(quantity: pint.Quantity) -> float:
    return float(quantity.to("pascal").magnitude)


def _plot(
    title: str, record: OilDifferential, rules: tuple[Rule, ...], entries: Entries, oil: Oil
) -> Plot:
    lowest, highest = (
        entries.show(Q(float(f(record.differential)), "pascal"), "pressure_difference")
        for f in (np.min, np.max)
    )
    return Plot(
        title,
        "Time",
        "time",
        "Oil differential",
        "pressure_difference",
        (
            Line(
                (
                    "differential, zero subtracted"
                    if oil.zero.known
                    else "differential, zero unknown"
                ),
                [float(v) for v in record.time],
                [float(v) for v in record.differential],
            ),
        ),
        rules,
        f"{title}: between {lowest} and {highest}; set point"
        f" {entries.show(oil.set_point, 'pressure_difference')}, trip"
        f" {entries.show(oil.trip, 'pressure_difference')}.",
    )
