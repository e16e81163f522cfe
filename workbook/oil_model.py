"""The lube-oil circuit: sump and heater, positive-displacement pump, filter, bearings, the
regulator and its two transducers.

    pump:     flow = displacement n - slip dp / nu
    bearings: flow = laminar dp / nu + orifice sqrt(dp)
    filter:   drop = filter nu flow (1 + dirt)

The regulator holds the differential that it *reads*. A transducer that reads too high by its zero
therefore leaves the bearings with too little by as much, and the pump runs slower than it should.
SI: Pa, m3/s, m2/s, r/s, K.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Oil:
    """Clean oil by two points of its data sheet, kinematic viscosity [m2/s] at 40 and 100 °C."""

    at_40: float
    at_100: float

    def viscosity(self, celsius: float) -> float:
        """Kinematic viscosity [m2/s]: log log (nu + 0.7) is linear in log T (Walther)."""

        def twice(v: float) -> float:
            return math.log10(math.log10(v * 1e6 + 0.7))

        slope = (twice(self.at_40) - twice(self.at_100)) / (math.log10(373.15) - math.log10(313.15))
        value = twice(self.at_40) - slope * (math.log10(celsius + 273.15) - math.log10(313.15))
        return (10 ** (10**value) - 0.7) * 1e-6


@dataclass(frozen=True)
class OilCircuit:
    """One machine's oil circuit.

    Parameters
    ----------
    oil : Oil
    set_point : float
        [Pa] differential that the regulator holds.
    speed_at_design : float
        [r/s] pump speed that holds it at 50 °C with all transducers true.
    supply_zero, sump_zero : float
        [Pa] what each transducer adds to the true pressure.
    dirt : float
        0 clean filter, 1 twice the clean drop.
    variable_speed : bool
        False: the pump runs at `fixed_speed` and a relief valve passes the rest.
    """

    oil: Oil
    set_point: float
    speed_at_design: float = 24.0
    supply_zero: float = 0.0
    sump_zero: float = 0.0
    dirt: float = 0.0
    variable_speed: bool = True
    fixed_speed: float = 29.0
    flow_at_design: float = 0.6e-3
    laminar_share: float = 0.6
    slip_share: float = 0.12
    clean_filter_drop: float = 20e3
    design_celsius: float = 50.0

    @property
    def read_offset(self) -> float:
        """[Pa] by which the read differential exceeds the true one."""
        return self.supply_zero - self.sump_zero

    @property
    def true_differential(self) -> float:
        """[Pa] at the bearings when the regulator has settled."""
        return self.set_point - self.read_offset

    def bearing_flow(self, differential: float, celsius: float) -> float:
        """[m3/s] through bearings and gear sprays."""
        thinner = self.oil.viscosity(self.design_celsius) / self.oil.viscosity(celsius)
        relative = max(differential, 0.0) / self.set_point
        return self.flow_at_design * (
            self.laminar_share * relative * thinner + (1 - self.laminar_share) * math.sqrt(relative)
        )

    def filter_drop(self, flow: float, celsius: float) -> float:
        """[Pa]."""
        thicker = self.oil.viscosity(celsius) / self.oil.viscosity(self.design_celsius)
        return self.clean_filter_drop * (1 + self.dirt) * flow / self.flow_at_design * thicker

    def pump_speed(self, differential: float, celsius: float) -> float:
        """[r/s] at which the pump holds this true differential at the bearings."""
        flow = self.bearing_flow(differential, celsius)
        head = differential + self.filter_drop(flow, celsius)
        design_head = self.set_point + self.clean_filter_drop
        thinner = self.oil.viscosity(self.design_celsius) / self.oil.viscosity(celsius)
        displaced = flow + self.slip_share * self.flow_at_design * head / design_head * thinner
        return self.speed_at_design * displaced / (self.flow_at_design * (1 + self.slip_share))

    def differential_at(self, speed: float, celsius: float) -> float:
        """[Pa] true differential at a pump speed, by bisection."""
        low, high = 0.0, 20 * self.set_point
        for _ in range(60):
            middle = 0.5 * (low + high)
            low, high = (
                (middle, high) if self.pump_speed(middle, celsius) < speed else (low, middle)
            )
        return low


@dataclass(frozen=True)
class OilCourse:
    """The oil pressure over time: time [s], true and read differential [Pa], pump speed [r/s]."""

    time: np.ndarray
    true: np.ndarray
    read: np.ndarray
    speed: np.ndarray


class _Regulated:
    """Pump, lines and a proportional-integral regulator, integrated in steps of a tenth of a
    second.
    """

    STEP, LAG = 0.1, 1.2  # s

    def __init__(self, circuit: OilCircuit, celsius: float, speed: float, true: float) -> None:
        self.circuit, self.speed, self.true = circuit, speed, true
        self.integral = speed or 0.6 * circuit.speed_at_design
        self.speeds = np.linspace(0, 2 * circuit.speed_at_design, 60)
        self.table = np.array([circuit.differential_at(s, celsius) for s in self.speeds])

    def step(self, on: bool, filled: float, thirst: float) -> None:
        """One step; `filled` is 0 to 1 while lines fill, `thirst` scales the bearings' oil flow."""
        wanted = self._wanted() if on else 0.0
        self.speed += float(np.clip(wanted - self.speed, -8 * self.STEP, 8 * self.STEP))
        reached = float(np.interp(self.speed / thirst, self.speeds, self.table)) * filled
        # A relief valve holds a fixed-speed pump at its setting.
        target = (
            reached if self.circuit.variable_speed else min(reached, self.circuit.true_differential)
        )
        self.true += (target - self.true) * self.STEP / self.LAG

    def _wanted(self) -> float:
        circuit = self.circuit
        if not circuit.variable_speed:
            return circuit.fixed_speed
        error = (
            (circuit.set_point - (self.true + circuit.read_offset))
            / circuit.set_point
            * circuit.speed_at_design
        )
        self.integral = float(np.clip(self.integral + error * 0.16 * self.STEP, 0, self.speeds[-1]))
        return self.integral + 0.25 * error


def _record(
    machine: _Regulated,
    moments: np.ndarray,
    every: int,
    rng: np.random.Generator,
    noise: float,
    course: Callable[[float], tuple[bool, float, float]],
) -> OilCourse:
    rows = []
    for index, time in enumerate(moments):
        if index % every == 0:
            rows.append(
                (
                    time,
                    machine.true,
                    machine.true + machine.circuit.read_offset + rng.normal(0, noise),
                    machine.speed,
                )
            )
        machine.step(*course(time))
    return OilCourse(*np.array(rows).T)


def pre_lube(
    circuit: OilCircuit,
    celsius: float,
    rng: np.random.Generator,
    duration: float = 90.0,
    interval: float = 1.0,
    noise: float = 600.0,
) -> OilCourse:
    """The differential from the start of the pump on; lines and filter fill before pressure builds.

    Parameters
    ----------
    circuit : OilCircuit
    celsius : float
        [°C] oil temperature.
    rng : numpy.random.Generator
    duration, interval : float
        [s].
    noise : float
        [Pa] standard deviation of the read differential.
    """
    moments = np.arange(0.0, duration + 0.05, _Regulated.STEP)
    return _record(
        _Regulated(circuit, celsius, 0.0, 0.0),
        moments,
        round(interval / _Regulated.STEP),
        rng,
        noise,
        lambda time: (True, min(1.0, max(0.0, (time - 0.5) / 2.5)), 1.0),
    )


TURNING = 1.12  # a turning shaft drags that much more oil through its bearings than a standing one


def _running(circuit: OilCircuit, celsius: float, shaft: float) -> _Regulated:
    """The circuit regulated and settled, the shaft at this share of its speed."""
    speed = circuit.pump_speed(circuit.true_differential, celsius) * (1 + (TURNING - 1) * shaft)
    return _Regulated(circuit, celsius, speed, circuit.true_differential)


def with_shaft(
    circuit: OilCircuit,
    celsius: float,
    rng: np.random.Generator,
    shaft: Callable[[float], float],
    duration: float,
    pump_off: float | None = None,
    interval: float = 1.0,
    noise: float = 600.0,
) -> OilCourse:
    """The differential while the shaft's speed changes, the pump running before.

    Parameters
    ----------
    circuit : OilCircuit
    celsius : float
        [°C] oil temperature.
    rng : numpy.random.Generator
    shaft : callable
        Share of full speed over time [s].
    duration : float
        [s].
    pump_off : float, optional
        [s] when the pump is switched off.
    interval : float
        [s].
    noise : float
        [Pa].
    """
    moments = np.arange(0.0, duration + 0.05, _Regulated.STEP)
    off = np.inf if pump_off is None else pump_off
    return _record(
        _running(circuit, celsius, shaft(0.0)),
        moments,
        round(interval / _Regulated.STEP),
        rng,
        noise,
        lambda time: (time < off, 1.0, 1.0 + (TURNING - 1.0) * shaft(time)),
    )


def coast_down(
    circuit: OilCircuit, celsius: float, rng: np.random.Generator, at_rest: float, pump_off: float
) -> OilCourse:
    """From the stop of the motor until half a minute after the pump is switched off, a reading
    every 2 s.
    """
    return with_shaft(
        circuit,
        celsius,
        rng,
        lambda time: max(0.0, 1 - time / at_rest),
        pump_off + 30.0,
        pump_off,
        2.0,
    )


def warm_up(
    start: float,
    ambient: float,
    hours: np.ndarray,
    heater: float = 1500.0,
    heat_capacity: float = 95e3,
    loss: float = 35.0,
) -> np.ndarray:
    """Sump temperature [°C] over hours with the heater on.

    C dT/dt = P - K (T - T_ambient)

    Parameters
    ----------
    start, ambient : float
        [°C].
    hours : numpy.ndarray
    heater : float
        [W].
    heat_capacity : float
        [J/K] of oil and sump.
    loss : float
        [W/K].
    """
    final = ambient + heater / loss
    return final + (start - final) * np.exp(-loss * np.asarray(hours) * 3600 / heat_capacity)
