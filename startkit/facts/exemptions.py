"""Exemptions: who may waive an item, what cannot be waived, and what a machine may lack."""

# `Any` here: what a TOML file holds is checked value by value.
from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from fnmatch import fnmatchcase
from functools import cache
from typing import Any

from startkit.facts import rules

_LISTS = ("may_waive", "never_waived", "may_lack")


@dataclass(frozen=True)
class Exemptions:
    """The rules for waivers and for what does not apply.

    Parameters
    ----------
    may_waive : tuple of str
        Codes of roles.
    never_waived, may_lack : tuple of str
        Verdict keys as patterns.
    least_words : int
        Of a reason.
    """

    may_waive: tuple[str, ...]
    never_waived: tuple[str, ...]
    may_lack: tuple[str, ...]
    least_words: int

    def can_be_waived(self, key: str) -> bool:
        """Whether anyone may waive the verdict of this key."""
        return not _listed(key, self.never_waived)

    def can_be_lacking(self, key: str) -> bool:
        """Whether a machine may lack what the verdict of this key is about."""
        return _listed(key, self.may_lack)

    def is_a_reason(self, text: str) -> bool:
        """Whether a text has the words of a sentence."""
        return len(text.split()) >= self.least_words

    def changed_by(self, table: Mapping[str, Any], where: str) -> Exemptions:
        """These rules with those of a specification's ``[exemptions]`` laid over them.

        Raises
        ------
        SheetError
            Unknown key, or not a list of texts.
        """
        changed: dict[str, Any] = {  # lists of texts only
            name: (*(() if name == "may_waive" else getattr(self, name)), *listed)
            for name, listed in rules.given(table, _LISTS, "exemptions", where).items()
        }
        return replace(self, **changed)


def _listed(key: str, patterns: Iterable[str]) -> bool:
    return any(fnmatchcase(key, pattern) for pattern in patterns)


@cache
def defaults() -> Exemptions:
    """The rules that come with the tool (``exemptions.toml``)."""
    table = rules.shipped("exemptions.toml")
    lists = {name: tuple(table[name]) for name in _LISTS}
    return Exemptions(**lists, least_words=table["least_words"])
