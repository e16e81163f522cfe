"""Stamps of a trend: which format they are in, and the moments that they mean.

Moments are seconds since 1970 in UTC; where no zone is given they are the panel's own clock,
taken as if it were UTC.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from itertools import pairwise, product
from typing import TYPE_CHECKING

import numpy as np

from startkit.errors import ReadingError
from startkit.facts.trend.arrow import floats, scalar
from startkit.facts.trend.cells import numbers

if TYPE_CHECKING:
    from startkit.facts.trend.arrow import Column

ISO, DAYS, SECONDS, MILLISECONDS = (
    "ISO 8601",
    "days since 1899-12-30",
    "seconds since 1970",
    "milliseconds since 1970",
)
STAMPED = "as stamped"
_DATES = (
    "%Y-%m-%d",
    "%m/%d/%Y",
    "%d/%m/%Y",
    "%m/%d/%y",
    "%d/%m/%y",
    "%d.%m.%Y",
    "%d.%m.%y",
    "%Y/%m/%d",
    "%d-%m-%Y",
    "%m-%d-%Y",
    "%d-%b-%Y",
    "%d-%b-%y",
    "%d %b %Y",
    "%d %b %y",
    "%b %d %Y",
    "%B %d %Y",
    "%Y%m%d",
    "%Y.%m.%d",
    "%y-%m-%d",
)
_TIMES = ("%H:%M:%S", "%H:%M", "%I:%M:%S %p", "%I:%M %p", "%H.%M.%S", "%H%M%S")
_BETWEEN = (" ", "T", "  ", "-")
_ISO = re.compile(r"^\d{4}-\d{2}-\d{2}([T ]\d{2}:\d{2}(:\d{2})?([.,]\d+)?)?$")
_OFFSET = r"\s*(?:Z|[+\-]\d{2}:?\d{2})$"
_NAME = r"\s+[A-Z]{2,5}$"
_FRACTION = r"(:\d{2}:\d{2})[.,]\d+"
# Abbreviations in building systems' exports -> hours from UTC. Where two zones share one, it is not
# listed.
ABBREVIATIONS = {
    "UTC": 0,
    "GMT": 0,
    "WET": 0,
    "WEST": 1,
    "BST": 1,
    "CET": 1,
    "CEST": 2,
    "EET": 2,
    "EEST": 3,
    "AST": -4,
    "ADT": -3,
    "EST": -5,
    "EDT": -4,
    "CDT": -5,
    "MST": -7,
    "MDT": -6,
    "PST": -8,
    "PDT": -7,
    "AKST": -9,
    "AKDT": -8,
    "HST": -10,
    "JST": 9,
    "SGT": 8,
    "HKT": 8,
    "AEST": 10,
    "AEDT": 11,
    "NZST": 12,
    "NZDT": 13,
}


@dataclass(frozen=True)
class StampFormat:
    """How stamps are written.

    Parameters
    ----------
    text : str
        `ISO`, `DAYS`, `SECONDS`, `MILLISECONDS`, or strptime's notation; ``%z`` and ``%Z`` at the
        end for an offset or a zone's name.
    sure : bool
        False if another format reads every stamp as well.
    note : str
        Why it is not sure.
    """

    text: str
    sure: bool = True
    note: str = ""


# --- which format ---------------------------------------------------------------------------------


def guess(stamps: Sequence[str] | np.ndarray) -> StampFormat | None:
    """The format in which these stamps make the most even clock; None if no format reads them.

    Parameters
    ----------
    stamps : sequence of str or array of float
        A sample in the file's order.
    """
    if isinstance(stamps, np.ndarray):
        return _numeric(stamps)
    texts = [text.strip() for text in stamps if text and text.strip()]
    if not texts:
        return None
    tail = _common_tail(texts)
    bare = [_bare(text, tail) for text in texts]
    if all(_ISO.match(text) for text in bare):
        return StampFormat(ISO + tail)
    fits = [format_ for format_ in _candidates(texts[0], tail) if _all_read(bare, format_)]
    return _evenest(fits, bare, tail)


def _numeric(values: np.ndarray) -> StampFormat | None:
    known = values[np.isfinite(values)]
    if not known.size or min((np.diff(known) < 0).mean(), (np.diff(known) > 0).mean()) > 0.01:
        return None
    middle = float(np.median(known))
    for low, high, text in (
        (20_000, 80_000, DAYS),
        (6e8, 6e9, SECONDS),
        (6e11, 6e12, MILLISECONDS),
    ):
        if low < middle < high:
            return StampFormat(text)
    return None


def _common_tail(texts: list[str]) -> str:
    """`` %z`` if all end with an offset, `` %Z`` with a zone's name, else empty."""
    if all(re.search(r"\d" + _OFFSET, text) and ":" in text for text in texts):
        return " %z"
    names = [re.search(r"[\dMm.]" + _NAME, text) for text in texts]
    return " %Z" if all(names) and not all(re.search(r"\s[AP]M$", text) for text in texts) else ""


def _bare(text: str, tail: str) -> str:
    """A stamp without zone and fraction, with AM and PM in one spelling."""
    if tail:
        text = re.sub(_OFFSET if tail == " %z" else _NAME, "", text)
    text = re.sub(
        r"\b([AaPp])\.?\s?[Mm]\.?$",
        lambda m: m.group(1).upper() + "M",
        text.replace("\u202f", " ").replace("\xa0", " "),
    )
    text = re.sub(
        r"(\d)([AP]M)$",
        r"\1 \2",
        text.replace(",", "") if re.search("[A-Za-z]{3,} \\d", text) else text,
    )
    return re.sub(_FRACTION, r"\1", text)


def _candidates(example: str, tail: str) -> list[str]:
    between = [mark for mark in _BETWEEN if mark in example] or [" "]
    return [
        *(f"{date}{mark}{time}" for date, mark, time in product(_DATES, between, _TIMES)),
        *_DATES,
    ]


def _all_read(texts: list[str], format_: str) -> bool:
    try:
        for text in texts[:400]:
            datetime.strptime(text, format_)  # zone and offset are in the tail
    except ValueError:
        return False
    return True


def _evenest(fits: list[str], texts: list[str], tail: str) -> StampFormat | None:
    """Of several formats the one whose clock goes forward in even steps; two alike are not sure."""
    if not fits:
        return None
    rated = sorted(
        (_unevenness([datetime.strptime(t, f) for t in texts[:400]]), i, f)
        for i, f in enumerate(fits)
    )
    alike = [f for unevenness, _, f in rated[1:] if unevenness <= rated[0][0] + 1e-9]
    note = f"day and month can be read either way ({rated[0][2]} or {alike[0]})" if alike else ""
    return StampFormat(rated[0][2] + tail, not alike, note)


def _unevenness(moments: list[datetime]) -> float:
    steps = np.array([(b - a).total_seconds() for a, b in pairwise(moments)])
    if not steps.size:
        return 0.0
    usual = float(np.median(np.abs(steps)))
    return float(np.mean(np.sign(steps) != np.sign(np.median(steps)))) + float(
        np.mean(np.abs(steps) > 50 * max(usual, 1.0))
    )


# --- from stamps to moments -----------------------------------------------------------------------


def moments(column: Column, format_: str, zone: str = "") -> np.ndarray:
    """Seconds since 1970 for every stamp; not a number where one cannot be read.

    Parameters
    ----------
    column : pyarrow.ChunkedArray
        Stamps as texts, numbers or timestamps.
    format_ : str
        As in `StampFormat`.
    zone : str
        ``"America/New_York"``, ``"-04:00"``, `STAMPED` for the stamps' own zone, or empty: not
        known.

    Raises
    ------
    ReadingError
        The zone or the format means nothing.
    """
    import pyarrow as pa

    if pa.types.is_timestamp(column.type):
        return _from_timestamps(column, zone)
    if format_ in (DAYS, SECONDS, MILLISECONDS):
        return _from_numbers(column, format_, zone)
    import pyarrow.compute as pc

    texts = pc.utf8_trim_whitespace(pc.cast(column, pa.string()))
    tail = format_[-3:] if format_.endswith((" %z", " %Z")) else ""
    naive = _naive(texts, format_.removesuffix(tail), tail)
    if tail == " %z" or (tail and zone in ("", STAMPED)):
        return naive - _tail_seconds(texts, tail)
    return localised(naive, "" if zone == STAMPED else zone)


def _from_timestamps(column: Column, zone: str) -> np.ndarray:
    import pyarrow as pa
    import pyarrow.compute as pc

    aware = column.type.tz is not None
    micro = pc.cast(pc.cast(column, pa.timestamp("us", column.type.tz), safe=False), pa.int64())
    seconds = floats(micro) / 1e6
    return seconds if aware else localised(seconds, "" if zone == STAMPED else zone)


def _from_numbers(column: Column, format_: str, zone: str) -> np.ndarray:
    values = numbers(column).values
    if format_ == DAYS:
        return localised(np.round((values - 25_569.0) * 86_400, 3), "" if zone == STAMPED else zone)
    return values if format_ == SECONDS else values / 1000


def _naive(texts: Column, format_: str, tail: str) -> np.ndarray:
    """Clock times as if they were UTC."""
    import pyarrow as pa
    import pyarrow.compute as pc

    if tail:
        texts = pc.replace_substring_regex(texts, _OFFSET if tail == " %z" else _NAME, "")
    if format_ == ISO:
        texts = pc.replace_substring(texts, ",", ".")
        texts = pc.if_else(pc.match_substring_regex(texts, _ISO.pattern), texts, scalar(None))
        try:
            return _seconds(pc.cast(texts, pa.timestamp("us")))
        except (
            pa.ArrowInvalid
        ):  # at least one is no day of the calendar: the slower way finds which
            return _iso_one_by_one(texts)
    texts, fraction = _without_fraction(texts)
    if "%p" in format_:
        texts = pc.replace_substring_regex(
            pc.utf8_upper(pc.replace_substring_regex(texts, r"\s*([AaPp])\.?\s?[Mm]\.?$", r" \1M")),
            r"\s+([AP]M)$",
            r" \1",
        )
    if "%b" in format_ or "%B" in format_:
        texts = (
            pc.utf8_title(pc.replace_substring(texts, ",", ""))
            if "%p" not in format_
            else pc.replace_substring(texts, ",", "")
        )
    try:
        return (
            _seconds(
                _on_the_calendar(
                    pc.strptime(texts, format=format_, unit="us", error_is_null=True),
                    texts,
                    format_,
                )
            )
            + fraction
        )
    except pa.ArrowException:
        raise ReadingError(
            f"{format_!r} is not a time-stamp format",
            "map, time.format",
            f"write for example %d.%m.%Y %H:%M:%S or {ISO}",
        ) from None


def _seconds(stamps: Column) -> np.ndarray:
    import pyarrow as pa
    import pyarrow.compute as pc

    return floats(pc.cast(stamps, pa.int64())) / 1e6


def _iso_one_by_one(texts: Column) -> np.ndarray:
    def seconds(text: str | None) -> float:
        try:
            return datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp() if text else np.nan
        except ValueError:
            return np.nan

    return np.array([seconds(text) for text in texts.to_pylist()])


def _on_the_calendar(stamps: Column, texts: Column, format_: str) -> Column:
    """Stamps without those that name no day: 30 February would be read as 2 March."""
    import pyarrow.compute as pc

    # A day too many can only have become one of the first three of the month that follows.
    doubtful = pc.fill_null(pc.less_equal(pc.day(stamps), scalar(3)), scalar(False))
    if "%d" not in format_ or not pc.any(doubtful).as_py():
        return stamps
    before = re.escape(format_.partition("%d")[0])
    for mark, signs in (
        ("%Y", r"\d{4}"),
        ("%y", r"\d{2}"),
        ("%m", r"\d{1,2}"),
        ("%b", "[A-Za-z]+"),
        ("%B", "[A-Za-z]+"),
        (r"\ ", r"\s+"),
    ):
        before = before.replace(mark, signs)
    day = pc.replace_substring_regex(texts, rf"^\s*{before}(\d{{1,2}}).*$", r"\1")
    late = pc.match_substring_regex(day, "^(?:29|30|31)$")
    return pc.if_else(pc.and_(doubtful, late), scalar(None), stamps)


def _without_fraction(texts: Column) -> tuple[Column, np.ndarray | float]:
    import pyarrow as pa
    import pyarrow.compute as pc

    has = pc.match_substring_regex(texts, _FRACTION)
    if not pc.any(has).as_py():
        return texts, 0.0
    digits = pc.replace_substring_regex(texts, r"^.*:\d{2}:\d{2}[.,](\d+).*$", r"0.\1")
    return pc.replace_substring_regex(texts, _FRACTION, r"\1"), floats(
        pc.cast(pc.if_else(has, digits, scalar("0")), pa.float64())
    )


def _tail_seconds(texts: Column, tail: str) -> np.ndarray:
    """How far each stamp's own zone is ahead of UTC [s]."""
    import pyarrow.compute as pc

    pattern = r"^.*?((?:Z|[+\-]\d{2}:?\d{2}))$" if tail == " %z" else r"^.*\s([A-Z]{2,5})$"
    tails = pc.replace_substring_regex(texts, pattern, r"\1").combine_chunks().dictionary_encode()
    meaning = np.array([np.nan, *(_offset(each) for each in tails.dictionary.to_pylist())])
    return meaning[np.nan_to_num(floats(tails.indices), nan=-1.0).astype(int) + 1]


def _offset(tail: str) -> float:
    if tail == "Z":
        return 0.0
    if tail in ABBREVIATIONS:
        return 3600.0 * ABBREVIATIONS[tail]
    match = re.match(r"^([+\-])(\d{2}):?(\d{2})$", tail)
    if match is None:
        raise ReadingError(
            f"the time zone {tail!r} in the stamps is ambiguous",
            "map, time.zone",
            "name the zone, as America/Chicago or -06:00",
        )
    return (1 if match.group(1) == "+" else -1) * (
        int(match.group(2)) * 3600.0 + int(match.group(3)) * 60
    )


# --- zones ----------------------------------------------------------------------------------------


def zone_of(name: str) -> tzinfo:
    """The zone of that name as a `tzinfo`; UTC for an empty one.

    Raises
    ------
    ReadingError
        No zone is called so.
    """
    from zoneinfo import ZoneInfo

    if name in ("", STAMPED):
        return UTC
    if re.match(r"^[+\-]\d{2}:?\d{2}$", name):
        return timezone(timedelta(seconds=_offset(name)))
    try:
        return ZoneInfo(name)
    except Exception:  # zoneinfo raises several kinds for a name that is none
        raise ReadingError(
            f"{name!r} is not a time zone",
            "map, time.zone",
            "write it as America/New_York, Europe/Berlin or -04:00",
        ) from None


def localised(naive: np.ndarray, zone: str) -> np.ndarray:
    """Clock times of a zone as UTC; the hour that comes twice in autumn is resolved by the clock
    that goes back.

    Parameters
    ----------
    naive : numpy.ndarray
        Clock times as if they were UTC [s].
    zone : str
    """
    if not zone:
        return naive
    where = zone_of(zone)
    known = np.isfinite(naive)
    quarters, place = np.unique(np.floor(naive[known] / 900).astype(np.int64), return_inverse=True)
    first, second = (
        np.array([_offset_at(int(q) * 900, where, fold) for q in quarters])[place]
        for fold in (0, 1)
    )
    offset = np.full(naive.size, np.nan)
    offset[known] = np.where(_second_pass(naive[known], first != second), second, first)
    return naive - offset


def _offset_at(seconds: int, where: tzinfo, fold: int) -> float:
    clock = datetime(1970, 1, 1) + timedelta(seconds=seconds)
    offset = clock.replace(tzinfo=where, fold=fold).utcoffset()
    return offset.total_seconds() if offset is not None else 0.0


def _second_pass(naive: np.ndarray, twice: np.ndarray) -> np.ndarray:
    """True from where the clock of an hour that comes twice was set back."""
    if not twice.any():
        return twice
    back = np.concatenate(([False], (np.diff(naive) < -600) & twice[1:]))
    starts = np.flatnonzero(twice & ~np.concatenate(([False], twice[:-1])))
    run = np.cumsum(np.isin(np.arange(naive.size), starts))
    set_back = np.zeros(naive.size, bool)
    for number in np.unique(run[twice]):
        rows = np.flatnonzero(twice & (run == number))
        jumps = rows[back[rows]]
        if jumps.size:
            set_back[rows[rows >= jumps[0]]] = True
    return set_back
