"""The tasks of a run carried out by the workers of a Dask cluster.

Anyone who can reach the scheduler can run any program on its workers: use a cluster of your own,
behind a firewall.
"""

# `Any` here: Dask's client and futures have no types.
from __future__ import annotations

from asyncio import CancelledError
from collections.abc import Iterator, Sequence
from typing import Any

from startkit.errors import JobError, StartkitError
from startkit.fleet import job_bundle
from startkit.fleet.task import Task
from startkit.fleet.workers import Outcome

# bundles sent for each thread of the cluster: enough that none waits, few enough for the memory
AHEAD = 2
REACH = 20  # s


def each(address: str, tasks: Sequence[Task]) -> Iterator[Outcome]:
    """Carry out every task on the cluster; the outcomes as they come, one for each task.

    If a worker dies, the scheduler gives its tasks to another one; only results that came back are
    written.

    Raises
    ------
    JobError
        Dask is not installed, the scheduler cannot be reached, or it has no worker.
    """
    client = _client(address)
    try:
        yield from _outcomes(client, tasks)
    finally:
        client.close()


def _client(address: str) -> Any:
    try:
        from distributed import Client
    except ImportError:
        raise JobError(
            "Dask is not installed", "--scheduler", 'install it with  pip install "startkit[dask]"'
        ) from None
    try:
        client = Client(address, timeout=REACH, set_as_default=False)
    except (OSError, TimeoutError, ValueError) as error:
        raise JobError(
            f"the scheduler cannot be reached ({_short(error)})",
            address,
            "start it, and give its address such as  tcp://10.0.0.5:8786",
        ) from None
    if not client.nthreads():
        client.close()
        raise JobError(
            "the scheduler has no worker",
            address,
            "start one on each computer with  dask worker ADDRESS",
        )
    return client


def _short(error: BaseException) -> str:
    return (str(error).splitlines() or [type(error).__name__])[0][:120]


def _outcomes(client: Any, tasks: Sequence[Task]) -> Iterator[Outcome]:
    from distributed import as_completed

    waiting = iter(enumerate(tasks))
    sent_out: dict[str, tuple[int, job_bundle.Bundle]] = {}
    finished = as_completed([], loop=client.loop)

    def send() -> Outcome | None:
        """Send the next task; if it cannot be packed, that is its outcome."""
        number, task = next(waiting)
        try:
            sent = job_bundle.packed(task)
        except StartkitError as error:
            return Outcome(number, None, str(error))
        future = client.submit(job_bundle.carried_out, sent, pure=False)
        sent_out[future.key] = number, sent
        finished.add(future)
        return None

    more = True
    while more or sent_out:
        while more and len(sent_out) < AHEAD * max(1, sum(client.nthreads().values())):
            try:
                failed = send()
            except StopIteration:
                more = False
                break
            if failed is not None:
                yield failed
        if sent_out:
            future = next(finished)
            number, sent = sent_out.pop(future.key)
            yield _outcome(number, sent, future)
            future.release()


def _outcome(number: int, sent: job_bundle.Bundle, future: Any) -> Outcome:
    try:
        # If the worker died before the result was fetched, this waits until another repeats it.
        reply = future.result()
    except (Exception, CancelledError) as error:  # what goes wrong on a worker may be anything
        return Outcome(
            number,
            None,
            f"the cluster could not run it ({_short(error)}); see the log of its workers.",
        )
    try:
        return Outcome(number, job_bundle.unpacked(sent, reply), reply.fault, reply.seconds)
    except StartkitError as error:
        return Outcome(number, None, str(error), reply.seconds)
