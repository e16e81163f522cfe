"""What is drawn of the guide vanes: feedback over command and time, the switch over the strokes."""

from __future__ import annotations

from startkit.procedure.entries import Entries
from startkit.procedure.stage import Line, Plot, Rule
from startkit.science.strokes import CLOSING, OPENING
from startkit.science.vane_calibration import StrokesResult, settled_points
from startkit.stages.vanes.findings import titled
from startkit.stages.vanes.readings import Strokes


def plotted(entries: Entries, strokes: Strokes) -> tuple[Plot, ...]:
    """Feedback over command, feedback over time, switch positions over strokes; for the strokes
    that count and as found.
    """
    found = []
    for numbers, when in (
        (strokes.as_found, "as found"),
        (strokes.counted, "as left" if strokes.as_found else ""),
    ):
        result = strokes.result(numbers)
        if result is not None:
            found += [
                p
                for p in (
                    _over_command(strokes, numbers, result, when),
                    _over_time(strokes, numbers, when),
                )
                if p is not None
            ]
    everything = strokes.result(strokes.numbers)
    over = _over_strokes(strokes, everything) if everything is not None else None
    return (*found, *((over,) if over else ()))


def _over_command(
    strokes: Strokes, numbers: tuple[int, ...], result: StrokesResult, when: str
) -> Plot | None:
    lines = []
    for direction, emphasis in ((OPENING, "main"), (CLOSING, "second")):
        pairs = [
            settled_points(strokes.records[r.number], r)
            for r in result.each
            if r.direction == direction
        ]
        if pairs:
            x = [float(v) for c, _ in pairs for v in c]
            y = [float(v) for _, f in pairs for v in f]
            lines.append(Line(direction, x, y, "points", emphasis=emphasis))
    if not lines:
        return None
    switch = result.switch
    rules = tuple(
        Rule(label, at)
        for label, at in (("switch makes", switch.make_mean), ("switch breaks", switch.break_mean))
        if at is not None
    )
    fitted = (
        (
            Line(
                "least-squares line",
                (0.0, 1.0),
                (result.line.intercept, result.line.intercept + result.line.slope),
                "line",
                emphasis="quiet",
            ),
        )
        if result.line
        else ()
    )
    return Plot(
        titled("Feedback over command", when),
        "Command",
        "percent",
        "Feedback",
        "percent",
        (*lines, *fitted),
        rules,
        f"Feedback over command both ways{', ' + when if when else ''}; the switch makes at"
        f" {_text(switch.make_mean)} and breaks at {_text(switch.break_mean)} feedback.",
    )


def _text(value: float | None) -> str:
    return "an unknown position" if value is None else f"{100 * value:.1f} %"


def _over_time(strokes: Strokes, numbers: tuple[int, ...], when: str) -> Plot | None:
    lines: list[Line] = []
    for record in strokes.traces(numbers):
        if record.time is not None:
            emphasis = "main" if record.direction == OPENING else "second"
            label = (
                record.direction
                if not any(line.label == record.direction for line in lines)
                else ""
            )
            lines.append(
                Line(
                    label,
                    [float(t - record.time[0]) for t in record.time],
                    [float(v) for v in record.feedback],
                    "line",
                    emphasis=emphasis,
                )
            )
    if not lines:
        return None
    return Plot(
        titled("Feedback over time, stroke by stroke", when),
        "Time from the start of the record",
        "time",
        "Feedback",
        "percent",
        tuple(lines),
        alt=f"Feedback over time for {len(lines)} strokes{', ' + when if when else ''}.",
    )


def _over_strokes(strokes: Strokes, result: StrokesResult) -> Plot | None:
    switch = result.switch
    lines = tuple(
        Line(
            label,
            [float(n) for n in numbers],
            [float(p) for p in positions],
            "points",
            emphasis=emphasis,
        )
        for label, numbers, positions, emphasis in (
            ("makes, closing", switch.make_strokes, switch.make_positions, "main"),
            ("breaks, opening", switch.break_strokes, switch.break_positions, "second"),
        )
        if len(numbers)
    )
    if not lines:
        return None
    rules = (
        (Rule("adjusted", strokes.last_adjustment + 0.5, "x"),) if strokes.last_adjustment else ()
    )
    return Plot(
        "Switch positions over strokes",
        "Stroke",
        "count",
        "Feedback",
        "percent",
        lines,
        rules,
        "Feedback at which the closed-position switch makes and breaks, stroke by stroke.",
    )
