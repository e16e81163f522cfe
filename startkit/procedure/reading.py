"""A reading, and what can be calculated from readings without losing anything of them.

Uncertainty, calibration, faults and the names of the journal's items follow every reading into what
is calculated from it, so that a verdict knows what it rests on.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime

import pint

from startkit.errors import UnitError
from startkit.facts.instruments import Instrument
from startkit.facts.journal import Entry
from startkit.procedure.choice import Choice, yes_or_no
from startkit.units import Q


@dataclass(frozen=True)
class Reading:
    """One reading: a quantity, its standard uncertainty, and what is wrong with it.

    Rules of every calculation: a problem of any reading is a problem of the result; if one is
    missing, so is the result; the result is as untrusted as any reading it came from, and it keeps
    the items and instruments of all. An uncertainty that is not known of one reading is not known
    of the result. Exact quantities may be used in place of readings: they add no uncertainty.

    Errors of two readings are taken as independent. Where they are not (one meter read twice, a
    matched pair of thermometers), give their correlation, from -1 to 1.

    Parameters
    ----------
    what : str
        Name of the journal's item; empty for a calculated reading.
    text : str
        As it was typed; empty for a calculated reading.
    quantity, u : pint.Quantity or None
        The value and its standard uncertainty; of a temperature as a difference.
    problem : str
        One sentence if it cannot be read or calculated.
    flag : str
        What is unusual: it is outside its plausible range.
    untrusted : str
        Why its instrument cannot be trusted: out of calibration, or made for something else.
    entry : Entry or None
        The journal's entry, if it is exactly one.
    taken : bool
        Whether something was entered, or calculated from what was entered.
    items, instruments : tuple of str
        Names of the items and tags of the instruments that it came from.
    moment : datetime or None
        When the last of them was entered.
    choice : Choice or None
        The choice that the text means.
    """

    what: str = ""
    text: str = ""
    quantity: pint.Quantity | None = None
    u: pint.Quantity | None = None
    problem: str = ""
    flag: str = ""
    untrusted: str = ""
    entry: Entry | None = None
    taken: bool = False
    items: tuple[str, ...] = ()
    instruments: tuple[str, ...] = ()
    moment: datetime | None = None
    choice: Choice | None = None

    def __post_init__(self) -> None:
        if self.text and not self.taken:
            object.__setattr__(self, "taken", True)
        if self.what and not self.items:
            object.__setattr__(self, "items", (self.what,))

    @property
    def day(self) -> date | None:
        """Day on which it was taken, on the clock of its place."""
        return self.moment.date() if self.moment is not None else None

    @property
    def code(self) -> str:
        """Code of what was chosen; empty if the text is none of the choices."""
        return self.choice.code if self.choice is not None else ""

    @property
    def label(self) -> str:
        """Today's label of what was chosen; of anything else the text as it was typed."""
        return self.choice.label if self.choice is not None else self.text

    # --- one reading ------------------------------------------------------------------------------

    def with_quantity(self, quantity: pint.Quantity, u: pint.Quantity | None = None) -> Reading:
        """This reading with another quantity, calculated from its own; a reading that is missing or
        has a problem stays as it is.
        """
        if self.quantity is None:
            return self
        return replace(self, quantity=quantity, u=u)

    def exact(self) -> Reading:
        """This reading as an exact figure, as a drawing, a plate or a setting gives it: no
        uncertainty, and no instrument to be out of calibration.
        """
        if self.quantity is None:
            return self
        return replace(self, u=self.quantity - self.quantity, untrusted="", instruments=())

    def unreadable(self, problem: str) -> Reading:
        """This reading without a quantity, because of a problem."""
        return replace(self, quantity=None, u=None, problem=problem, taken=True)

    def times(
        self, factor: float | pint.Quantity, u: float | pint.Quantity | None = None
    ) -> Reading:
        """This reading multiplied by a factor.

        y = f x;  u(y)^2 = (f u(x))^2 + (x u(f))^2

        Parameters
        ----------
        factor : float or pint.Quantity
        u : float or pint.Quantity, optional
            Standard uncertainty of the factor; left out: the factor is exact.
        """
        if self.quantity is None:
            return _without_quantity(self)
        _refuse_levels(self.quantity)
        value = self.quantity * factor
        if self.u is None:
            return Reading.derived(value, None, self)
        spread = _root_sum(abs(self.u * factor), None if u is None else abs(self.quantity * u))
        return Reading.derived(value, spread, self)

    # --- two readings -----------------------------------------------------------------------------

    def less(self, other: Reading | pint.Quantity, correlation: float = 0.0) -> Reading:
        """This reading less another; of two temperatures their difference.

        u(y)^2 = u(a)^2 + u(b)^2 - 2 r u(a) u(b)

        Parameters
        ----------
        other : Reading or pint.Quantity
        correlation : float
            r, between the errors of the two.
        """
        return self._combined(other, _difference, -correlation)

    def plus(self, other: Reading | pint.Quantity, correlation: float = 0.0) -> Reading:
        """The sum of this reading and another; of two temperatures one must be a difference.

        u(y)^2 = u(a)^2 + u(b)^2 + 2 r u(a) u(b)

        Parameters
        ----------
        other : Reading or pint.Quantity
        correlation : float
            r, between the errors of the two.
        """
        return self._combined(other, _sum, correlation)

    def _combined(
        self,
        other: Reading | pint.Quantity,
        combine: Callable[[pint.Quantity, pint.Quantity], pint.Quantity],
        correlation: float,
    ) -> Reading:
        second = _as_reading(other)
        if self.quantity is None or second.quantity is None:
            return _without_quantity(self, second)
        u = _spread(self, second, correlation, isinstance(other, Reading))
        return Reading.derived(combine(self.quantity, second.quantity), u, self, second)

    def relative_to(self, due: Reading | pint.Quantity, correlation: float = 0.0) -> Reading:
        """This reading in percent of what is due.

        y = 100 x / d;  (u(y)/y)^2 = (u(x)/x)^2 + (u(d)/d)^2 - 2 r u(x) u(d) / (x d)

        Parameters
        ----------
        due : Reading or pint.Quantity
        correlation : float
            r, between the errors of the two.
        """
        base = _as_reading(due)
        if self.quantity is None or base.quantity is None:
            return _without_quantity(self, base)
        _refuse_levels(self.quantity, base.quantity)
        if base.quantity.magnitude == 0:
            zero = "Description to be compared with is zero."
            return Reading.derived(None, None, self, base).unreadable(zero)
        share = (self.quantity / base.quantity).to("percent")
        if self.u is None or (isinstance(due, Reading) and base.u is None):
            return Reading.derived(share, None, self, base)
        u = (self.u / base.quantity).to("percent")
        of_base = None if base.u is None else (share * base.u / base.quantity).to("percent")
        return Reading.derived(share, _root_sum(u, of_base, -correlation), self, base)

    def share_of(self, total: Reading | pint.Quantity, correlation: float = 0.0) -> Reading:
        """This reading as a part of a total, in percent.

        Parameters
        ----------
        total : Reading or pint.Quantity
        correlation : float
            Between the errors of the two; a part that is measured within its total has one.
        """
        return self.relative_to(total, correlation)

    def deviation_from(self, due: Reading | pint.Quantity, correlation: float = 0.0) -> Reading:
        """How far this reading is from what is due, in percent of that.

        y = 100 (x - d) / d, with the uncertainty of x / d.

        Parameters
        ----------
        due : Reading or pint.Quantity
        correlation : float
            Between the errors of the two.
        """
        share = self.relative_to(due, correlation)
        return share if share.quantity is None else replace(share, quantity=_off(share.quantity))

    # --- several readings -------------------------------------------------------------------------

    @classmethod
    def derived(
        cls, quantity: pint.Quantity | None, u: pint.Quantity | None, *parents: Reading
    ) -> Reading:
        """What was calculated elsewhere from readings.

        Parameters
        ----------
        quantity, u : pint.Quantity or None
            The value and its standard uncertainty.
        parents : Reading
            What it was calculated from; a choice or an answer may be among them.
        """
        problem = _first(r.problem for r in parents)
        missing = any(not r.taken and r.quantity is None for r in parents)
        blank = problem or missing or quantity is None
        moments = [r.moment for r in parents if r.moment is not None]
        return cls(
            quantity=None if blank else quantity,
            u=None if blank else u,
            problem=problem,
            flag=_first(r.flag for r in parents),
            untrusted=_first(r.untrusted for r in parents),
            taken=bool(problem) or not missing,
            items=tuple(dict.fromkeys(name for r in parents for name in r.items)),
            instruments=tuple(dict.fromkeys(tag for r in parents for tag in r.instruments)),
            moment=max(moments, default=None),
        )

    @classmethod
    def mean_of(cls, readings: Iterable[Reading], correlation: float = 0.0) -> Reading:
        """The arithmetic mean; missing if one of the readings is, or there are none.

        u(y)^2 = (sum u_i^2 + r sum u_i u_j, i != j) / n^2

        Parameters
        ----------
        readings : iterable of Reading
        correlation : float
            r, between the errors of any two of them; 1 if one instrument's error is in all.
        """
        given = tuple(readings)
        if not given:
            return cls()
        found = [r.quantity for r in given if r.quantity is not None]
        if len(found) < len(given):
            return _without_quantity(*given)
        unit = found[0].units
        middle = sum(q.to_base_units().magnitude for q in found) / len(found)
        mean = Q(middle, found[0].to_base_units().units).to(unit)
        us = [r.u for r in given if r.u is not None]
        if len(us) < len(given):
            return cls.derived(mean, None, *given)
        sizes = [u.to(us[0].units).magnitude for u in us]
        squares = sum(size**2 for size in sizes)
        crossed = correlation * (sum(sizes) ** 2 - squares)
        u = math.sqrt(max(0.0, squares + crossed)) / len(sizes)
        return cls.derived(mean, Q(u, us[0].units), *given)

    @classmethod
    def largest_of(cls, readings: Iterable[Reading]) -> Reading:
        """The largest of several readings, with its own uncertainty; as untrusted as any of them,
        since another could be the largest. Missing if one of them is, or there are none.
        """
        return cls._picked(tuple(readings), max)

    @classmethod
    def smallest_of(cls, readings: Iterable[Reading]) -> Reading:
        """The smallest of several readings, as `largest_of`."""
        return cls._picked(tuple(readings), min)

    @classmethod
    def _picked(cls, given: tuple[Reading, ...], pick: Callable[..., Reading]) -> Reading:
        if not given:
            return cls()
        if any(r.quantity is None for r in given):
            return _without_quantity(*given)
        chosen = pick(given, key=_size)
        return cls.derived(chosen.quantity, chosen.u, *given)


@dataclass(frozen=True)
class Row:
    """One row of a table: its number, and a reading for each of its columns."""

    index: int
    cells: Mapping[str, Reading]

    def text(self, column: str) -> str:
        """What was entered; of a choice its label."""
        return self.reading(column).label

    def code(self, column: str) -> str:
        """Code of what was chosen; empty if it is none of the choices."""
        return self.reading(column).code

    def quantity(self, column: str) -> pint.Quantity | None:
        return self.reading(column).quantity

    def reading(self, column: str) -> Reading:
        return self.cells.get(column, _NOTHING)

    def yes(self, column: str) -> bool | None:
        return yes_or_no(self.text(column))

    def items(self, *columns: str) -> tuple[str, ...]:
        """Names of the items in some of its columns, filled or not."""
        return tuple(item for column in columns for item in self.reading(column).items)

    @property
    def empty(self) -> bool:
        return not any(reading.taken for reading in self.cells.values())


_NOTHING = Reading()


def _without_quantity(*parents: Reading) -> Reading:
    """What a calculation gives if a quantity is missing: its problem, or nothing taken."""
    found = Reading.derived(None, None, *parents)
    return replace(found, taken=bool(found.problem))


def _as_reading(other: Reading | pint.Quantity) -> Reading:
    """An exact quantity as a reading that is there and has no origin."""
    return other if isinstance(other, Reading) else Reading(quantity=other, taken=True)


def _first(texts: Iterable[str]) -> str:
    return next((text for text in texts if text), "")


def _size(reading: Reading) -> float:
    assert reading.quantity is not None
    return float(reading.quantity.to_base_units().magnitude)


def _off(share: pint.Quantity) -> pint.Quantity:
    return (share - Q(1, "dimensionless")).to("percent")


# --- instruments ---------------------------------------------------------------------------------


def wrong_kind(instrument: Instrument, kind: str) -> str:
    """That an instrument does not read a kind of reading, in words."""
    return f"instrument {instrument.tag} does not read {kind.replace('_', ' ')}"


def overdue(instrument: Instrument, day: date | None) -> str:
    """That an instrument was out of calibration on a day, in words; empty if it was not."""
    if instrument.in_calibration(day) is False:
        return (
            f"instrument {instrument.tag} was out of calibration since {instrument.calibration_due}"
        )
    return ""


# --- uncertainties -------------------------------------------------------------------------------


def _spread(
    first: Reading, second: Reading, correlation: float, second_is_read: bool
) -> pint.Quantity | None:
    """Standard uncertainty of a sum; None if it is not known of one of two readings."""
    if first.u is None or (second_is_read and second.u is None):
        return None
    return _root_sum(first.u, second.u, correlation)


def _root_sum(
    first: pint.Quantity, second: pint.Quantity | None, correlation: float = 0.0
) -> pint.Quantity:
    if second is None:
        return Q(abs(first.magnitude), first.units)
    a, b = first.magnitude, second.to(first.units).magnitude
    return Q(math.sqrt(max(0.0, a**2 + b**2 + 2 * correlation * a * b)), first.units)


# --- temperatures --------------------------------------------------------------------------------


def _is_difference(quantity: pint.Quantity) -> bool:
    return "delta_" in str(quantity.units)


def _is_level(quantity: pint.Quantity) -> bool:
    """True of a temperature, as against a difference of two."""
    return quantity.is_compatible_with("kelvin") and not _is_difference(quantity)


def _refuse_levels(*quantities: pint.Quantity) -> None:
    if any(_is_level(quantity) for quantity in quantities):
        raise UnitError(
            "a temperature has no multiple and no share", "reading", "take a difference first"
        )


def _kelvin(quantity: pint.Quantity) -> float:
    return float(quantity.to("kelvin").magnitude)


def _difference(first: pint.Quantity, second: pint.Quantity) -> pint.Quantity:
    if not (_is_level(first) or _is_level(second)):
        return first - second
    if not _is_level(first):
        raise UnitError(
            "a temperature cannot be taken from a temperature difference",
            "reading",
            "take the difference from the temperature",
        )
    if _is_level(second):
        return Q(_kelvin(first) - _kelvin(second), "delta_degC")
    return Q(_kelvin(first) - _kelvin(second), "kelvin").to(first.units)


def _sum(first: pint.Quantity, second: pint.Quantity) -> pint.Quantity:
    if not (_is_level(first) or _is_level(second)):
        return first + second
    if _is_level(first) and _is_level(second):
        raise UnitError(
            "two temperatures cannot be added", "reading", "add a temperature difference"
        )
    level = first if _is_level(first) else second
    return Q(_kelvin(first) + _kelvin(second), "kelvin").to(level.units)
