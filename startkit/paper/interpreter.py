"""How the Python process runs: garbage collection, an import that is skipped, an event loop.

Only processes that belong to startkit alone change these settings.
"""

# `Any` here: the import system takes None for a module that is not there; its type does not.
from __future__ import annotations

import atexit
import gc
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any, TypeVar

T = TypeVar("T")


@contextmanager
def collection_paused() -> Iterator[None]:
    """No garbage collection inside; as it was afterwards.

    A command that makes or checks one record makes millions of small objects and keeps them to its
    end: the collector would go through all of them again and again (0.3 to 0.45 s).
    """
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()


def skip_address_grammar() -> None:
    """Keep jsonschema from reading the grammar of international web addresses (0.9 s of CPU).

    nbformat imports jsonschema, which reads the grammar for a text format that no notebook uses,
    and does without where the package is not installed. For processes that are ours alone: in
    others something may need it.
    """
    modules: Any = sys.modules  # None is what the import system takes for "not there"
    modules.setdefault("rfc3987_syntax", None)


def skip_last_collection() -> None:
    """Let the process end without a last garbage collection: a second after a record was read."""
    atexit.register(_freeze)


def _freeze() -> None:
    if "CoolProp" not in sys.modules:  # its binding would complain of all that it still holds
        gc.freeze()


def with_own_loop(work: Callable[[], T]) -> T:
    """Do `work`, which starts an event loop, here or in a thread if this one has a running loop.

    A notebook's kernel and a server have one. Errors are those of the work.
    """
    from concurrent.futures import ThreadPoolExecutor

    if not _loop_is_running():
        return work()
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(work).result()


def _loop_is_running() -> bool:
    """Asked on its own, so that an error of the work is not chained to this one."""
    import asyncio

    try:
        asyncio.get_running_loop()
    except RuntimeError:
        return False
    return True
