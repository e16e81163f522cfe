"""A trend's table before anything is known of its meaning: its layout, columns and faulty rows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from startkit.errors import ReadingError

if TYPE_CHECKING:
    from startkit.facts.trend.arrow import Column

MOST_COLUMNS, MOST_ROWS, MOST_CELLS = 2_000, 10_000_000, 400_000_000


@dataclass(frozen=True)
class Layout:
    """How a file is laid out.

    Parameters
    ----------
    delimiter, decimal, encoding : str
        Of a text file.
    header, units, first : int
        Line (from 1) of the column names and of their units (0: none), and of the first reading.
    sheet : str
        Sheet of a workbook.
    """

    delimiter: str = ","
    decimal: str = "."
    encoding: str = "utf8"
    header: int = 1
    units: int = 0
    first: int = 2
    sheet: str = ""


@dataclass(frozen=True)
class BadRow:
    """A row that could not be used: its line in the file, its text, and why."""

    line: int
    text: str
    why: str


@dataclass(frozen=True)
class RawTable:
    """A file's columns before anything is known of their meaning.

    Parameters
    ----------
    layout : Layout
    names, units : tuple of str
        As in the file; units empty where none was found.
    columns : tuple of pyarrow.ChunkedArray or None
        None where a column was not asked for.
    bad : tuple of BadRow
        The first faulty rows.
    bad_count : int
        How many there are.
    """

    layout: Layout
    names: tuple[str, ...]
    units: tuple[str, ...]
    columns: tuple[Column | None, ...]
    bad: tuple[BadRow, ...] = ()
    bad_count: int = 0

    def __len__(self) -> int:
        return next((len(column) for column in self.columns if column is not None), 0)

    def column(self, name: str) -> Column:
        """The column of that name.

        Raises
        ------
        ReadingError
            There is none; similar names are given.
        """
        if name in self.names and (found := self.columns[self.names.index(name)]) is not None:
            return found
        import difflib

        near = difflib.get_close_matches(name, self.names, n=1)
        raise ReadingError(
            f"the file has no column {name!r}",
            "trend",
            f"did you mean {near[0]!r}?" if near else f"it has {', '.join(self.names[:8])}",
        )


def names_of(cells: list[str], width: int) -> tuple[str, ...]:
    """A name for every column; blank ones are numbered, a repeated one gets its place."""
    padded = [*cells, *[""] * width][:width]
    found: list[str] = []
    for place, cell in enumerate(padded, start=1):
        name = " ".join(cell.split()) or f"column {place}"
        found.append(name if name not in found else f"{name} ({place})")
    return tuple(found)
