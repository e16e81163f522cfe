"""Examples whose result is printed somewhere else, worked again on this computer.

They show a person that this installation, with the property library it found, calculates what
handbooks print.
"""

# `Any` here: arguments and results of a formula, whichever it is.
from __future__ import annotations

import functools
import importlib
import re
from dataclasses import dataclass, fields
from importlib import resources
from typing import Any

import pint

from startkit.errors import StartkitError
from startkit.facts import toml_file
from startkit.unit_registry import Q, ureg

_AMOUNT = re.compile(r"([-+]?\d+(?:\.\d+)?(?:e[-+]?\d+)?)(?:\s+(\S.*))?", re.IGNORECASE)


@dataclass(frozen=True)
class Example:
    """One worked example.

    Parameters
    ----------
    title : str
    formula : str
        ``module.function`` of the science floor.
    given : dict
        Arguments as written.
    printed, within : pint.Quantity
        The figure from outside and the difference that is allowed.
    source, standing : str
        Where it is printed, and how well that is known.
    take : str
        Field or number of the result, where there are several.
    """

    title: str
    formula: str
    given: dict[str, Any]
    printed: pint.Quantity
    within: pint.Quantity
    source: str
    standing: str
    take: str = ""


@dataclass(frozen=True)
class Reworked:
    """An example worked here; `ours` in the unit of the printed figure, or None with the problem in
    words.
    """

    example: Example
    ours: pint.Quantity | None
    problem: str = ""

    @property
    def difference(self) -> float | None:
        """Ours less printed, in the unit of the printed figure."""
        return (
            None
            if self.ours is None
            else float(self.ours.magnitude - self.example.printed.magnitude)
        )

    @property
    def agrees(self) -> bool:
        return self.difference is not None and abs(self.difference) <= self.example.within.magnitude


@functools.cache
def examples() -> tuple[Example, ...]:
    """The examples that come with the tool, in the order of ``worked_examples.toml``."""
    text = (resources.files("startkit.facts") / "worked_examples.toml").read_text(encoding="utf-8")
    return tuple(
        _example(title, body)
        for title, body in toml_file.parse(text, "worked_examples.toml").items()
    )


def _example(title: str, body: dict[str, Any]) -> Example:
    plain = {
        f.name: body[f.name]
        for f in fields(Example)
        if isinstance(body.get(f.name), str) and f.name not in ("printed", "within")
    }
    return Example(
        title=title,
        given=dict(body["given"]),
        printed=_amount(body["printed"]),
        within=_amount(body["within"]),
        **plain,
    )


def _amount(text: str) -> pint.Quantity:
    found = _AMOUNT.fullmatch(text)
    if found is None:
        raise ValueError(f"{text!r} is not a number with its unit")
    return Q(float(found.group(1)), ureg.parse_units(found.group(2) or "dimensionless"))


def rework(example: Example) -> Reworked:
    """Work one example with the formulas and libraries that are installed here."""
    module, name = example.formula.split(".")
    function = getattr(importlib.import_module(f"startkit.science.{module}"), name)
    try:
        found = function(**{key: _argument(key, value) for key, value in example.given.items()})
    except (StartkitError, ImportError) as error:
        return Reworked(example, None, str(error))
    return Reworked(example, _as_printed(_taken(found, example.take), example.printed))


def _argument(key: str, value: Any) -> Any:
    if key == "of":
        from startkit.science.water import liquid

        return liquid(value)
    return _amount(value) if isinstance(value, str) and _AMOUNT.fullmatch(value) else value


def _taken(found: Any, take: str) -> Any:
    if not take:
        return found
    return found[int(take)] if take.isdigit() else getattr(found, take)


def _as_printed(found: Any, printed: pint.Quantity) -> pint.Quantity:
    quantity = found if isinstance(found, pint.Quantity) else Q(float(found), "dimensionless")
    return Q(float(quantity.to(printed.units).magnitude), printed.units)
