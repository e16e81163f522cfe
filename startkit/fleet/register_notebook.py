"""The register's notebook: what its cells call."""

# `Any` here: whoever is told of progress may answer anything.
from __future__ import annotations

import os
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from startkit.desk.book import MODES
from startkit.desk.cards import CellOutput
from startkit.errors import JobError, StartkitError
from startkit.fleet import folder as folder_
from startkit.fleet.index import Index
from startkit.fleet.register import Register

SECTIONS = (
    "front",
    "machines",
    "open_items",
    "instruments",
    "waivers",
    "figures",
    "baseline",
    "charts",
    "records",
)


class FleetDesk:
    """One open fleet; each method shows one section of the register."""

    def __init__(self, register: Register | None, sentence: str = "") -> None:
        self._register, self._sentence = register, sentence

    def _shown(self, section: str) -> CellOutput:
        if self._register is None:
            return CellOutput({"part": "error", "sentence": self._sentence})
        try:
            return CellOutput(getattr(self._register, section)())
        except StartkitError as error:
            return CellOutput({"part": "error", "sentence": str(error)})

    def front(self) -> CellOutput:
        """The fleet at a glance."""
        return self._shown("front")

    def machines(self) -> CellOutput:
        """One line for each job."""
        return self._shown("machines")

    def open_items(self) -> CellOutput:
        """Open items by owner and age."""
        return self._shown("open_items")

    def instruments(self) -> CellOutput:
        """Instruments due."""
        return self._shown("instruments")

    def waivers(self) -> CellOutput:
        """Limits that were waived."""
        return self._shown("waivers")

    def figures(self) -> CellOutput:
        """Figures side by side."""
        return self._shown("figures")

    def baseline(self) -> CellOutput:
        """Newest visits against their baseline."""
        return self._shown("baseline")

    def charts(self) -> CellOutput:
        """Control charts."""
        return self._shown("charts")

    def records(self) -> CellOutput:
        """Last records with their digests."""
        return self._shown("records")


def open_fleet(fleet: str | Path, mode: str = "record", as_of: str = "") -> FleetDesk:
    """Open a fleet for the register's notebook; the fleet is not changed.

    Parameters
    ----------
    fleet : str or pathlib.Path
        Folder of the fleet.
    mode : str
        ``"form"`` or ``"record"``: the register shows the same in both.
    as_of : str
        Day for ages and due dates; empty: today.

    Returns
    -------
    FleetDesk
        If the fleet cannot be opened, every cell shows why.
    """
    try:
        if mode not in MODES:
            raise JobError(f"mode {mode!r} is unknown", "first cell", f"use {' or '.join(MODES)}")
        return FleetDesk(register(folder_.load(Path(fleet)), day(as_of)))
    except StartkitError as error:
        return FleetDesk(None, str(error))


def register(
    fleet: folder_.Fleet, as_of: date, told: Callable[[int, int], Any] | None = None
) -> Register:
    """The register of a fleet, from its index, which is first brought up to date."""
    return Register(fleet, Index(fleet).summaries(told), as_of)


def day(text: str) -> date:
    """The day in a text; empty: that of SOURCE_DATE_EPOCH, else today.

    Raises
    ------
    JobError
        Not a day.
    """
    epoch = os.environ.get("SOURCE_DATE_EPOCH", "")
    try:
        if text:
            return date.fromisoformat(text)
        return datetime.fromtimestamp(int(epoch), UTC).date() if epoch else date.today()
    except (ValueError, OverflowError, OSError):
        raise JobError(
            f"{text or epoch!r} is not a date", "as_of", "write year-month-day, such as 2026-11-25"
        ) from None
