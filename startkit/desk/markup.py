"""Markup that cannot be typed in: every text that goes into an element is escaped on the way."""

from __future__ import annotations

from collections.abc import Iterable

from markupsafe import Markup, escape

_VOID = frozenset({"br", "hr", "wbr"})
_NAMES = {"cls": "class", "for_": "for"}


def el(name: str, *children: object, **attributes: object) -> Markup:
    """One element.

    Parameters
    ----------
    name : str
    *children
        `Markup` is kept as it is, None is left out, anything else is escaped as text.
    **attributes
        ``cls`` becomes ``class``, ``_`` becomes ``-``; None and False are left out, True is written
        without a value.
    """
    head = name + "".join(_attribute(key, value) for key, value in attributes.items())
    if name in _VOID:
        return Markup(f"<{head}>")
    return Markup(f"<{head}>{join(children)}</{name}>")


def _attribute(key: str, value: object) -> str:
    if value is None or value is False:
        return ""
    shown = _NAMES.get(key, key.replace("_", "-"))
    return f" {shown}" if value is True else f' {shown}="{escape(str(value))}"'


def join(parts: Iterable[object]) -> Markup:
    """Parts one after another; None is left out."""
    return Markup("").join(escape(part) for part in parts if part is not None)


__all__ = ["Markup", "el", "join"]
