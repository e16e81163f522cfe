"""Plots of a job: each drawn once for the same values, in a second process if time can be saved."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from concurrent.futures import Future
from contextlib import contextmanager
from functools import lru_cache

import pint

from startkit.desk import drawing
from startkit.desk.drawing import Drawing
from startkit.procedure.stage import Plot
from startkit.side_process import Lost, SideProcess, process
from startkit.units import SI, Q


def drawn(
    plots: Iterable[Plot], system: str = SI, barometer: pint.Quantity | None = None
) -> list[dict[str, str]]:
    """Each plot as ``{"title", "alt", "svg"}``."""
    return [
        {"title": plot.title, "alt": plot.alt or plot.title, "svg": svg(plot, system, barometer)}
        for plot in plots
    ]


def svg(plot: Plot, system: str = SI, barometer: pint.Quantity | None = None) -> str:
    """One plot as SVG text; drawn once for the same values.

    Parameters
    ----------
    plot : Plot
        Values in SI base units of the axes' kinds.
    system : str
        Units of the axes' figures, ``"SI"`` or ``"I-P"``.
    barometer : pint.Quantity, optional
        [pressure], for axes of gauge pressure.
    """
    return _drawn_once(Drawing(plot, system, barometer))


@lru_cache(maxsize=128)
def _drawn_once(wanted: Drawing) -> str:
    ready = _second.take(wanted.digest) if _second is not None else None
    return ready or drawing.svg(wanted)


# --- drawn in a second process while this one goes on judging -----------------------------------


class _Second:
    """The second process, and the plots requested of it."""

    def __init__(self, side: SideProcess) -> None:
        self._side = side
        self._requested: dict[bytes, Future[str]] = {}
        side.submit(drawing.make_ready)

    def request(self, key: bytes, plot: Plot, system: str, barometer: float | None) -> None:
        self._requested[key] = self._side.submit(_drawn_there, plot, system, barometer)

    def take(self, key: bytes) -> str | None:
        requested = self._requested.pop(key, None)
        try:
            return requested.result() if requested is not None else None
        except Lost:
            return None


_second: _Second | None = None


@contextmanager
def second_process() -> Iterator[None]:
    """Inside the block, plots requested with `request` are drawn by a second process."""
    global _second
    with process() as side:
        _second = _Second(side)
        try:
            yield
        finally:
            _second = None


def request(plots: Iterable[Plot], system: str, barometer: pint.Quantity | None) -> None:
    """Have plots drawn that will be needed soon; does nothing outside `second_process`."""
    if _second is None:
        return
    pascal = None if barometer is None else float(barometer.to("pascal").magnitude)
    for plot in plots:
        _second.request(drawing.digest(plot, system, barometer), plot, system, pascal)


def _drawn_there(plot: Plot, system: str, barometer: float | None) -> str:
    # A quantity does not travel between processes: its registry stays behind.
    pressure = None if barometer is None else Q(barometer, "pascal")
    return drawing.svg(Drawing(plot, system, pressure))
