"""Pull-down: for each current limit the time to set point and the chance of a trip, and the limit
to propose.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from startkit.errors import ScienceError
from startkit.formula import Number, Value
from startkit.science.loop import leaving_and_heat
from startkit.science.overcurrent import INTERVAL, TripModel, bare
from startkit.science.ripple import Ripple
from startkit.units import quantities

LIMITS = tuple(round(0.40 + 0.05 * step, 2) for step in range(13))
# Common practice, no source: a limit of about 80 %, as low as 60 % on some machines. A check value,
# not the result.
RULE_OF_THUMB = (0.60, 0.80)
# Common practice, no source: the limit is given back over about ten minutes once the water is cold.
RAMP = 600.0
CANNOT_KNOW = (
    "how far the current overshoots on first loading, before the limit takes hold",
    (
        "whether the ripple at another limit is the same as in the trend: vanes and speed control"
        " respond differently when nearly open"
    ),
    "what the current does between the trend's samples, and how the trip device averages it",
    "water in branches that are still closed, and loads that come on while the loop cools",
    "a change in condenser water, voltage or vane control during the pull-down",
)
_STEPS = 80


class Machine(Protocol):
    """What a machine cools and draws under a limit; see `machine_curve`."""

    def capacity(self, limit: Number, leaving: Number) -> Number: ...
    def current(self, limit: Number, leaving: Number) -> Number: ...
    def full_vane_current(self, leaving: Number) -> Number: ...


@dataclass(frozen=True)
class Plan:
    """One row for each limit: time to set point and chance of a trip, each with its 90 % interval;
    and the proposal.

    `proposed` is the highest limit whose chance of a trip stays under the risk even at the upper
    end of its interval
    (not a number if none does), `hold` how long to keep it, `ramp` the time over which to give back
    100 %, `why` the
    reason in words.
    """

    limit: Value
    time: Value
    time_low: Value
    time_high: Value
    probability: Value
    probability_low: Value
    probability_high: Value
    proposed: Value
    hold: Value
    ramp: Value
    why: str


@dataclass(frozen=True)
class _Loop:
    """The loop in bare SI, and what is open about it: one value for each draw."""

    start: float
    target: float
    heat_capacity: np.ndarray
    load: np.ndarray
    factor: np.ndarray
    flow_capacity: float | None
    conductance: float
    ambient: float
    horizon: float


@dataclass(frozen=True)
class _Descent:
    """A pull-down at one limit: current and time at each step of temperature, and total time for
    each draw.
    """

    current: np.ndarray
    dwell: np.ndarray
    leaving: np.ndarray
    times: np.ndarray


def _descend(machine: Machine, limit: float, loop: _Loop) -> _Descent:
    """Integrate dt = C dT / (Q_evap - Q_load - UA (T_amb - T)) over the temperature: the loop's
    state is its temperature alone.
    """
    first = float(
        leaving_and_heat(
            np.array([loop.start]),
            lambda leaving: machine.capacity(limit, leaving),
            loop.flow_capacity,
        )[0][0]
    )
    last = loop.target
    if loop.flow_capacity is not None:
        last += float(np.asarray(machine.capacity(limit, np.array([loop.target]))).ravel()[0]) / (
            2 * loop.flow_capacity
        )
    if first <= loop.target or last >= loop.start:
        return _Descent(np.zeros(1), np.zeros(1), np.array([loop.target]), np.zeros(loop.load.size))
    edges = np.linspace(loop.start, last, _STEPS + 1)
    middle = (edges[1:] + edges[:-1]) / 2
    leaving, heat = leaving_and_heat(
        middle, lambda water: machine.capacity(limit, water), loop.flow_capacity
    )
    gain = loop.conductance * (loop.ambient - middle)
    step = edges[0] - edges[1]
    net = loop.factor[:, None] * heat[None, :] - loop.load[:, None] - gain[None, :]
    with np.errstate(divide="ignore"):
        spent = np.where(
            net > 0, loop.heat_capacity[:, None] * step / np.maximum(net, 1e-9), np.inf
        )
    times = spent.sum(axis=1)
    dwell = _cut(np.median(spent, axis=0), loop.horizon)
    return _Descent(
        np.broadcast_to(machine.current(limit, leaving), dwell.shape),
        dwell,
        leaving,
        np.where(times > loop.horizon, np.inf, times),
    )


def _cut(spent: np.ndarray, horizon: float) -> np.ndarray:
    """Time at each step, cut at the horizon: a machine that cannot get further stays where it is
    until then.
    """
    before = np.concatenate([[0.0], np.cumsum(np.minimum(spent, horizon))[:-1]])
    return np.clip(np.minimum(spent, horizon - before), 0.0, None)


@quantities(
    {
        "limit": "dimensionless",
        "time": "second",
        "time_low": "second",
        "time_high": "second",
        "probability": "dimensionless",
        "probability_low": "dimensionless",
        "probability_high": "dimensionless",
        "proposed": "dimensionless",
        "hold": "second",
        "ramp": "second",
    },
    start="kelvin",
    target="kelvin",
    heat_capacity="joule/delta_degC",
    load="watt",
    trip="dimensionless",
    risk="dimensionless",
    delay="second",
    u_trip="dimensionless",
    u_heat_capacity="joule/delta_degC",
    u_load="watt",
    u_capacity="dimensionless",
    flow_capacity="watt/delta_degC",
    conductance="watt/delta_degC",
    ambient="kelvin",
    horizon="second",
    ramp="second",
)
def plan(
    machine: Machine,
    ripple: Ripple,
    start: Value,
    target: Value,
    heat_capacity: Value,
    load: Value,
    trip: Value,
    risk: Value = 0.01,
    delay: Value = 0.0,
    u_trip: Value = 0.0,
    u_heat_capacity: Value = 0.0,
    u_load: Value = 0.0,
    u_capacity: Value = 0.0,
    flow_capacity: Value = None,
    conductance: Value = 0.0,
    ambient: Value = 293.15,
    horizon: Value = 6 * 3600.0,
    limits: Sequence[float] = LIMITS,
    ramp: Value = RAMP,
    seed: int = 0,
) -> Plan:
    """What each current limit would cost in time and risk, and which to set.

    time = integral C dT / (Q_evap(limit, T) - Q_load - UA (T_amb - T));
    P(trip) = 1 - exp(-sum dt/interval (-ln(1 - rate((trip - I(limit, T)) / sigma))))

    Parameters
    ----------
    machine : Machine
        From `machine_curve.machine_from_table` or `machine_from_curves`.
    ripple : Ripple
        From `ripple.ripple_from_trend` or `ripple_from_range`.
    start : Quantity
        Mean temperature of the loop [K].
    target : Quantity
        Leaving water at which the pull-down ends [K].
    heat_capacity, load : Quantity
        Of the loop, and connected [J/K], [W].
    trip : Quantity
        Overcurrent trip as a part of full-load current [1].
    risk : Quantity
        Chance of a trip that is accepted [1].
    delay : Quantity, optional
        How long the current must stay above the trip [s].
    u_trip, u_heat_capacity, u_load, u_capacity : Quantity, optional
        Standard uncertainties [1], [J/K], [W], [1] (relative, of the machine's capacity).
    flow_capacity, conductance, ambient, horizon : Quantity, optional
        m cp through the evaporator [W/K]; of the loop to its surroundings [W/K], [K]; how far to
        look [s].
    limits : sequence of float
        As parts of full-load current.
    ramp : Quantity, optional
        Over which the limit is given back [s].
    seed : int
        Of the draws.

    Returns
    -------
    Plan

    Raises
    ------
    ScienceError
        No heat capacity, no limits, or a risk outside 0 to 1.

    Source: heat balance; first passage of a Markov chain. Checked against simulated pull-downs, see
    the proof.
    """
    if heat_capacity <= 0 or not limits or not 0 < risk < 1:
        raise ScienceError(
            "no loop, no limits, or a risk that is not between 0 and 1",
            "pull-down",
            "enter the loop's volume and the accepted risk",
        )
    model = TripModel(bare(ripple), delay)
    rng = np.random.default_rng(seed)
    count = model.sigma.size
    trips = trip + u_trip * rng.standard_normal(count)
    loop = _Loop(
        start,
        target,
        np.maximum(
            heat_capacity + u_heat_capacity * rng.standard_normal(count), 0.05 * heat_capacity
        ),
        load + u_load * rng.standard_normal(count),
        np.maximum(1 + u_capacity * rng.standard_normal(count), 0.05),
        flow_capacity,
        conductance,
        ambient,
        horizon,
    )
    descents = [_descend(machine, limit, loop) for limit in limits]
    times = np.array([_quantiles(descent.times) for descent in descents])
    chances = np.array([_chance(model, descent, trips, horizon) for descent in descents])
    proposed, hold, why = _propose(machine, limits, descents, times, chances, risk)
    return Plan(
        np.array(limits),
        times[:, 1],
        times[:, 0],
        times[:, 2],
        chances[:, 1],
        chances[:, 0],
        chances[:, 2],
        proposed,
        hold,
        ramp,
        why,
    )


def _quantiles(values: np.ndarray) -> tuple[float, float, float]:
    low, middle, high = np.quantile(values, [INTERVAL[0], 0.5, INTERVAL[1]], method="nearest")
    return float(low), float(middle), float(high)


def _chance(
    model: TripModel, descent: _Descent, trips: np.ndarray, horizon: float
) -> tuple[float, float, float]:
    total = descent.dwell.sum()
    if total == 0:
        return 0.0, 0.0, 0.0
    # A draw with a larger loop or more load stays longer at every step.
    stretch = np.minimum(descent.times, horizon) / total
    tripped = 1 - model.survival(
        np.asarray(descent.current, dtype=float), descent.dwell, trips, stretch
    )
    low, high = np.quantile(tripped, INTERVAL)
    return float(low), float(tripped.mean()), float(high)


def _propose(
    machine: Machine,
    limits: Sequence[float],
    descents: list[_Descent],
    times: np.ndarray,
    chances: np.ndarray,
    risk: float,
) -> tuple[float, float, str]:
    safe = [
        place
        for place in range(len(limits))
        if chances[place, 2] <= risk and math.isfinite(times[place, 1])
    ]
    if not safe:
        reach = (
            "none reaches set point in time at that risk"
            if np.any(chances[:, 2] <= risk)
            else "all may trip more often than the risk allows"
        )
        return math.nan, math.nan, f"no limit can be proposed: {reach}"
    chosen = max(safe, key=lambda place: limits[place])
    descent = descents[chosen]
    # Once the open vanes draw less than the limit, the limit no longer holds anything.
    free = np.asarray(machine.full_vane_current(descent.leaving)) <= limits[chosen]
    hold = (
        float(descent.dwell[: int(np.argmax(free))].sum())
        if np.any(free)
        else float(descent.dwell.sum())
    )
    end = (
        "the open vanes draw less than the limit"
        if np.any(free)
        else "the leaving water is at set point"
    )
    return (
        float(limits[chosen]),
        hold,
        f"the highest limit within the accepted risk; hold it until {end}",
    )
