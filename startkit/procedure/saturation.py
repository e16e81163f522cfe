"""Saturation at a pressure that was read, as a reading."""

from __future__ import annotations

import math

import pint

from startkit.procedure.entries import Entries
from startkit.procedure.reading import Reading
from startkit.units import Q

_STEP = 0.005  # of the pressure, over which the slope of the saturation line is taken


def dew_reading(entries: Entries, fluid: str, pressure: Reading) -> Reading:
    """Dew temperature at an absolute pressure, with what gauge and barometer leave open.

    u(T) = dT/dp u(p);  u(p)^2 = u(gauge)^2 + u(barometer)^2

    Parameters
    ----------
    fluid : str
    pressure : Reading
        Absolute [pressure].

    Raises
    ------
    StartkitError
        No saturation at this pressure, or the refrigerant is not known.
    """
    if pressure.quantity is None:
        return Reading.derived(None, None, pressure)
    pascal = float(pressure.quantity.to("pascal").magnitude)
    u = None
    if pressure.u is not None:
        high, low = (_dew(fluid, pascal * (1 + step)) for step in (_STEP, -_STEP))
        slope = (high - low).to("delta_degC").magnitude / (2 * _STEP * pascal)
        u = Q(float(slope) * _u_pascal(entries, pressure), "delta_degC")
    return Reading.derived(_dew(fluid, pascal), u, pressure)


def _dew(fluid: str, pascal: float) -> pint.Quantity:
    from startkit.science.refrigerant import dew_temperature

    return dew_temperature(fluid, Q(pascal, "pascal"))


def _u_pascal(entries: Entries, pressure: Reading) -> float:
    parts = (pressure.u, entries.job.barometer.u)
    return math.hypot(*(float(u.to("pascal").magnitude) for u in parts if u is not None))
