"""A process beside this one, for work that can be done meanwhile."""

from __future__ import annotations

import gc
import os
import pickle
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from contextlib import contextmanager, suppress
from queue import SimpleQueue
from typing import Any, TypeVar

T = TypeVar("T")


class Lost(RuntimeError):
    """The process could not be started, or it has died: its work has to be done by whoever asked."""


class Beside:
    """One Python process that does what it is asked, one thing after the other.

    The standard pools are not used: one that is ended while it is still being told its work waits
    for ever.
    """

    def __init__(self) -> None:
        self._orders: SimpleQueue[
            tuple[Future[Any], Callable[..., Any], tuple[Any, ...]] | None
        ] = SimpleQueue()
        self._process = _started()
        self._attending = threading.Thread(target=self._attend, name="startkit beside", daemon=True)
        self._attending.start()

    def submit(self, work: Callable[..., T], *args: Any) -> Future[T]:
        """Have a function of a module called there; its result, what it raised, or `Lost`."""
        future: Future[T] = Future()
        self._orders.put((future, work, args))
        return future

    def end(self) -> None:
        """Kill it; what it was still asked for is lost."""
        if self._process is not None:
            self._process.kill()
        self._orders.put(None)
        self._attending.join()
        if self._process is not None:
            with suppress(OSError):
                self._process.__exit__(None, None, None)

    def _attend(self) -> None:
        while (order := self._orders.get()) is not None:
            future, work, args = order
            try:
                done, result = self._asked(work, args)
            except Exception as error:  # a broken pipe, an early end, something that cannot be sent
                done, result = (
                    False,
                    Lost(f"no answer from the process beside ({type(error).__name__}: {error})"),
                )
            if done:
                future.set_result(result)
            else:
                future.set_exception(result)

    def _asked(self, work: Callable[..., Any], args: tuple[Any, ...]) -> tuple[bool, Any]:
        if self._process is None or self._process.stdin is None or self._process.stdout is None:
            raise EOFError("it did not start")
        order = pickle.dumps((work, args))
        try:
            self._process.stdin.write(order)
            self._process.stdin.flush()
            answer: tuple[bool, Any] = pickle.load(self._process.stdout)
        except Exception:
            self._process.kill()  # what it sends next might be the rest of this answer
            raise
        return answer


@contextmanager
def process() -> Iterator[Beside]:
    """A process, which is ended at once when the block is left: to give back what it holds would
    take it a second.
    """
    beside = Beside()
    try:
        yield beside
    finally:
        beside.end()


def _started() -> subprocess.Popen[bytes] | None:
    # Without the folder that happens to be the current one (-P): a foreign job could hold programs.
    command = [
        sys.executable,
        "-P",
        "-c",
        f"import sys; sys.path[:] = {sys.path!r}; from startkit.beside import serve; serve()",
    ]
    # In a group of its own: Ctrl-C ends the process that asks, and that one ends this.
    alone: dict[str, Any] = (
        {"process_group": 0}
        if os.name == "posix"
        else {"creationflags": getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0)}
    )
    try:
        return subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, **alone)
    except OSError:
        return None


# --- in the other process -------------------------------------------------------------------------


def serve() -> None:
    """Do what is asked until nobody asks any more."""
    gc.disable()  # it ends soon, and all that it loads stays
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    orders, answers = sys.stdin.buffer, os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # whatever is printed here is no answer
    with suppress(EOFError, OSError):
        while True:
            work, args = pickle.load(orders)
            answers.write(_answer(work, args))
            answers.flush()


def _answer(work: Callable[..., Any], args: tuple[Any, ...]) -> bytes:
    try:
        return pickle.dumps((True, work(*args)))
    except Exception as error:
        return _raised(error)


def _raised(error: Exception) -> bytes:
    try:
        return pickle.dumps((False, error))
    except Exception:  # what cannot be sent is told
        return pickle.dumps((False, Lost(f"{type(error).__name__}: {error}")))
