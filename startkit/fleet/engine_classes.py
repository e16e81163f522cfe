"""The engines' classes; imported only by way of `startkit.fleet.engine`, after papermill itself."""

from __future__ import annotations

import ctypes
import logging
from contextlib import suppress
from multiprocessing import parent_process
from typing import Any

from nbformat import NotebookNode
from papermill.engines import Engine


class Here(Engine):
    """Runs the cells in this very process: for a process that is fresh already."""

    @classmethod
    def execute_managed_notebook(
        cls,
        nb_man: Any,
        kernel_name: str,
        log_output: bool = False,
        execution_timeout: int | None = None,
        **kwargs: Any,
    ) -> NotebookNode:
        from startkit.fleet.shell import Client
        from startkit.paper.own_loop import with_own_loop

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
            if (
                parent_process() is not None
            ):  # one of several workers; a process of its own has the room
                _give_back()


class FreshProcess(Engine):
    """Runs the cells in a process that serves this one notebook."""

    @classmethod
    def execute_managed_notebook(
        cls, nb_man: Any, kernel_name: str, execution_timeout: int | None = None, **kwargs: Any
    ) -> NotebookNode:
        from nbclient.exceptions import DeadKernelError

        from startkit.fleet.workers import each

        outcome = next(iter(each(executed, [nb_man.nb], workers=1, longest=execution_timeout)))
        if outcome.fault:
            raise DeadKernelError(outcome.fault)
        nb_man.nb = outcome.result
        return nb_man.nb


def _give_back() -> None:
    """Return what the cells held to the system, before the page is set: else a worker would need
    room for both at once.
    """
    with suppress(OSError, AttributeError):  # only the GNU library has it
        ctypes.CDLL(None).malloc_trim(0)


def executed(notebook: NotebookNode) -> NotebookNode:
    """A prepared notebook with its cells run here."""
    return Here.execute_notebook(notebook, "python3", progress_bar=False)
