"""Papermill engines of ours: a notebook in a fresh process whose imports are already there.

``papermill --engine startkit in.ipynb out.ipynb`` finds `FreshProcess` here through the entry-point
group
``papermill.engine``. Papermill loads its entry points while it is being imported itself: so this
module imports
nothing of it, and the classes stand in `startkit.fleet.engine_classes`.
"""

from __future__ import annotations

from typing import Any

NAME, HERE = "startkit", "startkit-here"


class _Lazy:
    """An engine that is looked up when it is first used."""

    def __init__(self, name: str) -> None:
        self._name = name

    def __getattr__(self, attribute: str) -> Any:
        from startkit.fleet import engine_classes

        return getattr(getattr(engine_classes, self._name), attribute)


FreshProcess, Here = _Lazy("FreshProcess"), _Lazy("Here")


def register() -> None:
    """Make both engines known to papermill, whether or not the entry points of this installation
    are.
    """
    from papermill.engines import papermill_engines

    papermill_engines.register(NAME, FreshProcess)
    papermill_engines.register(HERE, Here)
