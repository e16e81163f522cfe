"""Workers: every task answered, whatever its process does; the same by fork and by spawn."""

from __future__ import annotations

import os
import signal
import time
from typing import Any

import pytest

from startkit.errors import JobError
from startkit.fleet import workers
from startkit.fleet.workers import FORKSERVER, SPAWN, each, usual_method

METHODS = [FORKSERVER, SPAWN] if usual_method() == FORKSERVER else [SPAWN]


def task(given: Any) -> Any:
    """What each test asks of a worker."""
    if given == "own error":
        raise JobError("the folder is gone", "job", "look for it")
    if given == "foreign error":
        raise ZeroDivisionError("by zero")
    if given == "leaves":
        raise SystemExit(3)
    if given == "killed":
        os.kill(os.getpid(), signal.SIGKILL)
    if given == "gone":
        os._exit(7)
    if given == "slow":
        time.sleep(60)
    return os.getpid() if given == "who" else given * 2


@pytest.mark.parametrize("method", METHODS)
def test_every_task_has_its_answer_and_none_stops_the_others(method: str) -> None:
    tasks = [1, "own error", 2, "foreign error", "killed", 3, "leaves", "gone", 4]
    found = {o.number: o for o in each(task, tasks, workers=2, method=method)}
    assert [found[n].result for n in (0, 2, 5, 8)] == [2, 4, 6, 8]
    assert found[1].fault == "job: the folder is gone; look for it."
    assert found[3].fault == "ZeroDivisionError: by zero."
    assert "SIGKILL" in found[4].fault
    assert found[6].fault == "SystemExit: 3." and "exit status 7" in found[7].fault
    assert len(found) == len(tasks)


def test_a_task_that_never_ends_is_ended_and_the_others_go_on() -> None:
    list(each(task, [0]))  # the first process waits until the imports are done
    found = {o.number: o for o in each(task, ["slow", 1, 2], workers=2, longest=5.0)}
    assert "5 s" in found[0].fault and found[1].result == 2 and found[2].result == 4


@pytest.mark.skipif(usual_method() != FORKSERVER, reason="only Linux forks")
def test_each_task_has_a_fresh_process() -> None:
    assert len({o.result for o in each(task, ["who"] * 4, workers=2)}) == 4


def test_started_processes_serve_one_task_after_another() -> None:
    assert len({o.result for o in each(task, ["who"] * 4, workers=1, method=SPAWN)}) == 1


def test_nobody_is_left_behind_when_the_caller_walks_away() -> None:
    going = each(task, ["who", "slow", "slow"], workers=2)
    next(going)
    going.close()
    assert not workers.multiprocessing.active_children()


def test_without_tasks_nothing_is_started() -> None:
    assert list(each(task, [])) == []
