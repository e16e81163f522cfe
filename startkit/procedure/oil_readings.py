"""Oil readings that several stages use: transducer zero, differential over time, the coast-down."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pint

from startkit.errors import StartkitError
from startkit.facts.machine import Machine
from startkit.procedure.block import Block
from startkit.procedure.entries import Entries
from startkit.science.lube import oil_differential, transducer_zero
from startkit.science.pre_lube import CoastDown, analyse_coast_down
from startkit.units import Q


@dataclass(frozen=True)
class OilDifferential:
    """A differential over time, zero already subtracted [s], [Pa]; pump speed [Hz] where it was
    read.
    """

    time: np.ndarray
    differential: np.ndarray
    speed: np.ndarray


def coast_down_of(machine: Machine, entries: Entries) -> CoastDown | None:
    """The first stop's record alone, for other stages; None without one."""
    setting = entries.quantity("trip_setting")
    zero, _, _ = zero_of(entries)
    trend = differential_over_time(entries.block("coast_down"), zero, "coast_down", entries, [])
    return analysed_coast_down(
        entries, trend, setting if setting is not None else machine.oil.low_trip, []
    )


def zero_of(entries: Entries) -> tuple[pint.Quantity | None, pint.Quantity | None, str]:
    """Zero of the transducers, its uncertainty, and how it was found."""
    rows = [
        row
        for row in entries.rows("zero")
        if row.quantity("supply") is not None and row.quantity("sump") is not None
    ]
    if rows:
        supply, sump = (
            [row.quantity(side).to("pascal").magnitude for row in rows]
            for side in ("supply", "sump")
        )
        zero, u = transducer_zero(Q(supply, "pascal"), Q(sump, "pascal"))
        return (
            zero,
            u if np.isfinite(u.magnitude) else None,
            f"mean of {len(rows)} comparisons with the pump off",
        )
    shown = entries.reading("differential_off")
    return (
        shown.quantity,
        shown.u,
        "differential shown with the pump off" if shown.quantity is not None else "",
    )


def differential_over_time(
    block: Block, zero: pint.Quantity | None, name: str, entries: Entries, problems: list[str]
) -> OilDifferential | None:
    """Differential over time: supply less sump where both were read, else as shown; zero
    subtracted.
    """
    if not len(block):
        return None
    columns, offset = block.columns, 0.0 if zero is None else float(zero.to("pascal").magnitude)
    difference = oil_differential.si(columns["supply"], columns["sump"], offset)
    series = np.where(np.isfinite(difference), difference, columns["differential"] - offset)
    usable = np.isfinite(block.columns["time"]) & np.isfinite(series)
    lost = int(len(usable) - usable.sum())
    if lost:
        problems.append(
            f"{entries.fields[name].question}: {lost} of {len(usable)} rows lack time or"
            " differential and are left out of the figures."
        )
    if usable.sum() < 2:
        return None
    return OilDifferential(
        block.columns["time"][usable], series[usable], block.columns["speed"][usable]
    )


def guarded(work: Callable[[], object], problems: list[str]):
    try:
        return work()
    except StartkitError as error:
        problems.append(str(error))
        return None


def analysed_coast_down(
    entries: Entries, trend: OilDifferential | None, trip: pint.Quantity, problems: list[str]
) -> CoastDown | None:
    stopped, at_rest = entries.quantity("stopped"), entries.quantity("at_rest")
    if trend is None or stopped is None or at_rest is None:
        return None
    return guarded(
        lambda: analyse_coast_down(
            Q(trend.time, "second"), Q(trend.differential, "pascal"), stopped, at_rest, trip
        ),
        problems,
    )
