"""Lean: what a process of ours leaves out, because it takes long to start and nothing here asks for
it.
"""

from __future__ import annotations

import atexit
import gc
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from importlib import import_module
from types import ModuleType
from typing import Any

from startkit.paper import collecting


@contextmanager
def one_record() -> Iterator[None]:
    """Around a command that makes or checks one record, from its first import on: what it holds, it
    holds to its end.
    """
    with collecting.paused():
        manuals()
        yield


def addresses() -> None:
    """Keep jsonschema from reading the grammar of international web addresses, which takes a second
    in every process.

    It does so when it is imported, by nbformat, for a format of text that no notebook has, and goes
    without where the
    package is not installed. For processes that are ours alone: in others somebody may want it.
    """
    modules: dict[str, Any] = sys.modules
    modules.setdefault("rfc3987_syntax", None)


def manuals() -> None:
    """Keep scipy from rewriting the manual of each of its functions when it is imported: half of
    what its import takes.

    Nobody reads manuals in a process that makes or checks one record. So the pages are taken for
    empty; and two parts
    of numpy, a compiler and test helpers, are not loaded only because all names of numpy are gone
    through.
    """
    import numpy

    if "scipy._lib._array_api" in sys.modules:
        return
    for name in ("f2py", "testing"):
        if name not in vars(numpy):
            setattr(numpy, name, _Later(f"numpy.{name}"))
    with suppress(
        ImportError, AttributeError
    ):  # another version may do it otherwise, and takes the time
        _empty_manuals()


def _empty_manuals() -> None:
    from scipy._lib import _docscrape

    class Empty(_docscrape.FunctionDoc):
        def __init__(self, func: Any, *_: Any, **__: Any) -> None:
            super().__init__(func, doc="")

    _docscrape.FunctionDoc = Empty


def web() -> None:
    """Keep pyHanko from loading a library that fetches pages: a signature is checked without the
    network.

    pyHanko imports it for time-stamp servers, whoever asks. Should another version not bear that,
    it gets the real one.
    """
    modules: dict[str, Any] = sys.modules
    if "aiohttp" in modules or "pyhanko.sign" in modules:
        return
    modules["aiohttp"] = _Nothing("aiohttp")
    try:
        import_module("pyhanko.sign.fields")
        import_module("pyhanko.sign.validation")
    except Exception:
        for name in [
            name
            for name in modules
            if name.partition(".")[0] in ("aiohttp", "pyhanko", "pyhanko_certvalidator")
        ]:
            del modules[name]


class _Later(ModuleType):
    """A module that is loaded when something of it is asked for; its import puts the real one in
    its place.
    """

    def __getattr__(self, name: str) -> Any:
        if name.startswith("__"):
            raise AttributeError(name)
        return getattr(import_module(self.__name__), name)


class _Nothing(ModuleType):
    """A module of which every name is a class that can do nothing."""

    def __getattr__(self, name: str) -> Any:
        if name.startswith("__"):
            raise AttributeError(name)
        return type(name, (), {})


def ending() -> None:
    """Let the process end without looking once more through all that it holds: a second after a
    record was read.
    """
    atexit.register(_keep)


def _keep() -> None:
    if "CoolProp" not in sys.modules:  # its binding would complain of all that it still holds
        gc.freeze()
