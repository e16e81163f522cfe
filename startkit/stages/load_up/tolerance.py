"""The limits that a load is judged by: as listed, or if so chosen the tolerances of a
laboratory, named as such.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pint

from startkit.errors import StartkitError
from startkit.facts.limits import Limit, Limits
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.selection import design_range
from startkit.science import rating
from startkit.stages.load_up.fields import LABORATORY
from startkit.units import Q

SOURCE = "AHRI 550/590 Table 11, a laboratory tolerance chosen for this job"


def laboratory(entries: Entries) -> bool:
    """True if this job is judged by the laboratory's tolerances."""
    return entries.code("tolerance") == LABORATORY.code


def limit_at(
    limits: Limits, key: str, entries: Entries, machine: Machine, load: float | None
) -> Limit:
    """The limit that applies at a load: the listed one, or the laboratory's where the sheet and the
    specification set none of their own.

    Parameters
    ----------
    key : str
        ``"load_up.heat_balance"``, ``"load_up.capacity"``, ``"load_up.specific_power"`` or
        ``"load_up.part_load_value"``.
    load : float or None
        Share of full load.
    """
    listed = limits[key]
    if not laboratory(entries) or listed.authority != "default" or key not in _FORMS:
        return listed
    try:
        share = _FORMS[key](min(1.0, load if load is not None else 1.0), design_range(machine))
    except StartkitError:
        return listed
    low = None if listed.low is None else Q(-share.magnitude, share.units)
    return replace(
        listed,
        low=low,
        high=None if listed.high is None else share,
        source=SOURCE,
        standing="from memory",
    )


def _percent(value: pint.Quantity) -> pint.Quantity:
    return Q(100 * float(value.to("dimensionless").magnitude), "percent")


_FORMS: dict[str, Callable[[float, pint.Quantity], pint.Quantity]] = {
    "load_up.heat_balance": lambda load, spread: _percent(
        rating.tolerance_heat_balance(load, spread)
    ),
    "load_up.capacity": lambda load, spread: _percent(rating.tolerance_performance(load, spread)),
    "load_up.specific_power": lambda load, spread: _percent(
        rating.tolerance_performance(load, spread)
    ),
    "load_up.part_load_value": lambda load, spread: _percent(rating.tolerance_integrated(spread)),
}
