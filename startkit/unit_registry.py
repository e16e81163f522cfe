"""The registry of units, and plain magnitudes out of quantities.

pint reads its thousand units from a file in 0.15 s, in every process, and a job needs some eighty.
 `units.txt` has those, read in a seventh of the time; pint's own file is read when a unit is
asked for that the list does not have. pint's `cache_folder` is as fast once it is warm, but it
keeps pickled files in the user's home, and a process without that folder waits the whole time.
"""

# `Any` here: a magnitude is a number or an array; pint's annotations have only some.
from __future__ import annotations

import re
from functools import lru_cache
from importlib import resources
from threading import RLock
from typing import Any

import pint
from pint.util import UnitsContainer, to_units_container

OURS, TRADE = "units.txt", "units_of_the_trade.txt"
# Short names are kept to those that are used: of others, such as `mil`, only the whole file knows
# what they mean.
SHORT = frozenset(
    [
        "kg",
        "mg",
        "mm",
        "cm",
        "km",
        "ms",
        "mA",
        "kA",
        "kV",
        "mV",
        "kW",
        "MW",
        "kJ",
        "kPa",
        "MPa",
        "mbar",
        "mmHg",
    ]
)
SCALES = frozenset({"degree_Celsius", "degree_Fahrenheit", "degree_Reaumur"})
_LONG = re.compile("(?:nano|micro|milli|centi|deci|hecto|kilo|mega|giga)(.+)")
_WITHOUT = re.compile(r"^@system mks\b.*?^@end", re.DOTALL | re.MULTILINE)  # is there already
_IMPORT = re.compile(r"^@import\s+(\S+)", re.MULTILINE)


class Registry(pint.UnitRegistry):
    """pint's registry with the units of `units.txt`, and all others once one of them is needed."""

    def __init__(self) -> None:
        self.is_whole, self._reading = True, RLock()  # until ours are read: they name each other
        text = f"{_ours(OURS)}\n{_ours(TRADE)}"
        self._listed = frozenset(_names(text))
        super().__init__(_lines(text), on_redefinition="ignore")

    def begin(self) -> None:
        """From here on a unit that is not on the list has all the others read."""
        self.is_whole = False

    def parse_unit_name(
        self, unit_name: str, case_sensitive: bool | None = None
    ) -> tuple[tuple[str, str, str], ...]:
        """Prefix, unit and suffix of a name that is not a unit's own; pint asks here."""
        with self._reading:
            if not self.is_whole and not self.knows(unit_name):
                self.is_whole = True
                self.load_definitions(_lines(_WITHOUT.sub("", _pints("default_en.txt"))))
                self.load_definitions(_lines(_ours(TRADE)))  # our word goes before pint's
                _converted.cache_clear()
        return super().parse_unit_name(unit_name, case_sensitive)

    def knows(self, name: str) -> bool:
        """True for a unit of the list, alone, with a prefix in full, or in one of the short forms
        that are used.
        """
        prefixed = _LONG.fullmatch(name)
        return (
            name in self._listed
            or name in SHORT
            or (prefixed is not None and prefixed.group(1) in self._listed)
        )


def registry() -> Registry:
    """A registry with our units."""
    made = Registry()
    made.begin()
    return made


def _names(text: str) -> list[str]:
    """Names, symbols and aliases of the units that a file of definitions has."""
    found = []
    for line in text.splitlines():
        name, *others = (part.strip() for part in line.split("#")[0].split("="))
        if others and not name.endswith("-") and not line.startswith((" ", "@")):
            found += [name, *(other for other in others[1:] if other != "_")]
    return found


def _ours(name: str) -> str:
    return (resources.files("startkit") / name).read_text(encoding="utf-8")


def _pints(name: str) -> str:
    text = (resources.files("pint") / name).read_text(encoding="utf-8")
    return _IMPORT.sub(lambda found: _pints(found.group(1)), text)


def _lines(text: str) -> Any:  # pint's annotation has only paths, and its code takes lines
    return text.splitlines()


ureg = registry()
Q = ureg.Quantity


# --- magnitudes and scales ------------------------------------------------------------------------


# Any: a magnitude is a float, an int or an array, and comes back as it went in.
def bare(quantity: pint.Quantity, unit: str) -> Any:
    """The magnitude in a unit, as ``quantity.to(unit).magnitude`` gives it, without a quantity made
    on the way.
    """
    return _magnitude(quantity, _named(unit))


def base(quantity: pint.Quantity) -> Any:
    """The magnitude in base units, as ``quantity.to_base_units().magnitude`` gives it."""
    return _magnitude(quantity, _base_of(to_units_container(quantity)))


def _magnitude(quantity: pint.Quantity, wanted: UnitsContainer) -> Any:
    magnitude = quantity.magnitude
    # The same readings are judged again and again. To a dictionary 1 and 1.0 are one key, and so
    # are 0.0 and -0.0: those are converted anew.
    if type(magnitude) is float and magnitude:
        return _converted(magnitude, to_units_container(quantity), wanted)
    return ureg.convert(magnitude, to_units_container(quantity), wanted)


@lru_cache(maxsize=20_000)
def _converted(magnitude: float, unit: UnitsContainer, wanted: UnitsContainer) -> Any:
    return ureg.convert(magnitude, unit, wanted)


@lru_cache(maxsize=1_000)
def _named(unit: str) -> UnitsContainer:
    return to_units_container(ureg.parse_units(unit))


@lru_cache(maxsize=1_000)
def _base_of(unit: UnitsContainer) -> UnitsContainer:
    return to_units_container(ureg.get_base_units(unit)[1])


@lru_cache(maxsize=1_000)
def is_temperature(unit: pint.Unit) -> bool:
    """True for a temperature on a scale with a zero of its own (degC, degF), which is no difference
    and no uncertainty. Kelvin serves as both, and is not meant.
    """
    return not SCALES.isdisjoint(to_units_container(unit))


@lru_cache(maxsize=1_000)
def is_temperature_difference(unit: pint.Unit) -> bool:
    """True if a difference such as delta_degC is in the unit."""
    return any(name.startswith("delta_") for name in to_units_container(unit))
