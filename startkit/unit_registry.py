"""The registry of units: pint's own, read no further than this project needs until somebody asks
for more.
"""

from __future__ import annotations

import re
from functools import lru_cache
from importlib import resources
from threading import RLock
from typing import Any

import pint

OURS, TRADE = "units.txt", "units_of_the_trade.txt"
# Short names are kept to those that are used: of others, such as `mil`, only the whole file knows
# what they mean.
SHORT = frozenset(
    {
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
    }
)
_LONG = re.compile("(?:nano|micro|milli|centi|deci|hecto|kilo|mega|giga)(.+)")
_WITHOUT = re.compile(r"^@system mks\b.*?^@end", re.DOTALL | re.MULTILINE)  # is there already
_IMPORT = re.compile(r"^@import\s+(\S+)", re.MULTILINE)


def bare(quantity: pint.Quantity, unit: str) -> Any:
    """The magnitude in a unit, as ``quantity.to(unit).magnitude`` gives it, in half the time: no
    quantity is made on the way.
    """
    held = quantity._REGISTRY
    return (
        _converted(held, quantity, held.named(unit))
        if isinstance(held, Registry)
        else quantity.to(unit).magnitude
    )


def base(quantity: pint.Quantity) -> Any:
    """The magnitude in base units, as ``quantity.to_base_units().magnitude`` gives it."""
    held = quantity._REGISTRY
    return (
        _converted(held, quantity, held.base_of(quantity._units))
        if isinstance(held, Registry)
        else quantity.to_base_units().magnitude
    )


def _converted(held: Registry, quantity: pint.Quantity, wanted: Any) -> Any:
    magnitude, own = quantity._magnitude, quantity._units
    # The same readings are judged again and again. To a dictionary 1 and 1.0 are one key, and so
    # are 0.0 and -0.0: those are converted anew.
    return (
        held.once(magnitude, own, wanted)
        if type(magnitude) is float and magnitude
        else held.convert(magnitude, own, wanted)
    )


def registry() -> Registry:
    """A registry with our units."""
    made = Registry()
    made.begin()
    return made


class Registry(pint.UnitRegistry):
    """As pint's, but that its whole file of definitions is read when a unit is first asked for that
    is none of ours.

    The file takes a quarter of a second, in every process, and a job needs some sixty of its
    thousand units.
    """

    def __init__(self) -> None:
        self._whole, self._reading = True, RLock()  # until ours are read: they ask for each other
        self.once: Any = lru_cache(maxsize=20_000)(self.convert)
        self.named: Any = lru_cache(maxsize=1_000)(lambda unit: self.parse_units(unit)._units)
        self.base_of: Any = lru_cache(maxsize=1_000)(
            lambda units: self.get_base_units(units)[1]._units
        )
        super().__init__(_lines(f"{_ours(OURS)}\n{_ours(TRADE)}"), on_redefinition="ignore")

    def begin(self) -> None:
        """From here on a unit that is none of those that are there has all the others read."""
        self._named = frozenset(self._units)
        self._whole = False

    def parse_unit_name(
        self, unit_name: str, case_sensitive: bool | None = None
    ) -> tuple[tuple[str, str, str], ...]:
        """Prefix, unit and suffix of a name that is not a unit's own; pint asks here."""
        with self._reading:
            if not self._whole and not self.knows(unit_name):
                self._read_whole()
        return super().parse_unit_name(unit_name, case_sensitive)

    def knows(self, name: str) -> bool:
        """True for one of our units, alone, with a prefix in full, or in one of the short forms
        that are used.
        """
        prefixed = _LONG.fullmatch(name)
        return (
            name in self._named
            or name in SHORT
            or (prefixed is not None and prefixed.group(1) in self._named)
        )

    def _read_whole(self) -> None:
        self._whole = True
        self.load_definitions(_lines(_WITHOUT.sub("", _pints("default_en.txt"))))
        self.load_definitions(_lines(_ours(TRADE)))  # our word goes before pint's
        self._build_cache()
        for kept in (self.once, self.named, self.base_of):
            kept.cache_clear()


def _ours(name: str) -> str:
    return (resources.files("startkit") / name).read_text(encoding="utf-8")


def _pints(name: str) -> str:
    text = (resources.files("pint") / name).read_text(encoding="utf-8")
    return _IMPORT.sub(lambda found: _pints(found.group(1)), text)


def _lines(text: str) -> Any:
    return text.splitlines()
