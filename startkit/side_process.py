"""A second Python process for work that can run in parallel with this one."""

# `Any` here: a call takes and gives what its function does.
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
# A Python process with this in its environment imports nothing from its current folder, which may
# be a job's folder filled by someone else. Every process that startkit starts has it.
SAFE_PATH = {"PYTHONSAFEPATH": "1"}


class Lost(RuntimeError):
    """The process did not start, or it has died: the caller has to do the work itself."""


class SideProcess:
    """One Python process that runs the calls it is given, one after the other.

    The standard pools are not used: a pool that is shut down while work is still being sent to it
    never returns.
    """

    def __init__(self) -> None:
        self._orders: SimpleQueue[
            tuple[Future[Any], Callable[..., Any], tuple[Any, ...]] | None
        ] = SimpleQueue()
        self._process = _started()
        self._attending = threading.Thread(
            target=self._attend, name="startkit side process", daemon=True
        )
        self._attending.start()

    def submit(self, work: Callable[..., T], *args: Any) -> Future[T]:
        """Call a module's function there; the future holds its result, its exception, or `Lost`."""
        future: Future[T] = Future()
        self._orders.put((future, work, args))
        return future

    def end(self) -> None:
        """Kill the process; calls without an answer are lost."""
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
                    Lost(f"no answer from the second process ({type(error).__name__}: {error})"),
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
def environment(**values: str) -> Iterator[None]:
    """Environment variables for the processes that are started in the block; then as before."""
    before = {name: os.environ.get(name) for name in values}
    os.environ.update(values)
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value


@contextmanager
def process() -> Iterator[SideProcess]:
    """A process that is killed when the block is left: an orderly exit would take a second."""
    side = SideProcess()
    try:
        yield side
    finally:
        side.end()


def _started() -> subprocess.Popen[bytes] | None:
    # -P leaves out the current folder: a job from someone else could hold programs.
    command = [
        sys.executable,
        "-P",
        "-c",
        f"import sys; sys.path[:] = {sys.path!r}; from startkit.side_process import serve; serve()",
    ]
    # In its own process group: Ctrl-C ends the parent, and the parent ends this one.
    alone: dict[str, Any] = (
        {"process_group": 0}
        if os.name == "posix"
        else {"creationflags": getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0)}
    )
    try:
        return subprocess.Popen(
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env={**os.environ, **SAFE_PATH},
            **alone,
        )
    except OSError:
        return None


# --- in the other process -------------------------------------------------------------------------


def serve() -> None:
    """Answer calls until the input ends."""
    gc.disable()  # it is short-lived and keeps all that it loads
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # printed text must not mix with the answers
    orders: SimpleQueue[tuple[Callable[..., Any], tuple[Any, ...]]] = SimpleQueue()
    threading.Thread(target=_receive, args=(orders,), daemon=True).start()
    with suppress(OSError):
        while True:
            work, args = orders.get()
            answers.write(_answer(work, args))
            answers.flush()


def _receive(orders: SimpleQueue[tuple[Callable[..., Any], tuple[Any, ...]]]) -> None:
    """Take orders as they come; when the parent has ended, end this process in the middle of its
    work that nothing waits for.
    """
    try:
        while True:
            orders.put(pickle.load(sys.stdin.buffer))
    except BaseException:  # the pipe has ended, or what came through it cannot be read
        os._exit(0)


def _answer(work: Callable[..., Any], args: tuple[Any, ...]) -> bytes:
    try:
        return pickle.dumps((True, work(*args)))
    except Exception as error:
        return _raised(error)


def _raised(error: Exception) -> bytes:
    try:
        return pickle.dumps((False, error))
    except Exception:  # an exception that cannot be pickled is described
        return pickle.dumps((False, Lost(f"{type(error).__name__}: {error}")))
