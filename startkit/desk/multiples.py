"""Small multiples: one figure of many machines in a panel, several panels side by side, the
machines named once.
"""

# `Any` here: matplotlib's figures and axes have no types of use here.
from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from startkit.desk import drawing

ROW, HEAD = 0.19, 0.9  # inches a machine takes, and the panels' heads and scales together
_INK, _QUIET = "#12355b", "#6b6b6b"


@dataclass(frozen=True)
class Panel:
    """One figure of the machines: head, unit, and for each machine value and expanded uncertainty
    in that unit, None where there is none.
    """

    title: str
    unit: str
    values: tuple[float | None, ...]
    expanded: tuple[float | None, ...]


def svg(names: Sequence[str], panels: Sequence[Panel], alt: str) -> str:
    """The panels as one SVG drawing, a row for each name.

    Parameters
    ----------
    names : sequence of str
        Machines, from top to bottom.
    panels : sequence of Panel
        From left to right; each with a value for every name.
    alt : str
        What the drawing shows, in words.
    """
    from io import StringIO

    from matplotlib import rc_context
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    with drawing.DRAWING, rc_context(drawing.STYLE):
        figure = Figure((drawing.WIDTH, HEAD + ROW * len(names)))
        FigureCanvasSVG(figure)
        _fill(figure, names, panels)
        out = StringIO()
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    return drawing.bare(out.getvalue(), alt)


def _fill(figure: Any, names: Sequence[str], panels: Sequence[Panel]) -> None:
    height = HEAD + ROW * len(names)
    left = min(0.3, 0.02 + 0.011 * max((len(name) for name in names), default=1))
    width = (0.985 - left) / max(1, len(panels))
    rows = list(range(len(names)))
    for n, panel in enumerate(panels):
        axes = figure.add_axes(
            (left + n * width + 0.008, 0.5 / height, width - 0.016, ROW * len(names) / height)
        )
        _panel(axes, panel, rows)
        axes.set_yticks(
            rows, [drawing.clean(name) for name in names] if n == 0 else [""] * len(names)
        )


def _panel(axes: Any, panel: Panel, rows: list[int]) -> None:
    found = {row: value for row in rows if (value := panel.values[row]) is not None}
    there, known = list(found), list(found.values())
    axes.plot(known, there, marker="o", markersize=4, linestyle="none", color=_INK)
    spread = [panel.expanded[row] or 0.0 for row in there]
    if any(spread):
        axes.errorbar(known, there, xerr=spread, fmt="none", ecolor=_INK, elinewidth=0.9, capsize=2)
    if known:
        axes.axvline(
            sorted(known)[len(known) // 2], color=_QUIET, linewidth=0.8, linestyle=(0, (6, 2))
        )
    axes.set_ylim(len(rows) - 0.5, -0.5)
    axes.margins(x=0.12)
    axes.locator_params(axis="x", nbins=4)
    axes.tick_params(axis="y", length=0)
    axes.tick_params(axis="x", labelsize=drawing.SIZE - 2)
    axes.set_title(
        drawing.clean(f"{panel.title}\n[{panel.unit}]" if panel.unit else f"{panel.title}\n"),
        fontsize=drawing.SIZE - 1.5,
        loc="left",
    )
