"""Causes of an overcurrent trip: what each reading speaks for, and how far it goes to explain the
current.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from startkit.errors import ScienceError
from startkit.formula import Number
from startkit.science.supply import CURRENT_PER_VOLTAGE
from startkit.units import quantities

ENOUGH, ADDS, NOT_READ, AGAINST = (
    "enough by itself",
    "contributes",
    "not read",
    "unlikely from the readings",
)
_ORDER = (ENOUGH, ADDS, NOT_READ, AGAINST)

CLOSED = 0.05  # vane position up to which vanes count as closed: end band of a stroke (own default)
NEAR_START = 1.2  # times the run-up time: a trip up to then belongs to the start (own default)
# standard deviations of the current between limit and trip that a held current seldom crosses (own
# default)
SWINGS = 3.0
# distance of limit and trip that is near whatever the swing: a loading machine overshoots (common
# practice, no source)
NEAR_TRIP = 0.10
WORTH_SAYING = 0.02  # of full-load current: less does not explain a trip (own default)
WARMER = 3.0  # K above the design's entering water from which the loop counts as warm (own default)

HUNTING = "limiter or vanes hunting"
VANES, WARM_LOOP, LOW_VOLTAGE, UNBALANCE, LIFT = (
    "vanes not closed at start",
    "limit too close to the trip in a warm loop",
    "voltage low",
    "voltage unbalanced",
    "lift high",
)


@dataclass(frozen=True)
class Evidence:
    """What was read at an overcurrent trip, in SI; None where it was not read.

    Parameters
    ----------
    trip : float
        Setting, as a part of full-load current [1].
    limit : float or None
        Current limit then in force [1].
    since_start, run_up : float or None
        Time since the start, and run-up time of the sheet [s].
    vanes : float or None
        Vane position at the trip, or at the start if it tripped in the run-up [1].
    swing : float or None
        Standard deviation of the current in the minutes before [1 of full-load current].
    warmer : float or None
        Entering chilled water above its design temperature [K].
    voltage_low : float or None
        V / V_rated - 1 [1].
    unbalance : float or None
        Voltage unbalance [1].
    lift, design_lift : float or None
        Leaving condenser water less leaving chilled water, read and by design [K].
    hunts, period : float or None
        Half of the height of a periodic swing of the current [1 of full-load current], nil if none
        was found in the minutes before; and its period [s].
    """

    trip: float
    limit: float | None = None
    since_start: float | None = None
    run_up: float | None = None
    vanes: float | None = None
    swing: float | None = None
    warmer: float | None = None
    voltage_low: float | None = None
    unbalance: float | None = None
    lift: float | None = None
    design_lift: float | None = None
    hunts: float | None = None
    period: float | None = None


@dataclass(frozen=True)
class Candidate:
    """One possible cause: how strongly the readings speak for it, by how much of full-load current,
    and the figures that show it.
    """

    cause: str
    strength: str
    adds: float | None
    figures: tuple[tuple[str, float, str], ...]  # (what, value, kind of reading)


def rank(found: Evidence) -> tuple[Candidate, ...]:
    """Candidates for an overcurrent trip, the strongest first.

    A cause is *enough by itself* if what it adds to the current reaches from the limit in force
    (full-load current where
    none is known) to the trip.

    Parameters
    ----------
    found : Evidence

    Returns
    -------
    tuple of Candidate

    Source: ranking by own rule; the parts by `current_by_voltage`, `supply.CURRENT_PER_VOLTAGE` and
    `current_by_lift`.
    """
    gap = found.trip - (found.limit if found.limit is not None else 1.0)
    candidates = (
        _vanes(found),
        _warm_loop(found, gap),
        _hunting(found, gap),
        _voltage(found, gap),
        _unbalance(found, gap),
        _lift(found, gap),
    )
    # What was seen at the time comes before what is calculated from a reading.
    return tuple(
        sorted(
            candidates,
            key=lambda c: (_ORDER.index(c.strength), -c.adds if c.adds is not None else -math.inf),
        )
    )


def _vanes(found: Evidence) -> Candidate:
    figures = _given(
        ("vane position", found.vanes, "percent"), ("time since start", found.since_start, "time")
    )
    if found.since_start is None or found.run_up is None or found.vanes is None:
        return Candidate(VANES, NOT_READ, None, figures)
    in_run_up = found.since_start <= NEAR_START * found.run_up
    return Candidate(
        VANES, ENOUGH if in_run_up and found.vanes > CLOSED else AGAINST, None, figures
    )


def _warm_loop(found: Evidence, gap: float) -> Candidate:
    figures = _given(
        ("limit below trip", gap if found.limit is not None else None, "percent"),
        ("swing of the current", found.swing, "percent"),
        ("entering water above design", found.warmer, "temperature_difference"),
    )
    if found.limit is None or found.warmer is None:
        return Candidate(WARM_LOOP, NOT_READ, None, figures)
    started = (
        found.since_start is None
        or found.run_up is None
        or found.since_start > NEAR_START * found.run_up
    )
    near = gap <= max(SWINGS * found.swing if found.swing is not None else 0.0, NEAR_TRIP)
    if near and found.warmer > WARMER and started:
        return Candidate(WARM_LOOP, ENOUGH, None, figures)
    return Candidate(
        WARM_LOOP, ADDS if found.warmer > WARMER and started else AGAINST, None, figures
    )


def _hunting(found: Evidence, gap: float) -> Candidate:
    """The crest of a periodic swing comes on top of the level that the limiter holds."""
    if found.hunts is None:
        return Candidate(HUNTING, NOT_READ, None, ())
    figures = _given(("half of the swing", found.hunts, "percent"), ("every", found.period, "time"))
    return _by_size(HUNTING, found.hunts, found.hunts, gap, figures)


def _by_size(
    cause: str, low: float, high: float, gap: float, figures: tuple[tuple[str, float, str], ...]
) -> Candidate:
    strength = ENOUGH if low >= gap else ADDS if high > WORTH_SAYING else AGAINST
    return Candidate(cause, strength, max(low, 0.0), figures)


def _voltage(found: Evidence, gap: float) -> Candidate:
    if found.voltage_low is None:
        return Candidate(LOW_VOLTAGE, NOT_READ, None, ())
    adds = float(current_by_voltage.si(1 + found.voltage_low)) - 1
    return _by_size(
        LOW_VOLTAGE, adds, adds, gap, (("voltage against rated", found.voltage_low, "percent"),)
    )


def _unbalance(found: Evidence, gap: float) -> Candidate:
    if found.unbalance is None:
        return Candidate(UNBALANCE, NOT_READ, None, ())
    low, high = (factor * found.unbalance for factor in CURRENT_PER_VOLTAGE)
    return _by_size(UNBALANCE, low, high, gap, (("voltage unbalance", found.unbalance, "percent"),))


def _lift(found: Evidence, gap: float) -> Candidate:
    if found.lift is None or not found.design_lift:
        return Candidate(
            LIFT,
            NOT_READ,
            None,
            _given(
                (
                    "leaving condenser less leaving chilled water",
                    found.lift,
                    "temperature_difference",
                )
            ),
        )
    adds = float(current_by_lift.si(found.lift, found.design_lift)) - 1
    figures = (
        ("leaving condenser less leaving chilled water", found.lift, "temperature_difference"),
        ("by design", found.design_lift, "temperature_difference"),
    )
    return _by_size(LIFT, adds, adds, gap, figures)


def _given(*figures: tuple[str, float | None, str]) -> tuple[tuple[str, float, str], ...]:
    return tuple((what, value, kind) for what, value, kind in figures if value is not None)


@quantities("dimensionless", voltage="dimensionless")
def current_by_voltage(voltage: Number) -> Number:
    """Current of a loaded induction motor at another voltage, as a part of that at rated voltage.

    I / I_rated = V_rated / V, at constant power, power factor and efficiency

    Parameters
    ----------
    voltage : Quantity
        V / V_rated [1], 0.8 to 1.1: beyond it slip and magnetising current spoil the rule.

    Returns
    -------
    Quantity
        [1].

    Raises
    ------
    ScienceError
        Outside the range.

    Source: constant power; within a point of the usual table of voltage variation (90 %: +11 %)
    from memory.
    """
    if not 0.8 - 1e-9 <= voltage <= 1.1 + 1e-9:
        raise ScienceError(
            f"at {100 * voltage:.0f} % of rated voltage this rule does not give the current",
            "current by voltage",
            "have the supply corrected first",
        )
    return 1 / voltage


@quantities("dimensionless", lift="delta_degC", design_lift="delta_degC")
def current_by_lift(lift: Number, design_lift: Number) -> Number:
    """Current at another lift and the same capacity, as a part of that at design lift.

    I / I_design = dT / dT_design: the ideal cycle's work, W = Q (T_c - T_e)/T_e, with T_e as by
    design

    Parameters
    ----------
    lift, design_lift : Quantity
        Condensing less evaporating temperature, or the leaving waters in their place [K].

    Returns
    -------
    Quantity
        [1]; a first guess: efficiency changes with lift as well.

    Raises
    ------
    ScienceError
        No design lift.

    Source: ideal cycle between two temperatures, closed form.
    """
    if design_lift <= 0:
        raise ScienceError(
            "no design lift to compare with",
            "current by lift",
            "enter both leaving waters of the selection",
        )
    return max(lift, 0.0) / design_lift


__all__ = ["Candidate", "Evidence", "current_by_lift", "current_by_voltage", "rank"]
