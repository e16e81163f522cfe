"""A trend: readings of many points over time, from one file, in SI, with a quality mark on every
reading.
"""

from __future__ import annotations

import hashlib
import re
import threading
from collections.abc import Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from startkit.errors import JobError, ReadingError, StartkitError
from startkit.facts import trend_file, trend_guess, trend_map, trend_quality, trend_time, whole
from startkit.facts.arrow import places, scalar
from startkit.facts.journal import Entry
from startkit.facts.machine import Machine
from startkit.facts.trend_file import BadRow, Numbers, RawTable
from startkit.facts.trend_map import Mapped, TrendMap
from startkit.facts.trend_points import Point, points
from startkit.units import Q, parse, parse_number

if TYPE_CHECKING:
    from startkit.facts.job import Job

FOLDER, ITEM = "trends", "trend."
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
        Readings by point [SI base unit], as they stand in the file; gauge pressures without the
        barometer.
    quality : dict of str -> numpy.ndarray
        Marks by point and row, see `trend_quality`; those of the row's stamp included.
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
        """Readings of a point beside `clock` [SI base unit]; not a number where a mark says that
        they are not to be used.
        """
        rows = self.rows
        return np.where(
            self.quality[point][rows] & trend_quality.UNUSABLE, np.nan, self.values[point][rows]
        )

    def moment(self, seconds: float) -> str:
        """A moment as text on the trend's own clock, ``2026-04-16 09:20:10``."""
        from datetime import datetime

        return datetime.fromtimestamp(seconds, trend_time.zone_of(self.zone)).strftime(
            "%Y-%m-%d %H:%M:%S"
        )

    def seconds(self, text: str) -> float:
        """The moment that a text means on the trend's own clock.

        Raises
        ------
        ReadingError
            It is no date and time.
        """
        from datetime import datetime

        try:
            found = datetime.fromisoformat(text.strip())
        except ValueError:
            raise ReadingError(
                f"{text!r} is not a date and time",
                f"trend {self.name}",
                "write it as 2026-04-16 09:20:10",
            ) from None
        return (
            found if found.tzinfo else found.replace(tzinfo=trend_time.zone_of(self.zone))
        ).timestamp()

    def marks(self) -> dict[str, dict[int, int]]:
        """How many readings of each point carry which mark."""
        return {point: trend_quality.counts(flags) for point, flags in self.quality.items()}


# --- from file and map to trend -------------------------------------------------------------------


def build(path: Path, made: TrendMap, name: str = "", digest: str = "") -> Trend:
    """The trend in a file as its map reads it.

    Raises
    ------
    ReadingError
        The file cannot be read, or lacks a column of the map.
    """
    wanted = {*made.stamps, *(column.column for column in made.used)}
    raw = trend_file.read(
        path, made.layout if path.suffix.lower() not in (".parquet", ".pq") else None, wanted
    )
    time = _time(raw, made)
    raw, time = _oldest_first(raw, time)
    problems = [_bad_sentence(raw.bad, raw.bad_count)] if raw.bad_count else []
    unread = int(np.count_nonzero(~np.isfinite(time)))
    if unread == time.size:
        raise ReadingError(
            f"no stamp in {' and '.join(made.stamps)} can be read as {made.format}",
            path.name,
            "correct time.format in its map",
        )
    if unread:
        problems.append(
            f"{unread} of {time.size} stamps cannot be read as {made.format}; their rows are kept"
            " and marked."
        )
    clock = trend_quality.clock(time)
    with ThreadPoolExecutor(2) as pool:
        found = list(pool.map(lambda column: _point(raw, column, time, clock), made.used))
    problems += [problem for _, _, problem in found if problem]
    names = [column.point for column in made.used]
    return Trend(
        name,
        path.name,
        digest,
        time,
        made.zone if made.zone != trend_time.STAMPED else "",
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
        f"{count} rows do not fit the columns and are left out"
        f" ({shown}{'; and more' if count > 3 else ''})."
    )


def _time(raw: RawTable, made: TrendMap) -> np.ndarray:
    import pyarrow as pa
    import pyarrow.compute as pc

    parts = [raw.column(name) for name in made.stamps]
    if len(parts) == 1:
        return trend_time.moments(parts[0], made.format, made.zone)
    texts = [pc.utf8_trim_whitespace(pc.cast(part, pa.string()).combine_chunks()) for part in parts]
    return trend_time.moments(
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
    from dataclasses import replace

    if points()[column.point].kind != "gauge_pressure":
        return column
    return replace(column, reference=column.reference or _written_reference(column.unit))


def _written_reference(unit: str) -> str:
    from startkit.units import unit_for

    meaning = unit_for(unit, "gauge_pressure")
    return "gauge" if meaning.reference else "absolute"


def _point(
    raw: RawTable, column: Mapped, time: np.ndarray, clock: trend_quality.Clock
) -> tuple[np.ndarray, np.ndarray, str]:
    """Readings [SI], marks and fault of one point."""
    point = points()[column.point]
    cells = trend_file.numbers(raw.column(column.column), raw.layout.decimal)
    zero, one = _line(column, point)
    values = zero + (one - zero) * cells.values
    flags = np.where(np.isfinite(values), 0, trend_quality.LACKING).astype(np.uint8) | clock.flags
    rows = clock.rows
    whole = rows.size == values.size
    ordered = (lambda each: each) if whole else (lambda each: each[rows])
    found = trend_quality.marks(
        ordered(values),
        ordered(time),
        kind=point.kind,
        zero=point.zero,
        live=point.live,
        usual=_usual(point, column),
        exact_zero=ordered(cells.values) == 0,
    )
    flags[rows] |= found
    return values, flags, _unreadable(column, cells)


def _unreadable(column: Mapped, cells: Numbers) -> str:
    if not cells.unreadable:
        return ""
    return (
        f"{column.column}: {cells.unreadable} cells are no number"
        f" ({', '.join(repr(each) for each in cells.examples)}); they are kept as lacking."
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
    # A unit that says vacuum or gauge itself: its distance from the barometer.
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


def guess(path: Path, machine: Machine | None = None) -> TrendMap:
    """A first map of the file for a person to confirm."""
    return trend_guess.guess(trend_file.read(Path(path)), machine)


# --- in a job's folder ----------------------------------------------------------------------------


def digest_of(path: Path) -> str:
    """SHA-256 of a file, read piece by piece."""
    found = hashlib.sha256()
    with path.open("rb") as file:
        while piece := file.read(1 << 20):
            found.update(piece)
    return found.hexdigest()


def import_file(
    job: Job, path: Path, map_path: Path, who: str, at: str = "", name: str = ""
) -> Trend:
    """Keep a trend's file and its confirmed map in the job's folder and write that into the
    journal.

    Parameters
    ----------
    job : Job
    path, map_path : pathlib.Path
    who : str
        Who confirmed the map.
    at : str
        Moment of the entry; empty: now.
    name : str
        Under which the stages know it; default: the file's name.

    Raises
    ------
    ReadingError, SheetError, JobError
        Nobody is named, the map is not confirmed, the file cannot be read, or another file has that
        name already.
    """
    path, map_path = Path(path), Path(map_path)
    if not who.strip():
        raise ReadingError("nobody is named who confirmed the map", map_path.name, "give --who")
    made = trend_map.load(map_path)
    if not made.confirmed:
        raise ReadingError(
            "nobody has confirmed this map",
            map_path.name,
            "look at every line, correct it and set  confirmed = true",
        )
    if not made.used:
        raise ReadingError(
            "the map gives no column a point",
            map_path.name,
            "name the points of the columns that matter",
        )
    name = name or _name_of(path)
    digest = digest_of(path)
    known = job.state().latest.get(ITEM + name)
    if known is not None and _digests(known)[0] not in ("", digest):
        raise JobError(
            f"another file is imported as trend {name!r} already", path.name, "rename the file"
        )
    found = build(path, made, name, digest)
    kept, kept_map = _kept(job, path, name), _kept(job, map_path, name)
    _copy(path, kept)
    _copy(map_path, kept_map)
    first, last = (found.moment(each) for each in (found.clock[0], found.clock[-1]))
    note = (
        f"sha256 {digest}; map {kept_map.name} sha256 {digest_of(kept_map)}; {len(found)} rows of"
        f" {len(found.values)} points, {first} to {last}"
    )
    job.record(Entry(ITEM + name, kept.name, "", who, "", note, at))
    return found


def _name_of(path: Path) -> str:
    name = re.sub(r"[^a-z0-9]+", "-", path.stem.casefold()).strip("-")[:60].strip("-")
    return f"trend-{name}".strip("-") if not name or whole.is_reserved(name) else name


def _kept(job: Job, path: Path, name: str) -> Path:
    return job.folder / FOLDER / f"{name}{path.suffix.lower()}"


def _copy(source: Path, target: Path) -> None:
    try:
        target.parent.mkdir(exist_ok=True)
        if not target.exists() or not target.samefile(source):
            whole.copy(source, target)
    except OSError as error:
        raise JobError(
            f"the file cannot be kept in the job ({error.strerror})",
            str(target),
            "check that the job's folder can be written",
        ) from None


def _digests(entry: Entry) -> tuple[str, str]:
    found = re.findall(r"sha256 ([0-9a-f]{64})", entry.note)
    return (found[0], found[1]) if len(found) == 2 else ("", "")


class Trends(Mapping[str, Trend]):
    """The trends of a job by name, each read when it is first asked for.

    Safe from several threads.
    """

    def __init__(self, job: Job) -> None:
        self._job = job
        self._read: dict[tuple[str, str], Trend] = {}
        self._lock = threading.RLock()

    def _entries(self) -> dict[str, Entry]:
        return {
            what.removeprefix(ITEM): entry
            for what, entry in self._job.state().latest.items()
            if what.startswith(ITEM) and entry.value
        }

    def __iter__(self) -> Iterator[str]:
        return iter(self._entries())

    def __len__(self) -> int:
        return len(self._entries())

    def __contains__(self, name: Any) -> bool:
        return name in self._entries()

    def __getitem__(self, name: str) -> Trend:
        entry = self._entries()[name]
        with self._lock:
            key = (name, entry.digest)
            if key not in self._read:
                self._read[key] = self._load(name, entry)
            return self._read[key]

    def _load(self, name: str, entry: Entry) -> Trend:
        folder = self._job.folder / FOLDER
        path, map_path = folder / Path(entry.value).name, folder / f"{name}.toml"
        digests = _digests(entry)
        for file, digest in zip((path, map_path), digests, strict=True):
            if not file.is_file():
                raise JobError(
                    "a trend's file is missing", str(file), "put it back as it was imported"
                )
            if digest != digest_of(file):
                raise JobError(
                    "a trend's file was changed after it was imported",
                    str(file),
                    "put the original back; its SHA-256 stands in the journal",
                )
        return build(path, trend_map.load(map_path), name, digests[0])
