"""Readings of the three phases: mean and unbalance, with the errors that one meter shares."""

from __future__ import annotations

from collections.abc import Sequence

from startkit.errors import StartkitError
from startkit.procedure.reading import Reading
from startkit.science.supply import current_unbalance, voltage_unbalance
from startkit.science.uncertainty import propagate

# One meter reads the three phases one after another: nine tenths of its error are the same each
# time and cancel in a difference. Common practice, no source.
SAME_METER = 0.9


def correlation(readings: Sequence[Reading]) -> float:
    """Correlation of the errors of several readings: that of one meter if all name the same one."""
    tags = {reading.instruments for reading in readings}
    return SAME_METER if len(tags) == 1 and () not in tags else 0.0


def mean(readings: Sequence[Reading]) -> Reading:
    """Mean of three phases; missing if one of them is."""
    return Reading.mean_of(readings, correlation(readings))


def unbalance(readings: Sequence[Reading]) -> Reading:
    """Largest deviation from the mean of three phases [percent]; missing if one of them is.

    Parameters
    ----------
    readings : sequence of Reading
        Three line-to-line voltages, or three currents.
    """
    blank = Reading.mean_of(readings)
    if blank.quantity is None:
        return blank
    try:
        return _unbalance(readings)
    except StartkitError as error:
        return blank.unreadable(str(error))


def _unbalance(readings: Sequence[Reading]) -> Reading:
    first = readings[0].quantity
    assert first is not None  # a mean was found
    of_volts = first.is_compatible_with("volt")
    function = voltage_unbalance if of_volts else current_unbalance
    names = ("v12", "v23", "v31") if of_volts else ("i1", "i2", "i3")
    values = dict(zip(names, (r.quantity for r in readings), strict=True))
    us = {name: r.u for name, r in zip(names, readings, strict=True) if r.u is not None}
    if len(us) < len(names):
        return Reading.derived(function(**values).to("percent"), None, *readings)
    shared = correlation(readings)
    pairs = {(a, b): shared for a in names for b in names if a < b}
    found = propagate(function.si, values, us, pairs, returns="dimensionless")
    return Reading.derived(found.value.to("percent"), found.u.to("percent"), *readings)
