"""A job's data as pandas frames, for further calculation in the notebook."""

# `Any` here: pandas frames and JSON values.
from __future__ import annotations

from typing import TYPE_CHECKING, Any

from startkit.errors import JobError
from startkit.facts.trend.trend import Trend
from startkit.procedure.assessment import Assessment
from startkit.procedure.entries import Entries
from startkit.procedure.reading import Reading
from startkit.procedure.stage import SERIES, TABLE, Field
from startkit.units import KINDS, label, magnitude

if TYPE_CHECKING:
    import pandas

JOURNAL, FIGURES, TREND = "journal", "figures", "trend."


def frame(assessment: Assessment, what: str) -> pandas.DataFrame:
    """One part of a job as a frame; units are in the column names.

    Parameters
    ----------
    assessment : Assessment
    what : str
        ``"journal"``, ``"figures"``, ``"stage.table"`` such as ``"load_up.points"``,
        ``"stage.series"`` such as
        ``"vanes.trace"``, or ``"trend.name"`` for an imported trend.

    Raises
    ------
    JobError
        The job has no such part; the known ones are named.
    """
    if what == JOURNAL:
        return _journal(assessment)
    if what == FIGURES:
        return _figures(assessment)
    if what.startswith(TREND):
        return _trend(assessment, what.removeprefix(TREND))
    stage, _, name = what.partition(".")
    field = assessment.stage_entries(stage).fields.get(name) if stage in assessment.stages else None
    if field is None or field.kind not in (TABLE, SERIES):
        raise JobError(
            f"{what!r} is not a table of this job", "frame", f"use {', '.join(known(assessment))}"
        )
    entries = assessment.stage_entries(stage)
    return _table(entries, field) if field.kind == TABLE else _series(entries, field)


def known(assessment: Assessment) -> list[str]:
    """Everything that `frame` can give for this job."""
    tables = [
        f"{name}.{f.name}"
        for name in assessment.stages
        for f in assessment.stage_entries(name).fields.values()
        if f.kind in (TABLE, SERIES)
    ]
    return [JOURNAL, FIGURES, *tables, *(TREND + name for name in assessment.entries.trends)]


def _journal(assessment: Assessment) -> pandas.DataFrame:
    import pandas as pd

    columns = ("seq", "what", "value", "unit", "who", "instrument", "note", "at")
    return pd.DataFrame(
        [[getattr(entry, c) for c in columns] for entry in assessment.state.entries],
        columns=columns,
    ).set_index("seq")


def _figures(assessment: Assessment) -> pandas.DataFrame:
    """Every keyed figure: value and standard uncertainty in the job's units."""
    import pandas as pd

    rows = []
    for name in assessment.stages:
        for figure in assessment.findings(name).figures:
            if figure.key and not isinstance(figure.value, str):
                rows.append(
                    (
                        figure.key,
                        figure.label,
                        _shown(assessment, figure.value, figure.kind),
                        label(figure.kind, assessment.system),
                        figure.note,
                    )
                )
    return pd.DataFrame(rows, columns=["key", "figure", "value", "unit", "note"]).set_index("key")


def _shown(assessment: Assessment, value: Any, kind: str) -> float:
    return (
        float("nan")
        if value is None
        else magnitude(value, kind, assessment.system, assessment.entries.barometer.quantity)
    )


def _named(name: str, kind: str, system: str) -> str:
    unit = label(kind, system) if kind in KINDS else ""
    return f"{name} [{unit}]" if unit else name


def _table(entries: Entries, field: Field) -> pandas.DataFrame:
    import pandas as pd

    system = entries.job.system
    rows = {
        row.index: [_cell(entries, row.reading(c.name), c.kind) for c in field.columns]
        for row in entries.rows(field.name)
    }
    return pd.DataFrame.from_dict(
        rows, orient="index", columns=[_named(c.name, c.kind, system) for c in field.columns]
    )


def _cell(entries: Entries, reading: Reading, kind: str) -> Any:
    if kind not in KINDS:
        return reading.text
    return (
        float("nan")
        if reading.quantity is None
        else magnitude(reading.quantity, kind, entries.job.system, entries.job.barometer.quantity)
    )


def _series(entries: Entries, field: Field) -> pandas.DataFrame:
    """A pasted block; numbers in SI base units as the stage reads them, texts as pasted."""
    import pandas as pd

    block = entries.block(field.name)
    return pd.DataFrame(
        {c.name: block.columns.get(c.name, block.texts.get(c.name, ())) for c in field.columns}
    )


def _trend(assessment: Assessment, name: str) -> pandas.DataFrame:
    """An imported trend over time, in SI base units; a reading with a mark has it in ``<point>
    quality``.
    """
    import pandas as pd

    trends = assessment.entries.trends
    if name not in trends:
        raise JobError(
            f"no trend is called {name!r}", "frame", f"use {', '.join(known(assessment))}"
        )
    found: Trend = trends[name]
    columns = {
        **found.values,
        **{f"{point} quality": marks for point, marks in found.quality.items()},
    }
    return pd.DataFrame(columns, index=pd.to_datetime(found.time, unit="s", utc=True))
