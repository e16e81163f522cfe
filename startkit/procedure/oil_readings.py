"""Oil readings that several stages use: transducer zero, differential over time, the coast-down."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
import pint

from startkit.errors import StartkitError
from startkit.facts.machine import Machine
from startkit.procedure.block import Block
from startkit.procedure.entries import Entries
from startkit.procedure.reading import Reading
from startkit.science.lube import oil_differential, transducer_zero
from startkit.science.pre_lube import CoastDown, analyse_coast_down
from startkit.units import Q

T = TypeVar("T")


# --- zero of the transducers ---------------------------------------------------------------------


@dataclass(frozen=True)
class Zero:
    """What the two oil transducers differ by with the pump off.

    Parameters
    ----------
    reading : Reading
        The difference; not taken if they were never compared.
    scatter : pint.Quantity
        Standard uncertainty of the mean of several comparisons; nil of a single one.
    how : str
        How it was found.
    both : pint.Quantity or None
        Standard uncertainty of a difference of the two transducers.
    """

    reading: Reading
    scatter: pint.Quantity
    how: str
    both: pint.Quantity | None = None

    @property
    def known(self) -> bool:
        return self.reading.quantity is not None

    @property
    def pascal(self) -> float:
        """What is subtracted from a differential [Pa]; nil if it is not known."""
        zero = self.reading.quantity
        return 0.0 if zero is None else float(zero.to("pascal").magnitude)

    def subtracted_from(self, differential: Reading) -> Reading:
        """A differential without the zero.

        Only the scatter of the comparisons adds to its uncertainty: the transducers' own error is
        in both and cancels.
        """
        if not self.known:
            return differential
        return differential.less(replace(self.reading, u=self.scatter))

    def corrected(self, shown: Reading) -> Reading:
        """A differential as it was read: without the zero where the machine's transducers show it,
        with the uncertainty of both; another gauge's is left as it is.
        """
        others = shown.instruments and not {*shown.instruments} & {*self.reading.instruments}
        if not self.known or shown.quantity is None or others:
            return shown
        u = self.both if shown.u is not None and self.both is not None else shown.u
        return self.subtracted_from(replace(shown, u=u))


def zero_of(entries: Entries) -> Zero:
    """Zero of the transducers from the entries of the stage Lubrication."""
    none = Q(0.0, "pascal")
    pairs = [(row.reading("supply"), row.reading("sump")) for row in entries.rows("zero")]
    supply, sump = (
        [q.to("pascal").magnitude for pair in pairs if _both(pair) and (q := pair[i].quantity)]
        for i in (0, 1)
    )
    compared = [pair for pair in pairs if _both(pair)]
    if not compared:
        shown = entries.reading("differential_off")
        how = "differential shown with the pump off" if shown.quantity is not None else ""
        return Zero(shown, none, how)
    zero, u = transducer_zero(Q(supply, "pascal"), Q(sump, "pascal"))
    scatter = u if np.isfinite(u.magnitude) else none
    # What the transducers differ by is their own error: it is what is measured here, and only the
    # scatter of the comparisons makes it uncertain.
    found = Reading.derived(
        zero,
        scatter if len(compared) > 1 else None,
        *(reading for pair in compared for reading in pair),
    )
    own = [reading.u for reading in compared[-1]]
    both = None if None in own else _root_sum(*own)
    return Zero(found, scatter, f"mean of {len(compared)} comparisons with the pump off", both)


def _both(pair: tuple[Reading, Reading]) -> bool:
    return pair[0].quantity is not None and pair[1].quantity is not None


def _root_sum(*parts: pint.Quantity | None) -> pint.Quantity | None:
    """Independent standard uncertainties together; None if none is known."""
    known = [part.to("pascal").magnitude for part in parts if part is not None]
    return Q(math.hypot(*known), "pascal") if known else None


# --- differential over time ----------------------------------------------------------------------


@dataclass(frozen=True)
class OilDifferential:
    """A differential over time with the zero subtracted.

    Parameters
    ----------
    time, differential, speed : numpy.ndarray
        [s], [Pa], and pump speed [Hz] where it was read.
    block : Block
        The pasted series.
    columns : tuple of str
        Those that the differential was read in.
    zero : Zero
    """

    time: np.ndarray
    differential: np.ndarray
    speed: np.ndarray
    block: Block
    columns: tuple[str, ...]
    zero: Zero

    def pressure(self, quantity: pint.Quantity, u: pint.Quantity | None = None) -> Reading:
        """A pressure found in the record, with the uncertainty of its instrument and of the zero.

        Parameters
        ----------
        quantity : pint.Quantity
        u : pint.Quantity, optional
            Its uncertainty from the scatter of the record.
        """
        own = [self.block.uncertainty(column, self._level(column)) for column in self.columns]
        scatter = self.zero.scatter if self.zero.known and any(own) else None
        return self.figure(quantity, _root_sum(u, scatter, *own))

    def figure(self, quantity: pint.Quantity | None, u: pint.Quantity | None = None) -> Reading:
        """A time, a standard deviation or a ratio found in the record."""
        # Of two columns the block knows no uncertainty of its own: what is given here is all.
        record = self.block.reading(("time", *self.columns), quantity, u)
        parents = (record, self.zero.reading) if self.zero.known else (record,)
        return Reading.derived(quantity, record.u, *parents)

    def _level(self, column: str) -> pint.Quantity:
        return Q(float(np.nanmean(self.block.columns[column])), "pascal")


def differential_over_time(
    entries: Entries, name: str, zero: Zero, problems: list[str]
) -> OilDifferential | None:
    """Differential over time: supply less sump where both were read, else as shown; zero
    subtracted.
    """
    block = entries.block(name)
    if not len(block):
        return None
    columns = block.columns
    difference = np.asarray(oil_differential.si(columns["supply"], columns["sump"], zero.pascal))
    shown = columns["differential"] - zero.pascal
    series = np.where(np.isfinite(difference), difference, shown)
    usable = np.isfinite(columns["time"]) & np.isfinite(series)
    lost = int(len(usable) - usable.sum())
    if lost:
        problems.append(
            f"{entries.fields[name].question}: {lost} of {len(usable)} rows have no time or"
            " differential and are left out of the figures."
        )
    if usable.sum() < 2:
        return None
    read_in = ("supply", "sump") if np.isfinite(difference[usable]).any() else ("differential",)
    time, speed = columns["time"][usable], columns["speed"][usable]
    return OilDifferential(time, series[usable], speed, block, read_in, zero)


# --- the coast-down ------------------------------------------------------------------------------


@dataclass(frozen=True)
class CoastDownTimes:
    """The times of the first stop, from its oil record."""

    coast_down_time: Reading
    post_lube_time: Reading


def coast_down_of(machine: Machine, entries: Entries) -> CoastDownTimes | None:
    """Times of the first stop from the entries of the stage Lubrication; None without a record."""
    record = differential_over_time(entries, "coast_down", zero_of(entries), [])
    found = analysed_coast_down(entries, record, trip_of(machine, entries), [])
    if record is None or found is None:
        return None
    stopped, at_rest = entries.reading("stopped"), entries.reading("at_rest")
    after = record.figure(found.post_lube_time)
    return CoastDownTimes(
        Reading.derived(found.coast_down_time, at_rest.less(stopped).u, stopped, at_rest),
        Reading.derived(found.post_lube_time, at_rest.u, after, at_rest),
    )


def trip_of(machine: Machine, entries: Entries) -> pint.Quantity:
    """The low-oil trip as it is set, or as the sheet has it."""
    setting = entries.quantity("trip_setting")
    return setting if setting is not None else machine.oil.low_trip


def analysed_coast_down(
    entries: Entries, record: OilDifferential | None, trip: pint.Quantity, problems: list[str]
) -> CoastDown | None:
    """The record between the stop and the shaft at rest; None if one of the three is missing."""
    stopped, at_rest = entries.quantity("stopped"), entries.quantity("at_rest")
    if record is None or stopped is None or at_rest is None:
        return None
    time, differential = Q(record.time, "second"), Q(record.differential, "pascal")
    return guarded(lambda: analyse_coast_down(time, differential, stopped, at_rest, trip), problems)


def guarded(work: Callable[[], T], problems: list[str]) -> T | None:
    """What `work` gives; None if it cannot, and why among the problems."""
    try:
        return work()
    except StartkitError as error:
        problems.append(str(error))
        return None
