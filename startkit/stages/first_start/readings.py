"""The readings of a first start brought together: from typed fields and from the pasted record."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pint

from startkit.errors import StartkitError
from startkit.facts.machine import Machine
from startkit.procedure.block import Block
from startkit.procedure.entries import Entries
from startkit.procedure.oil_readings import Zero, trip_of, zero_of
from startkit.procedure.reading import Reading
from startkit.procedure.series import clock, dead_sensors
from startkit.procedure.starts import Next, Rules, Run, next_start, rules, runs
from startkit.science.motor import line_current
from startkit.science.run_up import RunUp, analyse_run_up
from startkit.stages.first_start.fields import INSIDE_DELTA, MOTOR_SIDE, SUPPLY_SIDE
from startkit.units import Q

PHASES = ("l1", "l2", "l3")
_LABELS = {
    "speed": "speed",
    "l1": "current L1",
    "l2": "current L2",
    "l3": "current L3",
    "oil": "oil differential",
    "vanes": "vane position",
}


@dataclass(frozen=True)
class Record:
    """The pasted run-up [s, SI], sensors at zero taken out; `block` knows its instrument."""

    time: np.ndarray
    columns: dict[str, np.ndarray]
    block: Block

    def currents(self) -> np.ndarray:
        return np.array([self.columns[phase] for phase in PHASES])


@dataclass(frozen=True)
class FirstStart:
    """What the stage's verdicts, figures and plots are made from; a typed reading takes
    precedence over the record's.

    `timed_by_record`, `peak_by_record`: run-up time and peak are the record's. `peak`, `settled`:
    in the line, wherever they were read; `at_drive_input`: read where they are not the motor's.
    """

    record: Record | None
    run_up: RunUp | None
    run_up_time: Reading
    timed_by_record: bool
    peak: tuple[Reading, ...]
    peak_by_record: bool
    settled: tuple[Reading, ...]
    at_drive_input: bool
    oil_lowest: Reading
    oil_at: pint.Quantity | None
    oil_zero: Zero
    oil_trip: pint.Quantity
    runs: tuple[Run, ...]
    rules: Rules
    next: Next
    problems: tuple[str, ...]


def collect(machine: Machine, entries: Entries) -> FirstStart:
    """Read everything once; one sentence for each thing that cannot be used."""
    problems: list[str] = []
    record = _record(entries, problems)
    start = entries.quantity("start_at")
    starter = machine.motor.kind_of_starter
    analysed = _analysed(
        record, start if start is not None else Q(0.0, "second"), starter.switches_over, problems
    )
    lube = entries.of("lube")
    zero = zero_of(lube)
    made, known = runs(entries, problems), rules(machine)
    typed_time, typed_oil = entries.reading("run_up_time"), entries.reading("oil_lowest")
    return FirstStart(
        record=record,
        run_up=analysed,
        run_up_time=_run_up_time(typed_time, record, analysed),
        timed_by_record=not typed_time.taken,
        peak=_currents(machine, entries, "peak", record, analysed),
        peak_by_record=not any(entries.reading(f"peak_{phase}").taken for phase in PHASES),
        settled=_currents(machine, entries, "settled", record, analysed),
        at_drive_input=starter.code == "drive"
        and entries.code("current_where") == SUPPLY_SIDE.code,
        oil_lowest=zero.corrected(_oil(typed_oil, record, analysed)),
        oil_at=(analysed.oil_lowest_at if analysed is not None and not typed_oil.taken else None),
        oil_zero=zero,
        oil_trip=trip_of(machine, lube),
        runs=made,
        rules=known,
        next=_next(known, made),
        problems=tuple(problems),
    )


def _record(entries: Entries, problems: list[str]) -> Record | None:
    block = entries.block("run_up")
    if not len(block):
        return None
    name = entries.fields["run_up"].question
    kept = clock(block, name)
    columns, dead = dead_sensors(block, kept.rows, name, _LABELS, expect_zero=("vanes",))
    problems += [*kept.problems, *dead]
    return Record(kept.time, columns, block) if len(kept.time) else None


def _analysed(
    record: Record | None, start: pint.Quantity, switches_over: bool, problems: list[str]
) -> RunUp | None:
    if record is None:
        return None
    try:
        return analyse_run_up(
            Q(record.time, "second"),
            Q(record.currents(), "ampere"),
            Q(record.columns["speed"], "radian/second"),
            Q(record.columns["oil"], "pascal"),
            start,
            switches_over=switches_over,
        )
    except StartkitError as error:
        problems.append(str(error))
        return None


def _run_up_time(typed: Reading, record: Record | None, analysed: RunUp | None) -> Reading:
    if typed.taken or record is None or analysed is None or analysed.time is None:
        return typed
    column = "speed" if np.isfinite(record.columns["speed"]).any() else "l1"
    return record.block.reading(("time", column), analysed.time, analysed.u_time)


def _currents(
    machine: Machine, entries: Entries, what: str, record: Record | None, analysed: RunUp | None
) -> tuple[Reading, ...]:
    recorded = getattr(analysed, what) if analysed is not None else None
    read = (
        _current(entries.reading(f"{what}_{phase}"), record, phase, recorded) for phase in PHASES
    )
    where = entries.reading("current_where")
    return tuple(_in_the_line(machine, each, where, what == "peak") for each in read)


def _in_the_line(machine: Machine, read: Reading, where: Reading, starting: bool) -> Reading:
    """A current as the line carries it, of that read at a winding or behind an autotransformer."""
    motor = machine.motor
    starter, beyond = motor.kind_of_starter, where.code in (MOTOR_SIDE.code, INSIDE_DELTA.code)
    in_delta = where.code == INSIDE_DELTA.code or (beyond and starter.in_delta)
    # While the starter has the windings in wye, they carry what the line carries.
    if read.quantity is not None and in_delta and not (starting and starter.in_delta):
        factor = float(line_current(Q(1.0, "ampere")).magnitude)
        read = Reading.derived(*_multiplied(read, factor), read, where)
    tap = motor.autotransformer_tap if starter.code == "autotransformer" else None
    if read.quantity is not None and beyond and starting and tap is not None:
        read = Reading.derived(*_multiplied(read, float(tap.to("").magnitude)), read, where)
    return read


def _multiplied(read: Reading, factor: float) -> tuple[pint.Quantity | None, pint.Quantity | None]:
    return read.times(factor).quantity, read.times(factor).u


def _current(
    typed: Reading, record: Record | None, phase: str, recorded: pint.Quantity | None
) -> Reading:
    if typed.taken or record is None or recorded is None:
        return typed
    found = recorded[PHASES.index(phase)]
    return record.block.reading(phase, found) if np.isfinite(found.magnitude) else typed


def _oil(typed: Reading, record: Record | None, analysed: RunUp | None) -> Reading:
    """Lowest differential, as shown."""
    if typed.taken or record is None or analysed is None or analysed.oil_lowest is None:
        return typed
    return record.block.reading("oil", analysed.oil_lowest)


def _next(known: Rules, made: tuple[Run, ...]) -> Next:
    try:
        return next_start(known, made)
    except StartkitError:
        return Next(None, "")
