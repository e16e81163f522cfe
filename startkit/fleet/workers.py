"""Workers: tasks carried out in separate processes, several at a time; a fault stops only its own.

On Linux each task has a fresh process, forked from one that has its imports already; on Windows and
macOS a few
started processes take one task after another. The caller sees no difference.
"""

# `Any` here: a worker takes any task and hands back what it made.
from __future__ import annotations

import gc
import multiprocessing
import os
import signal
import sys
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from multiprocessing import connection
from typing import Any

from startkit.errors import StartkitError
from startkit.side_process import SAFE_PATH, environment

FORKSERVER, SPAWN = "forkserver", "spawn"
PRELOAD = "startkit.fleet.worker_imports"
LONGEST = 900.0  # s after which the process of one task is killed
# What libraries read when they are imported. Each worker has one core: libraries that start threads
# would only take cores from the other workers.
_ENVIRONMENT = {
    **dict.fromkeys(
        ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "RAYON_NUM_THREADS"), "1"
    ),
    "MPLBACKEND": "module://matplotlib_inline.backend_inline",
    **SAFE_PATH,
}


@dataclass(frozen=True)
class Outcome:
    """The result of one task, or one sentence on why there is none; how long it took [s]."""

    number: int
    result: Any = None
    fault: str = ""
    seconds: float = 0.0


@dataclass
class _Worker:
    """A process at work on a task."""

    process: Any
    pipe: connection.Connection
    number: int = -1
    began: float = 0.0

    def take(self, number: int, task: Any) -> None:
        self.number, self.began = number, time.monotonic()
        self.pipe.send(task)

    def end(self) -> None:
        self.process.kill()
        self.process.join()
        self.pipe.close()


def usual_method() -> str:
    """``forkserver`` on Linux, ``spawn`` elsewhere: only on Linux is a fork safe."""
    return FORKSERVER if sys.platform == "linux" else SPAWN


def usual_workers() -> int:
    """One worker for each core this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def each(
    do: Callable[[Any], Any],
    tasks: Iterable[Any],
    workers: int = 0,
    longest: float | None = None,
    method: str = "",
) -> Iterator[Outcome]:
    """Carry out every task and give the outcomes as they come.

    Parameters
    ----------
    do : callable
        Function of a module (a process finds it by name) that does one task.
    tasks : iterable
        Anything that can be pickled.
    workers : int
        Processes at a time; 0: one for each core.
    longest : float, optional
        [s] after which a task's process is killed; default `LONGEST`.
    method : str
        ``"forkserver"`` or ``"spawn"``; empty: what the system allows.
    """
    method = method or usual_method()
    waiting = deque(enumerate(tasks))
    pool = _Workers(do, method)
    limit = LONGEST if longest is None else longest
    try:
        while waiting or pool.busy:
            while waiting and len(pool.busy) < (workers or usual_workers()):
                pool.give(*waiting.popleft())
            yield from pool.ready(limit)
    finally:
        pool.end()


class _Workers:
    """The busy and the idle processes."""

    def __init__(self, do: Callable[[Any], Any], method: str) -> None:
        self._do, self._method = do, method
        self._context: Any = multiprocessing.get_context(method)
        self.busy: dict[Any, _Worker] = {}  # by pipe
        self._idle: list[_Worker] = []

    def give(self, number: int, task: Any) -> None:
        worker = self._idle.pop() if self._idle else self._started()
        self.busy[worker.pipe] = worker
        with suppress(OSError):  # a dead process is noticed when its answer is due
            worker.take(number, task)

    def _started(self) -> _Worker:
        ours, theirs = self._context.Pipe()
        fresh = self._method == FORKSERVER
        with environment(**_ENVIRONMENT), _unattended():
            if fresh:
                self._context.set_forkserver_preload([PRELOAD])
            process = self._context.Process(
                target=_serve, args=(theirs, self._do, fresh), daemon=False
            )
            process.start()
        theirs.close()
        return _Worker(process, ours)

    def ready(self, longest: float) -> list[Outcome]:
        """Outcomes that have come in, waiting for at least one or for the next deadline."""
        deadline = min(worker.began for worker in self.busy.values()) + longest
        pipes = connection.wait(
            list(self.busy), timeout=max(0.0, min(deadline - time.monotonic(), 3600.0))
        )
        found = [self._outcome(self.busy.pop(pipe)) for pipe in pipes]
        late = [
            worker for worker in self.busy.values() if time.monotonic() - worker.began > longest
        ]
        return found + [self._given_up(self.busy.pop(worker.pipe), longest) for worker in late]

    def _outcome(self, worker: _Worker) -> Outcome:
        seconds = time.monotonic() - worker.began
        try:
            result, fault = worker.pipe.recv()
        except (EOFError, OSError):
            worker.process.join()
            worker.pipe.close()
            return Outcome(worker.number, None, _died(worker.process.exitcode), seconds)
        if self._method == FORKSERVER:
            worker.pipe.close()
            worker.process.join()
        else:
            self._idle.append(worker)
        return Outcome(worker.number, result, fault, seconds)

    def _given_up(self, worker: _Worker, longest: float) -> Outcome:
        worker.end()
        return Outcome(
            worker.number,
            None,
            f"it did not finish within {longest:g} s and was stopped; look for a cell that waits.",
            longest,
        )

    def end(self) -> None:
        for worker in (*self.busy.values(), *self._idle):
            worker.end()
        self.busy, self._idle = {}, []


def _died(exitcode: int | None) -> str:
    """Why a process gave no answer."""
    if exitcode is not None and exitcode < 0:
        name = (
            signal.Signals(-exitcode).name if -exitcode in list(signal.Signals) else str(-exitcode)
        )
        return f"the system ended its process ({name}); free some memory and run it again."
    return f"its process ended without an answer (exit status {exitcode}); run it again."


def _serve(pipe: connection.Connection, do: Callable[[Any], Any], fresh: bool) -> None:
    """The loop of a worker process: one task if each has a fresh process, else task after task."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C ends the run; the run ends its workers
    if fresh:
        gc.disable()  # the process ends with its task; collections would take a twentieth of it
    with suppress(EOFError, OSError):
        while True:
            pipe.send(_answered(do, pipe.recv()))
            if fresh:
                return


def _answered(do: Callable[[Any], Any], task: Any) -> tuple[Any, str]:
    try:
        return do(task), ""
    except StartkitError as error:
        return None, str(error)
    except MemoryError:
        return None, "there was not enough memory; use fewer workers."
    except (
        BaseException
    ) as error:  # a template or a stage of another package may fail in any way, SystemExit too
        return None, f"{type(error).__name__}: {error}."


@contextmanager
def _unattended() -> Iterator[None]:
    """Let a process start others although it was started as a daemon itself: a Dask worker is one,
    and ours end with their task.
    """
    process = multiprocessing.current_process()
    settings = process._config  # type: ignore[attr-defined]  # noqa: SLF001 - no public way
    daemon = settings.get("daemon")
    settings["daemon"] = False
    try:
        yield
    finally:
        settings["daemon"] = daemon
