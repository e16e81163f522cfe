"""The readings of a first start brought together: from typed fields and from the pasted record."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pint

from startkit.errors import StartkitError
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.oil_readings import zero_of
from startkit.procedure.reading import Reading
from startkit.procedure.series import clock, dead_sensors
from startkit.procedure.starts import Next, Rules, Run, next_start, rules, runs
from startkit.science.run_up import RunUp, analyse_run_up
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
    """The pasted run-up [s, SI], sensors at zero taken out."""

    time: np.ndarray
    columns: dict[str, np.ndarray]

    def currents(self) -> np.ndarray:
        return np.array([self.columns[phase] for phase in PHASES])


@dataclass(frozen=True)
class FirstStart:
    """What the stage's verdicts, figures and plots are made from; a typed reading goes before the
    record's.
    """

    record: Record | None
    run_up: RunUp | None
    run_up_time: Reading
    peak: tuple[Reading, ...]
    settled: tuple[Reading, ...]
    oil_lowest: Reading
    oil_at: pint.Quantity | None
    oil_zero: pint.Quantity | None
    oil_trip: pint.Quantity
    runs: tuple[Run, ...]
    rules: Rules
    next: Next
    problems: tuple[str, ...]


def collect(machine: Machine, entries: Entries) -> FirstStart:
    """Read everything once; what cannot be used is said in one sentence each."""
    problems: list[str] = []
    record = _record(entries, problems)
    start = entries.quantity("start_at")
    analysed = _analysed(record, start if start is not None else Q(0.0, "second"), problems)
    zero, _, _ = zero_of(entries.of("lube"))
    made, known = runs(entries, problems), rules(machine)
    setting = entries.of("lube").quantity("trip_setting")
    return FirstStart(
        record,
        analysed,
        _run_up_time(entries, analysed),
        _currents(entries, "peak", analysed),
        _currents(entries, "settled", analysed),
        _oil(entries, analysed, zero),
        (
            analysed.oil_lowest_at
            if analysed is not None and not entries.reading("oil_lowest").taken
            else None
        ),
        zero,
        setting if setting is not None else machine.oil.low_trip,
        made,
        known,
        _next(known, made),
        tuple(problems),
    )


def _record(entries: Entries, problems: list[str]) -> Record | None:
    block = entries.block("run_up")
    if not len(block):
        return None
    name = entries.fields["run_up"].question
    kept = clock(block, name)
    columns, dead = dead_sensors(block, kept.rows, name, _LABELS, expect_zero=("vanes",))
    problems += [*kept.problems, *dead]
    return Record(kept.time, columns) if len(kept.time) else None


def _analysed(record: Record | None, start: pint.Quantity, problems: list[str]) -> RunUp | None:
    if record is None:
        return None
    try:
        return analyse_run_up(
            Q(record.time, "second"),
            Q(record.currents(), "ampere"),
            Q(record.columns["speed"], "radian/second"),
            Q(record.columns["oil"], "pascal"),
            start,
        )
    except StartkitError as error:
        problems.append(str(error))
        return None


def _run_up_time(entries: Entries, analysed: RunUp | None) -> Reading:
    typed = entries.reading("run_up_time")
    if typed.taken or analysed is None or analysed.time is None:
        return typed
    return replace(typed, text="record", quantity=analysed.time, u=analysed.u_time)


def _currents(entries: Entries, what: str, analysed: RunUp | None) -> tuple[Reading, ...]:
    return tuple(
        _current(
            entries, f"{what}_{phase}", i, getattr(analysed, what) if analysed is not None else None
        )
        for i, phase in enumerate(PHASES)
    )


def _current(entries: Entries, name: str, phase: int, recorded: pint.Quantity | None) -> Reading:
    typed = entries.reading(name)
    if typed.taken or recorded is None or not np.isfinite(recorded[phase].magnitude):
        return typed
    entry = entries.entry("run_up")
    instrument = entries.job.instruments.get(entry.instrument) if entry is not None else None
    u = (
        instrument.standard_uncertainty(recorded[phase])
        if instrument is not None and instrument.kind == "current"
        else None
    )
    return replace(typed, text="record", quantity=recorded[phase], u=u, entry=entry)


def _oil(entries: Entries, analysed: RunUp | None, zero: pint.Quantity | None) -> Reading:
    """Lowest differential with the transducers' zero taken off."""
    typed = entries.reading("oil_lowest")
    if not typed.taken and analysed is not None and analysed.oil_lowest is not None:
        typed = replace(typed, text="record", quantity=analysed.oil_lowest)
    if typed.quantity is None or zero is None:
        return typed
    return replace(typed, quantity=typed.quantity - zero)


def _next(known: Rules, made: tuple[Run, ...]) -> Next:
    try:
        return next_start(known, made)
    except StartkitError:
        return Next(None, "")
