"""Live views: forms and cards that follow the journal, as one small widget without values of its
own.
"""

# `Any` here: a message is JSON from or for the browser.
from __future__ import annotations

import threading
import uuid
from pathlib import Path
from typing import Any

import anywidget
import traitlets

from startkit.desk import cards, fieldset, messages
from startkit.desk.book import Book
from startkit.desk.cards.pieces import el

_STATIC = Path(__file__).parent / "static"
# One module for the browser, kept in files of one noun each: a class must come before what extends
# them.
_SCRIPTS = ("pieces", "who", "field", "pictures", "grid", "view")


class LiveView(anywidget.AnyWidget):
    """One part on the screen.

    Values travel as messages, never as widget state: while the kernel is busy the states of a trait
    merge and what was typed between is lost.
    """

    _esm = "\n".join((_STATIC / f"{name}.js").read_text(encoding="utf-8") for name in _SCRIPTS)
    _css = cards.style() + (_STATIC / "form.css").read_text(encoding="utf-8")

    comm_name = traitlets.Unicode().tag(sync=True)

    def __init__(self, book: Book, part: str, name: str) -> None:
        comm_name = uuid.uuid4().hex
        super().__init__(
            comm_name=comm_name, model_id=comm_name
        )  # by this name the browser finds the whole model
        self.book, self.part, self.name = book, part, name
        self._sent: dict[str, Any] = {}
        self._newest = 0
        self._lock = threading.Lock()
        self.on_msg(self._asked)

    @property
    def form(self) -> str:
        """The stage whose fields it shows; empty for a card without fields."""
        return self.name if self.part == "stage" else ""

    def _asked(self, _widget: Any, message: Any, buffers: Any) -> None:
        """Answer one message: first whether it is saved, then the card, then everything else."""
        if not isinstance(message, dict):
            return
        reply = messages.answer(
            self.book, self.form, {**message, "bytes": buffers[0]} if buffers else message
        )
        self.send(reply)
        if message.get("ask") == "open":
            self.renew(everything=True)
        elif reply["tell"] in ("saved", "desk"):
            self._send_card(haste=True)
            self.book.changed()

    def renew(self, everything: bool = False) -> None:
        """Send what differs from what was sent before."""
        if everything:
            self._sent.clear()
        self._send_card()
        if self.form:
            self._send_fields()
            self._send_plots()

    def _send_card(self, haste: bool = False) -> None:
        newest = self.book.newest
        pieces = self.book.card(self.part, self.name, haste)
        with self._lock:
            if (
                newest >= self._newest
            ):  # a slower thread must not put an older card over a newer one
                self._newest = newest
                self._send_new("card", pieces, {"tell": "card", "pieces": pieces})

    def _send_fields(self) -> None:
        """Values that others have entered, and faults that depend on other entries."""
        current = fieldset.states(self.book.assessment(), self.name)
        fresh = {
            name: state
            for name, state in current.items()
            if self._sent.get(f"field {name}") != state
        }
        self._sent |= {f"field {name}": state for name, state in fresh.items()}
        if fresh:
            self.send({"tell": "fields", "states": fresh})
        desk = self.book.desk(self.name)
        self._send_new("desk", desk, {"tell": "desk", **desk})

    def _send_plots(self) -> None:
        try:
            drawn = cards.plots(self.book.plots(self.name))
        except Exception as error:  # shown in its place: no one sees a thread's exception
            drawn = el(
                "p", f"The plots cannot be drawn ({type(error).__name__}: {error}).", cls="sk-note"
            )
        self._send_new("plots", drawn, {"tell": "card", "pieces": {"plots": str(drawn)}})

    def _send_new(self, slot: str, value: Any, message: dict[str, Any]) -> None:
        if self._sent.get(slot) != value:
            self._sent[slot] = value
            self.send(message)
