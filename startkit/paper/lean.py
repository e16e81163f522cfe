"""Lean: what a process of ours leaves out, because it takes long to start and nothing here asks for it."""

from __future__ import annotations

import atexit
import gc
import sys
from typing import Any


def addresses() -> None:
    """Keep jsonschema from reading the grammar of international web addresses, which takes a second in every process.

    It does so when it is imported, by nbformat, for a format of text that no notebook has, and goes without where the
    package is not installed. For processes that are ours alone: in others somebody may want it.
    """
    modules: dict[str, Any] = sys.modules
    modules.setdefault("rfc3987_syntax", None)


def ending() -> None:
    """Let the process end without looking once more through all that it holds: a second after a record was read."""
    atexit.register(_keep)


def _keep() -> None:
    if "CoolProp" not in sys.modules:  # its binding would complain of all that it still holds
        gc.freeze()
