"""Rules of who may do what: lists of texts that come with the tool, and that a specification may
change; here those for releasing a hold point.
"""

# `Any` here: what a TOML file holds is checked value by value.
from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cache
from importlib import resources
from typing import Any

from startkit.errors import SheetError

Lists = dict[str, tuple[str, ...]]


def shipped(name: str) -> dict[str, Any]:
    """The table in a file that comes with the tool, such as ``exemptions.toml``."""
    text = (resources.files("startkit.facts") / name).read_text(encoding="utf-8")
    return tomllib.loads(text)


def given(table: Mapping[str, Any], names: Iterable[str], what: str, where: str) -> Lists:
    """The lists that a specification gives.

    Parameters
    ----------
    table : mapping
        Body of the specification's table.
    names : iterable of str
        Of the lists that it may give.
    what : str
        What the lists are of, for the error, such as ``"exemptions"``.
    where : str
        File and line.

    Raises
    ------
    SheetError
        Unknown key, or not a list of texts.
    """
    known = tuple(names)
    if not isinstance(table, Mapping):
        raise SheetError(f"{what!r} is not a table", where, f"begin it with [{what}]")
    for name, listed in table.items():
        if name not in known or not _is_texts(listed):
            raise SheetError(
                f"{name!r} is not a list of {what}",
                where,
                f"use {', '.join(known)}, each a list of texts",
            )
    return {name: tuple(listed) for name, listed in table.items()}


def _is_texts(listed: object) -> bool:
    return isinstance(listed, list) and all(isinstance(each, str) for each in listed)


# --- hold points ----------------------------------------------------------------------------------

_LISTS = ("may_release", "may_witness", "witnessed")


@dataclass(frozen=True)
class ReleaseRules:
    """The rules for releasing a hold point.

    Parameters
    ----------
    may_release, may_witness : tuple of str
        Codes of roles.
    witnessed : tuple of str
        Names of hold points that are released before a witness.
    """

    may_release: tuple[str, ...]
    may_witness: tuple[str, ...]
    witnessed: tuple[str, ...] = ()

    def changed_by(self, table: Mapping[str, Any], where: str) -> ReleaseRules:
        """These rules with the lists of a specification's ``[releases]`` in place of their own.

        Raises
        ------
        SheetError
            Unknown key, or not a list of texts.
        """
        return replace(self, **given(table, _LISTS, "releases", where))


@cache
def defaults() -> ReleaseRules:
    """The rules that come with the tool (``releases.toml``)."""
    table = shipped("releases.toml")
    return ReleaseRules(**{name: tuple(table[name]) for name in _LISTS})
