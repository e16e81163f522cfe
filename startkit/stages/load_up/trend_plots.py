"""What is drawn of a trend: water temperatures, load and current, with the steady stretches."""

from __future__ import annotations

import numpy as np

from startkit.procedure.stage import Line, Plot, Rule
from startkit.stages.load_up.trend_windows import TEMPERATURES, Steady

BUCKETS = 400  # of a plotted line: each keeps its lowest and highest reading


def plotted(seen: Steady) -> tuple[Plot, ...]:
    """The overview: water temperatures, then load and current or power, each with the steady
    stretches.
    """
    zero = np.floor(seen.figures.time[0] / 3600) * 3600
    label = f"Hours from {seen.trend.moment(zero)[:16]}"
    rules = tuple(
        Rule("steady" if i == 0 else "", each.begin - zero, "x", each.end - zero)
        for i, each in enumerate(seen.stretches)
    )
    made = (_temperatures(seen, zero, label, rules), _shares(seen, zero, label, rules))
    return tuple(plot for plot in made if plot is not None)


_WORDS = {
    "chilled_entering": "chilled water entering",
    "chilled_leaving": "chilled water leaving",
    "condenser_entering": "condenser water entering",
    "condenser_leaving": "condenser water leaving",
}


_WEIGHT = {
    "chilled_entering": "second",
    "chilled_leaving": "main",
    "condenser_entering": "third",
    "condenser_leaving": "quiet",
}


def _temperatures(seen: Steady, zero: float, label: str, rules: tuple[Rule, ...]) -> Plot | None:
    lines = tuple(
        _thinned(seen, seen.figures.readings[name], _WORDS[name], _WEIGHT[name], zero)
        for name in TEMPERATURES
        if name in seen.figures.readings
    )
    return (
        Plot(
            f"Trend {seen.trend.name}: water temperatures",
            label,
            "hours",
            "Temperature",
            "temperature",
            lines,
            rules,
            f"Water temperatures over time with {len(seen.stretches)} steady stretches.",
        )
        if lines
        else None
    )


def _shares(seen: Steady, zero: float, label: str, rules: tuple[Rule, ...]) -> Plot | None:
    lines = []
    if "load" in seen.figures.found:
        lines.append(_thinned(seen, seen.figures.found["load"], "load", "main", zero))
    if "vane_position" in seen.figures.readings:
        lines.append(
            _thinned(seen, seen.figures.readings["vane_position"], "vane position", "third", zero)
        )
    return (
        Plot(
            f"Trend {seen.trend.name}: load",
            label,
            "hours",
            "Share of full",
            "percent",
            tuple(lines),
            rules,
            f"Load and vane position over time with {len(seen.stretches)} steady stretches.",
        )
        if lines
        else None
    )


def _thinned(seen: Steady, values: np.ndarray, label: str, weight: str, zero: float) -> Line:
    """The line with the lowest and highest reading of each of some hundred pieces: no excursion is
    lost.
    """
    time = seen.figures.time
    if time.size <= 2 * BUCKETS:
        return Line(label, (time - zero).tolist(), values.tolist(), "line", emphasis=weight)
    edges = np.linspace(0, time.size, BUCKETS + 1).astype(int)
    starts = edges[:-1]
    low, high = np.fmin.reduceat(values, starts), np.fmax.reduceat(values, starts)
    x = np.repeat(time[starts] - zero, 2)
    return Line(
        label, x.tolist(), np.column_stack((low, high)).ravel().tolist(), "line", emphasis=weight
    )
