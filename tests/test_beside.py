"""A process beside this one: it does what it is asked, and may die."""

from __future__ import annotations

import os
import signal
import time

import pytest

from startkit.beside import FAULTS, process


def test_it_works_in_another_process() -> None:
    with process() as pool:
        assert pool.submit(os.getpid).result() != os.getpid()


def test_a_process_that_dies_is_one_of_the_known_faults() -> None:
    with process() as pool:
        number = pool.submit(os.getpid).result()
        os.kill(number, signal.SIGKILL if hasattr(signal, "SIGKILL") else signal.SIGTERM)
        with pytest.raises(FAULTS):
            for _ in range(100):  # until the pool has noticed
                pool.submit(time.sleep, 0.05).result()


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="Windows has no such signals")
def test_ctrl_c_is_for_the_one_that_asks() -> None:
    with process() as pool:
        number = pool.submit(os.getpid).result()
        os.kill(number, signal.SIGINT)
        assert pool.submit(os.getpid).result() == number


def test_nobody_waits_for_what_is_still_at_work_when_the_block_is_left() -> None:
    with process() as pool:
        number = pool.submit(os.getpid).result()
        pool.submit(time.sleep, 600)
        began = time.monotonic()
    assert time.monotonic() - began < 20
    with pytest.raises(OSError):
        os.kill(number, 0)
