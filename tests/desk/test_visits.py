"""Only so many kernels run at a time: a closed page makes room, an open one is never ended."""

from __future__ import annotations

import asyncio
from concurrent.futures import ThreadPoolExecutor
from itertools import count
from typing import Any

import pytest
from tornado.web import HTTPError

from startkit.desk import page, visits


class Kernels:
    """Kernels as Jupyter's manager lists them."""

    def __init__(self) -> None:
        self.there: dict[str, dict[str, Any]] = {}
        self.numbers = count()

    def list_kernels(self) -> list[dict[str, Any]]:
        return list(self.there.values())

    async def start_kernel(self, **settings: Any) -> str:
        await asyncio.sleep(0)
        name = str(next(self.numbers))
        self.there[name] = {
            "id": name,
            "connections": 1,
            "execution_state": "idle",
            "last_activity": f"2026-11-25T08:0{name}",
        }
        return name

    async def shutdown_kernel(self, name: str, now: bool) -> None:
        del self.there[name]


def visited(manager: Any, times: int) -> None:
    async def all_at_once() -> None:
        await asyncio.gather(*(manager.start_kernel() for _ in range(times)))

    # In a thread of its own: a browser test before this one leaves a loop running in this one.
    with ThreadPoolExecutor(1) as thread:
        thread.submit(lambda: asyncio.run(all_at_once())).result()


def test_as_many_as_the_limit_are_served_and_one_more_is_told_why_not() -> None:
    manager = visits.manager(Kernels, 3)()
    visited(manager, 3)
    with pytest.raises(HTTPError) as refused:
        visited(manager, 1)
    assert refused.value.status_code == 503 and "3 screens" in str(refused.value.reason)
    assert len(manager.there) == 3


def test_visits_at_the_same_moment_are_counted() -> None:
    with pytest.raises(HTTPError):
        visited(visits.manager(Kernels, 3)(), 4)


def test_the_page_that_was_closed_first_makes_room() -> None:
    manager = visits.manager(Kernels, 3)()
    visited(manager, 3)
    for name in "12":
        manager.there[name]["connections"] = 0
    visited(manager, 1)
    assert "1" not in manager.there and "0" in manager.there and len(manager.there) == 3


def test_a_page_that_is_still_working_is_not_ended() -> None:
    manager = visits.manager(Kernels, 1)()
    visited(manager, 1)
    manager.there["0"] |= {"connections": 0, "execution_state": "busy"}
    with pytest.raises(HTTPError):
        visited(manager, 1)


def test_a_page_that_is_refused_asks_nothing_of_another_computer() -> None:
    shown = page.HOME / "voila" / "templates" / "startkit" / "error.html"
    text = shown.read_text(encoding="utf-8")
    assert "{{ status_message }}" in text and "//" not in text
