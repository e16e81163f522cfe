"""The plot of the stage Tightness: the rise after the pump was shut off."""

from __future__ import annotations

import numpy as np

from startkit.facts.limits import Limits
from startkit.procedure.stage import Line, Plot, Rule
from startkit.stages.tightness.readings import Evacuated


def plotted(limits: Limits, found: Evacuated) -> tuple[Plot, ...]:
    """The rise with its limit and, where known, its shape."""
    if found.time.size < 2:
        return ()
    minutes = found.time - found.time[0]
    most = limits["tightness.rise"].high
    rules = () if most is None else (Rule("limit", float(most.to("pascal").magnitude)),)
    lines = [
        Line("read", [float(t) for t in minutes], [float(p) for p in found.pressure], "points")
    ]
    if found.rise is not None:
        best = next(
            (s for s in found.rise.shapes if s.name == found.rise.kind), found.rise.shapes[0]
        )
        levels = best.gain * (1 - np.exp(-minutes / best.tau)) if best.tau == best.tau else 0.0
        lines.append(
            Line(
                found.rise.kind,
                [float(t) for t in minutes],
                [float(p) for p in best.start + best.rate * minutes + levels],
                "line",
                emphasis="second",
            )
        )
    said = f", which says {found.rise.kind}" if found.rise is not None else ""
    return (
        Plot(
            "Rise after the pump was shut off",
            "Time",
            "minutes",
            "Pressure",
            "vacuum",
            tuple(lines),
            rules,
            f"Pressure from {found.pressure[0]:.0f} to {found.pressure[-1]:.0f} Pa in"
            f" {minutes[-1] / 60:.0f} minutes{said}.",
        ),
    )
