"""Points of a trend: what a column can be, and how well its name matches."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

from startkit.facts import toml_file


@dataclass(frozen=True)
class Point:
    """One point that the stages know.

    Parameters
    ----------
    name, label, kind : str
    needs : tuple of tuple of str
        Groups of words; a name that matches has one word of each group.
    never : frozenset of str
        Words that rule it out.
    usual : tuple of str
        Lowest and highest possible value, with units.
    live : bool
        A reading that does not move at all for long is suspect.
    zero : str
        ``"never"`` zero, a ``"short"`` zero is a lost reading, or zero is ordinary (``"off"``).
    brick, haystack : str
        Name in the Brick schema and tags of Project Haystack.
    aliases : frozenset of str
        Spellings that alone say which point it is, folded.
    """

    name: str
    label: str
    kind: str
    needs: tuple[tuple[str, ...], ...]
    never: frozenset[str]
    usual: tuple[str, str]
    live: bool
    zero: str
    brick: str
    haystack: str
    aliases: frozenset[str]


@dataclass(frozen=True)
class Vocabulary:
    """Points by name, and what the words in column names mean."""

    points: Mapping[str, Point]
    meaning: Mapping[str, tuple[str, ...]]


@lru_cache(maxsize=1)
def vocabulary() -> Vocabulary:
    """The points and words that come with the tool (``startkit/facts/points.toml``)."""
    text = (resources.files("startkit.facts.trend") / "points.toml").read_text(encoding="utf-8")
    table = toml_file.parse(text, "points.toml")
    meaning = {
        spelling: (word,) for word, spellings in table["words"].items() for spelling in spellings
    }
    meaning |= {short: tuple(words) for short, words in table["together"].items()}
    return Vocabulary({name: _point(name, body) for name, body in table["points"].items()}, meaning)


def _point(name: str, body: toml_file.Table) -> Point:
    alone = [] if body.get("general") else [body.get("brick", "")]
    spelled = [name, *alone, *body.get("also", ()), body.get("haystack", "")]
    return Point(
        name,
        body["label"],
        body["kind"],
        tuple(map(tuple, body["needs"])),
        frozenset(body["never"]),
        tuple(body["usual"]),
        body["live"],
        body["zero"],
        body.get("brick", ""),
        body.get("haystack", ""),
        frozenset(fold(each) for each in spelled if each),
    )


def points() -> Mapping[str, Point]:
    """Every point by name."""
    return vocabulary().points


def fold(name: str) -> str:
    """Letters and digits only, lower case."""
    return re.sub(r"[^a-z0-9%]+", "", name.casefold())


_PARTS = re.compile(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+|\d+|%")


@lru_cache(maxsize=4096)
def words(name: str) -> tuple[str, ...]:
    """The words in a column's name: ``"CHWS_Temp"`` -> chilled, water, supply,
    temperature.
    """
    known = vocabulary().meaning
    found: list[str] = []
    for whole in re.findall(r"[A-Za-z]+|\d+|%", name):
        # "kW" is one word; "EvapSatTemp" is three.
        parts = [whole] if whole.casefold() in known else _PARTS.findall(whole)
        for folded in map(str.casefold, parts):
            found += known.get(folded, (folded,))
    return tuple(found)


def says(name: str, point: Point, by_unit: str = "") -> float:
    """How well a column's name matches this point, 0 to 1.

    Parameters
    ----------
    name : str
        The column's name without its unit.
    point : Point
    by_unit : str
        A word that the unit implies (``"temperature"`` for °F); counts as if it were in the
        name.
    """
    if (
        any(alias in fold(name) for alias in point.aliases if len(alias) > 12)
        or fold(name) in point.aliases
    ):
        return 1.0
    held = set(words(name)) | ({by_unit} if by_unit else set())
    if held & point.never:
        return 0.0
    hit = sum(bool(held & set(group)) for group in point.needs)
    return _spread(hit, point, held)


def _spread(hit: int, point: Point, held: set[str]) -> float:
    """Share of the groups hit; words that say something else take away."""
    share = hit / len(point.needs)
    foreign = held & _TELLING - {word for group in point.needs for word in group} - {
        "water",
        "position",
        "refrigerant",
        "motor",
        "compressor",
    }
    if share == 1:
        return max(0.0, 0.95 - 0.15 * len(foreign))
    # "CHWS" leaves out that it is a temperature; nothing else in it suggests another kind.
    left_out = (
        hit == len(point.needs) - 1 >= 2
        and point.needs[-1] == ("temperature",)
        and not held & {"temperature", "flow", "pressure", "differential", "power", "current"}
    )
    return 0.65 if left_out and not foreign else 0.5 * share


# Words that say something about a point; tags and numbers of machines do not count.
_TELLING = {
    "chilled",
    "evaporator",
    "condenser",
    "entering",
    "leaving",
    "supply",
    "return",
    "temperature",
    "pressure",
    "differential",
    "flow",
    "power",
    "current",
    "percent",
    "vane",
    "speed",
    "frequency",
    "suction",
    "discharge",
    "liquid",
    "saturation",
    "oil",
    "sump",
    "set",
    "running",
    "limit",
    "unbalance",
}
