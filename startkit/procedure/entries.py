"""What a stage reads: the journal's texts as quantities with their uncertainty and their faults."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from functools import cached_property
from typing import Any, ParamSpec, TypeVar

import pint

from startkit.errors import StartkitError
from startkit.facts import instruments as instruments_
from startkit.facts.baseline import NO_BASELINE, Baseline
from startkit.facts.instruments import Instrument
from startkit.facts.job import ROW_REMOVED, State
from startkit.facts.journal import Entry, row_number
from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.facts.trend.trend import Trend
from startkit.procedure import memory
from startkit.procedure.block import Block, read_block
from startkit.procedure.reading import Reading, overdue, wrong_kind
from startkit.procedure.stage import SERIES, TABLE, Column, Field, Findings, Stage
from startkit.units import KINDS, SI, Q, parse, show
from startkit.verdict import Outcome, Verdict

P = ParamSpec("P")
T = TypeVar("T")


@dataclass(frozen=True)
class Row:
    """One row of a table field."""

    index: int
    cells: Mapping[str, Reading]

    def text(self, column: str) -> str:
        return self.cells[column].text if column in self.cells else ""

    def quantity(self, column: str) -> pint.Quantity | None:
        return self.cells[column].quantity if column in self.cells else None

    def reading(self, column: str) -> Reading:
        return self.cells.get(column, Reading())

    def yes(self, column: str) -> bool | None:
        return yes_or_no(self.text(column))

    @property
    def empty(self) -> bool:
        return not any(reading.taken for reading in self.cells.values())


@dataclass(frozen=True)
class Fault:
    """A text that cannot be read: the name of its item, and why, in one sentence."""

    item: str
    sentence: str


def yes_or_no(text: str) -> bool | None:
    """True for yes, False for no, None for anything else."""
    return {"yes": True, "y": True, "true": True, "no": False, "n": False, "false": False}.get(
        text.strip().lower()
    )


@dataclass(frozen=True)
class JobEntries:
    """All stages' entries of a job at one moment."""

    stages: Mapping[str, Stage]
    state: State
    machine: Machine
    system: str = SI
    limits: Limits | None = None
    baseline: Baseline = NO_BASELINE
    trends_held: Mapping[str, Trend] = field(
        default_factory=dict, compare=False
    )  # by name, each read when it is first asked for

    def findings(self, name: str, shown: bool = True) -> Findings:
        """What a stage finds, without any waiver (not `shown`: its verdicts alone); judged once, so
        that another stage may look at it too.
        """
        found = self._recalled(name, memory.WHOLE) or (
            None if shown else self._recalled(name, memory.VERDICTS)
        )
        found = found or self._made(
            name, memory.WHOLE if shown else memory.VERDICTS, lambda: self._judged(name, shown)
        )
        memory.look_at(name, memory.BASELINE, *found.marks)
        return found.made

    def remembered(self, name: str, what: str, make: Callable[[], T]) -> T:
        """What `make` makes of a stage's entries; made anew only when something that it looked at
        has changed.
        """
        found = self._recalled(name, what) or self._made(name, what, make)
        memory.look_at(name, *found.marks)
        return found.made

    @cached_property
    def _found(self) -> dict[tuple[str, str], memory.Kept[Any]]:
        return {}

    # --- what a judgement rests on ----------------------------------------------------------------

    def _recalled(self, name: str, what: str) -> memory.Kept[Any] | None:
        known = self._found.get((name, what)) or self._memory.recall(name, what, self._marks)
        if known is not None:
            self._found[name, what] = known
        return known

    def _made(self, name: str, what: str, make: Callable[[], T]) -> memory.Kept[T]:
        with memory.watched() as looked_at:
            made = make()
        self._memory.keep(name, what, looked_at, self._marks, made)
        found = self._found[name, what] = memory.Kept(
            {each: self._marks.get(each) for each in (name, *looked_at)}, made
        )
        return found

    @cached_property
    def _memory(self) -> memory.Memory:
        return memory.of_job(
            (self.machine, self.limits, self.stages, self.system, self.trends_held)
        )

    @cached_property
    def _marks(self) -> dict[str, object]:
        """For each stage the digest of its newest entry; for everything that of the newest of all."""
        newest: dict[str, Entry] = {}
        for what, entry in self.state.latest.items():
            stage = what.split(".", 1)[0]
            if stage not in newest or entry.seq > newest[stage].seq:
                newest[stage] = entry
        last = self.state.entries[-1].digest if self.state.entries else None
        return {
            **{stage: entry.digest for stage, entry in newest.items()},
            memory.EVERYTHING: last,
            memory.BASELINE: self.baseline,
        }

    def read_once(self, what: str, entry: Entry, read: Callable[[], Reading]) -> Reading:
        """A reading, read once for every moment of the job at which Setup (barometer, instruments)
        was the same.
        """
        return (
            self._memory.reading((what, entry.digest, self._marks.get("setup")), read)
            if entry.digest
            else read()
        )

    def _judged(self, name: str, shown: bool) -> Findings:
        try:
            return self.stages[name].judge(
                self.machine, self.limits, self.stage(name) if shown else self.stage(name).unshown()
            )
        except StartkitError as error:
            # One odd reading must not take the front page and every hold point with it: the stage
            # stays open and says why.
            return Findings(
                verdicts=(
                    Verdict(
                        key=f"{name}.judged",
                        title="What was entered",
                        outcome=Outcome.OPEN,
                        sentence=str(error),
                        next_step="Correct the entry.",
                    ),
                )
            )
        except Exception as error:  # a stage may come from another package and fail in any way
            fault = (
                f"This stage cannot be worked out ({type(error).__name__}: {error}); what was"
                " entered is safe in the job's journal."
            )
            return Findings(
                verdicts=(
                    Verdict(
                        key=f"{name}.judged",
                        title="What was entered",
                        outcome=Outcome.OPEN,
                        sentence=fault,
                        next_step="Tell whoever maintains the stage.",
                    ),
                )
            )

    def stage(self, name: str) -> Entries:
        """The entries of one stage; a stage that the job does not have is empty."""
        memory.look_at(name)
        return (
            self._views[name]
            if name in self._views
            else Entries(Stage(name, name, "", (), lambda *_: None), self)
        )

    @cached_property
    def _views(self) -> dict[str, Entries]:
        return {name: Entries(stage, self) for name, stage in self.stages.items()}

    @cached_property
    def items(self) -> Mapping[str, list[str]]:
        """The items of each stage that were entered."""
        found: dict[str, list[str]] = {}
        for what in self.state.latest:
            found.setdefault(what.split(".", 1)[0], []).append(what)
        return found

    @property
    def latest(self) -> Mapping[str, Entry]:
        """The newest entry of every item in the job."""
        memory.look_at(memory.EVERYTHING)
        return self.state.latest

    @property
    def trends(self) -> Mapping[str, Trend]:
        """The job's trends by name."""
        memory.look_at("trend")
        return self.trends_held

    @cached_property
    def barometer(self) -> Reading:
        """The site's barometric pressure: measured, or from elevation by the standard atmosphere."""
        if "setup" in self.stages:
            measured = self.stage("setup").reading("barometer")
            if measured.quantity is not None:
                return measured
        from startkit.science.air import standard_barometer

        # Weather moves the barometer by about 1 kPa (one standard deviation); common practice, no
        # source.
        return Reading(
            what="setup.barometer",
            quantity=standard_barometer(self.machine.site.elevation),
            u=Q(1.0, "kilopascal"),
        )

    @cached_property
    def instruments(self) -> Mapping[str, Instrument]:
        """Instruments of the stage Setup that could be read, by tag."""
        if "setup" not in self.stages:
            return {}
        found = (instrument_of(row) for row in self.stage("setup").rows("instruments"))
        return {instrument.tag: instrument for instrument in found if instrument is not None}


def instrument_of(row: Row) -> Instrument | None:
    """An instrument from its row, or None if the row lacks tag, kind or a readable accuracy."""
    return instruments_.of_texts(
        *(
            row.text(column)
            for column in (
                "tag",
                "name",
                "serial",
                "kind",
                "accuracy",
                "range",
                "due",
                "pair",
                "pair_accuracy",
            )
        )
    )


@dataclass(frozen=True)
class Entries:
    """The entries of one stage."""

    declared: Stage
    job: JobEntries = field(repr=False)
    shown: bool = True

    def unshown(self) -> Entries:
        """The same, for a judgement of which nothing is asked but its verdicts."""
        made = replace(self, shown=False)
        vars(made).update(_kept=self._kept, fields=self.fields)  # what was read is not read again
        return made

    def if_shown(
        self, make: Callable[P, Iterable[T]], *args: P.args, **kwargs: P.kwargs
    ) -> tuple[T, ...]:
        """What `make` gives; nothing where only the verdicts are asked for, as where a hold point
        is looked back at.
        """
        return tuple(make(*args, **kwargs)) if self.shown else ()

    @property
    def machine(self) -> Machine:
        return self.job.machine

    def of(self, stage: str) -> Entries:
        """Another stage's entries."""
        return self.job.stage(stage)

    def show(self, quantity: pint.Quantity | None, kind: str, digits: int | None = None) -> str:
        """A quantity as text in the job's units."""
        return show(quantity, kind, self.job.system, self.job.barometer.quantity, digits)

    @cached_property
    def fields(self) -> Mapping[str, Field]:
        return {f.name: f for f in self.declared.fields_for(self.machine)}

    def has(self, name: str) -> bool:
        """True if this machine's stage has the field."""
        return name in self.fields

    def entry(self, *parts: str | int) -> Entry | None:
        """The newest entry of ``stage.part.part``; None if there is none or it was blanked."""
        found = self.job.state.latest.get(".".join([self.declared.name, *map(str, parts)]))
        return found if found is not None and found.value != "" else None

    def text(self, name: str) -> str:
        """What was entered; empty where it is none of the field's choices, which is told as a fault
        of the entry and decides nothing.
        """
        found, declared = self.entry(name), self.fields.get(name)
        value = found.value if found else ""
        return "" if declared is not None and _is_no_choice(value, declared) else value

    def yes(self, name: str) -> bool | None:
        return yes_or_no(self.text(name))

    @cached_property
    def _kept(self) -> dict[tuple[str, str], Any]:
        # Judging, form, card and hold points all ask for the same readings: each is read once for
        # each state of the journal.
        return {}

    def _once(self, what: str, name: str, read: Callable[[str], Any]) -> Any:
        if (what, name) not in self._kept:
            self._kept[what, name] = read(name)
        return self._kept[what, name]

    def reading(self, name: str) -> Reading:
        """One reading; a field that was not filled has no quantity, a text that cannot be read has
        a problem.
        """
        return self._once("reading", name, self._read_field)

    def _read_field(self, name: str) -> Reading:
        declared = self.fields.get(name)
        if declared is None:
            return Reading(what=f"{self.declared.name}.{name}")
        return self._read(
            f"{self.declared.name}.{name}", self.entry(name), declared, declared.question
        )

    def quantity(self, name: str) -> pint.Quantity | None:
        return self.reading(name).quantity

    def _read(
        self, what: str, entry: Entry | None, declared: Field | Column, where: str
    ) -> Reading:
        if entry is None:
            return Reading(what=what)
        return self.job.read_once(
            what, entry, lambda: self._read_anew(what, entry, declared, where)
        )

    def _read_anew(self, what: str, entry: Entry, declared: Field | Column, where: str) -> Reading:
        read = Reading(
            what=what,
            text=entry.value,
            entry=entry,
            taken=True,
            instruments=(entry.instrument,) if entry.instrument else (),
            moment=entry.moment,
        )
        if declared.kind not in KINDS:
            return replace(read, problem=_text_problem(entry.value, declared, where))
        barometer = None if declared.kind == "barometer" else self.job.barometer.quantity
        try:
            quantity = parse(entry.value, declared.kind, entry.unit, barometer, where)
        except StartkitError as error:
            return read.unreadable(str(error))
        u, untrusted = self._uncertainty(entry, quantity, declared.kind)
        return replace(
            read, quantity=quantity, u=u, flag=self._flag(quantity, declared), untrusted=untrusted
        )

    def _uncertainty(
        self, entry: Entry, quantity: pint.Quantity, kind: str
    ) -> tuple[pint.Quantity | None, str]:
        if not entry.instrument or (kind == "barometer" and not self.job.stages):
            return None, ""
        return self.uncertainty(entry.instrument, quantity, kind, entry.day)

    def uncertainty(
        self, tag: str, quantity: pint.Quantity, kind: str, day: date | None
    ) -> tuple[pint.Quantity | None, str]:
        """Standard uncertainty of a reading taken with an instrument on a day, and what is wrong
        with the instrument.
        """
        instrument = self.job.instruments.get(tag)
        if instrument is None:
            return None, ""
        if not instruments_.can_read(instrument.kind, kind):
            return None, wrong_kind(instrument, kind)
        return instrument.standard_uncertainty(quantity), overdue(instrument, day)

    def _flag(self, quantity: pint.Quantity, declared: Field | Column) -> str:
        if declared.plausible is None:
            return ""
        barometer = self.job.barometer.quantity if declared.kind != "barometer" else None
        low, high = (parse(text, declared.kind, barometer=barometer) for text in declared.plausible)
        if low <= quantity <= high:
            return ""
        # Not through `self.show`: that asks for the barometer, whose own flag this may be.
        usual = " to ".join(
            show(side, declared.kind, self.job.system, barometer) for side in (low, high)
        )
        return f"outside the usual {usual}: check the reading and its unit"

    def rows(self, name: str) -> tuple[Row, ...]:
        """The rows of a table field that hold anything, in order."""
        return self._once("rows", name, self._read_rows)

    def _read_rows(self, name: str) -> tuple[Row, ...]:
        declared = self.fields.get(name)
        if declared is None or declared.kind != TABLE:
            return ()
        rows = (self._row(declared, index) for index in self._row_indexes(name))
        return tuple(row for row in rows if not row.empty)

    def _row_indexes(self, name: str) -> list[int]:
        prefix = f"{self.declared.name}.{name}."
        numbers = {row_number(part) for _, part in self._row_parts(name)}
        indexes = sorted(number for number in numbers if number is not None)
        removed = (self.job.state.latest.get(f"{prefix}{index}.row") for index in indexes)
        return [
            i
            for i, entry in zip(indexes, removed, strict=True)
            if entry is None or entry.value != ROW_REMOVED
        ]

    def _row_parts(self, name: str) -> list[tuple[str, str]]:
        """Every item of a table, with the part of its name that numbers its row."""
        prefix = f"{self.declared.name}.{name}."
        return [
            (what, what[len(prefix) :].split(".")[0])
            for what in self.job.items.get(self.declared.name, ())
            if what.startswith(prefix)
        ]

    def _unreadable_rows(self, declared: Field) -> Iterable[Fault]:
        """Entries of a table whose row has no number: they came from a file of another tool."""
        for what, part in self._row_parts(declared.name):
            if row_number(part) is None and self.job.state.latest[what].value:
                yield Fault(
                    what,
                    f"{declared.question}: {part[:20]!r} is not the number of a row; enter the item"
                    " again without a value from a CSV file, and give the reason in the column"
                    " note.",
                )

    def _row(self, declared: Field, index: int) -> Row:
        cells = {}
        for column in declared.columns:
            entry = self.entry(declared.name, index, column.name)
            where = f"{declared.question}, row {index}, {column.label}"
            cells[column.name] = self._read(
                f"{self.declared.name}.{declared.name}.{index}.{column.name}", entry, column, where
            )
        return Row(index, cells)

    def block(self, name: str) -> Block:
        """A pasted series as arrays; a cell that cannot be read is NaN and listed, never dropped
        silently.
        """
        return self._once("block", name, self._read_block)

    def _read_block(self, name: str) -> Block:
        declared = self.fields.get(name)
        found = self.entry(name)
        if declared is None or declared.kind != SERIES:
            return Block({}, {})
        block = read_block(
            found.value if found else "", declared, self.job.system, self.job.barometer.quantity
        )
        return replace(
            block,
            item=f"{self.declared.name}.{name}",
            entry=found,
            instrument=self.job.instruments.get(found.instrument) if found else None,
        )

    def readings(self) -> Iterable[Reading]:
        """Every reading of the stage that was taken."""
        for declared in self.fields.values():
            if declared.kind == TABLE:
                yield from (
                    cell
                    for row in self.rows(declared.name)
                    for cell in row.cells.values()
                    if cell.taken
                )
            elif declared.kind != SERIES and self.reading(declared.name).taken:
                yield self.reading(declared.name)

    def faults(self) -> tuple[Fault, ...]:
        """Every text of the stage that cannot be read, with its item."""
        series = (f.name for f in self.fields.values() if f.kind == SERIES)
        return (
            *(
                Fault(reading.what, reading.problem)
                for reading in self.readings()
                if reading.problem
            ),
            *(
                Fault(f"{self.declared.name}.{name}", problem)
                for name in series
                for problem in self.block(name).problems
            ),
            *(
                fault
                for declared in self.fields.values()
                if declared.kind == TABLE
                for fault in self._unreadable_rows(declared)
            ),
        )

    def problems(self) -> tuple[str, ...]:
        """Every text of the stage that cannot be read, one sentence each."""
        return tuple(fault.sentence for fault in self.faults())

    def missing(self) -> tuple[Field, ...]:
        """Required fields that nobody has filled."""
        return tuple(f for f in self.fields.values() if f.required and not self._filled(f))

    def _filled(self, declared: Field) -> bool:
        return (
            bool(self.rows(declared.name))
            if declared.kind == TABLE
            else self.entry(declared.name) is not None
        )


def _is_no_choice(text: str, declared: Field | Column) -> bool:
    return declared.kind == "choice" and bool(declared.choices) and text not in declared.choices


def _text_problem(text: str, declared: Field | Column, where: str) -> str:
    if declared.kind == "yes_no" and yes_or_no(text) is None:
        return f"{where}: {text!r} is neither yes nor no; choose one."
    if _is_no_choice(text, declared):
        return f"{where}: {text!r} is not one of the choices; use {', '.join(declared.choices)}."
    if declared.kind in ("date", "moment"):
        try:
            datetime.fromisoformat(text)
        except ValueError:
            return (
                f"{where}: {text!r} is not a date; write it as"
                f" 2026-11-25{' 14:30' if declared.kind == 'moment' else ''}."
            )
    return ""
