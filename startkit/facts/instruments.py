"""Instruments: what reads what, how well, and whether its calibration is still due."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import lru_cache

import pint

from startkit.errors import ReadingError, ScienceError, StartkitError
from startkit.science.uncertainty import from_certificate
from startkit.unit_registry import bare, base
from startkit.units import KINDS, Q, difference_kind, number, split, unit_for

# As certificates and data sheets abbreviate them; common practice, no source.
_READING = r"(?:of\s+)?(?:reading|rdg\.?|measured\s+value|m\.?v\.?)"
_RANGE = r"(?:of\s+)?(?:range|span|full[\s-]?scale|f\.?s\.?(?:o\.?)?)"
_CERTIFICATE = re.compile(r"^U\s*=?\s*(.+?)\s*[,;(]?\s*k\s*=\s*([\d.,]+)\s*\)?$", re.IGNORECASE)
_DIGITS = re.compile(
    r"^(\d+)\s*(?:digits?|dgts?\.?|counts?|lsd)(?:\s*(?:of|at|x|×|à)\s*(.+))?$", re.IGNORECASE
)
# Kinds whose readings are absolute pressures, whatever was typed.
_ABSOLUTE = ("pressure", "gauge_pressure", "vacuum")
_TERM = re.compile(rf"^(.+?%)\s*(?:(?P<reading>{_READING})|(?P<range>{_RANGE}))$", re.IGNORECASE)


@dataclass(frozen=True)
class Accuracy:
    """Accuracy as stated: a constant, a share of reading, a share of range; terms add."""

    constant: float = 0.0  # SI base unit of the kind, as a difference
    of_reading: float = 0.0
    of_range: float = 0.0


@dataclass(frozen=True)
class Instrument:
    """One instrument.

    Parameters
    ----------
    tag, name, serial : str
    kind : str
        Kind of reading that it takes.
    accuracy : Accuracy
        Half-width of the stated accuracy [unit of `kind`, difference].
    span : pint.Quantity or None
        Length of the range [unit of `kind`, difference].
    calibration_due : datetime.date or None
    pair : str
        Tag of the instrument that it was calibrated together with.
    pair_accuracy : Accuracy or None
        Accuracy of the difference between the two.
    """

    tag: str
    name: str
    serial: str
    kind: str
    accuracy: Accuracy
    span: pint.Quantity | None = None
    calibration_due: date | None = None
    pair: str = ""
    pair_accuracy: Accuracy | None = None

    def correlation(self, other: Instrument) -> float:
        """Correlation between the errors of this instrument and another.

        r = 1 - u_d^2 / (2 u^2), from the accuracies of one reading and of the difference; 0 unless
        they are a matched pair.

        Source: variance of a difference, JCGM 100:2008, 5.2.2.
        """
        if other.tag != self.pair or self.pair_accuracy is None or not self.accuracy.constant:
            return 0.0
        return max(0.0, 1 - (self.pair_accuracy.constant / self.accuracy.constant) ** 2 / 2)

    def standard_uncertainty(
        self, reading: pint.Quantity, kind: str = "", barometer: pint.Quantity | None = None
    ) -> pint.Quantity:
        """Standard uncertainty of one reading, from the stated accuracy as a rectangular
        distribution.

        u = a / sqrt(3)

        Parameters
        ----------
        reading : pint.Quantity
            [unit of `kind`].
        kind : str
            Kind of the reading, where it is not that of the instrument.
        barometer : pint.Quantity, optional
            [pressure] that was added to what a gauge showed.

        Source: JCGM 100:2008, 4.3.7.
        """
        level = self._shown(reading, kind or self.kind, barometer)
        span = base(self.span) if self.span is not None else 0.0
        half_width = (
            self.accuracy.constant
            + self.accuracy.of_reading * level
            + self.accuracy.of_range * span
        )
        unit = "delta_degC" if self.kind == "temperature" else reading.to_base_units().units
        return Q(half_width / 3**0.5, unit)

    def _shown(self, reading: pint.Quantity, kind: str, barometer: pint.Quantity | None) -> float:
        """The figure on the instrument that "% of reading" is of: of a thermometer the Celsius
        figure, of a gauge what is above or below the barometer.
        """
        if self.kind == "temperature":
            return abs(float(bare(reading, "degC")))
        shown = base(reading)
        if self.kind == "gauge_pressure" and kind in _ABSOLUTE and barometer is not None:
            shown = shown - base(barometer)
        return abs(float(shown))

    def in_calibration(self, on: date | None) -> bool | None:
        """True or False on that day; None if the day or the due date is not known."""
        return None if self.calibration_due is None or on is None else on <= self.calibration_due


def accuracy(text: str, kind: str, where: str = "") -> Accuracy:
    """Stated accuracy as typed: ``"0.1 K"``, ``"0.5 % of range"``, ``"1 % of reading + 0.2 A"``,
    ``"± (0.5 % + 2 digits of 0.1 A)"``, or a certificate's ``"U = 0.05 K, k = 2"``.

    Raises
    ------
    ReadingError
        A term is no value with its unit, no share of reading or range and no number of digits.
    """
    stated = text.replace("±", "").replace("+/-", "").strip()
    certified = _CERTIFICATE.match(stated)
    if certified:
        return _certified(certified.group(1), certified.group(2), kind, where)
    bracketed = re.fullmatch(r"\((.*)\)", stated)
    terms = re.split(r"\s*\+\s*", bracketed.group(1).strip() if bracketed else stated)
    parts = {"constant": 0.0, "of_reading": 0.0, "of_range": 0.0}
    # A meter's data sheet gives "0.5 % + 2 digits": the percentage is of the reading.
    of_meter = any(_DIGITS.match(term) for term in terms)
    for term in terms:
        name, value = _term(term, kind, where, of_meter)
        parts[name] += value
    if any(value < 0 for value in parts.values()) or not any(parts.values()):
        raise ReadingError(
            f"{text!r} is not an accuracy",
            where,
            "give a value above zero, such as  0.1 K  or  1 % of reading",
        )
    return Accuracy(**parts)


def _term(term: str, kind: str, where: str, of_meter: bool) -> tuple[str, float]:
    """Which part of an accuracy one term is, and how much."""
    share, digits = _TERM.match(term), _DIGITS.match(term)
    if digits:
        if not digits.group(2):
            raise ReadingError(
                f"{term!r} does not say what a digit is",
                where,
                "add the last digit of the display, for example  2 digits of 0.1 A",
            )
        return "constant", int(digits.group(1)) * _constant(digits.group(2), kind, where)
    if share:
        figure, unit = split(share.group(1))
        if unit != "%":
            raise ReadingError(
                f"{term!r} is not an accuracy", where, "write for example  0.5 % of range"
            )
        return (
            "of_reading" if share.group("reading") else "of_range",
            number(figure, where) / 100,
        )
    figure, unit = split(term)
    if of_meter and unit == "%":
        return "of_reading", number(figure, where) / 100
    return "constant", _constant(term, kind, where)


def _certified(expanded: str, factor: str, kind: str, where: str) -> Accuracy:
    """An expanded uncertainty as the half-width of the rectangle with the same standard one."""
    parts = {"constant": 0.0, "of_reading": 0.0, "of_range": 0.0}
    name, value = _term(expanded, kind, where, False)
    try:
        parts[name] = 3**0.5 * float(from_certificate(value, number(factor, where)))
    except ScienceError as error:
        raise ReadingError(error.what, where, error.remedy) from None
    return Accuracy(**parts)


def _constant(term: str, kind: str, where: str) -> float:
    digits, unit = split(term)
    if unit == "%" and kind != "percent":
        raise ReadingError(
            (f"{term!r} does not state of what"), where, "add  of reading  or  of range"
        )
    try:
        meaning = unit_for(unit, difference_kind(kind), where)
    except StartkitError as error:
        raise ReadingError(
            f"{term!r} is not an accuracy ({error.what})", where, error.remedy
        ) from None
    return float(Q(number(digits, where), meaning.pint).to_base_units().magnitude)


def span(text: str, kind: str, where: str = "") -> pint.Quantity:
    """Range as typed, ``"0 to 1000 kPa"`` or ``"-20..120 °C"``, as its length.

    Raises
    ------
    ReadingError
        Not two numbers and a unit.
    """
    match = re.match(
        r"^\s*([+\-−]?[\d.,]+)\s*(?:to|\.\.\.?|–|…|-)\s*([+\-−]?[\d.,]+)\s*(\S.*)$",
        text,
        re.IGNORECASE,
    )
    if match is None:
        raise ReadingError(f"{text!r} is not a range", where, "write for example  0 to 1000 kPa")
    low, high, unit = match.groups()
    length = number(high, where) - number(low, where)
    if length <= 0:
        raise ReadingError(f"{text!r} has equal ends", where, "give the lower end first")
    return Q(length, unit_for(unit, difference_kind(kind), where).pint)


def faults(read: str, texts: Mapping[str, str]) -> dict[str, str]:
    """What cannot be read in an instrument's row, by column; empty if all of it can.

    Parameters
    ----------
    read : str
        Kind of reading that the instrument takes.
    texts : mapping
        ``accuracy``, ``range`` and ``pair_accuracy`` as typed.
    """
    kind = read.replace(" ", "_")
    if kind not in KINDS:
        return {}
    found: dict[str, str] = {}
    for column, reader in (("accuracy", accuracy), ("range", span), ("pair_accuracy", accuracy)):
        if texts.get(column):
            try:
                reader(texts[column], kind)
            except StartkitError as error:
                found[column] = str(error)
    needs_range = bool(texts.get("accuracy")) and not texts.get("range")
    if not found and needs_range and accuracy(texts["accuracy"], kind).of_range:
        found["range"] = "The accuracy is a share of the range: enter the range."
    return found


# Best accuracy that a field instrument of each kind is believed to have, as a share of its reading
# or range, and as a constant; better ones stand in laboratories. Common practice, no source.
BEST_SHARE = {
    "pressure": 1e-4,
    "gauge_pressure": 1e-4,
    "pressure_difference": 1e-4,
    "pressure_drop": 1e-4,
    "vacuum": 1e-3,
    "flow": 1e-3,
    "power": 2e-4,
    "current": 2e-4,
    "voltage": 1e-4,
    "insulation": 5e-3,
    "mass": 2e-5,
    "vibration": 5e-3,
    "torque": 5e-3,
    "air_flow": 5e-3,
    "concentration": 5e-3,
}
BEST_CONSTANT = {"temperature": "0.005 K", "barometer": "5 Pa", "sound": "0.2 dB(A)"}
LONGEST_CALIBRATION = timedelta(days=731)  # common practice, no source


def too_good(instrument: Instrument, over: str = "") -> bool:
    """True if its stated accuracy is better than a field instrument of its kind is believed to
    have; `over`: its range as typed.
    """
    stated, floor = instrument.accuracy, BEST_CONSTANT.get(instrument.kind)
    if floor is not None and not (stated.of_reading or stated.of_range):
        return stated.constant < accuracy(floor, instrument.kind).constant
    share = stated.of_reading + stated.of_range
    if stated.constant:
        try:
            share += stated.constant / base(span(over, instrument.kind))
        except StartkitError:  # a constant without a readable range tells no share
            return False
    return share < BEST_SHARE.get(instrument.kind, 0.0)


def due_too_late(instrument: Instrument, entered: date | None) -> bool:
    """True if its calibration is due later than certificates last."""
    due = instrument.calibration_due
    return due is not None and entered is not None and due - entered > LONGEST_CALIBRATION


@lru_cache(maxsize=1024)
def can_read(instrument: str, kind: str) -> bool:
    """True if an instrument of one kind can take a reading of another: a gauge reads a pressure
    difference as well.
    """
    if instrument == kind:
        return True
    if "temperature" in (
        instrument,
        kind,
    ):  # a thermometer's accuracy is of one reading, not of a difference
        return False
    ours, theirs = (Q(1, KINDS[name].si.pint) for name in (instrument, kind))
    return not ours.dimensionless and ours.dimensionality == theirs.dimensionality


@lru_cache(maxsize=512)
def of_texts(
    tag: str,
    name: str,
    serial: str,
    read: str,
    stated: str,
    over: str,
    due: str,
    pair: str,
    of_pair: str,
) -> Instrument | None:
    """An instrument as its texts in the table of instruments describe it; None if they lack tag,
    kind or a readable accuracy, or the range that it is a share of.

    Parameters
    ----------
    tag, name, serial : str
    read : str
        Kind of reading that it takes.
    stated, over, due : str
        Accuracy, range and date when its calibration is due.
    pair, of_pair : str
        Instrument that it is matched with, and the accuracy of a difference between the two.
    """
    kind = read.replace(" ", "_")
    if not tag or kind not in KINDS:
        return None
    try:
        until = datetime.fromisoformat(due).date() if due else None
        terms = accuracy(stated, kind)
        if terms.of_range and not over:
            return None
        return Instrument(
            tag,
            name,
            serial,
            kind,
            terms,
            span(over, kind) if over and terms.of_range else None,
            until,
            pair,
            accuracy(of_pair, kind) if of_pair else None,
        )
    except (StartkitError, ValueError):
        return None
