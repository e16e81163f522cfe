"""Plots drawn in a second process: the same drawings, whatever happens to that process."""

from __future__ import annotations

import os
import signal

import pytest

from startkit.desk import drawing, plots
from startkit.procedure.stage import Line, Plot
from startkit.units import SI, Q

BAROMETER = Q(100.0, "kilopascal")


def plot(title: str) -> Plot:
    return Plot(
        title,
        "Load",
        "percent",
        "Oil pressure",
        "gauge_pressure",
        (Line("seen", [0.0, 0.5, 1.0], [3.0e5, 3.2e5, 3.1e5]),),
    )


@pytest.fixture(autouse=True)
def forgotten() -> None:
    plots._drawn_once.cache_clear()


def here(asked: Plot) -> str:
    return drawing.svg(drawing.Drawing(asked, SI, BAROMETER))


def test_a_plot_drawn_there_is_the_one_that_is_drawn_here(monkeypatch: pytest.MonkeyPatch) -> None:
    asked, expected = plot("there"), here(plot("there"))
    with plots.second_process():
        plots.request([asked], SI, BAROMETER)
        monkeypatch.setattr(
            drawing, "svg", lambda _: pytest.fail("it is drawn in the other process")
        )
        assert plots.svg(asked, SI, BAROMETER) == expected


def test_what_was_not_requested_is_drawn_here() -> None:
    with plots.second_process():
        assert plots.svg(plot("alone"), SI, BAROMETER) == here(plot("alone"))


def test_a_process_that_died_leaves_the_drawing_to_this_one() -> None:
    with plots.second_process():
        assert plots._second is not None
        os.kill(
            plots._second._side.submit(os.getpid).result(),
            signal.SIGKILL if hasattr(signal, "SIGKILL") else signal.SIGTERM,
        )
        plots.request([plot("died")], SI, BAROMETER)
        assert plots.svg(plot("died"), SI, BAROMETER) == here(plot("died"))


def test_outside_the_block_nothing_is_requested() -> None:
    plots.request([plot("outside")], SI, BAROMETER)
    assert plots._second is None
