"""The register's figures: machines side by side, visits against their baseline, control charts,
each as tables and drawings.
"""

# `Any` here: a part is JSON, in the schema of `startkit.procedure.payload`.
from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import date
from typing import Any

from startkit.desk import multiples, plots
from startkit.desk.multiples import Panel
from startkit.fleet.baseline_comparison import Chart, Comparison, quantity
from startkit.fleet.register_tables import several, table
from startkit.fleet.summary import Summary
from startkit.procedure.stage import Line, Plot, Rule
from startkit.science.baseline_shift import CANNOT_TELL, MOVED, NOT_MOVED
from startkit.science.control_chart import ENOUGH, SOURCE
from startkit.units import KINDS, Q, difference_kind, label, magnitude, show
from startkit.verdict import COVERAGE

Part = dict[str, Any]
# What the fleet's machines are compared by, with heads short enough for neighbouring columns.
SIDE_BY_SIDE = {
    "load_up.evaporator_approach_full": "Evaporator\napproach, full load",
    "load_up.condenser_approach_full": "Condenser\napproach, full load",
    "load_up.specific_power": "Power for\ncapacity",
    "lube.pump_speed": "Oil pump\nspeed",
    "vanes.switch_make": "Vane switch\nmakes at",
}
KEYS = tuple(SIDE_BY_SIDE)
MOST_ROWS, MOST_DRAWN, MOST_CHARTS = 40, 120, 60
_MARKS = {MOVED: "✗", NOT_MOVED: "✓", CANNOT_TELL: "≈"}


# --- machines side by side ------------------------------------------------------------------------


def compared(latest: Sequence[Summary], system: str) -> tuple[list[Part], Part | None, list[str]]:
    """Small multiples of the machines' newest figures, the same as a table, and remarks."""
    there = sorted(
        (s for s in latest if any(key in s["figures"] for key in KEYS)),
        key=lambda s: (s["plant"], s["tag"]),
    )
    if not there:
        return (
            [],
            None,
            [
                "No machine has figures to compare yet: they come from strokes, pre-lube and steady"
                " loads."
            ],
        )
    keys = [key for key in KEYS if any(key in s["figures"] for s in there)]
    shown = there if len(there) <= MOST_DRAWN else _furthest(there, keys)
    drawn = [
        _drawing(shown[n : n + MOST_ROWS], keys, system) for n in range(0, len(shown), MOST_ROWS)
    ]
    remarks = (
        [
            f"The plots show the {len(shown)} of {len(there)} machines furthest from the median;"
            " the table has all."
        ]
        if len(shown) < len(there)
        else []
    )
    return (
        drawn,
        _side_by_side(there, keys, system),
        (
            [
                *remarks,
                (
                    f"{several(len(latest) - len(there), 'machine has', 'machines have')} none of"
                    " these figures yet."
                ),
            ]
            if len(there) < len(latest)
            else remarks
        ),
    )


def _furthest(there: Sequence[Summary], keys: Sequence[str]) -> list[Summary]:
    """The machines that differ most from the median in any figure, in their order."""
    distance: dict[int, float] = {}
    for key in keys:
        known = [
            (n, s["figures"][key]["number"]) for n, s in enumerate(there) if key in s["figures"]
        ]
        values = sorted(value for _, value in known)
        middle = values[len(values) // 2]
        scale = (
            sorted(abs(value - middle) for value in values)[len(values) // 2] or abs(middle) or 1.0
        )
        for n, value in known:
            distance[n] = max(distance.get(n, 0.0), abs(value - middle) / scale)
    chosen = set(sorted(distance, key=lambda n: (-distance[n], n))[:MOST_DRAWN])
    return [s for n, s in enumerate(there) if n in chosen]


def _drawing(rows: Sequence[Summary], keys: Sequence[str], system: str) -> Part:
    panels = [
        Panel(
            SIDE_BY_SIDE[key],
            _unit(rows, key, system),
            tuple(_value(s, key, system) for s in rows),
            tuple(_expanded(s, key, system) for s in rows),
        )
        for key in keys
    ]
    names = [_machine(s, rows) for s in rows]
    title = f"{names[0]} to {names[-1]}" if len(names) > 1 else names[0]
    return {
        "title": title,
        "alt": (
            f"Figures of {len(rows)} machines side by side; the table below has them as numbers."
        ),
        "svg": multiples.svg(names, panels, f"Figures side by side, {title}"),
    }


def _machine(summary: Summary, others: Sequence[Summary]) -> str:
    """The tag, with the plant if another machine has the same tag."""
    twice = sum(s["tag"] == summary["tag"] for s in others) > 1
    return f"{summary['tag']}, {summary['plant']}"[:40] if twice else summary["tag"][:40]


def _unit(rows: Sequence[Summary], key: str, system: str) -> str:
    return next((label(s["figures"][key]["kind"], system) for s in rows if key in s["figures"]), "")


def _value(summary: Summary, key: str, system: str) -> float | None:
    figure = summary["figures"].get(key)
    return (
        None
        if figure is None
        else float(magnitude(quantity(figure["number"], figure["kind"]), figure["kind"], system))
    )


def _expanded(summary: Summary, key: str, system: str) -> float | None:
    figure = summary["figures"].get(key)
    if figure is None or figure["u"] is None:
        return None
    return float(
        magnitude(
            _difference(COVERAGE * figure["u"], figure["kind"]),
            difference_kind(figure["kind"]),
            system,
        )
    )


def _difference(number: float, kind: str) -> Any:
    """A difference in SI base units as a quantity."""
    other = difference_kind(kind)
    return (
        Q(number, "delta_degC")
        if kind in ("temperature", "temperature_difference")
        else Q(number, Q(1, KINDS[other].si.pint).to_base_units().units)
    )


def _side_by_side(there: Sequence[Summary], keys: Sequence[str], system: str) -> Part:
    heads = [
        ("Machine", ""),
        ("Plant", ""),
        *((SIDE_BY_SIDE[key].replace("\n", " "), _unit(there, key, system)) for key in keys),
    ]
    rows = [
        [s["tag"], s["plant"], *(_with_u(s["figures"].get(key), system) for key in keys)]
        for s in there
    ]
    return table("Newest figures", heads, rows, range(2, len(heads)))


def _with_u(figure: Summary | None, system: str) -> str:
    if figure is None:
        return "–"
    value = show(
        quantity(figure["number"], figure["kind"]), figure["kind"], system, with_unit=False
    )
    return (
        value
        if figure["u"] is None
        else f"{value} ± {_size(COVERAGE * figure['u'], figure['kind'], system)}"
    )


def _size(number: float, kind: str, system: str, with_unit: bool = False) -> str:
    return show(_difference(number, kind), difference_kind(kind), system, with_unit=with_unit)


# --- against the baseline -------------------------------------------------------------------------


def against_baseline(found: Sequence[Comparison], system: str) -> tuple[Part, list[str]]:
    """First what changed, then what cannot be decided, then what did not change."""
    order = list(_MARKS)
    order.sort(key=lambda said: (said != MOVED, said != CANNOT_TELL))
    listed = sorted(found, key=lambda c: (order.index(c.change.said), c.machine, c.key))
    rows = [
        [
            c.machine,
            c.label,
            f"{c.against}, {c.earlier['last'][:10]}",
            _shown(c.before, c.kind, system),
            _shown(c.now, c.kind, system),
            _moved_by(c, system),
            f"{_MARKS[c.change.said]} {c.change.said}",
            c.why,
        ]
        for c in listed
    ]
    heads = ("Machine", "Figure", "Against", "Then", "Now", "Change ± U", "Result", "Why no result")
    counts = Counter(c.change.said for c in found)
    remarks = (
        [", ".join(f"{counts[said]} {said}" for said in order) + "."]
        if found
        else ["No machine has a later visit to compare yet."]
    )
    return table("Newest visit against earlier ones", heads, rows, (3, 4, 5)), remarks


def _shown(number: float, kind: str, system: str) -> str:
    return show(quantity(number, kind), kind, system)


def _moved_by(c: Comparison, system: str) -> str:
    signed = _size(c.change.difference, c.kind, system, with_unit=c.change.expanded is None)
    signed = signed if signed.startswith("−") else f"+{signed}"
    return (
        signed
        if c.change.expanded is None
        else f"{signed} ± {_size(c.change.expanded, c.kind, system, with_unit=True)}"
    )


# --- control charts -------------------------------------------------------------------------------


def charted(found: Sequence[Chart], system: str) -> tuple[list[Part], Part | None, list[str]]:
    """The charts, first those whose newest visit is outside its limits; a table of all."""
    if not found:
        return [], None, ["No machine has enough visits for a control chart yet."]
    listed = sorted(found, key=lambda c: (not c.newest_outside, c.machine, c.key))
    heads = (
        "Machine",
        "Figure",
        "Visits",
        "Newest",
        "Centre",
        "Lower limit",
        "Upper limit",
        "Result",
    )
    rows = [
        [
            c.machine,
            c.label,
            str(len(c.values)),
            *(
                _shown(v, c.kind, system)
                for v in (c.values[-1], c.limits.centre, c.limits.low, c.limits.high)
            ),
            "✗ outside" if c.newest_outside else "✓ inside",
        ]
        for c in listed
        if c.limits is not None
    ]
    remarks = [f"Limits by {SOURCE}, from the visits before the newest."]
    if any(c.limits is not None and not c.limits.firm for c in found):
        remarks.append(
            f"Limits from fewer than {ENOUGH} visits are rough (common practice, no source): a"
            " point outside is a reason to check, not proof."
        )
    if len(listed) > MOST_CHARTS:
        remarks.append(f"{MOST_CHARTS} of {len(listed)} charts are drawn; the table has all.")
    return (
        [_chart(c, system) for c in listed[:MOST_CHARTS]],
        table("Newest visit and its limits", heads, rows, (2, 3, 4, 5, 6)),
        remarks,
    )


def _chart(c: Chart, system: str) -> Part:
    at = [_year(visit["last"]) for visit in c.visits]
    error = tuple(COVERAGE * (u or 0.0) for u in c.u) if any(c.u) else ()
    rules = (
        ()
        if c.limits is None
        else (
            Rule("upper limit", c.limits.high),
            Rule("centre", c.limits.centre),
            Rule("lower limit", c.limits.low),
        )
    )
    title = f"{c.machine}: {c.label}"
    said = (
        "the newest is outside the limits"
        if c.newest_outside
        else "the newest is inside the limits"
    )
    plot = Plot(
        title,
        "Year",
        "",
        c.label,
        c.kind,
        (Line("", at, c.values, "line and points", error),),
        rules,
        f"{title} over {len(c.values)} visits; {said}.",
    )
    return plots.drawn([plot], system)[0]


def _year(moment: str) -> float:
    """A moment as a year with its fraction."""
    day = date.fromisoformat(moment[:10])
    first = date(day.year, 1, 1)
    return day.year + (day - first).days / (date(day.year + 1, 1, 1) - first).days
