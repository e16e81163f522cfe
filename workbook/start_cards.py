"""Cards of the starts as a story tells them: the check before, what was read, how it ended."""

from __future__ import annotations

from datetime import datetime

from workbook.measured import Measured
from workbook.people import TECHNICIAN
from workbook.story import Chapter, Line, row

CHECKS = ("taken_out", "automatic", "unlocked", "people_clear")


def check(n: int, begins: str) -> Chapter:
    """The walk round the machine before a start."""
    answers = dict.fromkeys(CHECKS, "yes")
    lines = row("first_start.starts", n, {**answers, "by": TECHNICIAN})
    return Chapter(f"Check before start {n}", begins, TECHNICIAN, lines, pace=10)


def oil_at_start(m: Measured, n: int) -> tuple[str, str]:
    """Differential [kPa] before and after a start, on the gauge between supply and sump."""
    true = m.oil_circuit(m.truth.zero_left).true_differential / 1e3
    before, after = (m.shows("PD-1", true, "start", n, when) for when in (0, 1))
    return before, after


def card(
    n: int, began: datetime, oil: tuple[str, str], limit: float, remark: str
) -> tuple[Line, ...]:
    """What was read at a start.

    Parameters
    ----------
    oil : tuple of str
        Differential before and after [kPa].
    limit : float
        Current limit set [1].
    """
    cells = [
        ("started", f"{began:%Y-%m-%d %H:%M:%S}"),
        ("closed", "made"),
        ("vanes", "0.3" if n % 2 else "0.2", "%", "VP-1"),
        ("oil_before", oil[0], "kPa", "PD-1"),
        ("oil_after", oil[1], "kPa", "PD-1"),
        ("flows", "yes"),
        ("limit", f"{100 * limit:.0f}", "%"),
        *((("remark", remark),) if remark else ()),
    ]
    return row("first_start.starts", n, cells)


def stopped(n: int, ended: datetime, end: str, fault: str = "") -> tuple[Line, ...]:
    """How a start ended."""
    cells = {"stopped": f"{ended:%Y-%m-%d %H:%M:%S}", "end": end, "fault": fault}
    return row("first_start.starts", n, {name: value for name, value in cells.items() if value})
