"""A guide-vane drive as a small physical model, to make strokes whose faults are known.

Drive shaft (rate, dead time, load towards the ends), play, output shaft (position sensor and
closed-position switch), linkage to the vanes (seen position). Seeded, so that the same seed makes
the same strokes. It serves tests, the published table of diagnoses, and the demonstration job;
its figures are invented.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from startkit.science.strokes import CLOSING, OPENING, RAMP, STAIRCASE, STEP, Stroke

STEP_OF_MODEL = 0.1  # [s] integration step


@dataclass(frozen=True)
class VaneDrive:
    """The drive and its sensors; positions are fractions of travel.

    Parameters
    ----------
    opening_time, closing_time : float
        [s] unloaded full travel.
    dead_time : float
        [s] from command to first movement of the drive shaft.
    play : float
        Lost motion between drive shaft and output shaft.
    zero, span : float
        Position sensor: reading = zero + span position.
    zero_drift : float
        Shift of the zero per stroke.
    noise : float
        Standard deviation of the reading.
    make, differential, switch_scatter : float
        Output-shaft position where the switch makes closing, how much further open it breaks,
        standard deviation of both from stroke to stroke.
    switch_failure, switch_chatter : float
        Chance per closing stroke that the switch does not make, and that it chatters.
    load_closed, load_open : float
        Load at the closed and the open end as a share of stall torque; speed = unloaded speed (1 -
        load). 1 or more stops short.
    jumps : float
        Chance per sample that the reading jumps for that sample.
    dead_spot : tuple of float or None
        Start and width of a stretch in which the reading stops and then jumps.
    slip : float
        Vanes stand this much further open than the output shaft says, growing to this value over
        the strokes.
    seen_noise : float or None
        Standard deviation with which the position is seen; None: not observed.
    timer : float
        [s] after which the drive takes a full stroke as finished.
    """

    opening_time: float = 42.0
    closing_time: float = 42.0
    dead_time: float = 0.6
    play: float = 0.006
    zero: float = 0.0
    span: float = 1.0
    zero_drift: float = 0.0
    noise: float = 0.004
    make: float = 0.018
    differential: float = 0.012
    switch_scatter: float = 0.0015
    switch_failure: float = 0.0
    switch_chatter: float = 0.0
    load_closed: float = 0.05
    load_open: float = 0.05
    jumps: float = 0.0
    dead_spot: tuple[float, float] | None = None
    slip: float = 0.0
    seen_noise: float | None = 0.006
    timer: float = 50.0


@dataclass
class _Shafts:
    """Where drive and output shaft stand; the drive can turn `play` further than the output."""

    drive: float
    output: float


def _load(drive: VaneDrive, position: float, direction: float) -> float:
    """Load as a share of stall torque, rising with the square of the distance from the middle, in
    the direction of the stroke only.
    """
    end = drive.load_open if direction > 0 else drive.load_closed
    depth = max(0.0, direction * (position - 0.5) / 0.5)
    return min(1.0, 0.05 + (end - 0.05) * depth**2)


def _advance(drive: VaneDrive, shafts: _Shafts, target: float) -> None:
    """One integration step towards a commanded position."""
    goal = 1.0 + drive.play if target >= 1.0 else target
    gap = goal - shafts.drive
    direction = 1.0 if gap > 0 else -1.0
    full = 1.0 / (drive.opening_time if gap > 0 else drive.closing_time)
    step = full * (1.0 - _load(drive, shafts.output, direction)) * STEP_OF_MODEL
    shafts.drive += direction * min(abs(gap), step)
    # The drive pushes the output on its far side of the play opening, on its near side closing.
    pushed = (
        max(shafts.output, shafts.drive - drive.play)
        if direction > 0
        else min(shafts.output, shafts.drive)
    )
    shafts.output = min(max(pushed, 0.0), 1.0)


def _command(
    drive: VaneDrive, form: str, direction: str, hold: float, steps: int, ramp_time: float
) -> tuple[np.ndarray, np.ndarray, float]:
    """Times [s], commanded position, and when the drive's timer ends."""
    lead, full = 3.0, (drive.opening_time if direction == OPENING else drive.closing_time)
    if form == STAIRCASE:
        each = full / steps * 1.3 + hold
        time = np.arange(0.0, lead + each * steps, STEP_OF_MODEL)
        course = np.clip(np.floor((time - lead) / each) + 1, 0, steps) / steps
        finish = lead + each * steps
    else:
        time = np.arange(0.0, lead + max(drive.timer, full, ramp_time) + 12.0, STEP_OF_MODEL)
        course = (
            (time >= lead).astype(float)
            if form == STEP
            else np.clip((time - lead) / ramp_time, 0.0, 1.0)
        )
        finish = lead + drive.timer
    return time, course if direction == OPENING else 1.0 - course, finish


def _turn(drive: VaneDrive, shafts: _Shafts, command: np.ndarray) -> np.ndarray:
    """Output-shaft position along the command."""
    late = round(drive.dead_time / STEP_OF_MODEL)
    delayed = np.concatenate([np.full(late, command[0]), command[: len(command) - late]])
    output = np.empty(len(command))
    for i, target in enumerate(delayed):
        # The drive is not powered before the command comes, so backlash is not closed beforehand.
        if target != delayed[0]:
            _advance(drive, shafts, float(target))
        output[i] = shafts.output
    return output


def _read(
    drive: VaneDrive, output: np.ndarray, strokes_before: int, rng: np.random.Generator
) -> np.ndarray:
    """What the position sensor says."""
    seen = output.copy()
    if drive.dead_spot:
        low, width = drive.dead_spot
        inside = (seen > low) & (seen < low + width)
        seen[inside] = low if output[-1] > output[0] else low + width
    reading = (
        drive.zero
        + drive.zero_drift * strokes_before
        + drive.span * seen
        + rng.normal(0.0, drive.noise, len(seen))
    )
    bad = rng.random(len(seen)) < drive.jumps
    return np.where(
        bad,
        reading + rng.choice([-1.0, 1.0], len(seen)) * rng.uniform(0.1, 0.4, len(seen)),
        reading,
    )


def _switch(
    drive: VaneDrive,
    output: np.ndarray,
    direction: str,
    made_before: bool,
    rng: np.random.Generator,
) -> np.ndarray:
    """State of the closed-position switch."""
    make = drive.make + rng.normal(0.0, drive.switch_scatter)
    if direction == CLOSING:
        made = (output <= make) & (rng.random() >= drive.switch_failure)
    else:
        made = (output <= make + drive.differential) & made_before
    change = np.flatnonzero(np.diff(made.astype(int)))
    if change.size and rng.random() < drive.switch_chatter:
        near = change[0] + 2 + 2 * np.arange(rng.integers(1, 3))
        near = near[near < len(made) - 2]
        made[near] = ~made[near]
    return made


def simulate_stroke(
    drive: VaneDrive,
    direction: str,
    rng: np.random.Generator,
    number: int = 1,
    form: str = STEP,
    interval: float = 1.0,
    hold: float = 8.0,
    steps: int = 10,
    ramp_time: float = 80.0,
    shafts: _Shafts | None = None,
    made_before: bool = True,
) -> Stroke:
    """One stroke as it would be recorded.

    Parameters
    ----------
    drive : VaneDrive
    direction : str
        ``"opening"`` or ``"closing"``.
    rng : numpy.random.Generator
    number : int
        Name of the stroke; zero drift and slip grow with it.
    form : str
        ``"step"``, ``"ramp"`` or ``"staircase"``.
    interval : float
        [s] between samples.
    hold, steps : float, int
        Of a staircase: how long each step is held [s], and how many there are.
    ramp_time : float
        Of a ramp [s].
    shafts : optional
        Where the stroke before left the shafts; altered in place.
    made_before : bool
        Whether the switch was made before an opening stroke.
    """
    at = (0.0, 0.0) if direction == OPENING else (1.0 + drive.play, 1.0)
    shafts = shafts or _Shafts(*at)
    time, command, finish = _command(drive, form, direction, hold, steps, ramp_time)
    rows = slice(None, None, max(1, round(interval / STEP_OF_MODEL)))
    output = _turn(drive, shafts, command)[rows]
    feedback = _read(drive, output, number - 1, rng)
    switch = _switch(drive, output, direction, made_before, rng)
    slipped = drive.slip * min(1.0, number / 3.0)
    seen = (
        None
        if drive.seen_noise is None
        else float(np.clip(shafts.output + slipped + rng.normal(0.0, drive.seen_noise), 0.0, 1.2))
    )
    return Stroke(
        direction,
        time[rows],
        command[rows],
        feedback,
        switch,
        finish if form != STAIRCASE else None,
        seen,
        number,
    )


def simulate_strokes(
    drive: VaneDrive,
    rng: np.random.Generator,
    pairs: int = 4,
    staircase: bool = True,
    interval: float = 1.0,
) -> list[Stroke]:
    """A calibration as a technician makes it: full strokes open and closed in pairs, then a
    staircase each way.

    Parameters
    ----------
    drive : VaneDrive
    rng : numpy.random.Generator
    pairs : int
        Full strokes open and closed.
    staircase : bool
        Add one staircase each way.
    interval : float
        [s] between samples.
    """
    forms = [STEP] * pairs + ([STAIRCASE] if staircase else [])
    records: list[Stroke] = []
    shafts, made = _Shafts(0.0, 0.0), True
    for form in forms:
        for direction in (OPENING, CLOSING):
            record = simulate_stroke(
                drive,
                direction,
                rng,
                len(records) + 1,
                form,
                interval,
                shafts=shafts,
                made_before=made,
            )
            made = bool(record.switch[-1]) if record.switch is not None else True
            records.append(record)
    return records


# --- faults ----------------------------------------------------------------------------------


def _calibration_lost(drive: VaneDrive, rng: np.random.Generator) -> VaneDrive:
    shift = rng.choice([-1.0, 1.0]) * rng.uniform(0.04, 0.12)
    if rng.random() < 0.3:
        return replace(drive, zero_drift=rng.choice([-1.0, 1.0]) * rng.uniform(0.008, 0.015))
    return replace(drive, zero=shift, span=1.0 - (shift if rng.random() < 0.5 else 0.0))


def _switch_misadjusted(drive: VaneDrive, rng: np.random.Generator) -> VaneDrive:
    if rng.random() < 0.5:
        return replace(drive, make=rng.uniform(0.08, 0.15))
    return replace(drive, make=-rng.uniform(0.01, 0.04))


def _switch_failing(drive: VaneDrive, rng: np.random.Generator) -> VaneDrive:
    return replace(
        drive,
        switch_scatter=rng.uniform(0.015, 0.03),
        make=0.03,
        switch_failure=rng.uniform(0.1, 0.4),
        switch_chatter=rng.uniform(0.3, 0.9),
    )


def _linkage_slip(drive: VaneDrive, rng: np.random.Generator) -> VaneDrive:
    return replace(drive, play=rng.uniform(0.05, 0.12), slip=rng.uniform(0.05, 0.12))


def _short_of_torque(drive: VaneDrive, rng: np.random.Generator) -> VaneDrive:
    load = rng.uniform(0.7, 1.15)
    return (
        replace(drive, load_closed=load)
        if rng.choice(["load_closed", "load_open"]) == "load_closed"
        else replace(drive, load_open=load)
    )


def _feedback_fault(drive: VaneDrive, rng: np.random.Generator) -> VaneDrive:
    if rng.random() < 0.5:
        return replace(drive, jumps=rng.uniform(0.01, 0.04))
    return replace(drive, dead_spot=(rng.uniform(0.15, 0.7), rng.uniform(0.08, 0.15)))


# Keyed by the names that `startkit.science.vane_diagnosis` uses.
FAULTS: dict[str, Callable[[VaneDrive, np.random.Generator], VaneDrive]] = {
    "calibration lost": _calibration_lost,
    "switch misadjusted": _switch_misadjusted,
    "switch failing": _switch_failing,
    "linkage slip": _linkage_slip,
    "actuator short of torque": _short_of_torque,
    "feedback fault": _feedback_fault,
    "nothing found": lambda drive, rng: drive,
}


def inject(
    fault: str, rng: np.random.Generator, drive: VaneDrive | None = None, size: float = 1.0
) -> VaneDrive:
    """A drive with one fault of random size; ``"nothing found"`` leaves it healthy.

    Parameters
    ----------
    fault : str
        A key of `FAULTS`.
    rng : numpy.random.Generator
    drive : VaneDrive, optional
        The healthy drive.
    size : float
        1 is the full fault, 0.5 half way between healthy and faulty.
    """
    healthy = drive or VaneDrive()
    faulty = FAULTS[fault](healthy, rng)
    if size == 1.0:
        return faulty
    changed = {
        f.name: (getattr(healthy, f.name), getattr(faulty, f.name))
        for f in fields(VaneDrive)
        if getattr(healthy, f.name) != getattr(faulty, f.name)
    }
    spot = changed.pop("dead_spot", None)
    part: dict[str, Any] = {
        name: was + size * (will - was) for name, (was, will) in changed.items()
    }
    part |= {"dead_spot": (spot[1][0], size * spot[1][1])} if spot else {}
    return replace(faulty, **part)


def ordinary(rng: np.random.Generator, noise: float = 0.004) -> VaneDrive:
    """A healthy drive as it varies from machine to machine; `noise` of the feedback as given."""
    return VaneDrive(
        opening_time=rng.uniform(30.0, 60.0),
        closing_time=rng.uniform(30.0, 60.0),
        dead_time=rng.uniform(0.2, 1.2),
        play=rng.uniform(0.002, 0.012),
        zero=rng.normal(0.0, 0.003),
        span=rng.normal(1.0, 0.004),
        noise=noise,
        make=rng.uniform(0.012, 0.025),
        timer=72.0,
    )


__all__ = [
    "CLOSING",
    "FAULTS",
    "OPENING",
    "RAMP",
    "STAIRCASE",
    "STEP",
    "VaneDrive",
    "inject",
    "ordinary",
    "simulate_stroke",
    "simulate_strokes",
]
