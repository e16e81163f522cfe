"""Visits to the page: each has a kernel of its own, so there may only be so many at a time."""

# `Any` here: Jupyter's managers have no types of use here.
from __future__ import annotations

from typing import Any

MOST = 6  # kernels at a time; each takes some 330 MB
TOO_MANY = (
    "This job is open on {most} screens already, as many as this computer serves at a time. Close"
    " one of them, wait a minute and reload this page."
)


def manager(base: type[Any], most: int = MOST) -> type[Any]:
    """Jupyter's manager of kernels, with a limit.

    Parameters
    ----------
    base : type
        ``AsyncMappingKernelManager``, or a class that does the same.
    most : int
        Kernels at a time.
    """

    class Visits(base):
        _starting = 0

        async def start_kernel(self, **settings: Any) -> str:
            await self._make_room()
            self._starting += 1
            try:
                return str(await super().start_kernel(**settings))
            finally:
                self._starting -= 1

        async def _make_room(self) -> None:
            """End the kernel of the page that was closed first, or say that there is no room."""
            from tornado.web import HTTPError

            there = self.list_kernels()
            if len(there) + self._starting < most:
                return
            closed = [
                each
                for each in there
                if each["connections"] == 0 and each["execution_state"] == "idle"
            ]
            if not closed:
                said = TOO_MANY.format(most=most)
                raise HTTPError(503, said, reason=said)  # the page shows the reason
            oldest = min(closed, key=lambda each: str(each["last_activity"]))
            await self.shutdown_kernel(oldest["id"], now=True)

    return Visits
