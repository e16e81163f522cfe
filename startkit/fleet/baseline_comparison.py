"""The baseline: each machine's figures as commissioned and after an overhaul, compared with its
later visits.
"""

# `Any` here: what a TOML file holds is checked value by value.
from __future__ import annotations

import functools
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fnmatch import fnmatchcase
from importlib import resources
from typing import Any

import pint

from startkit.errors import SheetError, StartkitError
from startkit.fleet.folder import SETTINGS, Fleet
from startkit.fleet.summary import Summary
from startkit.science.baseline_shift import CANNOT_TELL, Change, change
from startkit.science.control_chart import FEWEST, ChartLimits, chart_limits, outside
from startkit.units import KINDS, Q, difference_kind, parse, show

COMMISSIONED, OVERHAULED = "as commissioned", "after overhaul"


@dataclass(frozen=True)
class Rule:
    """For figures whose key matches `pattern`: the change that matters, and the figures that must
    be alike on both visits.
    """

    pattern: str
    matters: str
    at: tuple[str, ...] = ()


@dataclass(frozen=True)
class Comparison:
    """One figure of a later visit against the same figure of an earlier one; numbers in SI base
    units.
    """

    machine: str
    key: str
    label: str
    kind: str
    against: str
    earlier: Summary
    later: Summary
    before: float
    now: float
    change: Change
    why: str = ""


@dataclass(frozen=True)
class Chart:
    """One figure of one machine over its visits; limits from the visits before the newest, None if
    they are too few.
    """

    machine: str
    key: str
    label: str
    kind: str
    visits: tuple[Summary, ...]
    values: tuple[float, ...]
    u: tuple[float | None, ...]
    limits: ChartLimits | None

    @property
    def newest_outside(self) -> bool:
        return self.limits is not None and outside(self.values[-1], self.limits)


@functools.cache
def _shipped() -> Mapping[str, Any]:
    return tomllib.loads(
        (resources.files("startkit.fleet") / "changes.toml").read_text(encoding="utf-8")
    )


def rules(fleet: Fleet) -> list[Rule]:
    """The rules, the fleet's own before those that come with the tool."""
    shipped = [
        Rule(key, body["matters"], tuple(body["at"])) for key, body in _shipped()["figures"].items()
    ]
    at = {rule.pattern: rule.at for rule in shipped}
    own = [Rule(key, str(text), at.get(key, ())) for key, text in fleet.changes.items()]
    return own + [rule for rule in shipped if rule.pattern not in fleet.changes]


def machines(summaries: Iterable[Summary]) -> dict[str, list[Summary]]:
    """Each machine's visits, oldest first; a machine is known by its serial number, without one by
    plant and tag.
    """
    found: dict[str, list[Summary]] = {}
    for summary in sorted(
        (s for s in summaries if not s["fault"]), key=lambda s: (s["last"], s["job"])
    ):
        found.setdefault(summary["serial"] or f"{summary['plant']} {summary['tag']}", []).append(
            summary
        )
    return found


# --- comparisons ----------------------------------------------------------------------------------


def comparisons(fleet: Fleet, summaries: Iterable[Summary]) -> list[Comparison]:
    """Every machine's newest visit against its commissioning, and against its last overhaul before
    that visit.

    Raises
    ------
    SheetError
        A change under ``[changes]`` of ``fleet.toml`` cannot be read.
    """
    known, found = rules(fleet), []
    for visits in machines(summaries).values():
        for against, earlier in _references(visits):
            found += _compared(known, against, earlier, visits[-1])
    return found


def _references(visits: Sequence[Summary]) -> list[tuple[str, Summary]]:
    """The visits that the newest is compared with, the figures of each being those after its work
    was done.
    """
    if len(visits) < 2:
        return []
    overhauls = [visit for visit in visits[1:-1] if visit["work"] == "overhauled"]
    first = (OVERHAULED if visits[0]["work"] == "overhauled" else COMMISSIONED, visits[0])
    return [first, *((OVERHAULED, visit) for visit in overhauls[-1:])]


def _compared(
    known: Sequence[Rule], against: str, earlier: Summary, later: Summary
) -> list[Comparison]:
    found = []
    for key, now in later["figures"].items():
        before = earlier["figures"].get(key)
        rule = next((rule for rule in known if fnmatchcase(key, rule.pattern)), None)
        if before is None or rule is None or before["kind"] != now["kind"]:
            continue
        matters = _matters(rule, now["kind"], before["number"])
        why = _not_alike(rule, earlier, later)
        made = change(before["number"], now["number"], before["u"], now["u"], matters)
        if why:
            made = Change(made.difference, made.expanded, CANNOT_TELL)
        found.append(
            Comparison(
                later["tag"],
                key,
                now["label"],
                now["kind"],
                against,
                earlier,
                later,
                before["number"],
                now["number"],
                made,
                why or _because(made, matters),
            )
        )
    return found


def _because(made: Change, matters: float | None) -> str:
    if made.expanded is None:
        return "the uncertainty is unknown: no instrument was named, or only a mean was recorded"
    if (
        made.said == CANNOT_TELL
        and matters is not None
        and abs(made.difference) + made.expanded > matters
    ):
        return "the uncertainty is too large for the change that matters"
    return ""


def _matters(rule: Rule, kind: str, before: float) -> float | None:
    """The change that matters, in SI base units."""
    share = rule.matters.removesuffix("of before").strip()
    try:
        if share != rule.matters:
            return (
                abs(before) * float(parse(share, "percent").to("dimensionless").magnitude) or None
            )
        return float(parse(rule.matters, difference_kind(kind)).to_base_units().magnitude) or None
    except StartkitError as error:
        raise SheetError(error.what, f"{SETTINGS}, changes, {rule.pattern}", error.remedy) from None


def _not_alike(rule: Rule, earlier: Summary, later: Summary) -> str:
    """Which condition keeps two visits from being compared; empty if none does."""
    for key in rule.at:
        before, now = earlier["figures"].get(key), later["figures"].get(key)
        if before is None or now is None:
            return f"{_name(key)} is not known for both visits"
        allowed = parse(_shipped()["conditions"][key], difference_kind(now["kind"]))
        if abs(now["number"] - before["number"]) > float(allowed.to_base_units().magnitude) * (
            1 + 1e-9
        ):
            return f"{_name(key)} was {_text(before)} then, {_text(now)} now"
    return ""


def _name(key: str) -> str:
    return {
        "load_up.load": "load",
        "load_up.lift": "lift",
        "lube.supply_temperature": "oil temperature",
    }.get(key, key)


def _text(figure: Summary) -> str:
    return show(quantity(figure["number"], figure["kind"]), figure["kind"])


def quantity(number: float, kind: str) -> pint.Quantity:
    """A summary's number as a quantity of its kind."""
    return Q(number, Q(1, KINDS[kind].si.pint).to_base_units().units)


# --- control charts -------------------------------------------------------------------------------


def charts(summaries: Iterable[Summary], keys: Sequence[str]) -> list[Chart]:
    """A chart for every machine and key with enough visits for limits and one more to judge."""
    found = []
    for visits in machines(summaries).values():
        for key in keys:
            there = [visit for visit in visits if key in visit["figures"]]
            if len(there) > FEWEST:
                found.append(_chart(there, key))
    return found


def _chart(visits: Sequence[Summary], key: str) -> Chart:
    figures = [visit["figures"][key] for visit in visits]
    values = tuple(figure["number"] for figure in figures)
    return Chart(
        visits[-1]["tag"],
        key,
        figures[-1]["label"],
        figures[-1]["kind"],
        tuple(visits),
        values,
        tuple(f["u"] for f in figures),
        chart_limits(values[:-1]),
    )
