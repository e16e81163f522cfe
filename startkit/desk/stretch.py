"""A stretch of an imported trend, entered into a series as if its rows had been pasted."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path

import numpy as np
import pint

from startkit.errors import JobError, ReadingError
from startkit.facts.job import Job
from startkit.facts.journal import Entry
from startkit.facts.trend.points import points
from startkit.facts.trend.trend import Trend
from startkit.procedure.assessment import Assessment, of_job
from startkit.procedure.stage import CLOCK, SERIES, Column, Field
from startkit.units import KINDS, Q, label, magnitude

MOST = 20_000  # rows of one series: what a person would look at, and what the journal is to hold


def enter_stretch(
    folder: Path,
    item: str,
    name: str,
    begin: str,
    end: str,
    who: str,
    given: Mapping[str, str] | None = None,
    add: bool = False,
) -> tuple[list[Entry], list[str]]:
    """Write the rows of a trend between two moments into a series field.

    A reading that carries a mark - a drop-out, a stuck sensor - is left empty, never filled.

    Parameters
    ----------
    folder : pathlib.Path
        Of the job.
    item : str
        ``stage.series``.
    name : str
        Of the imported trend.
    begin, end : str
        Moments on the trend's own clock, both included.
    who : str
    given : mapping
        Columns that are the same in every row, such as the trip's number.
    add : bool
        Append to the existing rows instead of replacing them.

    Returns
    -------
    entries : list of Entry
    told : list of str
        One sentence a column: filled, how many of its readings are empty, or that the trend
        does not have it.

    Raises
    ------
    JobError
        The item is no series that a trend can fill, or there is no such trend.
    ReadingError
        No row is between the moments, too many are, no one is named, or a column is unknown.
    """
    job = Job(folder)
    assessment = of_job(job)
    field = _field(assessment, item)
    trend = _trend(job, name)
    rows, told = _rows(field, trend, _between(trend, begin, end), assessment, dict(given or {}))
    standing = job.state().latest.get(item)
    before = standing.value if standing is not None and add else ""
    # The first row names the columns: it is written once.
    text = "\n".join([before, *rows[1:]] if before else rows)
    if not who:
        raise ReadingError("no one is named", item, "give --who")
    note = f"from the trend {trend.name}, {begin} to {end}, sha256 {trend.digest}"
    return job.record(Entry(item, text, "", who, "", note)), told


def _field(assessment: Assessment, item: str) -> Field:
    fitting = {
        f"{stage.name}.{field.name}": field
        for stage in assessment.stages.values()
        for field in stage.fields_for(assessment.machine)
        if field.kind == SERIES and any(column.point == CLOCK for column in field.columns)
    }
    if item not in fitting:
        raise JobError(
            f"{item!r} cannot be filled from a trend", "item", f"use one of {', '.join(fitting)}"
        )
    return fitting[item]


def _trend(job: Job, name: str) -> Trend:
    found = job.trends.get(name)
    if found is None:
        known = ", ".join(job.trends) or "none yet; import one with `startkit trend`"
        raise JobError(
            f"there is no trend {name!r} in this job", "trend", f"its trends are {known}"
        )
    return found


def _between(trend: Trend, begin: str, end: str) -> np.ndarray:
    first, last = trend.seconds(begin), trend.seconds(end)
    inside = np.flatnonzero((trend.clock >= first) & (trend.clock <= last))
    if not inside.size:
        raise ReadingError(
            f"the trend {trend.name} has no row from {begin} to {end}",
            "from, to",
            f"it runs from {trend.moment(trend.clock[0])} to {trend.moment(trend.clock[-1])}",
        )
    if inside.size > MOST:
        raise ReadingError(
            f"{inside.size} rows are between {begin} and {end}",
            "from, to",
            f"choose a shorter stretch: at most {MOST} rows",
        )
    return inside


def _rows(
    field: Field, trend: Trend, inside: np.ndarray, assessment: Assessment, given: dict[str, str]
) -> tuple[list[str], list[str]]:
    unknown = set(given) - {column.name for column in field.columns}
    if unknown:
        raise ReadingError(
            f"{sorted(unknown)[0]!r} is not a column",
            "with",
            f"columns are {', '.join(column.name for column in field.columns)}",
        )
    system, barometer = assessment.system, assessment.entries.barometer.quantity
    columns, told = [], []
    for column in field.columns:
        cells, said = _column(column, trend, inside, given, system, barometer)
        columns.append(cells)
        told += [said] if said else []
    return [
        "\t".join(_head(column, system) for column in field.columns),
        *map("\t".join, zip(*columns, strict=True)),
    ], told


def _head(column: Column, system: str) -> str:
    unit = label(column.kind, system) if column.kind in KINDS else ""
    return f"{column.label} [{unit}]" if unit else column.label


def _column(
    column: Column,
    trend: Trend,
    inside: np.ndarray,
    given: dict[str, str],
    system: str,
    barometer: pint.Quantity | None,
) -> tuple[list[str], str]:
    """The cells of one column, and a sentence about it."""
    if column.name in given:
        return [given[column.name]] * inside.size, ""
    if column.point == CLOCK:
        return (
            list(
                _numbers(
                    Q(trend.clock[inside] - trend.clock[inside[0]], "second"),
                    column,
                    system,
                    barometer,
                )
            ),
            "",
        )
    if column.point not in trend.values:
        return [""] * inside.size, f"{column.label}: not in this trend, left empty."
    readings = Q(trend.usable(column.point)[inside], _base(column.point))
    if column.kind == "gauge_pressure" and trend.gauge(column.point) and barometer is not None:
        readings = readings + barometer
    cells = list(_numbers(readings, column, system, barometer))
    empty = cells.count("")
    return cells, f"{column.label}: {inside.size - empty} readings" + (
        f", {empty} marked and left empty." if empty else "."
    )


def _base(point: str) -> str:
    """SI base unit in which a trend holds a point."""
    return str(Q(1.0, KINDS[points()[point].kind].si.pint).to_base_units().units)


def _numbers(
    values: pint.Quantity, column: Column, system: str, barometer: pint.Quantity | None
) -> Iterator[str]:
    shown = np.asarray(magnitude(values, column.kind, system, barometer))
    return ("" if np.isnan(value) else f"{value:.7g}" for value in shown)
