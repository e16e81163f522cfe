"""Charge: refrigerant by the weight of its cylinders, and the leak rate that an addition means."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from startkit.errors import ScienceError
from startkit.formula import Number, Value
from startkit.units import quantities

LEAK_RATE_SOURCE = "40 CFR 82.152, annualizing method (secondary)"
TRIGGER_SOURCE = "40 CFR 82.157 and 84.106 (secondary)"
# Leak rate a year above which the rule asks for repair.
TRIGGERS = {"industrial process": 0.30, "commercial refrigeration": 0.20, "comfort cooling": 0.10}
DAYS = 365.0


@dataclass(frozen=True)
class Charged:
    """Mass that went into the machine, with its standard uncertainty."""

    mass: Value
    u: Value


@quantities(
    {"mass": "kilogram", "u": "kilogram"},
    before="kilogram",
    after="kilogram",
    u_scale="kilogram",
    residue="kilogram",
)
def charged_mass(before: Number, after: Number, u_scale: Number, residue: Number = 0.0) -> Charged:
    """Refrigerant charged, from each cylinder's weight before and after.

    m = sum(before - after) - residue;  u = u_scale sqrt(2 n)

    Parameters
    ----------
    before, after : Quantity
        Weights of the n cylinders, in the same order [kg].
    u_scale : Quantity
        Standard uncertainty of one weighing [kg].
    residue : Quantity, optional
        Left in hoses and manifold, recovered afterwards [kg].

    Returns
    -------
    Charged

    Raises
    ------
    ScienceError
        The lists differ in length, are empty, or a cylinder gained weight.

    Source: arithmetic; JCGM 100:2008 5.1.2.
    """
    full, empty = np.atleast_1d(before), np.atleast_1d(after)
    if full.shape != empty.shape or full.size == 0:
        raise ScienceError(
            f"{full.size} weights before and {empty.size} after do not match",
            "charge by weight",
            "weigh each cylinder before and after",
        )
    if np.any(empty > full):
        number = int(np.argmax(empty > full)) + 1
        raise ScienceError(
            f"cylinder {number} weighs more after than before",
            "charge by weight",
            "check which weight belongs to which cylinder",
        )
    return Charged(float(np.sum(full - empty)) - residue, u_scale * math.sqrt(2 * full.size))


@quantities("1/year", added="kilogram", full_charge="kilogram", since="second")
def annualised_leak_rate(added: Number, full_charge: Number, since: Number) -> Number:
    """Leak rate that an addition means, brought to a year.

    rate = added / full charge x 365 / min(days since the last addition, 365)

    Parameters
    ----------
    added : Quantity
        To bring the machine back to its full charge [kg].
    full_charge : Quantity
        [kg].
    since : Quantity
        Time since refrigerant was last added [s].

    Returns
    -------
    Quantity
        Fraction of the charge a year [1/a].

    Raises
    ------
    ScienceError
        No full charge or no time.

    Source: 40 CFR 82.152, annualizing method (secondary).

    Examples
    --------
    >>> from startkit.units import Q
    >>> round(annualised_leak_rate(Q(10, "lb"), Q(100, "lb"), Q(180,
    ...     "day")).to("percent/year").magnitude, 1)
    20.3
    """
    if full_charge <= 0 or since <= 0:
        raise ScienceError(
            "no full charge, or no time since the last addition",
            "leak rate",
            "enter both from the machine's refrigerant log",
        )
    return added / full_charge * DAYS / min(since / 86400.0, DAYS)
