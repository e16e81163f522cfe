"""Papermill engines: a notebook's cells run in a fresh process whose imports are ready, or here.

``papermill --engine startkit in.ipynb out.ipynb`` finds `FreshProcess` through the entry-point
group ``papermill.engine``. Papermill loads its entry points while it is itself being imported, so
nothing of papermill is imported here before an engine is first used.
"""

# `Any` here: papermill's manager and options have no types.
from __future__ import annotations

import ctypes
import functools
import logging
from collections.abc import Callable
from contextlib import suppress
from multiprocessing import parent_process
from typing import Any

from nbformat import NotebookNode

NAME, IN_PROCESS = "startkit", "startkit-in-process"


def _in_this_process(
    nb_man: Any,  # papermill's NotebookExecutionManager
    kernel_name: str,
    log_output: bool = False,
    execution_timeout: int | None = None,
    **kwargs: Any,  # papermill passes every option of its other engines too
) -> NotebookNode:
    """Run the cells in this process, which is fresh already."""
    from startkit.fleet.notebook_shell import Client
    from startkit.paper.interpreter import with_own_loop

    client = Client(
        nb_man,
        kernel_name=kernel_name,
        log=logging.getLogger("papermill"),
        log_output=log_output,
        record_timing=False,
    )
    try:
        return with_own_loop(client.execute)
    finally:
        if parent_process() is not None:  # one of several workers; a lone process has the memory
            _return_memory()


def _in_a_fresh_process(
    nb_man: Any, kernel_name: str, execution_timeout: int | None = None, **kwargs: Any
) -> NotebookNode:
    """Run the cells in a process that serves this one notebook."""
    from nbclient.exceptions import DeadKernelError

    from startkit.fleet.workers import each

    outcome = next(iter(each(executed, [nb_man.nb], workers=1, longest=execution_timeout)))
    if outcome.fault:
        raise DeadKernelError(outcome.fault)
    nb_man.nb = outcome.result
    return nb_man.nb


class _Engine:
    """One of papermill's engines, whose class is made when it is first used."""

    def __init__(self, run: Callable[..., NotebookNode]) -> None:
        self._run = run

    def __getattr__(self, attribute: str) -> Any:
        return getattr(_class_of(self._run), attribute)


@functools.cache
def _class_of(run: Callable[..., NotebookNode]) -> type:
    from papermill.engines import Engine

    return type(run.__name__, (Engine,), {"execute_managed_notebook": staticmethod(run)})


FreshProcess, InProcess = _Engine(_in_a_fresh_process), _Engine(_in_this_process)


def register() -> None:
    """Make both engines known to papermill, even where this package's entry points are not."""
    from papermill.engines import papermill_engines

    papermill_engines.register(NAME, FreshProcess)
    papermill_engines.register(IN_PROCESS, InProcess)


def executed(notebook: NotebookNode) -> NotebookNode:
    """A prepared notebook with its cells run in this process."""
    return InProcess.execute_notebook(notebook, "python3", progress_bar=False)


def _return_memory() -> None:
    """Return what the cells held to the system before the pages are set, so that a worker never
    needs memory for both at once.
    """
    with suppress(OSError, AttributeError):  # only glibc has it
        ctypes.CDLL(None).malloc_trim(0)
