"""The verdict: one outcome with its reading, limit, source, uncertainty and next step.

The guard band is decided here and nowhere else: a reading passes only if it is inside its limit by
its expanded uncertainty U = k u with k = 2 (ILAC-G8:09/2019, w = U: false acceptance below 2.5 %);
inside that band on either side of the limit the outcome is *unproven*.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import Enum

import pint

from startkit.errors import UnitError
from startkit.unit_registry import base, is_temperature

COVERAGE = (
    2.0  # k of the expanded uncertainty, about 95 % for a normal distribution (JCGM 100, 6.2.1)
)


class Outcome(Enum):
    """The outcome of one item."""

    PASS = "pass"
    FAIL = "fail"
    UNPROVEN = "unproven"
    OPEN = "open"
    WAIVED = "waived"
    NA = "n/a"

    @property
    def mark(self) -> str:
        """A sign that survives a black-and-white copier."""
        return _MARKS[self]

    @property
    def settled(self) -> bool:
        """True if nothing more is to be done before a hold point."""
        return self in (Outcome.PASS, Outcome.WAIVED, Outcome.NA)


_MARKS = {
    Outcome.PASS: "✓",
    Outcome.FAIL: "✗",
    Outcome.UNPROVEN: "≈",
    Outcome.OPEN: "○",
    Outcome.WAIVED: "△",
    Outcome.NA: "–",
}
# The order in which outcomes decide what a group of items is worth.
_WORST_FIRST = (
    Outcome.FAIL,
    Outcome.UNPROVEN,
    Outcome.OPEN,
    Outcome.WAIVED,
    Outcome.PASS,
    Outcome.NA,
)


@dataclass(frozen=True, kw_only=True)
class Verdict:
    """One item judged.

    Parameters
    ----------
    key : str
        Stage and item, e.g. ``"lube.oil_differential"``; waivers name it.
    title : str
        What was judged, in trade words.
    outcome : Outcome
    sentence : str
        One plain sentence: what was found.
    next_step : str
        What to do next; empty if nothing.
    reading, uncertainty : pint.Quantity or None
        The figure and its standard uncertainty [unit of `kind`].
    kind : str
        Kind of reading (`startkit.units.KINDS`) in which reading and limit are shown.
    low, high : pint.Quantity or None
        The limits that applied.
    source : str
        Where the limit comes from, as printed.
    gate : str
        Hold point before which it is due, if not that of its stage.
    rests_on : tuple of str
        Names of the journal's items that it rests on, e.g. ``("lube.filter_drop",)``.
    """

    key: str
    title: str
    outcome: Outcome
    sentence: str
    next_step: str = ""
    reading: pint.Quantity | None = None
    uncertainty: pint.Quantity | None = None
    kind: str = "ratio"
    low: pint.Quantity | None = None
    high: pint.Quantity | None = None
    source: str = ""
    gate: str = ""
    rests_on: tuple[str, ...] = ()

    @property
    def settled(self) -> bool:
        return self.outcome.settled

    def passed(self, sentence: str) -> Verdict:
        """The same item as a pass."""
        return replace(self, outcome=Outcome.PASS, sentence=sentence, next_step="")

    def failed(self, sentence: str, next_step: str) -> Verdict:
        """The same item as a fail."""
        return replace(self, outcome=Outcome.FAIL, sentence=sentence, next_step=next_step)

    def unproven(self, sentence: str, next_step: str) -> Verdict:
        """The same item as unproven."""
        return replace(self, outcome=Outcome.UNPROVEN, sentence=sentence, next_step=next_step)

    def left_open(self, sentence: str, next_step: str) -> Verdict:
        """The same item as open."""
        return replace(self, outcome=Outcome.OPEN, sentence=sentence, next_step=next_step)


def within(
    reading: pint.Quantity | None,
    low: pint.Quantity | None = None,
    high: pint.Quantity | None = None,
    u: pint.Quantity | None = None,
    steady: bool = True,
) -> Outcome:
    """The outcome of one reading against a lower and an upper limit, guard band included.

    pass if low + k u <= reading <= high - k u;  fail if reading < low - k u or reading > high + k
    u;
    unproven between.

    Parameters
    ----------
    reading : pint.Quantity or None
        None is *open*: a missing reading is never a pass.
    low, high : pint.Quantity or None
        [as reading]; a limit that is None does not bind.
    u : pint.Quantity or None
        Standard uncertainty [as reading, differences]; None or zero: the reading is taken as it is.
    steady : bool
        False: the machine was not steady, the outcome is unproven.

    Raises
    ------
    UnitError
        Both limits are missing, or the dimensions differ.

    Source: ILAC-G8:09/2019 pp. 8, 10; JCGM 106:2012.
    """
    if low is None and high is None:
        raise UnitError("a verdict needs a limit", "verdict", "give the lower or the upper limit")
    if reading is None or not math.isfinite(reading.magnitude):
        return Outcome.OPEN
    if not steady:
        return Outcome.UNPROVEN
    value = _base(reading)
    guard = 0.0 if u is None else COVERAGE * abs(_base_difference(u))
    gaps = [value - _base(low)] if low is not None else []
    gaps += [_base(high) - value] if high is not None else []
    # Conversions leave a few units in the last place: a reading equal to its limit is inside it.
    slack = 1e-9 * max(abs(value), 1e-12)
    if min(gaps) < -guard - slack:
        return Outcome.FAIL
    return Outcome.PASS if min(gaps) >= guard - slack else Outcome.UNPROVEN


def _base(quantity: pint.Quantity) -> float:
    return float(base(quantity))


def _base_difference(quantity: pint.Quantity) -> float:
    if is_temperature(quantity.units):
        raise UnitError(
            "an uncertainty was given as a temperature",
            "verdict",
            "give it in delta_degC or delta_degF",
        )
    return float(base(quantity))


def worst(outcomes: list[Outcome]) -> Outcome:
    """The outcome that a group of items deserves; a group without items is *open*."""
    for outcome in _WORST_FIRST:
        if outcome in outcomes:
            return outcome
    return Outcome.OPEN
