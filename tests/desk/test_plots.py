"""Plots: the same bytes from the same values, in the job's units, legible without colour."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace

import numpy as np
import pytest

from startkit.desk import drawing, plots
from startkit.procedure.stage import Line, Plot, Rule
from startkit.units import IP, Q

TIME = np.linspace(0.0, 60.0, 7)
PLOT = Plot(
    "Sump",
    "Time",
    "time",
    "Sump temperature",
    "temperature",
    (Line("sump", TIME, 310.0 + TIME / 10, "line and points"),),
    (Rule("limit", 313.15),),
    alt="Sump temperature rising",
)


def texts(svg: str) -> list[str]:
    return [
        node.text or ""
        for node in ElementTree.fromstring(svg).iter("{http://www.w3.org/2000/svg}text")
    ]


def redrawn(plot: Plot, *arguments) -> str:
    plots._drawn_once.cache_clear()
    return plots.svg(plot, *arguments)


def test_the_same_values_give_the_same_bytes():
    assert redrawn(PLOT) == redrawn(PLOT)


VARIED = (
    PLOT,
    replace(
        PLOT,
        y_log=True,
        lines=(Line("over decades", TIME, 10.0 ** (TIME / 10), "points", error=np.full(7, 0.5)),),
        rules=(),
    ),
    replace(
        PLOT,
        lines=(
            Line("band", TIME, TIME, "band", low=300 + TIME, high=320 + TIME),
            Line("step", TIME, 300 + TIME, "step", emphasis="quiet"),
        ),
    ),
    replace(
        PLOT,
        x_kind="",
        y_kind="",
        lines=(Line("few", [2016.0, 2026.0], [-5.0, 1e6], "points"),),
        rules=(Rule("upright", 2020.0, "x"), Rule("window", 2021.0, "x", 2023.0)),
    ),
    replace(PLOT, lines=(), rules=()),
)


@pytest.mark.parametrize("plot", VARIED, ids=range(len(VARIED)))
def test_a_drawing_is_the_same_on_a_new_sheet_as_after_any_other(plot):
    drawing._sheet.cache_clear()
    new = redrawn(plot)
    for other in (*VARIED, *reversed(VARIED)):
        redrawn(other)
        assert redrawn(plot) == new


def test_an_error_in_one_drawing_leaves_nothing_in_the_next():
    new = redrawn(PLOT)
    with pytest.raises(ValueError):
        redrawn(replace(PLOT, lines=(PLOT.lines[0], Line("uneven", TIME, TIME[:3]))))
    assert redrawn(PLOT) == new


def test_axes_are_in_the_jobs_units():
    assert "Sump temperature [°C]" in texts(plots.svg(PLOT)) and "Sump temperature [°F]" in texts(
        plots.svg(PLOT, IP)
    )


@pytest.mark.parametrize(("system", "expected"), [("SI", 40.0), ("I-P", 104.0)])
def test_a_temperature_on_the_axis_is_converted_with_its_zero(system, expected):
    """313.15 K is 40 °C and 104 °F: exact by definition (ITS-90, 1 °F = 5/9 K)."""
    scale = drawing._scale("temperature", drawing.Drawing(PLOT, system, None))
    assert scale([313.15])[0] == pytest.approx(expected)


def test_gauge_pressure_is_shown_against_the_sites_barometer():
    scale = drawing._scale("gauge_pressure", drawing.Drawing(PLOT, "SI", Q(84.0, "kPa")))
    assert scale([184_000.0])[0] == pytest.approx(100.0)


def test_an_error_bar_of_a_temperature_is_a_difference():
    wide = replace(PLOT, lines=(replace(PLOT.lines[0], error=np.full(7, 0.5)),))
    assert redrawn(wide, IP)  # 0.5 K must become 0.9 °F, not 32.9 °F below zero
    figures = [
        float(y)
        for y in texts(plots.svg(wide, IP))
        if re.fullmatch(r"−?[\d.]+", y.replace("−", "-"))
    ]
    assert min(y for y in figures if y > 60) > 95 and max(figures) < 112


def test_lines_differ_by_pattern_or_marker_not_only_by_colour():
    lines = tuple(
        Line(name, TIME, 310 + k + TIME / 10, "line", emphasis=emphasis)
        for k, (name, emphasis) in enumerate((("a", "main"), ("b", "second"), ("c", "third")))
    )
    svg = plots.svg(replace(PLOT, lines=lines, rules=()))
    patterns = {m.group(1) for m in re.finditer(r"stroke-dasharray: ([\d., ]+)", svg)}
    assert len(patterns) >= 2
    equal = tuple(replace(line, emphasis="main") for line in lines)
    assert (
        len(
            {
                m.group(1)
                for m in re.finditer(
                    r"stroke-dasharray: ([\d., ]+)", plots.svg(replace(PLOT, lines=equal, rules=()))
                )
            }
        )
        >= 2
    )


def test_every_line_and_rule_is_named_beside_itself():
    assert {"sump", "limit"} <= set(texts(plots.svg(PLOT)))


def test_labels_that_would_lie_on_one_another_are_pushed_apart():
    places = drawing._apart([0.5, 0.51, 0.5, 0.95, 0.99], [0.1] * 5)
    gaps = np.diff(sorted(places))
    assert gaps.min() >= 0.1 - 1e-9 and max(places) <= 1.0 + 1e-9


def test_a_plot_is_well_formed_and_has_words_whatever_its_labels_say():
    hostile = replace(
        PLOT,
        title="<b>$x$\x00",
        alt='"><script>',
        lines=(replace(PLOT.lines[0], label="</svg>&\x01 $y"),),
    )
    root = ElementTree.fromstring(plots.svg(hostile))
    assert root.get("role") == "img" and root.get("aria-label") == '"><script>'
    assert not [node for node in root.iter() if node.tag.endswith("script")]


def test_a_plot_without_a_single_reading_is_still_drawn():
    empty = replace(PLOT, lines=(Line("sump", [], []), Line("late", TIME, np.full(7, np.nan))))
    assert ElementTree.fromstring(plots.svg(empty)) is not None


def test_names_inside_two_plots_on_one_page_do_not_clash():
    one, two = (
        plots.svg(PLOT),
        plots.svg(replace(PLOT, title="Other", lines=(Line("x", TIME, 300 + TIME),))),
    )
    shared = set(re.findall(r' id="([^"]+)"', one)) & set(re.findall(r' id="([^"]+)"', two))
    for name in shared:  # an equal name must mean an equal drawing
        pieces = [
            re.search(rf'<(\w+) id="{re.escape(name)}".*?(?:/>|</\1>)', svg, re.DOTALL).group(0)
            for svg in (one, two)
        ]
        assert pieces[0] == pieces[1]


def test_a_logarithmic_axis_is_one_and_bears_plain_figures() -> None:
    drawing = {
        log: plots.svg(
            Plot(
                "Cycle",
                "Enthalpy",
                "specific_energy",
                "Pressure",
                "pressure",
                (Line("cycle", [2e5, 4e5], [1e5, 2e6]),),
                y_log=log,
            )
        )
        for log in (False, True)
    }
    assert drawing[True] != drawing[False]
    assert all(f">{figure}<" in drawing[True] for figure in ("100", "200", "500", "1000", "2000"))
