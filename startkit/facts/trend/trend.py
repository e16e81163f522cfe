"""A trend: readings of many points over time, from one file, in SI, with a quality mark on every
reading.
"""

from __future__ import annotations

from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

import numpy as np

from startkit.errors import ReadingError, StartkitError
from startkit.facts.trend import cells, files, quality, stamps
from startkit.facts.trend.arrow import places, scalar
from startkit.facts.trend.column_map import Mapped, TrendMap
from startkit.facts.trend.points import Point, points
from startkit.facts.trend.table import BadRow, RawTable
from startkit.units import Q, parse, parse_number, unit_for

_ATMOSPHERE = Q(101.325, "kilopascal")
# Bounds of what is possible are read with any barometer; a reading near them is not one of a
# machine.


@dataclass(frozen=True)
class Trend:
    """One imported trend.

    Parameters
    ----------
    name : str
    file, digest : str
        The original file in the job's folder, and its SHA-256.
    time : numpy.ndarray
        [s since 1970] by row of the file; not a number where a stamp cannot be read.
    zone : str
        Zone in which the stamps are shown; empty: the panel's own clock.
    rows : numpy.ndarray
        Rows whose stamps go forward: what is calculated with.
    step : float
        Usual time between rows [s].
    gaps : tuple of (float, float)
        Stretches without rows.
    values : dict of str -> numpy.ndarray
        Readings by point [SI base unit], as in the file; gauge pressures without the
        barometer.
    quality : dict of str -> numpy.ndarray
        Marks by point and row, see `quality`; those of the row's stamp included.
    columns : dict of str -> Mapped
        The column behind each point.
    problems : tuple of str
        One sentence for each thing that could not be read.
    """

    name: str
    file: str
    digest: str
    time: np.ndarray
    zone: str
    rows: np.ndarray
    step: float
    gaps: tuple[tuple[float, float], ...]
    values: Mapping[str, np.ndarray]
    quality: Mapping[str, np.ndarray]
    columns: Mapping[str, Mapped]
    problems: tuple[str, ...] = ()

    def __len__(self) -> int:
        return self.time.size

    @property
    def clock(self) -> np.ndarray:
        """Stamps of the rows that are calculated with [s since 1970], rising."""
        return self.time[self.rows]

    def gauge(self, point: str) -> bool:
        """True if the point's readings are gauge pressures."""
        return self.columns[point].reference == "gauge"

    def usable(self, point: str) -> np.ndarray:
        """Readings of a point at the times of `clock` [SI base unit]; not a number where a mark
        means that they are not to be used.
        """
        rows = self.rows
        return np.where(
            self.quality[point][rows] & quality.UNUSABLE, np.nan, self.values[point][rows]
        )

    def moment(self, seconds: float) -> str:
        """A moment as text on the trend's own clock, ``2026-04-16 09:20:10``."""
        return datetime.fromtimestamp(seconds, stamps.zone_of(self.zone)).strftime(
            "%Y-%m-%d %H:%M:%S"
        )

    def seconds(self, text: str) -> float:
        """The moment that a text means on the trend's own clock.

        Raises
        ------
        ReadingError
            It is no date and time.
        """
        try:
            found = datetime.fromisoformat(text.strip())
        except ValueError:
            raise ReadingError(
                f"{text!r} is not a date and time",
                f"trend {self.name}",
                "write it as 2026-04-16 09:20:10",
            ) from None
        return (
            found if found.tzinfo else found.replace(tzinfo=stamps.zone_of(self.zone))
        ).timestamp()

    def marks(self) -> dict[str, dict[int, int]]:
        """How many readings of each point carry which mark."""
        return {point: quality.counts(flags) for point, flags in self.quality.items()}


# --- from file and map to trend -------------------------------------------------------------------


def build(path: Path, made: TrendMap, name: str = "", digest: str = "") -> Trend:
    """The trend in a file as its map reads it.

    Raises
    ------
    ReadingError
        The file cannot be read, or lacks a column of the map.
    """
    wanted = {*made.stamps, *(column.column for column in made.used)}
    raw = files.read(path, made.layout, wanted)
    time = _time(raw, made)
    raw, time = _oldest_first(raw, time)
    problems = [_bad_sentence(raw.bad, raw.bad_count)] if raw.bad_count else []
    unread = int(np.count_nonzero(~np.isfinite(time)))
    if unread == time.size:
        raise ReadingError(
            f"no time stamp in {' and '.join(made.stamps)} can be read as {made.format}",
            path.name,
            "correct time.format in its map",
        )
    if unread:
        problems.append(
            f"{unread} of {time.size} stamps cannot be read as {made.format}; their rows are kept"
            " and marked."
        )
    clock = quality.clock(time)
    with ThreadPoolExecutor(2) as pool:
        found = list(pool.map(lambda column: _point(raw, column, time, clock), made.used))
    problems += [problem for _, _, problem in found if problem]
    names = [column.point for column in made.used]
    return Trend(
        name,
        path.name,
        digest,
        time,
        made.zone if made.zone != stamps.STAMPED else "",
        clock.rows,
        clock.step,
        clock.gaps,
        dict(zip(names, (values for values, _, _ in found), strict=True)),
        dict(zip(names, (flags for _, flags, _ in found), strict=True)),
        {column.point: _with_reference(column) for column in made.used},
        tuple(problems),
    )


def _bad_sentence(bad: tuple[BadRow, ...], count: int) -> str:
    shown = "; ".join(f"line {row.line}: {row.why}: {row.text[:60]!r}" for row in bad[:3])
    return (
        f"{count} rows do not match the columns and are left out"
        f" ({shown}{'; and more' if count > 3 else ''})."
    )


def _time(raw: RawTable, made: TrendMap) -> np.ndarray:
    import pyarrow as pa
    import pyarrow.compute as pc

    parts = [raw.column(name) for name in made.stamps]
    if len(parts) == 1:
        return stamps.moments(parts[0], made.format, made.zone)
    texts = [pc.utf8_trim_whitespace(pc.cast(part, pa.string()).combine_chunks()) for part in parts]
    return stamps.moments(
        pa.chunked_array([pc.binary_join_element_wise(*texts, scalar(" "))]), made.format, made.zone
    )


def _oldest_first(raw: RawTable, time: np.ndarray) -> tuple[RawTable, np.ndarray]:
    """A file that lists the newest row first, turned round."""
    steps = np.diff(time[np.isfinite(time)])
    if not steps.size or np.count_nonzero(steps < 0) <= steps.size / 2:
        return raw, time
    turned = places(np.arange(time.size - 1, -1, -1))
    return (
        RawTable(
            raw.layout,
            raw.names,
            raw.units,
            tuple(None if column is None else column.take(turned) for column in raw.columns),
            raw.bad,
            raw.bad_count,
        ),
        time[::-1].copy(),
    )


def _with_reference(column: Mapped) -> Mapped:
    if points()[column.point].kind != "gauge_pressure":
        return column
    return replace(column, reference=column.reference or _written_reference(column.unit))


def _written_reference(unit: str) -> str:
    meaning = unit_for(unit, "gauge_pressure")
    return "gauge" if meaning.reference else "absolute"


def _point(
    raw: RawTable, column: Mapped, time: np.ndarray, clock: quality.Clock
) -> tuple[np.ndarray, np.ndarray, str]:
    """Readings [SI], marks and fault of one point."""
    point = points()[column.point]
    numbers = cells.numbers(raw.column(column.column), raw.layout.decimal)
    zero, one = _line(column, point)
    values = zero + (one - zero) * numbers.values
    flags = np.where(np.isfinite(values), 0, quality.LACKING).astype(np.uint8) | clock.flags
    rows = clock.rows
    whole = rows.size == values.size
    ordered = (lambda each: each) if whole else (lambda each: each[rows])
    found = quality.marks(
        ordered(values),
        ordered(time),
        kind=point.kind,
        zero=point.zero,
        live=point.live,
        usual=_usual(point, column),
        exact_zero=ordered(numbers.values) == 0,
    )
    flags[rows] |= found
    return values, flags, _unreadable(column, numbers)


def _unreadable(column: Mapped, numbers: cells.Numbers) -> str:
    if not numbers.unreadable:
        return ""
    return (
        f"{column.column}: {numbers.unreadable} cells are not numbers"
        f" ({', '.join(repr(each) for each in numbers.examples)}); they are kept as missing."
    )


def _line(column: Mapped, point: Point) -> tuple[float, float]:
    """SI value of the cells 0 and 1: every unit here is a straight line. Gauge pressures stay
    gauge.
    """
    kind = point.kind
    if kind == "gauge_pressure":
        kind = (
            "relative_pressure"
            if (column.reference or _written_reference(column.unit)) == "gauge"
            else "pressure"
        )
    at_nought, at_one = (
        _si(column.scale * cell + column.offset, kind, column.unit, point) for cell in (0.0, 1.0)
    )
    return at_nought, at_one


def _si(value: float, kind: str, unit: str, point: Point) -> float:
    try:
        return float(parse_number(value, kind, unit).to_base_units().magnitude)
    except StartkitError:
        pass
    # A unit that itself means vacuum or gauge: its distance from the barometer.
    found = parse_number(value, point.kind, unit, _ATMOSPHERE, point.label) - _ATMOSPHERE
    return float(found.to_base_units().magnitude)


def _usual(point: Point, column: Mapped) -> tuple[float, float]:
    low, high = (parse(text, point.kind, barometer=_ATMOSPHERE) for text in point.usual)
    shift = 0.0
    if (
        point.kind == "gauge_pressure"
        and (column.reference or _written_reference(column.unit)) == "gauge"
    ):
        shift = float(_ATMOSPHERE.to_base_units().magnitude)
    return (
        float(low.to_base_units().magnitude) - shift,
        float(high.to_base_units().magnitude) - shift,
    )
