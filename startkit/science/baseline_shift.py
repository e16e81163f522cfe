"""Baseline shift: a figure of one visit against the same figure of an earlier one, with the
uncertainty of both.

The kind of figure is open, so `change` takes bare numbers in any one unit and answers in it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from startkit.errors import ScienceError
from startkit.science.sensors import AGREES, en_number
from startkit.verdict import COVERAGE

MOVED, NOT_MOVED, CANNOT_TELL = "moved", "not moved", "inconclusive"


@dataclass(frozen=True)
class Change:
    """The verdict on a change: `difference` now less before, its `expanded` uncertainty (k = 2),
    None if not known, and `said`.
    """

    difference: float
    expanded: float | None
    said: str

    @property
    def moved(self) -> bool:
        return self.said == MOVED


def change(
    before: float,
    now: float,
    u_before: float | None,
    u_now: float | None,
    matters: float | None = None,
) -> Change:
    """Whether a figure has moved between two visits.

    d = now - before;  U = 2 sqrt(u_before^2 + u_now^2)

    moved if |d| > U (|E_n| > 1); not moved if |d| + U <= the change that matters; otherwise this
    measurement is inconclusive. Without an uncertainty on either side only a change greater than
    what matters is called moved. The two visits are taken as independent: an error that both share
    would make U smaller, never larger.

    Parameters
    ----------
    before, now : float
        [any unit].
    u_before, u_now : float or None
        Standard uncertainties [same unit]; None: not known.
    matters : float or None
        The smallest change that anybody would act on [same unit]; None: not given.

    Returns
    -------
    Change

    Raises
    ------
    ScienceError
        A figure is not a number, or `matters` is not above zero.

    Source: JCGM 100:2008, 5.1.2 (variance of a difference); ISO 13528 (E_n); inclusion of the
    interval in limits of
    equivalence: Schuirmann (1987), from memory.
    """
    if not (math.isfinite(before) and math.isfinite(now)):
        raise ScienceError(
            "a figure is not a number", "comparison with the baseline", "leave that visit out"
        )
    if matters is not None and matters <= 0:
        raise ScienceError(
            "the change that matters is not above zero",
            "comparison with the baseline",
            "give a value above zero",
        )
    difference = now - before
    if u_before is None or u_now is None:
        return Change(
            difference,
            None,
            MOVED if matters is not None and abs(difference) > matters else CANNOT_TELL,
        )
    expanded = COVERAGE * math.hypot(u_before, u_now)
    if expanded == 0 or abs(en_number(difference, COVERAGE * u_before, COVERAGE * u_now)) > AGREES:
        return Change(difference, expanded, MOVED if difference else NOT_MOVED)
    surely = matters is not None and abs(difference) + expanded <= matters * (1 + 1e-9)
    return Change(difference, expanded, NOT_MOVED if surely else CANNOT_TELL)
