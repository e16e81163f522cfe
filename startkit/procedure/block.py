"""A pasted series: its columns as arrays, and readings taken from them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from functools import lru_cache

import numpy as np
import pint

from startkit.errors import ReadingError, StartkitError
from startkit.facts.instruments import Instrument, can_read
from startkit.facts.journal import Entry
from startkit.procedure import pasted_text
from startkit.procedure.field import Column, Field
from startkit.procedure.pasted_text import is_one_number
from startkit.procedure.reading import Reading, overdue, wrong_kind
from startkit.units import KINDS, SI, number, parse, parse_number


@dataclass(frozen=True)
class Block:
    """A pasted series: one array a column [SI base unit], its texts, its faults, and the unit of
    each column.

    Parameters
    ----------
    columns, texts, units : mapping
        By name of the column; only columns of numbers have an array and a unit.
    problems : tuple of str
        One sentence for each cell that cannot be read.
    kinds : mapping of str -> str
        Kind of reading of each column of numbers.
    item : str
        Name of the journal's item.
    entry : Entry or None
    instrument : Instrument or None
        The one named with the entry.
    barometer : pint.Quantity or None
        That of the site, added to what a gauge showed.
    moment : datetime or None
        When the series was taken.
    """

    columns: Mapping[str, np.ndarray]
    texts: Mapping[str, tuple[str, ...]]
    problems: tuple[str, ...] = ()
    units: Mapping[str, str] = field(default_factory=dict)
    kinds: Mapping[str, str] = field(default_factory=dict)
    item: str = ""
    entry: Entry | None = None
    instrument: Instrument | None = None
    barometer: pint.Quantity | None = None
    moment: datetime | None = None

    def __len__(self) -> int:
        return len(next(iter(self.texts.values()), ()))

    def reading(
        self,
        columns: str | Iterable[str],
        quantity: pint.Quantity | None,
        u: pint.Quantity | None = None,
    ) -> Reading:
        """A figure found in the series, as a reading: with its instrument, calibration and item.

        Parameters
        ----------
        columns : str or iterable of str
            Columns that it was found in.
        quantity : pint.Quantity or None
            The figure; None if the series does not give one.
        u : pint.Quantity, optional
            Its standard uncertainty; left out: that of one reading of the instrument, if the figure
            is of the kind of its one column. Without an instrument it is not known: scatter alone
            does not say how far off all readings are.
        """
        names = (columns,) if isinstance(columns, str) else tuple(columns)
        if self.entry is None or quantity is None:
            return Reading(items=(self.item,) if self.item else ())
        if u is None and len(names) == 1 and _is_of_kind(quantity, self.kinds.get(names[0])):
            u = self.uncertainty(names[0], quantity)
        return Reading(
            quantity=quantity,
            u=None if self.instrument is None else u,
            untrusted=self.untrusted(names),
            taken=True,
            items=(self.item,),
            instruments=(self.entry.instrument,) if self.entry.instrument else (),
            moment=self.moment,
        )

    def uncertainty(self, column: str, quantity: pint.Quantity) -> pint.Quantity | None:
        """Standard uncertainty of one reading of a column at a value; None if no instrument is
        named or it reads something else.
        """
        if self.instrument is None or not can_read(self.instrument.kind, self.kinds[column]):
            return None
        return self.instrument.standard_uncertainty(quantity, self.kinds[column], self.barometer)

    def untrusted(self, columns: Iterable[str] = ()) -> str:
        """Why the series' instrument cannot be trusted; empty if it can, or none is named.

        Parameters
        ----------
        columns : iterable of str
            Those that matter; an instrument made for none of the series' kinds is not trusted in
            any.
        """
        if self.instrument is None or self.entry is None:
            return ""
        kinds = [kind for kind in self.kinds.values() if kind != "time"]
        if kinds and not any(can_read(self.instrument.kind, kind) for kind in kinds):
            return wrong_kind(self.instrument, kinds[0])
        return overdue(self.instrument, self.moment.date() if self.moment is not None else None)


def _is_of_kind(quantity: pint.Quantity, kind: str | None) -> bool:
    return kind is not None and quantity.is_compatible_with(KINDS[kind].si.pint)


@lru_cache(maxsize=32)
def read_block(
    text: str, declared: Field, system: str = SI, barometer: pint.Quantity | None = None
) -> Block:
    """Rows of a pasted text as a block; `startkit.procedure.pasted_text.split` finds its columns.

    A unit may be given in the heading in brackets.
    """
    pasted = pasted_text.split(text, declared.columns, declared.question)
    problems = list(pasted.problems)
    columns, texts, units = {}, {}, {}
    for position, column in enumerate(declared.columns):
        raw = tuple(row[position] for row in pasted.cells)
        texts[column.name] = raw
        if column.kind in KINDS:
            units[column.name] = pasted.units[position] or KINDS[column.kind].unit(system).label
            columns[column.name] = _numbers(
                raw, column, units[column.name], barometer, declared.question, problems
            )
    more = (
        [f"{len(problems) - 20} more cells of {declared.question} cannot be read"]
        if len(problems) > 20
        else []
    )
    kinds = {column.name: column.kind for column in declared.columns if column.kind in KINDS}
    return Block(columns, texts, tuple(problems[:20] + more), units, kinds)


def _numbers(
    raw: tuple[str, ...],
    column: Column,
    unit: str,
    barometer: pint.Quantity | None,
    question: str,
    problems: list[str],
) -> np.ndarray:
    """One column [SI base unit]; cells without a unit of their own are converted together, which is
    what makes long blocks quick.
    """
    plain, values = np.full(len(raw), np.nan), np.full(len(raw), np.nan)
    for index, text in enumerate(raw):
        if not text:
            continue
        where = f"{question}, row {index + 1}, {column.label}"
        try:
            if not is_one_number(text):
                raise ReadingError(
                    f"{text!r} may be two numbers", where, "put a tab or semicolon between columns"
                )
            if text[-1].isdigit():
                plain[index] = number(text, where)
            else:
                values[index] = (
                    parse(text, column.kind, unit, barometer, where).to_base_units().magnitude
                )
        except StartkitError as error:
            problems.append(str(error))
    if np.isfinite(plain).any():
        try:
            values = np.where(
                np.isfinite(plain), _together(plain, column, unit, barometer, question), values
            )
        except StartkitError as error:
            problems.append(str(error))
    return values


def _together(
    plain: np.ndarray, column: Column, unit: str, barometer: pint.Quantity | None, question: str
) -> np.ndarray:
    """Many numbers of one unit at once: a straight line through what 0 and 1 mean, which every unit
    here is.
    """
    zero, one = (
        parse_number(v, column.kind, unit, barometer, f"{question}, {column.label}")
        .to_base_units()
        .magnitude
        for v in (0.0, 1.0)
    )
    return zero + (one - zero) * plain
