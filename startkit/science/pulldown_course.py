"""Pull-down course: how the loop should come down under a plan, and the time still to go."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from startkit.formula import Number, Value
from startkit.science.loop import Course, pull_down
from startkit.science.loop_estimate import LoopEstimate
from startkit.science.pulldown import RAMP, Machine, _descend, _Loop, _quantiles
from startkit.units import quantities


@dataclass(frozen=True)
class Remaining:
    """Time still to go to set point, with its 90 % interval; infinite: not at this limit."""

    time: Value
    low: Value
    high: Value


@quantities(
    {"time": "second", "loop": "kelvin", "leaving": "kelvin", "heat": "watt"},
    start="kelvin",
    target="kelvin",
    heat_capacity="joule/delta_degC",
    load="watt",
    limit="dimensionless",
    hold="second",
    ramp="second",
    flow_capacity="watt/delta_degC",
    conductance="watt/delta_degC",
    ambient="kelvin",
    horizon="second",
)
def planned_course(
    machine: Machine,
    limit: Value,
    start: Value,
    target: Value,
    heat_capacity: Value,
    load: Value,
    hold: Value = math.inf,
    ramp: Value = RAMP,
    flow_capacity: Value = None,
    conductance: Value = 0.0,
    ambient: Value = 293.15,
    horizon: Value = 6 * 3600.0,
) -> Course:
    """The planned course of temperatures at one limit, held and then given back over a ramp, by the
    differential equation.

    C dT/dt = Q_load + UA (T_amb - T) - Q_evap(limit(t), T_leaving)

    Parameters
    ----------
    machine, limit, start, target, heat_capacity, load : see `plan`
        `limit` as a part of full-load current [1].
    hold, ramp : Quantity, optional
        How long the limit is held, and over which time it returns to 100 % [s].
    flow_capacity, conductance, ambient, horizon : Quantity, optional
        See `plan`.

    Returns
    -------
    Course

    Raises
    ------
    ScienceError
        No heat capacity.

    Source: see `loop.pull_down`.
    """

    def allowed(time: float) -> float:
        return (
            limit
            if time <= hold
            else min(limit + (1 - limit) * (time - hold) / max(ramp, 1e-9), max(1.0, limit))
        )

    return pull_down.si(
        start,
        target,
        heat_capacity,
        load,
        lambda time, leaving: machine.capacity(allowed(time), leaving),
        flow_capacity,
        conductance,
        ambient,
        horizon,
    )


@quantities(
    {"time": "second", "low": "second", "high": "second"},
    limit="dimensionless",
    now="kelvin",
    target="kelvin",
    u_capacity="dimensionless",
    flow_capacity="watt/delta_degC",
    conductance="watt/delta_degC",
    ambient="kelvin",
    horizon="second",
)
def time_to_go(
    machine: Machine,
    limit: Value,
    now: Value,
    target: Value,
    seen: LoopEstimate,
    u_capacity: Value = 0.0,
    flow_capacity: Value = None,
    conductance: Value = 0.0,
    ambient: Value = 293.15,
    horizon: Value = 6 * 3600.0,
    seed: int = 0,
) -> Remaining:
    """Time still to go to set point, with the loop as it was estimated from the pull-down seen so
    far.

    As in `plan`, from the mean temperature of the loop now; heat capacity and load drawn together
    with their correlation

    Parameters
    ----------
    machine, limit : see `plan`
    now, target : Quantity
        Mean loop temperature now, leaving water at the end [K].
    seen : LoopEstimate
        From `loop_estimate.estimate`.
    u_capacity, flow_capacity, conductance, ambient, horizon : Quantity, optional
        See `plan`.
    seed : int
        Of the draws.

    Returns
    -------
    Remaining

    Source: heat balance; Monte Carlo over the estimate's covariance, JCGM 101.
    """
    rng = np.random.default_rng(seed)
    capacity, u_capacity_loop, load, u_load = (
        _plain(getattr(seen, name))
        for name in ("heat_capacity", "u_heat_capacity", "load", "u_load")
    )
    first, second = rng.standard_normal((2, 1000))
    correlated = seen.correlation * first + math.sqrt(max(1 - seen.correlation**2, 0.0)) * second
    loop = _Loop(
        now,
        target,
        np.maximum(capacity + u_capacity_loop * first, 0.05 * capacity),
        load + u_load * correlated,
        np.maximum(1 + u_capacity * rng.standard_normal(1000), 0.05),
        flow_capacity,
        conductance,
        ambient,
        horizon,
    )
    low, middle, high = _quantiles(_descend(machine, float(limit), loop).times)
    return Remaining(middle, low, high)


def _plain(value: Number) -> float:
    return (
        float(value.to_base_units().magnitude) if hasattr(value, "to_base_units") else float(value)
    )
