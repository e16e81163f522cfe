"""Starts: how many an hour a motor may make, and when the next one may come."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from startkit.errors import ScienceError
from startkit.formula import Value
from startkit.units import quantities

SOURCE = "NEMA MG 10 Table 2-3, design A and B motors (secondary)"
HOUR = 3600.0

# Rated power [hp] -> for 2, 4 and 6 poles: A most starts an hour; B most starts an hour times load
# Wk2 [lb ft2];
# C least time at rest between starts [s]. The table's conditions: voltage and frequency inside the
# band of MG 1 12.44,
# load torque no more than as the square of speed up to rated, load Wk2 no more than column B.
MG10 = {
    1.0: ((15.0, 1.2, 75), (30.0, 5.8, 38), (34.0, 15, 33)),
    1.5: ((12.9, 1.8, 76), (25.7, 8.6, 38), (29.1, 23, 34)),
    2.0: ((11.5, 2.4, 77), (23.0, 11, 39), (26.1, 30, 35)),
    3.0: ((9.9, 3.5, 80), (19.8, 17, 40), (22.4, 44, 36)),
    5.0: ((8.1, 5.7, 83), (16.3, 27, 42), (18.4, 71, 37)),
    7.5: ((7.0, 8.3, 88), (13.9, 39, 44), (15.8, 104, 39)),
    10.0: ((6.2, 11, 92), (12.5, 51, 46), (14.2, 137, 41)),
    15.0: ((5.4, 16, 100), (10.7, 75, 50), (12.1, 200, 44)),
    20.0: ((4.8, 21, 110), (9.6, 99, 55), (10.9, 262, 48)),
    25.0: ((4.4, 26, 115), (8.8, 122, 58), (10.0, 324, 51)),
    30.0: ((4.1, 31, 120), (8.2, 144, 60), (9.3, 384, 53)),
    40.0: ((3.7, 40, 130), (7.4, 189, 65), (8.4, 503, 57)),
    50.0: ((3.4, 49, 145), (6.8, 232, 72), (7.7, 620, 64)),
    60.0: ((3.2, 58, 170), (6.3, 275, 85), (7.2, 735, 75)),
    75.0: ((2.9, 71, 180), (5.8, 338, 90), (6.6, 904, 79)),
    100.0: ((2.6, 92, 220), (5.2, 441, 110), (5.9, 1181, 97)),
    125.0: ((2.4, 113, 275), (4.8, 542, 140), (5.4, 1452, 120)),
    150.0: ((2.2, 133, 320), (4.5, 640, 160), (5.1, 1719, 140)),
    200.0: ((2.0, 172, 600), (4.0, 831, 300), (4.5, 2238, 265)),
    250.0: ((1.8, 210, 1000), (3.7, 1017, 500), (4.2, 2744, 440)),
}
_HORSEPOWER = 745.69987158227022  # W
_LB_FT2 = 0.45359237 * 0.3048**2  # kg m2


@dataclass(frozen=True)
class StartLimits:
    """What the table allows: starts an hour, time at rest [s], and whether the load is outside the
    table's conditions.
    """

    per_hour: Value
    rest: Value
    outside_conditions: bool


@dataclass(frozen=True)
class NextStart:
    """The earliest next start in elapsed seconds, what decides it, and what each rule says by
    itself.
    """

    at: Value
    rule: str
    by_rule: dict[str, float]


@quantities(
    {"per_hour": "dimensionless", "rest": "second"}, power="watt", load_inertia="kilogram*meter**2"
)
def allowable_starts(power: Value, poles: int, load_inertia: Value) -> StartLimits:
    """Starts an hour and least time at rest by the table of NEMA MG 10.

    starts per hour <= min(A, B / load Wk^2);  time at rest >= C

    Parameters
    ----------
    power : Quantity
        Rated shaft power [W], 1 to 250 hp; between two rows each column counts from the row that is
        stricter.
    poles : int
        2, 4 or 6.
    load_inertia : Quantity
        Of the load alone, at the motor's shaft [kg m^2].

    Returns
    -------
    StartLimits
        `per_hour` [1], `rest` [s], and `outside_conditions`: load Wk^2 above column B.

    Raises
    ------
    ScienceError
        Power, poles or inertia outside the table: then the maker's figures alone count.

    Source: NEMA MG 10 Table 2-3 (secondary).

    Examples
    --------
    >>> from startkit.units import Q
    >>> round(float(allowable_starts(Q(25, "horsepower"), 4, Q(50,
    ...     "pound*foot**2")).per_hour.magnitude), 2)
    2.44
    """
    a, b, rest = _strictest(power / _HORSEPOWER, poles)
    if load_inertia <= 0:
        raise ScienceError(
            "no load inertia",
            "starts per hour",
            "enter the inertia of impeller and gear at the motor's shaft",
        )
    inertia = load_inertia / _LB_FT2
    return StartLimits(min(a, b / inertia), float(rest), inertia > b)


def _strictest(horsepower: float, poles: int) -> tuple[float, float, float]:
    sizes = sorted(MG10)
    column = {2: 0, 4: 1, 6: 2}.get(poles)
    # Half a percent of grace: a nameplate in kW rarely meets a row in horsepower to the last place.
    below = [size for size in sizes if size <= horsepower * 1.005]
    above = [size for size in sizes if size >= horsepower * 0.995]
    if column is None or not below or not above:
        raise ScienceError(
            f"the table does not cover a motor of {horsepower:.0f} hp and {poles} poles",
            "starts per hour",
            "use the maker's timers and starts per hour from the machine's sheet",
        )
    rows = (MG10[below[-1]][column], MG10[above[0]][column])
    return min(row[0] for row in rows), min(row[1] for row in rows), max(row[2] for row in rows)


@quantities(
    {"at": "second"},
    start_to_start="second",
    stop_to_start="second",
    starts_per_hour="dimensionless",
)
def earliest_next_start(
    starts: Sequence[float],
    stops: Sequence[float],
    start_to_start: Value = None,
    stop_to_start: Value = None,
    starts_per_hour: Value = None,
) -> NextStart:
    """When the next start may come, from the starts and stops so far.

    t >= t_last_start + start_to_start;  t >= t_last_stop + stop_to_start;
    no more than n starts in any 60 minutes (n below one: one start in 60/n minutes)

    Parameters
    ----------
    starts, stops : sequence of float
        Elapsed seconds since any common zero; each stop follows its start.
    start_to_start, stop_to_start : Quantity, optional
        Restart timers of the machine's sheet [s].
    starts_per_hour : Quantity, optional
        [1]; a part of a start is cut off, since half a start cannot be made.

    Returns
    -------
    NextStart
        `at` in elapsed seconds [s]: zero or a time already past means at once.

    Raises
    ------
    ScienceError
        The machine still runs (more starts than stops), or stops without starts.

    Source: NEMA MG 10 Table 2-3 for the hourly rule (secondary); timers by the machine's sheet.
    """
    began, ended = sorted(starts), sorted(stops)
    order = [time for pair in zip(began, ended, strict=False) for time in pair]
    if len(began) != len(ended) or order != sorted(order):
        raise ScienceError(
            f"{len(began)} starts do not match {len(ended)} stops",
            "earliest next start",
            "enter a stop for each start; a running machine needs no next start",
        )
    by_rule = {"none": 0.0}
    if began and start_to_start is not None:
        by_rule["start-to-start timer"] = began[-1] + start_to_start
    if ended and stop_to_start is not None:
        by_rule["stop-to-start timer"] = ended[-1] + stop_to_start
    if starts_per_hour is not None:
        by_rule |= _hourly(began, float(starts_per_hour))
    rule = max(by_rule, key=lambda name: by_rule[name])
    return NextStart(
        by_rule[rule], rule, {name: at for name, at in by_rule.items() if name != "none"}
    )


def _hourly(began: list[float], allowed: float) -> dict[str, float]:
    if allowed <= 0:
        raise ScienceError(
            "starts per hour must be at least one",
            "earliest next start",
            "check the starts per hour of the machine's sheet",
        )
    whole, window = (math.floor(allowed + 1e-9), HOUR) if allowed >= 1 else (1, HOUR / allowed)
    return {"starts per hour": began[-whole] + window} if len(began) >= whole else {}
