"""What a stage reads: the journal's texts as quantities with their uncertainty and their faults."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cached_property
from typing import ParamSpec, Protocol, TypeVar, cast

import pint

from startkit.errors import StartkitError
from startkit.facts import last_visit as last_visit_
from startkit.facts import taken
from startkit.facts.baseline import NO_BASELINE, Baseline
from startkit.facts.instruments import Instrument, can_read
from startkit.facts.job import ROW_REMOVED, State
from startkit.facts.journal import Entry, row_number
from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.facts.trend.trend import Trend
from startkit.procedure import memory, people, site
from startkit.procedure.block import Block, read_block
from startkit.procedure.choice import chosen, yes_or_no
from startkit.procedure.field import (
    SERIES,
    TABLE,
    Column,
    Field,
    ahead_of_its_entry,
    text_problem,
)
from startkit.procedure.findings import Findings, not_judged
from startkit.procedure.reading import Reading, Row, overdue, wrong_kind
from startkit.procedure.usual import outside_usual
from startkit.units import KINDS, SI, parse, show

P = ParamSpec("P")
T = TypeVar("T")


@dataclass(frozen=True)
class Fault:
    """A text that cannot be read: the name of its item, and why, in one sentence."""

    item: str
    sentence: str


class Declared(Protocol):
    """What entries need to know of a stage: its name and its fields."""

    @property
    def name(self) -> str: ...

    def fields_for(self, machine: Machine) -> tuple[Field, ...]: ...


class Judged(Declared, Protocol):
    """A stage with its title and its judging function."""

    @property
    def title(self) -> str: ...

    @property
    def judge(self) -> Callable[[Machine, Limits, Entries], Findings]: ...

    @property
    def compares(self) -> bool: ...


@dataclass(frozen=True)
class _Asked:
    """Fields under a name that are not those of one of the job's stages."""

    name: str
    fields: tuple[Field, ...] = ()

    def fields_for(self, machine: Machine) -> tuple[Field, ...]:
        return self.fields


FACTS_OF_THE_JOB = _Asked(site.PREFIX, (people.PEOPLE, site.INSTRUMENTS, site.BAROMETER))


@dataclass(frozen=True)
class JobEntries:
    """All stages' entries of a job at one moment.

    What a judgement reads is noted by the accessors; the fields that end in ``_held`` are for the
    frame, which notes for itself.
    """

    stages: Mapping[str, Judged]
    state_held: State
    machine: Machine
    limits: Limits
    system: str = SI
    baseline_held: Baseline = NO_BASELINE
    # By name, each read when it is first asked for.
    trends_held: Mapping[str, Trend] = field(default_factory=dict, compare=False)
    last_visit: last_visit_.LastVisit = (
        last_visit_.NONE
    )  # for the eye alone: no judgement rests on it

    def findings(self, name: str, shown: bool = True) -> Findings:
        """What a stage finds, without any waiver (not `shown`: its verdicts alone); judged once, so
        that another stage may look at it too.
        """
        found = self._memory.recalled(name, memory.WHOLE) or (
            None if shown else self._memory.recalled(name, memory.VERDICTS)
        )
        found = found or self._memory.made(
            name, memory.WHOLE if shown else memory.VERDICTS, lambda: self._judged(name, shown)
        )
        memory.look_at(name, memory.BASELINE, *found.marks)
        return found.made

    def remembered(self, name: str, what: str, make: Callable[[], T]) -> T:
        """What `make` makes of a stage's entries; made again only when something it looked at has
        changed.
        """
        found = self._memory.recalled(name, what) or self._memory.made(name, what, make)
        memory.look_at(name, *found.marks)
        return found.made

    @cached_property
    def _memory(self) -> memory.Moment:
        of_job = memory.of_job(
            (self.machine, self.limits, self.stages, self.system, self.trends_held)
        )
        return memory.Moment(of_job, memory.marks(self.state_held, self.baseline_held))

    def read_once(self, what: str, entry: Entry, read: Callable[[], Reading]) -> Reading:
        """A reading, read once for every moment of the job at which barometer and instruments were
        the same.
        """
        return self._memory.reading(what, entry.digest, read)

    def _judged(self, name: str, shown: bool) -> Findings:
        entries = self.stage(name) if shown else self.stage(name).unshown()
        try:
            return self.stages[name].judge(self.machine, self.limits, entries)
        except StartkitError as error:
            # One odd reading must not take the front page and every hold point with it: the stage
            # stays open with the reason.
            return not_judged(name, str(error), "Correct the entry.")
        except Exception as error:  # a stage may come from another package and fail in any way
            fault = (
                f"This stage cannot be calculated ({type(error).__name__}: {error}); your entries"
                " are safe in the job's journal."
            )
            return not_judged(name, fault, "Report this to the maintainer of the stage.")

    def stage(self, name: str) -> Entries:
        """The entries of one stage; a stage that the job does not have is empty."""
        memory.look_at(name)
        return self._views[name] if name in self._views else Entries(_Asked(name), self)

    @cached_property
    def _views(self) -> dict[str, Entries]:
        return {name: Entries(stage, self) for name, stage in self.stages.items()}

    @cached_property
    def items(self) -> Mapping[str, list[str]]:
        """The items of each stage that were entered."""
        found: dict[str, list[str]] = {}
        for what in self.state_held.latest:
            found.setdefault(what.split(".", 1)[0], []).append(what)
        return found

    @property
    def state(self) -> State:
        """All entries of the job."""
        memory.look_at(memory.EVERYTHING)
        return self.state_held

    @property
    def latest(self) -> Mapping[str, Entry]:
        """The newest entry of every item in the job."""
        return self.state.latest

    @property
    def baseline(self) -> Baseline:
        """Figures of the last record."""
        memory.look_at(memory.BASELINE)
        return self.baseline_held

    @property
    def trends(self) -> Mapping[str, Trend]:
        """The job's trends by name."""
        memory.look_at("trend")
        return self.trends_held

    # --- facts of the job -------------------------------------------------------------------------

    @cached_property
    def _facts(self) -> Entries:
        return Entries(FACTS_OF_THE_JOB, self)

    @cached_property
    def barometer(self) -> Reading:
        """The site's barometric pressure: measured, or from its elevation."""
        return site.barometer(self._facts.reading(site.BAROMETER.name), self.machine)

    @property
    def instrument_rows(self) -> tuple[Row, ...]:
        """The table of instruments as entered."""
        return self._facts.rows(site.INSTRUMENTS.name)

    @cached_property
    def instruments(self) -> Mapping[str, Instrument]:
        """Instruments that could be read, by tag."""
        found = (site.instrument_of(row) for row in self.instrument_rows)
        return {instrument.tag: instrument for instrument in found if instrument is not None}

    @cached_property
    def people(self) -> tuple[people.Person, ...]:
        """Everybody entered as on this job."""
        return people.people_of(self._facts.rows(people.PEOPLE.name))


@dataclass(frozen=True)
class Entries:
    """The entries of one stage."""

    declared: Declared
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
        """What `make` gives; nothing where only verdicts are asked for, as in looking back."""
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

    @property
    def asked(self) -> tuple[Field, ...]:
        """The fields that a form shows: a retired one only where it was filled."""
        return tuple(f for f in self.fields.values() if not f.retired or self._filled(f))

    def has(self, name: str) -> bool:
        """True if this machine's stage has the field."""
        return name in self.fields

    def entry(self, *parts: str | int) -> Entry | None:
        """The newest entry of ``stage.part.part``; None if there is none or it was blanked."""
        found = self.job.state_held.latest.get(".".join([self.declared.name, *map(str, parts)]))
        return found if found is not None and found.value != "" else None

    def text(self, name: str) -> str:
        """What was entered; of a choice its label. Empty where it is none of the field's choices:
        that is a fault of the entry and decides nothing.
        """
        found, declared = self.entry(name), self.fields.get(name)
        value = found.value if found else ""
        if declared is None or not declared.offers:
            return value
        choice = chosen(value, declared.options)
        return choice.label if choice is not None else ""

    def code(self, name: str) -> str:
        """Code of what was chosen; empty if nothing was, or none of the choices."""
        return self.reading(name).code

    def yes(self, name: str) -> bool | None:
        return yes_or_no(self.text(name))

    @cached_property
    def _kept(self) -> dict[tuple[str, str], object]:
        # Judging, form, card and hold points ask for the same readings: each is read once.
        return {}

    def _once(self, what: str, name: str, read: Callable[[str], T]) -> T:
        if (what, name) not in self._kept:
            self._kept[what, name] = read(name)
        return cast("T", self._kept[what, name])

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
        when = self.job.state_held.taken(entry)
        read = Reading(
            what=what,
            text=entry.value,
            entry=entry,
            taken=True,
            instruments=(entry.instrument,) if entry.instrument else (),
            moment=taken.moment(when),
        )
        if when != entry.at and (ahead := taken.problem(when, entry.at)):
            return read.unreadable(f"{where}: when it was read, {ahead}.")
        if declared.kind not in KINDS:
            choice = chosen(entry.value, declared.options) if declared.offers else None
            problem = "" if choice else text_problem(entry.value, declared, where)
            if declared.kind == "person" and self.declared.name != site.PREFIX:
                problem = problem or people.stranger(entry.value, self.job.people, where)
            problem = problem or ahead_of_its_entry(entry, declared, where)
            return replace(read, choice=choice, problem=problem)
        barometer = None if declared.kind == "barometer" else self.job.barometer.quantity
        try:
            quantity = parse(entry.value, declared.kind, entry.unit, barometer, where)
        except StartkitError as error:
            return read.unreadable(str(error))
        u, untrusted = self.uncertainty(entry.instrument, quantity, declared.kind, read.day)
        return replace(
            read,
            quantity=quantity,
            u=u,
            flag=outside_usual(quantity, declared, self.machine, self.job.system, barometer),
            untrusted=untrusted,
        )

    def uncertainty(
        self, tag: str, quantity: pint.Quantity, kind: str, day: date | None
    ) -> tuple[pint.Quantity | None, str]:
        """Standard uncertainty of a reading taken with an instrument on a day, and what is wrong
        with the instrument.
        """
        instrument = self.job.instruments.get(tag)
        if instrument is None:  # not on the list: its error may be of any size
            return None, ""
        if not can_read(instrument.kind, kind):
            return None, wrong_kind(instrument, kind)
        # The barometer's own entry is read with a barometer: asking for it here would not end.
        site_ = self.job.barometer.quantity if instrument.kind == "gauge_pressure" else None
        return instrument.standard_uncertainty(quantity, kind, site_), overdue(instrument, day)

    def rows(self, name: str) -> tuple[Row, ...]:
        """The rows of a table field that hold anything, in order."""
        return self._once("rows", name, self._read_rows)

    def items(self, table: str, *columns: str) -> tuple[str, ...]:
        """Names of the items in some columns of a table; the table's own while it is empty."""
        found = tuple(item for row in self.rows(table) for item in row.items(*columns))
        return found or ((f"{self.declared.name}.{table}",) if self.has(table) else ())

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
        removed = (self.job.state_held.latest.get(f"{prefix}{index}.row") for index in indexes)
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
            if row_number(part) is None and self.job.state_held.latest[what].value:
                yield Fault(
                    what,
                    f"{declared.question}: {part[:20]!r} is not a row number; enter the item again"
                    " without a value from a CSV file, and give the reason in the column note.",
                )

    def _row(self, declared: Field, index: int) -> Row:
        cells = {}
        for column in declared.columns:
            entry = self.entry(declared.name, index, column.name)
            where = f"{declared.question}, row {index}, {column.label}"
            item = f"{self.declared.name}.{declared.name}.{index}.{column.name}"
            cells[column.name] = self._read(item, entry, column, where)
        return Row(index, cells)

    def block(self, name: str) -> Block:
        """A pasted series as arrays; a cell that cannot be read is NaN, and listed."""
        return self._once("block", name, self._read_block)

    def _read_block(self, name: str) -> Block:
        declared = self.fields.get(name)
        found = self.entry(name)
        if declared is None or declared.kind != SERIES:
            return Block({}, {})
        barometer = self.job.barometer.quantity
        block = read_block(found.value if found else "", declared, self.job.system, barometer)
        return replace(
            block,
            item=f"{self.declared.name}.{name}",
            entry=found,
            instrument=self.job.instruments.get(found.instrument) if found else None,
            barometer=barometer,
            moment=taken.moment(self.job.state_held.taken(found)) if found else None,
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
        """Required fields that are not filled in."""
        return tuple(f for f in self.fields.values() if f.required and not self._filled(f))

    def _filled(self, declared: Field) -> bool:
        return (
            bool(self.rows(declared.name))
            if declared.kind == TABLE
            else self.entry(declared.name) is not None
        )
