"""A start behind a variable-speed drive: the ramp to speed, then the pull-down's first minutes, and
a trip if it comes.

    T = J alpha + T_load n^2;  P = T omega / efficiency;  I = P / (sqrt(3) U pf)

The drive holds a straight ramp of speed, so the line current grows with the speed and falls to the
light load's once the speed is reached. Behind it the loop takes over (`workbook.loop_model`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from workbook.loop_model import PullDown
from workbook.oil_model import OilCircuit, with_shaft

PHASES = (1.011, 0.993, 0.996)  # how three phases share the current


@dataclass(frozen=True)
class Ramp:
    """The drive's ramp.

    Parameters
    ----------
    time : float
        [s] from start to full speed.
    speed : float
        [r/min] at full speed.
    inertia_power : float
        Power at the end of the ramp that goes into the rotating masses, as a share of full-load
        power.
    load_power : float
        Power of the closed machine at full speed, as a share of full-load power.
    coast : float
        [s] time constant of the shaft after a trip.
    """

    time: float = 24.0
    speed: float = 3558.0
    inertia_power: float = 0.42
    load_power: float = 0.16
    coast: float = 16.0
    wait: float = 4.0

    def share_of_speed(self, t: float, tripped: float | None = None) -> float:
        """Share of full speed at `t` [s] after the start; `tripped` [s] on the same clock."""
        if tripped is not None and t > tripped:
            return min(1.0, tripped / self.time) * float(np.exp(-(t - tripped) / self.coast))
        return min(1.0, t / self.time)

    def current(self, t: float) -> float:
        """Line current during the ramp as a share of full-load current."""
        n = min(1.0, t / self.time)
        return 0.02 + self.inertia_power * n + self.load_power * n**3


@dataclass(frozen=True)
class RunUpRecord:
    """A recorded start: time [s], speed [r/min], current of three phases [A], oil differential as
    shown [Pa], vane position 0 to 1; when it tripped.
    """

    time: np.ndarray
    speed: np.ndarray
    currents: np.ndarray
    oil: np.ndarray
    vanes: np.ndarray
    tripped_at: float | None


def run_up(
    ramp: Ramp,
    course: PullDown,
    full_load_current: float,
    circuit: OilCircuit,
    celsius: float,
    rng: np.random.Generator,
    duration: float,
    interval: float = 0.5,
    phases: tuple[float, float, float] = PHASES,
) -> RunUpRecord:
    """The record of a start, the pull-down beginning `ramp.wait` after full speed.

    Parameters
    ----------
    ramp : Ramp
    course : PullDown
        What follows at speed.
    full_load_current : float
        [A].
    circuit : OilCircuit
    celsius : float
        [°C] oil.
    rng : numpy.random.Generator
    duration, interval : float
        [s]; the record ends two seconds after a trip.
    phases : tuple of float
        How the phases share the current.
    """
    begins = ramp.time + ramp.wait
    tripped = None if course.tripped_at is None else begins + course.tripped_at
    end = duration if tripped is None else tripped + 2.0
    time = np.arange(0.0, end + 1e-9, interval)
    share = np.array([_current(ramp, course, t, begins, tripped) for t in time])
    amperes = full_load_current * share * np.array(phases)[:, None] + rng.normal(
        0.0, 0.4, (3, time.size)
    ) * (share > 0)
    speed = np.array([ramp.share_of_speed(t, tripped) for t in time])
    oil = with_shaft(circuit, celsius, rng, _shaft(ramp, tripped), end, interval=interval)
    vanes = np.interp(time - begins, course.time, course.position, left=0.003)
    return RunUpRecord(
        time, ramp.speed * speed, np.maximum(amperes, 0.0), oil.read[: time.size], vanes, tripped
    )


def _shaft(ramp: Ramp, tripped: float | None) -> Callable[[float], float]:
    return lambda t: ramp.share_of_speed(t, tripped)


def _current(ramp: Ramp, course: PullDown, t: float, begins: float, tripped: float | None) -> float:
    if tripped is not None and t > tripped:
        return 0.0
    if t <= ramp.time:
        return ramp.current(t)
    at_speed = float(course.current[0])
    return at_speed if t < begins else float(np.interp(t - begins, course.time, course.current))


def run_up_rows(record: RunUpRecord) -> str:
    """A block to paste: seconds, speed, three currents, oil differential, vane position."""
    lines = [
        "Time [s]\tSpeed [r/min]\tCurrent, first [A]\tCurrent, second [A]\tCurrent, third [A]\tOil"
        " differential [kPa]\tVanes [%]"
    ]
    for t, speed, (a, b, c), oil, vanes in zip(
        record.time, record.speed, record.currents.T, record.oil, record.vanes, strict=True
    ):
        lines.append(
            f"{t:.1f}\t{speed:.0f}\t{a:.1f}\t{b:.1f}\t{c:.1f}\t{oil / 1e3:.1f}\t{100 * vanes:.1f}"
        )
    return "\n".join(lines)
