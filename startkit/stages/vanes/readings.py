"""The strokes of a job: from table rows and pasted traces to records, as found and as left."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pint

from startkit.errors import StartkitError
from startkit.facts.machine import Machine
from startkit.procedure.block import Block
from startkit.procedure.entries import Entries
from startkit.procedure.reading import Reading, Row
from startkit.science.strokes import CLOSING, OPENING, Stroke, read_switch, stroke
from startkit.science.vane_calibration import StrokesResult, analyse_strokes
from startkit.stages.vanes.fields import MADE, OPEN
from startkit.units import Q

TRACES = ("trace", "trace_volts", "trace_ohms")


@dataclass(frozen=True)
class Strokes:
    """All strokes entered.

    Parameters
    ----------
    rows : dict of int -> Row
        Table rows by stroke number.
    records : dict of int -> Stroke
        Traces by stroke number.
    problems : tuple of str
        One sentence for each stroke that cannot be used, and why.
    last_adjustment : int
        Number of the last stroke before the last adjustment; 0 if nothing was adjusted.
    first_adjustment : int or None
    blocks : tuple of Block
        The pasted traces, which know their instrument.
    u_feedback : float
        Standard uncertainty of the feedback by that instrument, as a fraction of the travel; nil if
        none is named.
    jogs : tuple of Row
        The switch inched by hand since the last adjustment.
    """

    rows: dict[int, Row]
    records: dict[int, Stroke]
    problems: tuple[str, ...]
    last_adjustment: int
    first_adjustment: int | None
    blocks: tuple[Block, ...] = ()
    u_feedback: float = 0.0
    jogs: tuple[Row, ...] = ()

    @cached_property
    def numbers(self) -> tuple[int, ...]:
        return tuple(sorted(set(self.rows) | set(self.records)))

    @property
    def counted(self) -> tuple[int, ...]:
        """Strokes after the last adjustment: only these count for a verdict."""
        return tuple(n for n in self.numbers if n > self.last_adjustment)

    @property
    def as_found(self) -> tuple[int, ...]:
        """Strokes before anything was adjusted; none if nothing was."""
        return tuple(
            n
            for n in self.numbers
            if self.first_adjustment is not None and n <= self.first_adjustment
        )

    @cached_property
    def _results(self) -> dict[tuple[int, ...], StrokesResult | None]:
        return {}

    def result(self, numbers: tuple[int, ...]) -> StrokesResult | None:
        """The analysis of a set of traced strokes, made once; None without a trace."""
        if numbers not in self._results:
            records = self.traces(numbers)
            self._results[numbers] = analyse_strokes.si(records) if records else None
        return self._results[numbers]

    def traces(self, numbers: tuple[int, ...]) -> list[Stroke]:
        return [self.records[n] for n in numbers if n in self.records]

    def figure(self, quantity: pint.Quantity | None, u: pint.Quantity | None = None) -> Reading:
        """What was found in the traces, as a reading; its uncertainty is known only if each trace
        names its instrument.
        """
        if not self.blocks:
            return Reading(items=("vanes.strokes",))
        traces = [block.reading(("time", "feedback"), quantity, u) for block in self.blocks]
        known = all(trace.u is not None for trace in traces)
        return Reading.derived(quantity, u if known else None, *traces)

    def readings(self, column: str, numbers: tuple[int, ...]) -> tuple[Reading, ...]:
        """A column of the strokes that have no trace, where it was entered."""
        cells = (
            self.rows[n].reading(column)
            for n in numbers
            if n in self.rows and n not in self.records
        )
        return tuple(cell for cell in cells if cell.taken)

    def of_strokes(self, column: str, numbers: tuple[int, ...]) -> tuple[Reading, ...]:
        """Everything that a verdict on a set of strokes rests on: traces, else a column."""
        traced = any(n in self.records for n in numbers)
        trace = (self.figure(Q(0.0, "percent")),) if traced else ()
        return (*trace, *self.readings(column, numbers))

    def direction(self, number: int) -> str:
        if number in self.records:
            return self.records[number].direction
        return _direction(self.rows[number])

    def end_feedback(self, number: int) -> float | None:
        """Feedback at standstill as entered by hand [1]; None if there is none."""
        row = self.rows.get(number)
        found = row.quantity("end_feedback") if row is not None else None
        return None if found is None else float(found.to("dimensionless").magnitude)

    def switch_at_end(self, number: int) -> bool | None:
        """Whether the switch was made at the end: from the trace, else from the row."""
        record = self.records.get(number)
        if record is not None and record.switch is not None:
            return bool(record.switch[-1])
        return _made(self.rows[number].code("switch_at_end")) if number in self.rows else None


def _direction(row: Row | None) -> str:
    """Opening or closing as entered, in any case; empty if neither, which decides nothing."""
    return row.code("direction") if row is not None else ""


def _made(code: str) -> bool | None:
    return {MADE.code: True, OPEN.code: False}.get(code)


def collect(machine: Machine, entries: Entries) -> Strokes:
    """Every stroke of the stage, from the table and from the traces; faults in one sentence each,
    nothing dropped silently.
    """
    problems: list[str] = []
    rows = _rows(entries, problems)
    blocks = [entries.block(name) for name in TRACES if entries.has(name)]
    records: dict[int, Stroke] = {}
    for block in blocks:
        records.update(_records(machine, block, rows, problems))
    adjustments = [
        int(n.magnitude)
        for row in entries.rows("adjustments")
        if (n := row.quantity("after_stroke")) is not None
    ]
    pasted = tuple(block for block in blocks if len(block))
    return Strokes(
        rows,
        records,
        tuple(problems),
        max(adjustments, default=0),
        min(adjustments, default=None),
        pasted,
        max((_u_feedback(machine, block) for block in pasted), default=0.0),
        _jogs(entries),
    )


def _jogs(entries: Entries) -> tuple[Row, ...]:
    """Rows of the switch inched by hand, written since the last adjustment."""
    cells = (row.reading("after_stroke") for row in entries.rows("adjustments"))
    adjusted = max((cell.entry.seq for cell in cells if cell.entry is not None), default=0)
    return tuple(
        row
        for row in entries.rows("jogs")
        if max(cell.entry.seq for cell in row.cells.values() if cell.entry is not None) > adjusted
    )


def _u_feedback(machine: Machine, block: Block) -> float:
    """Standard uncertainty of the feedback [fraction of travel]; nil if no instrument is named."""
    if machine.vanes.feedback == "percent":
        u = block.uncertainty("feedback", Q(100, "percent"))
        return 0.0 if u is None else float(u.to("dimensionless").magnitude)
    low, high = machine.vanes.feedback_closed, machine.vanes.feedback_open
    u = block.uncertainty("feedback", Q(high, _UNITS[machine.vanes.feedback]))
    return 0.0 if u is None else abs(float(u.to_base_units().magnitude) / (high - low))


_UNITS = {"volts": "volt", "ohms": "ohm"}


def _rows(entries: Entries, problems: list[str]) -> dict[int, Row]:
    found: dict[int, Row] = {}
    for row in entries.rows("strokes"):
        number = row.quantity("number")
        if number is None:
            problems.append(
                f"Strokes, row {row.index}: the stroke has no number; number the strokes from 1 in"
                " the order in which they were made."
            )
        elif int(number.magnitude) in found:
            problems.append(
                f"Strokes, row {row.index}: stroke {int(number.magnitude)} is entered twice; give"
                " each stroke its own number."
            )
        else:
            found[int(number.magnitude)] = row
    return found


def _records(
    machine: Machine, block: Block, rows: dict[int, Row], problems: list[str]
) -> Iterator[tuple[int, Stroke]]:
    if not len(block):
        return
    numbers = block.columns["stroke"]
    for value in dict.fromkeys(numbers[np.isfinite(numbers)]):
        number = int(value)
        picked = np.flatnonzero(numbers == value)
        try:
            yield number, _record(machine, block, picked, number, rows.get(number))
        except StartkitError as error:
            problems.append(str(error))


def _record(
    machine: Machine, block: Block, picked: np.ndarray, number: int, row: Row | None
) -> Stroke:
    """One stroke of a block; rows without any reading are left out, a gap inside is an error."""
    command = block.columns["command"][picked]
    feedback = _fraction(machine, block.columns["feedback"][picked])
    texts = [block.texts["switch"][i] for i in picked]
    switch = (
        [read_switch(t, f"stroke {number}, row {n}") for n, t in enumerate(texts, 1)]
        if all(texts)
        else None
    )
    direction = _direction(row) or (OPENING if command[-1] > command[0] else CLOSING)
    clock = block.columns["time"][picked]
    time = None if np.isnan(clock).all() else clock
    seen = _number_in(row, "seen_position", "dimensionless")
    finished = _number_in(row, "finished", "second")
    if finished is not None and time is not None:
        finished += _command_start(time, command)
    return stroke.si(direction, time, command, feedback, switch, finished, seen, number)


def _number_in(row: Row | None, column: str, unit: str) -> float | None:
    quantity = None if row is None else row.quantity(column)
    return None if quantity is None else float(quantity.to(unit).magnitude)


def _command_start(time: np.ndarray, command: np.ndarray) -> float:
    """The moment at which the command first changes: times count from there."""
    changed = np.flatnonzero(np.abs(np.diff(command)) > 1e-3)
    return float(time[changed[0] + 1] if changed.size else time[0])


def _fraction(machine: Machine, raw: np.ndarray) -> np.ndarray:
    """Feedback as a fraction of travel by the sheet's two end values."""
    if machine.vanes.feedback == "percent":
        return raw
    low, high = machine.vanes.feedback_closed, machine.vanes.feedback_open
    return (raw - low) / (high - low)
