"""Choices: what a field offers, as codes that judges compare and labels that people read.

The journal keeps what was chosen as it was worded then, so that an entry stays what the person saw.
A label may be reworded as long as its old wording stays among the choice's old ones.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache


@dataclass(frozen=True)
class Choice:
    """One choice of a field.

    Parameters
    ----------
    code : str
        What judges compare; never changed once journals hold it.
    label : str
        What a person reads and chooses.
    old : tuple of str
        Earlier wordings of the label, which journals and spreadsheets may hold.
    """

    code: str
    label: str
    old: tuple[str, ...] = ()

    @property
    def spellings(self) -> tuple[str, ...]:
        """Every text that means this choice."""
        return (self.label, self.code, *self.old)


def options(choices: Iterable[Choice | str]) -> tuple[Choice, ...]:
    """Choices of a field; a plain text is its own code and label."""
    return tuple(c if isinstance(c, Choice) else Choice(code=c, label=c) for c in choices)


def chosen(text: str, among: tuple[Choice, ...]) -> Choice | None:
    """The choice that a text means, in any case; None if it means none of them."""
    return _by_spelling(among).get(_folded(text))


@lru_cache(maxsize=512)
def _by_spelling(among: tuple[Choice, ...]) -> dict[str, Choice]:
    return {_folded(text): choice for choice in among for text in choice.spellings}


def _folded(text: str) -> str:
    return " ".join(text.split()).casefold()


_ANSWERS = {"yes": True, "y": True, "true": True, "no": False, "n": False, "false": False}


def yes_or_no(text: str) -> bool | None:
    """True for yes, False for no, None for anything else."""
    return _ANSWERS.get(text.strip().lower())
