"""A process beside this one, for work that can be done meanwhile."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from concurrent.futures import CancelledError, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing import get_context
from typing import Any

# No second process is to be had here, or it has died: its work has to be done by whoever asked.
FAULTS = (BrokenProcessPool, CancelledError, OSError, RuntimeError)


def _deaf() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C ends the process that asks; that one ends this


@contextmanager
def process() -> Iterator[ProcessPoolExecutor]:
    """A pool of one process, which is ended at once when the block is left: to give back what it holds would take it a second."""
    pool = ProcessPoolExecutor(1, mp_context=get_context("spawn"), initializer=_deaf)
    try:
        yield pool
    finally:
        started: dict[int, Any] = getattr(pool, "_processes", None) or {}
        for each in list(started.values()):
            each.kill()
        pool.shutdown(cancel_futures=True)
