"""Units: quantities out of what a technician types, and how a quantity is shown.

What other floors use of the ground's units is imported from here: `Q` of the one registry, the
kinds of reading (`startkit.kinds`) and the door of the science floor (`startkit.formula`).
"""

from __future__ import annotations

import math
import re
from typing import cast

import pint

from startkit.errors import ReadingError, UnitError
from startkit.formula import Formula, quantities
from startkit.kinds import IP, KINDS, SI, SYSTEMS, Kind, difference_kind, kind, unit_for
from startkit.spellings import Unit
from startkit.unit_registry import Q, bare

__all__ = [
    "IP",
    "KINDS",
    "SI",
    "SYSTEMS",
    "Formula",
    "Kind",
    "Q",
    "Unit",
    "difference_kind",
    "kind",
    "label",
    "magnitude",
    "number",
    "parse",
    "parse_number",
    "quantities",
    "show",
    "split",
    "unit_for",
]

_LEADING = re.compile(
    r"^([+\-−]?(?:\d[\d.,'\u2019]*(?:[   ]\d{3})*(?:[.,]\d+)?|[.,]\d+)(?:[eE][+\-]?\d+)?)\s*(.*)$",
    re.DOTALL,
)
_PLAIN = re.compile(r"-?\d{1,12}(?:\.\d{1,12})?\Z", re.ASCII)
_LONGEST = 200  # characters; more digits than any reading has


def number(text: str, where: str = "") -> float:
    """A number as a person types it: decimal comma or point, blanks or marks between thousands.

    Raises
    ------
    ReadingError
        Not a number, or one that can be read in two ways (``1,234``).

    Examples
    --------
    >>> number("12,5"), number("1 234,5"), number("1,234.5")
    (12.5, 1234.5, 1234.5)
    """
    if _PLAIN.match(text):  # nearly every cell of a long pasted block
        return float(text)
    text = text.strip()
    plain = re.sub(r"[\s'\u2019]", "", text[:_LONGEST]).replace("−", "-")
    if len(text) > _LONGEST or not re.fullmatch(r"[+\-]?[\d.,]*\d[\d.,]*(?:[eE][+\-]?\d+)?", plain):
        raise ReadingError(
            f"{text!r} is not a number",
            where,
            "type digits with a comma or a point as decimal mark",
        )
    value = float(_one_decimal_mark(plain, text, where))
    if not math.isfinite(value):
        raise ReadingError(
            f"{text!r} is too large to be a reading", where, "check the number of digits"
        )
    return value


def _one_decimal_mark(plain: str, text: str, where: str) -> str:
    commas, points = plain.count(","), plain.count(".")
    if commas and points:
        decimal = max(plain.rfind(","), plain.rfind("."))
        whole = plain[:decimal].replace(",", "").replace(".", "")
        if plain.count(plain[decimal]) > 1:
            raise _ambiguous(text, where)
        return whole + "." + plain[decimal + 1 :]
    mark = "," if commas else "."
    if commas + points <= 1:
        if commas and re.fullmatch(r"[+\-]?[1-9]\d{0,2},\d{3}", plain):
            raise _ambiguous(text, where)
        return plain.replace(",", ".")
    if re.fullmatch(rf"[+\-]?\d{{1,3}}(?:{re.escape(mark)}\d{{3}})+", plain):
        return plain.replace(mark, "")
    raise _ambiguous(text, where)


def _ambiguous(text: str, where: str) -> ReadingError:
    return ReadingError(
        f"{text!r} can be read in two ways",
        where,
        "type it without a mark between thousands, or with a point as decimal mark",
    )


def split(text: str) -> tuple[str, str]:
    """A typed reading as (number, unit): ``"60 psig"`` -> ``("60", "psig")``."""
    match = _LEADING.match(text.strip())
    return (match.group(1), match.group(2).strip()) if match else (text.strip(), "")


def parse(
    text: str,
    kind_name: str,
    unit: str = "",
    barometer: pint.Quantity | None = None,
    where: str = "",
) -> pint.Quantity:
    """A typed reading as a quantity; gauge and vacuum readings become absolute pressure.

    p_abs = p_barometer + p_gauge;  p_abs = p_barometer - p_vacuum

    Parameters
    ----------
    text : str
        As typed, with or without a unit; a unit in the text wins over `unit`.
    kind_name : str
        A name in `KINDS`.
    unit : str
        Unit of the field, used if the text has none.
    barometer : pint.Quantity, optional
        [pressure] at the site; needed for gauge and vacuum readings.
    where : str
        Field, cell or file and line, for the error.

    Raises
    ------
    ReadingError
        The text is not a number, or gauge pressure came without a barometer.
    UnitError
        The unit is missing or belongs to another kind of reading.
    """
    digits, typed_unit = split(text)
    value = number(digits, where)
    quantity, chosen = _with_unit(value, text.strip(), kind_name, typed_unit or unit, where)
    return _absolute(quantity, chosen, barometer, where)


def parse_number(
    value: float, kind_name: str, unit: str, barometer: pint.Quantity | None = None, where: str = ""
) -> pint.Quantity:
    """A bare number in a unit as `parse` would read it, but without refusing pressures below a
    perfect vacuum.

    Parameters
    ----------
    value, kind_name, unit, barometer, where
        As in `parse`.
    """
    quantity, chosen = _with_unit(value, f"{value:g}", kind_name, unit, where)
    return _absolute(quantity, chosen, barometer, where, refuse=False)


def _with_unit(
    value: float, text: str, kind_name: str, spelling: str, where: str
) -> tuple[pint.Quantity, Unit]:
    shown = kind(kind_name)
    if not spelling and shown.si.label:
        raise UnitError(
            f"{text!r} has no unit", where, f"add one, such as {shown.si.label} or {shown.ip.label}"
        )
    chosen = unit_for(spelling, kind_name, where)
    return Q(value, chosen.pint), chosen


def _absolute(
    quantity: pint.Quantity,
    unit: Unit,
    barometer: pint.Quantity | None,
    where: str,
    refuse: bool = True,
) -> pint.Quantity:
    if not unit.reference:
        return quantity
    if barometer is None:
        raise ReadingError(
            "gauge pressure cannot be read without the site's barometer",
            where,
            "enter the barometric pressure in the stage Setup",
        )
    if refuse and unit.reference == "vacuum" and quantity.magnitude < 0:
        raise ReadingError(
            f"{quantity.magnitude:g} {unit.label} has a sign, but a vacuum is counted down from the"
            " barometer",
            where,
            "leave out the minus, or leave out the word vacuum",
        )
    signed = quantity if unit.reference == "gauge" else -quantity
    absolute = barometer.to(quantity.units) + signed
    if refuse and absolute.magnitude < 0:
        raise ReadingError(
            "that is below a perfect vacuum at this barometer",
            where,
            "check the reading and its unit",
        )
    return absolute


def magnitude(
    quantity: pint.Quantity,
    kind_name: str,
    system: str = SI,
    barometer: pint.Quantity | None = None,
) -> float:
    """The number to show for a quantity in the unit of its kind.

    Parameters
    ----------
    quantity : pint.Quantity
        Absolute, also where the kind is shown as gauge pressure.
    kind_name, system : str
        Kind and unit system, which fix the unit.
    barometer : pint.Quantity or None
        Absolute pressure at the site; gauge pressure needs it.
    """
    unit = kind(kind_name).unit(system)
    if unit.reference == "gauge":
        if barometer is None:
            raise ReadingError(
                "gauge pressure cannot be shown without the site's barometer",
                "",
                "enter the barometric pressure in the stage Setup",
            )
        quantity = quantity - barometer
    return cast("float", bare(quantity, unit.pint))


def label(kind_name: str, system: str = SI) -> str:
    """The unit printed next to values of this kind, e.g. ``"kPa abs"`` or ``"psia"``."""
    return kind(kind_name).unit(system).label


def show(
    quantity: pint.Quantity | None,
    kind_name: str,
    system: str = SI,
    barometer: pint.Quantity | None = None,
    digits: int | None = None,
    with_unit: bool = True,
) -> str:
    """A quantity as text with its unit, in the person's system of units.

    Parameters
    ----------
    quantity : pint.Quantity or None
        None is "not taken".
    kind_name, system : str
        A name in `KINDS`; `SI` or `IP`.
    barometer : pint.Quantity, optional
        [pressure] at the site; needed where gauge pressure is shown.
    digits, with_unit : int, bool
        Digits after the decimal mark, if not those of the kind; whether the unit follows.

    Examples
    --------
    >>> show(Q(44, "degF"), "temperature"), show(Q(1, "ton_cooling"), "cooling", "I-P")
    ('6.7 °C', '1.0 ton')
    """
    if quantity is None:
        return "not taken"
    places = kind(kind_name).digits(system) if digits is None else digits
    value = magnitude(quantity, kind_name, system, barometer)
    if not math.isfinite(value):
        return "not known"
    text = f"{value:.{places}f}"
    if float(text) == 0:
        text = text.lstrip("-")
    text = text.replace("-", "−", 1) if text.startswith("-") else text
    unit = label(kind_name, system)
    return f"{text} {unit}".strip() if with_unit else text


# --- the door of the science floor -----------------------------------------------------------
