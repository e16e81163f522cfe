"""The side process: it runs the calls it is given, and may die."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from startkit import side_process
from startkit.side_process import Lost, process


def test_it_works_in_another_process() -> None:
    with process() as pool:
        assert pool.submit(os.getpid).result() != os.getpid()


def test_what_is_raised_there_is_raised_here() -> None:
    with process() as pool, pytest.raises(ZeroDivisionError):
        pool.submit(divmod, 1, 0).result()


def test_what_is_printed_there_is_no_answer() -> None:
    with process() as pool:
        assert pool.submit(print, "not an answer").result() is None
        assert pool.submit(max, 3, 4).result() == 4


def test_what_cannot_be_sent_is_lost() -> None:
    with process() as pool:
        with pytest.raises(Lost):
            pool.submit(len, (n for n in ())).result()
        assert pool.submit(max, 3, 4).result() == 4


def test_an_answer_that_cannot_be_read_is_the_last_one() -> None:
    strange = (
        "__import__('__main__').__dict__.setdefault('Strange', type('Strange', (), {'__module__':"
        " '__main__'}))()"
    )
    with process() as pool:
        for work in ((eval, strange), (max, 3, 4)):
            with pytest.raises(Lost):
                pool.submit(*work).result()


def test_where_no_process_can_be_started_its_work_is_lost(monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(*_: object, **__: object) -> None:
        raise OSError("no more processes")

    monkeypatch.setattr(side_process.subprocess, "Popen", refused)
    with process() as pool, pytest.raises(Lost):
        pool.submit(os.getpid).result()


def test_a_process_that_dies_has_lost_its_work() -> None:
    with process() as pool:
        number = pool.submit(os.getpid).result()
        os.kill(number, signal.SIGKILL if hasattr(signal, "SIGKILL") else signal.SIGTERM)
        with pytest.raises(Lost):
            pool.submit(time.sleep, 0.05).result()


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="Windows has no such signals")
def test_ctrl_c_reaches_the_parent_alone() -> None:
    with process() as pool:
        number = pool.submit(os.getpid).result()
        os.kill(number, signal.SIGINT)
        assert pool.submit(os.getpid).result() == number


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="Windows has no such signals")
def test_it_ends_in_the_middle_of_its_work_when_its_parent_is_killed() -> None:
    parent = (
        "import os, time\n"
        "from startkit.side_process import process\n"
        "with process() as pool:\n"
        "    print(pool.submit(os.getpid).result(), flush=True)\n"
        "    pool.submit(eval, 'sum(1 for _ in iter(int, 1))')\n"
        "    time.sleep(600)\n"
    )
    with subprocess.Popen([sys.executable, "-c", parent], stdout=subprocess.PIPE) as started:
        assert started.stdout is not None
        number = int(started.stdout.readline())
        started.kill()
    until = time.monotonic() + 20
    while time.monotonic() < until:
        try:
            os.kill(number, 0)
        except ProcessLookupError:
            return
        time.sleep(0.05)
    os.kill(number, signal.SIGKILL)
    pytest.fail("it is still running")


def test_leaving_the_block_does_not_wait_for_a_running_call() -> None:
    with process() as pool:
        number = pool.submit(os.getpid).result()
        pool.submit(time.sleep, 600)
        began = time.monotonic()
    assert time.monotonic() - began < 20
    with pytest.raises(OSError):
        os.kill(number, 0)


def test_leaving_the_block_does_not_wait_for_a_call_that_is_still_being_sent() -> None:
    with process() as pool:
        pool.submit(time.sleep, 600)
        pool.submit(len, bytes(5_000_000))  # far more than a pipe holds
        time.sleep(0.5)
        began = time.monotonic()
    assert time.monotonic() - began < 20


def test_nothing_of_the_current_folder_runs_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "pickle.py").write_text("raise SystemExit('a foreign program')", encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    with process() as pool:
        assert pool.submit(max, 3, 4).result() == 4
