"""Work with an event loop of its own is done with and without one running, and its errors come
through.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable

import pytest

from startkit.paper.own_loop import with_own_loop
from tests.paper.conftest import in_a_thread, where_a_loop_runs


async def answer() -> int:
    return 42


def work() -> int:
    coroutine = answer()
    try:
        return asyncio.run(coroutine)
    finally:
        coroutine.close()


def wrong() -> int:
    raise ValueError("no key")


@pytest.mark.parametrize("place", [in_a_thread, where_a_loop_runs])
def test_work_is_done(place: Callable[[Callable[[], int]], int]) -> None:
    assert place(lambda: with_own_loop(work)) == 42


@pytest.mark.parametrize("place", [in_a_thread, where_a_loop_runs])
def test_an_error_of_the_work_is_the_error_of_the_call(
    place: Callable[[Callable[[], int]], int],
) -> None:
    with pytest.raises(ValueError, match="no key"):
        place(lambda: with_own_loop(wrong))


def test_without_the_help_the_work_cannot_be_done_where_a_loop_runs() -> None:
    with pytest.raises(RuntimeError, match="running event loop"):
        where_a_loop_runs(work)
