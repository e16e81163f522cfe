"""Formula: the door of the science floor, which checks units and runs a body on bare SI numbers.

How to read a result: a decorated function returns quantities, and its `.si` returns the body's own
plain floats and arrays (`Number`). A result class is the same on both sides: its fields that carry
a unit are `Value`, floats from `.si` and quantities from the function itself;
`function.units["returns"]` names them with their units.
"""

# `Any` here: the door takes and gives what its body does, whatever that is.

from __future__ import annotations

import functools
import inspect
from collections.abc import Callable
from dataclasses import fields, is_dataclass, replace
from typing import TYPE_CHECKING, Any, ParamSpec, Protocol, TypeAlias, TypeVar, cast

import pint

from startkit.errors import UnitError
from startkit.unit_registry import Q, bare, is_temperature, is_temperature_difference

if TYPE_CHECKING:
    import numpy as np

P = ParamSpec("P")


R = TypeVar("R")
# What a body computes with, and gives: bare SI, one number or an array of them.
Number: TypeAlias = "float | np.ndarray"
# The same where it may also be a quantity: in a result, whose fields are bare from `.si` and carry
# their units from the function itself, and in a body that is handed either, or a list.
Value: TypeAlias = Any


def _to_si(value: Any, unit: str, name: str, function: str) -> Any:
    """The bare SI magnitude of one argument, or an error that names it."""
    where = f"{function}({name})"
    if value is None:
        return None
    if not isinstance(value, pint.Quantity):
        if unit == "dimensionless":
            return value
        raise UnitError(
            f"a plain number was given where a quantity in [{unit}] is needed",
            where,
            f"give a quantity such as Q(1, {unit!r})",
        )
    if unit.startswith("delta_") and is_temperature(value.units):
        raise UnitError(
            "a temperature was given where a temperature difference is needed",
            where,
            "give delta_degC or delta_degF",
        )
    if unit == "kelvin" and is_temperature_difference(value.units):
        raise UnitError(
            "a temperature difference was given where a temperature is needed",
            where,
            "give degC, degF or kelvin",
        )
    try:
        return bare(value, unit)
    except pint.DimensionalityError:
        raise UnitError(
            f"{value.units:~P} cannot be read as [{unit}]", where, f"give a quantity of [{unit}]"
        ) from None


def _wrap(result: Any, returns: Any) -> Any:
    if returns is None or result is None:
        return result
    if isinstance(returns, str):
        return Q(result, returns)
    if isinstance(returns, tuple):
        return tuple(_wrap(part, unit) for part, unit in zip(result, returns, strict=True))
    if isinstance(returns, dict) and is_dataclass(result) and not isinstance(result, type):
        known = {f.name for f in fields(result)}
        return replace(
            result, **{n: _wrap(getattr(result, n), u) for n, u in returns.items() if n in known}
        )
    raise TypeError(f"cannot wrap {type(result).__name__} as {returns!r}")


class Formula(Protocol[P, R]):
    """A function that takes and gives quantities, and its body on bare SI values."""

    si: Callable[P, R]
    units: dict[str, Any]

    def __call__(self, *args: Any, **kwargs: Any) -> Any: ...


def quantities(returns: Any = None, **arguments: str) -> Callable[[Callable[P, R]], Formula[P, R]]:
    """Check units at the door and run the body on bare SI numbers or arrays.

    The bare body stays reachable as ``function.si``.

    Parameters
    ----------
    returns : str, tuple of str, dict of field -> str, or None
        Unit of the result; a dict names the fields of a frozen dataclass that carry units.
    **arguments : str
        Unit of each argument in the body; ``"delta_degC"`` marks a temperature difference,
        ``"kelvin"`` a temperature. Arguments not named pass untouched.

    Raises
    ------
    UnitError
        A bare number, another dimension, or a temperature where a difference is due.
    """

    def decorate(body: Callable[P, R]) -> Formula[P, R]:
        signature = inspect.signature(body)
        unknown = set(arguments) - set(signature.parameters)
        if unknown:
            raise TypeError(f"{body.__name__} has no argument {sorted(unknown)}")

        @functools.wraps(body)
        def checked(*args: Any, **kwargs: Any) -> Any:
            bound = signature.bind(*args, **kwargs)
            for name, unit in arguments.items():
                if name in bound.arguments:
                    bound.arguments[name] = _to_si(bound.arguments[name], unit, name, body.__name__)
            return _wrap(body(*bound.args, **bound.kwargs), returns)

        door = cast("Formula[P, R]", checked)
        door.si, door.units = body, {"returns": returns, **arguments}
        return door

    return decorate
