"""Plots drawn again from what a record carries, and compared with those that it prints."""

# `Any` here: a part is JSON, in the schema of `startkit.procedure.payload`.
from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, Protocol

import pint

from startkit.paper.printing import svg, versions
from startkit.paper.verifying.result import BAD, GOOD, OPEN, Part
from startkit.procedure.assessment import Assessment
from startkit.procedure.stage import Plot

_NUMBER = re.compile(r"-?\d+\.?\d*(?:e-?\d+)?")
_TEXT = re.compile(r">([^<]*)<")
_ID = re.compile(r"\b[a-z][0-9a-f]{10}\b")  # matplotlib's, made of what it names
NEAR = 0.05  # points: another processor may round the last digit otherwise
_MOST = 4  # plots that are named


class Draws(Protocol):
    """Something that draws plots, as the desk does."""

    def request(
        self, plots: Iterable[Plot], system: str, barometer: pint.Quantity | None
    ) -> None: ...

    def drawn(
        self, plots: Iterable[Plot], system: str, barometer: pint.Quantity | None
    ) -> list[dict[str, str]]: ...


def part(record: Mapping[str, Any], seen: Assessment, draws: Draws | None) -> list[Part]:
    """Whether every printed plot is the one of the attached data; nothing where there is none.

    Parameters
    ----------
    record : mapping
        The data that the record prints.
    seen : Assessment
        Of the attached data.
    draws : Draws or None
        None: nothing is drawn, and the plots are said to be unchecked.
    """
    printed = {
        str(block["stage"]): list(block.get("plots", ()))
        for block in record["body"]
        if block.get("block") == "stage" and block.get("stage") in seen.stages
    }
    count = sum(map(len, printed.values()))
    other = [each for each in versions.other(record) if not each.startswith("typst ")]
    if draws is None or other:
        why = f"drawn with {'; '.join(other)}" if other else "not drawn again"
        said = f"{count} {'plot' if count == 1 else 'plots'}, {why}"
        return [Part("plots", OPEN, (f"{said}.",), (said,))] if count else []
    return _compared(printed, seen, draws)


def _compared(
    printed: Mapping[str, list[dict[str, str]]], seen: Assessment, draws: Draws
) -> list[Part]:
    barometer = seen.entries.barometer.quantity
    for name in printed:
        draws.request(seen.findings(name).plots, seen.system, barometer)
    wrong, count = [], 0
    for name, plots in printed.items():
        again = draws.drawn(seen.findings(name).plots, seen.system, barometer)
        count += len(again)
        wrong += [f"{seen.stages[name].title}, {each}" for each in _apart(plots, again)]
    if wrong:
        more = f", and {len(wrong) - _MOST} more" if wrong[_MOST:] else ""
        told = "; ".join(wrong[:_MOST])
        return [Part("plots", BAD, (f"Not those of the attached data: {told}{more}.",))]
    return [Part("plots", GOOD, (f"{count} drawn again: as printed.",))] if count else []


def _apart(printed: list[dict[str, str]], again: list[dict[str, str]]) -> Iterator[str]:
    """Titles of the plots that differ."""
    if len(printed) != len(again):
        yield f"{len(printed)} plots instead of {len(again)}"
        return
    for before, after in zip(printed, again, strict=True):
        same = (
            all(before.get(key) == after[key] for key in ("title", "alt"))
            and set(before) == set(after)
            and is_same(str(before.get("svg")), svg.grey(svg.safe(after["svg"], "plot")))
        )
        if not same:
            yield str(after["title"])


def is_same(one: str, other: str) -> bool:
    """True if two drawings are the same but for the last digit of their coordinates."""
    if one == other:
        return True
    if _TEXT.findall(one) != _TEXT.findall(other):
        return False
    plain = [_ID.sub(_numbered({}), text) for text in (one, other)]
    if _NUMBER.sub("0", plain[0]) != _NUMBER.sub("0", plain[1]):
        return False
    numbers = [[float(each) for each in _NUMBER.findall(text)] for text in plain]
    return all(abs(a - b) <= NEAR for a, b in zip(*numbers, strict=True))


def _numbered(known: dict[str, str]) -> Any:
    """Names in the order in which they first come."""
    return lambda found: known.setdefault(found.group(), f"name{len(known)}")
