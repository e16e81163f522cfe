"""Added: what other packages bring along, by their entry points; the installed packages are looked
through once in a process.
"""

from __future__ import annotations

import functools
from importlib import metadata


@functools.cache
def entry_points(group: str) -> tuple[metadata.EntryPoint, ...]:
    """The entry points of a group, as they were when it was first asked for.

    Parameters
    ----------
    group : str
        ``"startkit.stages"``, ``"startkit.checklists"`` or ``"startkit.templates"``.
    """
    return tuple(metadata.entry_points(group=group))
