"""Plots drawn beside: the same drawings, whatever becomes of the other process."""

from __future__ import annotations

import os
import signal

import pytest

from startkit.desk import plots, plots_beside
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
    return plots._drawn(plots._Drawing(asked, SI, BAROMETER))


def test_a_plot_drawn_beside_is_the_one_that_is_drawn_here(monkeypatch: pytest.MonkeyPatch) -> None:
    asked, expected = plot("beside"), here(plot("beside"))
    with plots_beside.beside():
        plots_beside.ahead([asked], SI, BAROMETER)
        monkeypatch.setattr(
            plots, "_drawn", lambda drawing: pytest.fail("it is drawn in the other process")
        )
        assert plots.svg(asked, SI, BAROMETER) == expected


def test_what_was_not_asked_for_ahead_is_drawn_here() -> None:
    with plots_beside.beside():
        assert plots.svg(plot("alone"), SI, BAROMETER) == here(plot("alone"))


def test_a_process_that_died_leaves_the_drawing_to_this_one() -> None:
    with plots_beside.beside():
        assert plots_beside._beside is not None
        os.kill(
            plots_beside._beside._pool.submit(os.getpid).result(),
            signal.SIGKILL if hasattr(signal, "SIGKILL") else signal.SIGTERM,
        )
        plots_beside.ahead([plot("died")], SI, BAROMETER)
        assert plots.svg(plot("died"), SI, BAROMETER) == here(plot("died"))


def test_outside_of_the_block_nothing_is_asked_of_anybody() -> None:
    plots_beside.ahead([plot("outside")], SI, BAROMETER)
    assert plots_beside.taken(plots.digest(plot("outside"), SI, BAROMETER)) is None
