"""Markup that cannot be typed in: every text that goes into an element is escaped on the way."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

_VOID = frozenset({"br", "hr", "wbr"})


class Markup(str):
    """A text that is already HTML; only `el`, `join` and our own drawings make one."""

    __slots__ = ()


def el(name: str, *children: object, **attributes: object) -> Markup:
    """One element.

    Parameters
    ----------
    name : str
    *children
        `Markup` stands as it is, None is left out, anything else is escaped as text.
    **attributes
        ``cls`` becomes ``class``, ``_`` becomes ``-``; None and False are left out, True stands
        without value.
    """
    head = name + "".join(_attribute(key, value) for key, value in attributes.items())
    if name in _VOID:
        return Markup(f"<{head}>")
    return Markup(f"<{head}>{''.join(text(child) for child in children)}</{name}>")


def _attribute(key: str, value: object) -> str:
    if value is None or value is False:
        return ""
    shown = {"cls": "class", "for_": "for"}.get(key, key.replace("_", "-"))
    return f" {shown}" if value is True else f' {shown}="{escape(str(value), quote=True)}"'


def text(child: object) -> str:
    """One child of an element as HTML."""
    if child is None:
        return ""
    return child if isinstance(child, Markup) else escape(str(child), quote=True)


def join(parts: Iterable[object]) -> Markup:
    """Parts one after another."""
    return Markup("".join(text(part) for part in parts))
