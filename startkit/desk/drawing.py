"""Drawing: one plot value as SVG, the same bytes from the same values, legible on a grey copier."""

# `Any` here: matplotlib's figures, axes and styles have no types of use here.
from __future__ import annotations

import re
import threading
from functools import lru_cache
from hashlib import sha256
from html import escape
from io import StringIO
from itertools import pairwise
from textwrap import fill
from typing import Any

import numpy as np
import pint

from startkit.procedure.stage import Line, Plot, Rule
from startkit.units import KINDS, Q, label, magnitude

WIDTH, HEIGHT = 7.2, 3.5  # inches
SIZE = 9.0  # points of the text
# Dark enough for 4.5:1 on white; style and marker differ as well, so that colour never carries the
# meaning.
_LOOK = {
    "main": {"color": "#12355b", "linewidth": 1.8, "linestyle": "-", "marker": "o"},
    "second": {"color": "#8a3b00", "linewidth": 1.6, "linestyle": (0, (6, 2)), "marker": "s"},
    "third": {"color": "#2b6135", "linewidth": 1.6, "linestyle": (0, (1.5, 1.5)), "marker": "^"},
    "quiet": {"color": "#6b6b6b", "linewidth": 1.0, "linestyle": "-", "marker": "x"},
}
_RULE = "#333333"
# Lines of equal emphasis differ in pattern and marker.
_PATTERNS = ("-", (0, (6, 2)), (0, (1.5, 1.5)), (0, (6, 2, 1.5, 2)), (0, (10, 3)))
_MARKERS = ("o", "s", "^", "D", "v")
STYLE: Any = {
    # Text stays text: it can be searched and read aloud; the record's fonts hold DejaVu Sans.
    "svg.fonttype": "none",
    "svg.hashsalt": "startkit",
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans"],
    "font.size": SIZE,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "grid.color": "#d9d9d9",
    "grid.linewidth": 0.6,
    "axes.axisbelow": True,
    "axes.unicode_minus": True,
    "text.parse_math": False,
    "axes.formatter.useoffset": False,
    "hatch.linewidth": 0.5,
    # The grid shows where each figure is; tick marks would be drawn one by one for nothing.
    "xtick.bottom": False,
    "ytick.left": False,
    "xtick.minor.bottom": False,
    "ytick.minor.left": False,
}
# matplotlib's settings are global: two threads must not draw at once.
DRAWING = threading.Lock()


class Drawing:
    """A plot with its units, hashed by its values: arrays have no hash of their own."""

    def __init__(self, plot: Plot, system: str, barometer: pint.Quantity | None) -> None:
        self.plot, self.system, self.barometer = plot, system, barometer
        self.digest = digest(plot, system, barometer)

    def __hash__(self) -> int:
        return hash(self.digest)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Drawing) and self.digest == other.digest


def digest(plot: Plot, system: str, barometer: pint.Quantity | None) -> bytes:
    """SHA-256 over a plot's values and units."""
    return sha256(repr((_plain(plot), system, str(barometer))).encode()).digest()


def _plain(plot: Plot) -> tuple[Any, ...]:
    lines = tuple(
        (
            li.label,
            li.style,
            li.emphasis,
            *(np.asarray(v, float).tobytes() for v in (li.x, li.y, li.error, li.low, li.high)),
        )
        for li in plot.lines
    )
    return (
        plot.title,
        plot.x_label,
        plot.x_kind,
        plot.y_label,
        plot.y_kind,
        plot.y_log,
        plot.rules,
        plot.alt,
        lines,
    )


def svg(drawing: Drawing) -> str:
    """Draw one plot."""
    from matplotlib import rc_context

    with DRAWING, rc_context(STYLE):
        figure, axes = _sheet()
        labels = [line.label for line in drawing.plot.lines] + [
            rule.label for rule in drawing.plot.rules if rule.axis == "y"
        ]
        try:
            _clear(axes, _plot_width(labels))
            _draw(axes, drawing)
            out = StringIO()
            figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
        except Exception:
            _sheet.cache_clear()  # what an error left behind must not be in the next drawing
            raise
    return bare(out.getvalue(), drawing.plot.alt or drawing.plot.title)


def make_ready() -> None:
    """Import what draws and make the sheet, before anything is to be drawn."""
    from matplotlib import rc_context

    with DRAWING, rc_context(STYLE):
        _sheet()


@lru_cache(maxsize=1)
def _sheet() -> tuple[Any, Any]:
    """One figure and its axes, drawn on again and again: a third of a drawing's time went into
    making its scales.
    """
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    figure = Figure((WIDTH, HEIGHT))
    FigureCanvasSVG(figure)
    return figure, figure.add_axes((0.1, 0.145, 0.8, 0.8))


def _clear(axes: Any, width: float) -> None:
    """The axes as new: nothing on them, plain scales that follow what is drawn next."""
    from matplotlib.transforms import Bbox

    for artist in (*axes.lines, *axes.patches, *axes.collections, *axes.texts):
        artist.remove()
    axes.containers.clear()
    axes.set_position((0.1, 0.145, width, 0.8))
    if axes.get_yscale() != "linear":
        axes.set_yscale("linear")
    axes.set(xlim=(0, 1), ylim=(0, 1))
    axes.autoscale(True)
    axes.dataLim = Bbox.null()
    axes.ignore_existing_data_limits = True


def _plot_width(labels: list[str]) -> float:
    """Share of the figure's width left by the direct labels."""
    longest = max((len(part) for text in labels for part in _wrapped(text).splitlines()), default=0)
    return 0.88 - (longest * 0.57 * SIZE + 12) / (72 * WIDTH) if longest else 0.87


def _wrapped(text: str) -> str:
    return fill(clean(text), 20)


def clean(text: str) -> str:
    """The text without characters that XML forbids."""
    # Control characters would make the SVG unreadable as XML.
    return re.sub(r"[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]", "\ufffd", text)


def _draw(axes: Any, drawing: Drawing) -> None:
    plot = drawing.plot
    x, y = (_scale(kind, drawing) for kind in (plot.x_kind, plot.y_kind))
    if plot.y_log:
        _log_scale(axes)
    ends = [
        end
        for number, line in enumerate(plot.lines)
        if (end := _draw_line(axes, line, number, x, y))
    ]
    rules = [(_draw_rule(axes, rule, x if rule.axis == "x" else y), rule) for rule in plot.rules]
    axes.set_xlabel(_with_unit(plot.x_label, plot.x_kind, drawing.system))
    axes.set_ylabel(_with_unit(plot.y_label, plot.y_kind, drawing.system))
    axes.margins(x=0.02)
    axes.autoscale_view()
    edge = axes.get_xlim()[1]
    _label_ends(
        axes,
        ends
        + [(edge, at, rule.label, _RULE) for at, rule in rules if rule.axis == "y" and rule.label],
    )


def _log_scale(axes: Any) -> None:
    """A logarithmic axis with plain figures at one, two and five."""
    from matplotlib.ticker import LogLocator, NullFormatter, StrMethodFormatter

    axes.set_yscale("log")
    axes.yaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
    axes.yaxis.set_major_formatter(StrMethodFormatter("{x:g}"))
    axes.yaxis.set_minor_formatter(NullFormatter())


def _scale(kind: str, drawing: Drawing) -> Any:
    """Base units of a kind -> the figures on the axis."""
    if kind not in KINDS:
        return lambda values: np.asarray(values, float)
    base = Q(1, KINDS[kind].si.pint).to_base_units().units
    return lambda values: np.asarray(
        magnitude(Q(np.asarray(values, float), base), kind, drawing.system, drawing.barometer),
        float,
    )


def _with_unit(text: str, kind: str, system: str) -> str:
    unit = label(kind, system) if kind in KINDS else ""
    return clean(f"{text} [{unit}]" if unit else text)


def _draw_line(
    axes: Any, line: Line, number: int, x: Any, y: Any
) -> tuple[float, float, str, str] | None:
    """Draw one line; its last point with label and colour, for the direct label."""
    look: dict[str, Any] = dict(_LOOK.get(line.emphasis, _LOOK["main"]))
    if line.emphasis == "main" and number:
        look |= {
            "linestyle": _PATTERNS[number % len(_PATTERNS)],
            "marker": _MARKERS[number % len(_MARKERS)],
        }
    xs = x(line.x)
    if line.style == "band":
        low, high = y(line.low), y(line.high)
        axes.fill_between(
            xs, low, high, facecolor="#e6e6e6", edgecolor="#8c8c8c", linewidth=0.6, hatch="///"
        )
        return _last(xs, (low + high) / 2, line.label, "#4d4d4d")
    ys = y(line.y)
    _styled(axes, line.style, xs, ys, look)
    if len(line.error):
        # An error is a difference: only the size of the unit counts, not its zero.
        spread = np.abs(y(np.asarray(line.error, float)) - y(np.zeros(len(line.error))))
        axes.errorbar(
            xs, ys, yerr=spread, fmt="none", ecolor=look["color"], elinewidth=1.0, capsize=3
        )
    return _last(xs, ys, line.label, look["color"])


def _styled(axes: Any, style: str, xs: np.ndarray, ys: np.ndarray, look: dict[str, Any]) -> None:
    marker = look.pop("marker")
    if style == "step":
        axes.step(xs, ys, where="post", **look)
    elif style == "points":
        axes.plot(
            xs,
            ys,
            marker=marker,
            markersize=6,
            markerfacecolor="white",
            markeredgewidth=1.4,
            linestyle="none",
            color=look["color"],
        )
    elif style == "line and points":
        axes.plot(xs, ys, marker=marker, markersize=5, markerfacecolor="white", **look)
    else:
        axes.plot(xs, ys, **look)


def _last(
    xs: np.ndarray, ys: np.ndarray, text: str, colour: str
) -> tuple[float, float, str, str] | None:
    good = np.flatnonzero(np.isfinite(xs) & np.isfinite(ys))
    return (float(xs[good[-1]]), float(ys[good[-1]]), text, colour) if text and good.size else None


def _draw_rule(axes: Any, rule: Rule, scale: Any) -> float:
    """Draw one rule and return its position. A level one is named in the margin, an upright
    one at its head.
    """
    upright = rule.axis == "x"
    at = float(scale([rule.at])[0])
    until = at if rule.until is None else float(scale([rule.until])[0])
    if rule.until is None:
        (axes.axvline if upright else axes.axhline)(
            at, color=_RULE, linewidth=1.1, linestyle=(0, (8, 2, 1.5, 2))
        )
    else:
        (axes.axvspan if upright else axes.axhspan)(
            at, until, facecolor="#efefef", edgecolor="#8c8c8c", linewidth=0.6, hatch="\\\\"
        )
    if upright:
        axes.annotate(
            clean(rule.label),
            (at, 1),
            xycoords=("data", "axes fraction"),
            xytext=(3, -3),
            textcoords="offset points",
            rotation=90,
            va="top",
            ha="left",
            fontsize=SIZE - 1,
            bbox={
                "boxstyle": "square,pad=0.15",
                "facecolor": "white",
                "edgecolor": "none",
                "alpha": 0.85,
            },
        )
    return (at + until) / 2


def _label_ends(axes: Any, ends: list[tuple[float, float, str, str]]) -> None:
    """Write each label at the end of its line, pushed apart where ends are close together."""
    height = 72 * HEIGHT * 0.8
    wanted = [
        float(axes.transAxes.inverted().transform(axes.transData.transform((x, y)))[1])
        for x, y, _, _ in ends
    ]
    sizes = [(SIZE * 1.45 * (1 + _wrapped(text).count("\n"))) / height for _, _, text, _ in ends]
    for (x, y, text, colour), place in zip(ends, _apart(wanted, sizes), strict=True):
        axes.annotate(
            _wrapped(text),
            (x, y),
            xytext=(1.02, place),
            textcoords="axes fraction",
            color=colour,
            va="center",
            ha="left",
            annotation_clip=False,
            arrowprops={
                "arrowstyle": "-",
                "color": colour,
                "linewidth": 0.6,
                "shrinkA": 0,
                "shrinkB": 2,
            },
        )


def _apart(wanted: list[float], sizes: list[float]) -> list[float]:
    """Places as near to the wanted ones as their sizes allow, none on another."""
    order = sorted(range(len(wanted)), key=lambda i: wanted[i])
    places = list(wanted)
    for before, here in pairwise(order):
        places[here] = max(places[here], places[before] + (sizes[before] + sizes[here]) / 2)
    overshoot = max(0.0, places[order[-1]] - 1.0) if order else 0.0
    return [place - overshoot for place in places]


def bare(text: str, alt: str) -> str:
    """The SVG element alone, with its words for a screen reader and without names that would clash
    on one page.
    """
    body = text[text.index("<svg") :]
    used = set(re.findall(r"(?:url\(#|href=\"#)([^)\"]+)", body))
    body = re.sub(r' id="([^"]+)"', lambda m: m.group(0) if m.group(1) in used else "", body)
    # matplotlib's style sheet is meant for the drawing but would reach every element of the page.
    body = re.sub(
        r"<!--.*?-->\s*|<metadata>.*?</metadata>\s*|<style.*?</style>\s*", "", body, flags=re.DOTALL
    )
    name = escape(clean(alt), quote=True)
    return body.replace(
        "<svg",
        f'<svg role="img" aria-label="{name}" stroke-linejoin="round" stroke-linecap="butt"',
        1,
    ).strip()
