"""Plots drawn by a process beside this one, while this one goes on judging: a record that is
printed alone need not wait for them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from concurrent.futures import Future
from contextlib import contextmanager

import pint

from startkit.beside import Beside, Lost, process
from startkit.procedure.stage import Plot
from startkit.units import Q


class _Beside:
    """The process, and what it was asked for."""

    def __init__(self, pool: Beside) -> None:
        self._pool = pool
        self._asked: dict[bytes, Future[str]] = {}
        pool.submit(_made_ready)

    def ask(self, key: bytes, plot: Plot, system: str, barometer: float | None) -> None:
        self._asked[key] = self._pool.submit(_drawn, plot, system, barometer)

    def take(self, key: bytes) -> str | None:
        asked = self._asked.pop(key, None)
        try:
            return asked.result() if asked is not None else None
        except Lost:
            return None


_beside: _Beside | None = None


@contextmanager
def beside() -> Iterator[None]:
    """Inside the block `ahead` sends plots to another process, and `taken` gives them back."""
    global _beside
    with process() as pool:
        _beside = _Beside(pool)
        try:
            yield
        finally:
            _beside = None


def ahead(plots: Iterable[Plot], system: str, barometer: pint.Quantity | None) -> None:
    """Have plots drawn that will be asked for soon; nothing is done outside of `beside`."""
    if _beside is None:
        return
    from startkit.desk.plots import digest

    pascal = None if barometer is None else float(barometer.to("pascal").magnitude)
    for plot in plots:
        _beside.ask(digest(plot, system, barometer), plot, system, pascal)


def taken(key: bytes) -> str | None:
    """The drawing of a plot that was asked for ahead; None if it was not, or if it failed there."""
    return _beside.take(key) if _beside is not None else None


# --- in the other process -------------------------------------------------------------------------


def _made_ready() -> None:
    from startkit.desk.plots import make_ready

    make_ready()


def _drawn(plot: Plot, system: str, barometer: float | None) -> str:
    from startkit.desk.plots import svg

    return svg(plot, system, None if barometer is None else Q(barometer, "pascal"))
