"""Pulling down a warm loop: one lump of water, a chiller under a current limit, vanes that move at
their own rate.

    C dT/dt = Q_load - Q_evap(T, vanes),  C = rho V cp

The limiter sees the current late and smoothed, the vanes need their travel time: so the current
overshoots its limit, the more the faster the vanes open and the warmer the loop is, and then hunts.
With a limit set close to the overcurrent trip the first start trips; further off it does not.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

import numpy as np

from workbook.chiller_model import CELSIUS, Chiller, Conditions, Steady
from workbook.compressor_model import NoLift, OutOfMap
from workbook.fluids import water_density, water_heat_capacity

ENTERING = np.array(
    [6.0, 10.0, 15.0, 20.0, 25.0, 29.0]
)  # °C; warmer than that there is hardly any lift left to describe
POSITIONS = np.array([0.02, 0.05, 0.10, 0.18, 0.30, 0.45, 0.65, 1.0])


@dataclass(frozen=True)
class Loop:
    """The chilled-water loop.

    Parameters
    ----------
    volume : float
        [m3].
    load : float
        [W] connected load that runs during the pull-down, heat gain included.
    start : float
        [°C] before.
    """

    volume: float
    load: float
    start: float


@dataclass(frozen=True)
class Control:
    """How the machine's own controller opens the vanes.

    Parameters
    ----------
    current_limit : tuple of (float, float)
        (from second, share of full-load current), in order of time.
    set_point : float
        [°C] leaving chilled water.
    opening_time, closing_time : float
        [s] full travel of the vanes.
    delay, smoothing : float
        [s] dead time and time constant with which the controller sees the current.
    band : float
        Share of full-load current below the limit in which the vanes hold.
    trip, trip_delay : float
        Share of full-load current, and [s] for which it must last.
    slowing : float
        Share of full-load current, distance from the middle of the band over which the vanes slow
        down; nil: they move at full speed until the limit is passed, and the current hunts.
    """

    current_limit: tuple[tuple[float, float], ...]
    set_point: float
    opening_time: float
    closing_time: float
    delay: float = 3.0
    smoothing: float = 4.0
    band: float = 0.03
    trip: float = 1.08
    trip_delay: float = 2.0
    slowing: float = 0.0

    def speed(self, seen: float, limit: float) -> float:
        """Share of the vanes' own speed at which they move."""
        if not self.slowing:
            return 1.0
        return min(1.0, abs(seen - (limit - self.band / 2)) / self.slowing)

    def limit_at(self, second: float) -> float:
        """The limit that is set at that time."""
        return [share for since, share in self.current_limit if since <= second][-1]


@dataclass(frozen=True)
class PullDown:
    """The course of a pull-down, one sample a second: temperatures [°C], current as a share of
    full-load current, vane position 0 to 1.
    """

    time: np.ndarray
    entering: np.ndarray
    leaving: np.ndarray
    current: np.ndarray
    position: np.ndarray
    capacity: np.ndarray
    power: np.ndarray
    tripped_at: float | None

    @property
    def peak(self) -> float:
        return float(self.current.max())

    def reached(self, leaving: float) -> float | None:
        """[s] at which the leaving water first was this cold; None if it never was."""
        cold = np.flatnonzero(self.leaving <= leaving)
        return float(self.time[cold[0]]) if cold.size else None


class VaneMap:
    """Capacity and power of a machine at design speed over entering chilled water and vane
    position.
    """

    def __init__(
        self, machine: Chiller, flows: tuple[float, float], entering_condenser: float
    ) -> None:
        self._machine = replace(
            machine, compressor=replace(machine.compressor, variable_speed=False)
        )
        self.flows, self._condenser = flows, entering_condenser
        shape = (ENTERING.size, POSITIONS.size)
        self._capacity, self._power = np.empty(shape), np.empty(shape)
        for (i, t), (j, position) in itertools.product(enumerate(ENTERING), enumerate(POSITIONS)):
            found = self._at_position(float(t), float(position))
            self._capacity[i, j], self._power[i, j] = found.capacity, found.power

    def _at(self, entering: float, capacity: float) -> Steady:
        mass = self.flows[0] * float(water_density(CELSIUS + entering))
        leaving = entering - capacity / mass / float(water_heat_capacity(CELSIUS + entering))
        return self._machine.steady(
            Conditions(capacity, CELSIUS + leaving, CELSIUS + self._condenser, *self.flows)
        )

    def _at_position(self, entering: float, position: float) -> Steady:
        low, high, best = 0.0, 1.8 * self._machine.evaporator.duty, None
        for _ in range(16):
            middle = 0.5 * (low + high)
            try:
                found = self._at(entering, middle)
                fits = found.operation.position <= position
                best = found if fits or best is None else best
            except NoLift:
                # Warm water over a cold condenser runs by itself up to the load at which a lift
                # appears.
                fits = True
            except OutOfMap:
                fits = False
            low, high = (middle, high) if fits else (low, middle)
        if best is None:
            raise OutOfMap(f"no load at {entering:g} °C entering with the vanes at {position:.0%}")
        return best

    def at(self, entering: float, position: float) -> tuple[float, float]:
        """Capacity and input power [W], bilinear in the table."""
        i = int(np.clip(np.searchsorted(ENTERING, entering) - 1, 0, ENTERING.size - 2))
        j = int(np.clip(np.searchsorted(POSITIONS, position) - 1, 0, POSITIONS.size - 2))
        a = np.clip((entering - ENTERING[i]) / (ENTERING[i + 1] - ENTERING[i]), 0.0, 1.0)
        b = np.clip((position - POSITIONS[j]) / (POSITIONS[j + 1] - POSITIONS[j]), 0.0, 1.0)
        weights = ((1 - a) * (1 - b), (1 - a) * b, a * (1 - b), a * b)
        cells = ((i, j), (i, j + 1), (i + 1, j), (i + 1, j + 1))
        return (
            float(sum(w * self._capacity[c] for w, c in zip(weights, cells, strict=True))),
            float(sum(w * self._power[c] for w, c in zip(weights, cells, strict=True))),
        )


def pull_down(
    vanes: VaneMap,
    machine: Chiller,
    full_load_current: float,
    loop: Loop,
    control: Control,
    rng: np.random.Generator,
    duration: float = 3600.0,
    ripple: float = 0.012,
    ripple_period: float = 9.0,
) -> PullDown:
    """The course of a pull-down, ending with a trip or at `duration` [s].

    Parameters
    ----------
    vanes : VaneMap
    machine : Chiller
    full_load_current : float
        [A].
    loop : Loop
    control : Control
    rng : numpy.random.Generator
    duration : float
        [s].
    ripple, ripple_period : float
        Amplitude of the current's own ripple as a share of the current, and its period [s].
    """
    return _Course(
        vanes, machine, full_load_current, loop, control, rng, ripple, ripple_period
    ).run(duration)


class _Course:
    """The integration, one second a step."""

    def __init__(
        self, vanes, machine, full_load_current, loop, control, rng, ripple, period
    ) -> None:
        self.vanes, self.machine, self.fla, self.loop, self.control = (
            vanes,
            machine,
            full_load_current,
            loop,
            control,
        )
        self.rng, self.ripple, self.period, self.phase = (
            rng,
            ripple,
            period,
            rng.uniform(0, 2 * np.pi),
        )
        self.temperature, self.position, self.seen, self.over = loop.start, POSITIONS[0], 0.0, 0.0
        self.late: list[float] = [0.0] * (round(control.delay) + 1)
        self.rows: list[tuple[float, ...]] = []

    def run(self, duration: float) -> PullDown:
        tripped = None
        for second in range(int(duration) + 1):
            self._step(float(second))
            if self.over >= self.control.trip_delay:
                tripped = float(second)
                break
        return PullDown(*np.array(self.rows).T, tripped)

    def _step(self, second: float) -> None:
        capacity, power = self.vanes.at(self.temperature, self.position)
        mass = self.vanes.flows[0] * float(water_density(CELSIUS + self.temperature))
        leaving = self.temperature - capacity / mass / float(
            water_heat_capacity(CELSIUS + self.temperature)
        )
        wave = self.ripple * np.sin(
            2 * np.pi * second / self.period + self.phase
        ) + self.rng.normal(0, self.ripple / 5)
        current = self.machine.drive.current(power) * (1 + wave) / self.fla
        self.rows.append(
            (second, self.temperature, leaving, current, self.position, capacity, power)
        )
        self.over = self.over + 1 if current > self.control.trip else 0.0
        self._move(self._seen(current), leaving, self.control.limit_at(second))
        heat = self.loop.volume * float(
            water_density(CELSIUS + self.temperature)
            * water_heat_capacity(CELSIUS + self.temperature)
        )
        self.temperature += (self.loop.load - capacity) / heat

    def _seen(self, current: float) -> float:
        self.late = [*self.late[1:], current]
        self.seen += (self.late[0] - self.seen) / self.control.smoothing
        return self.seen

    def _move(self, seen: float, leaving: float, limit: float) -> None:
        control, error = self.control, leaving - self.control.set_point
        if seen > limit or error < -0.3:
            self.position -= control.speed(seen, limit) / control.closing_time
        elif seen < limit - control.band and error > 0.3:
            # Close to the set point the vanes creep.
            speed = control.speed(seen, limit)
            self.position += min(speed, error / 3.0) / control.opening_time
        self.position = float(np.clip(self.position, POSITIONS[0], 1.0))
