"""Work that starts an event loop of its own, also where one is running already: in a notebook's
kernel, or in a server.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

T = TypeVar("T")


def with_own_loop(work: Callable[[], T]) -> T:
    """Do `work` here, or in a thread of its own if this one has a running loop; its errors are
    those of the work.
    """
    from concurrent.futures import ThreadPoolExecutor

    if not _is_running():
        return work()
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(work).result()


def _is_running() -> bool:
    """Asked on its own: an error of the work must not seem to have come while another was handled."""
    import asyncio

    try:
        asyncio.get_running_loop()
    except RuntimeError:
        return False
    return True
