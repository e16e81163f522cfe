"""Control charts: one figure of one machine, visit after visit, against its own scatter.

The kind of figure is open, so these functions take bare numbers in any one unit and answer in it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from startkit.errors import ScienceError

# Of two independent normal readings: expected range and its standard deviation, in standard
# deviations of one reading.
D2 = 2 / math.sqrt(math.pi)  # 1.128
D3 = math.sqrt(2 - 4 / math.pi)  # 0.853
LIMIT = 3 / D2  # 2.66: three standard deviations, from the mean moving range
RANGE_LIMIT = 1 + 3 * D3 / D2  # 3.267: the same for the moving range itself
FEWEST = 4  # readings before a limit is drawn at all
ENOUGH = 20  # readings from which limits are taken as firm: common practice, no source
SOURCE = (
    "individuals and moving range chart, constants 2.66 and 3.267 (NIST/SEMATECH e-Handbook,"
    " 6.3.2.2)"
)


@dataclass(frozen=True)
class ChartLimits:
    """Centre and limits of the individuals chart, mean moving range and its limit, all in the
    readings' unit.
    """

    centre: float
    low: float
    high: float
    mean_range: float
    range_high: float
    readings: int

    @property
    def firm(self) -> bool:
        """False while the limits rest on few readings."""
        return self.readings >= ENOUGH


def chart_limits(values: Sequence[float]) -> ChartLimits:
    """Limits of the individuals chart from the moving range of two.

    MR = mean |x_i - x_(i-1)|;  centre ± 3 MR / d2 = centre ± 2.66 MR;  upper limit of the range
    3.267 MR

    Parameters
    ----------
    values : sequence of float
        Readings in order of time [any unit].

    Returns
    -------
    ChartLimits
        [as the readings].

    Raises
    ------
    ScienceError
        Fewer than `FEWEST` readings, or one that is not a number.

    Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.
    """
    if len(values) < FEWEST:
        raise ScienceError(
            f"{len(values)} readings are too few for a control chart",
            "control chart",
            f"wait for {FEWEST} visits",
        )
    if not all(math.isfinite(value) for value in values):
        raise ScienceError("a reading is not a number", "control chart", "leave that visit out")
    centre = math.fsum(values) / len(values)
    mean_range = math.fsum(moving_ranges(values)) / (len(values) - 1)
    return ChartLimits(
        centre,
        centre - LIMIT * mean_range,
        centre + LIMIT * mean_range,
        mean_range,
        RANGE_LIMIT * mean_range,
        len(values),
    )


def moving_ranges(values: Sequence[float]) -> list[float]:
    """|x_i - x_(i-1)| of neighbouring readings [any unit].

    Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.
    """
    return [abs(after - before) for before, after in pairwise(values)]


def outside(value: float, limits: ChartLimits) -> bool:
    """True if a reading [any unit] is beyond the limits; a reading on a limit is inside."""
    slack = 1e-9 * max(abs(limits.centre), limits.mean_range, 1e-300)
    return not limits.low - slack <= value <= limits.high + slack
