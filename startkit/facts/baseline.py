"""The baseline: figures of an earlier record, against which a later visit is held."""

# `Any` here: what a JSON file holds is checked value by value.
from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pint

from startkit.errors import JobError
from startkit.facts import given_files
from startkit.units import KINDS, Q

FILE = "baseline.json"  # in a job's folder: the data of the earlier record
LARGEST = 50_000_000  # bytes


@dataclass(frozen=True)
class BaselineFigure:
    """One figure of the earlier record.

    Parameters
    ----------
    key, label : str
    value : pint.Quantity
        [unit of `kind`].
    u : pint.Quantity or None
        Standard uncertainty.
    kind : str
        Kind of reading.
    text : str
        As it was printed.
    """

    key: str
    label: str
    value: pint.Quantity
    u: pint.Quantity | None
    kind: str
    text: str


@dataclass(frozen=True)
class Baseline:
    """The figures of an earlier record that later visits compare, by key, and the record."""

    figures: Mapping[str, BaselineFigure] = field(default_factory=dict)
    title: str = ""
    date: str = ""

    def __bool__(self) -> bool:
        return bool(self.figures)


NO_BASELINE = Baseline()


def in_folder(folder: Path) -> Baseline:
    """The baseline of a job; empty if its folder has no ``baseline.json``."""
    path = Path(folder) / FILE
    return load(path) if path.is_file() else NO_BASELINE


def load(path: Path) -> Baseline:
    """The figures in the data of an earlier record.

    Parameters
    ----------
    path : pathlib.Path
        JSON as a record carries it: stages with figures, each with ``key``, ``number`` [SI base
        unit], ``u_number`` and ``kind``.

    Raises
    ------
    JobError
        Not readable, not JSON, or without a single figure.
    """
    data = _json(path)
    found = {figure.key: figure for figure in map(_figure, _figures(data)) if figure is not None}
    if not found:
        raise JobError(
            "the file has no figures from an earlier record",
            path.name,
            "take the data attached to the record, or remove the file",
        )
    front = data.get("front", {}) if isinstance(data, dict) else {}
    front = front if isinstance(front, dict) else {}
    return Baseline(
        found,
        str(data.get("title", "")) if isinstance(data, dict) else "",
        str(front.get("last_entry", ""))[:10],
    )


def _json(path: Path) -> Any:
    given_files.refuse_other(path, JobError)
    try:
        if path.stat().st_size > LARGEST:
            raise JobError(
                "the file is too large for a record's data",
                path.name,
                "take the data attached to the record",
            )
        return json.loads(path.read_text(encoding="utf-8"))
    except (ValueError, RecursionError):  # broken UTF-8 is a ValueError too
        raise JobError(
            "the file is not JSON", path.name, "take the data attached to the record"
        ) from None
    except OSError as error:
        raise JobError(
            f"the file cannot be read ({error.strerror})", path.name, "check the file"
        ) from None


def _figures(data: Any) -> Iterator[Mapping[str, Any]]:
    """Every table under a key ``figures``, wherever it is: the record's layout may grow."""
    if isinstance(data, dict):
        rows = data.get("figures")
        yield from (row for row in rows if isinstance(row, dict)) if isinstance(rows, list) else ()
        yield from (
            row for name, value in data.items() if name != "figures" for row in _figures(value)
        )
    elif isinstance(data, list):
        yield from (row for value in data for row in _figures(value))


def _figure(row: Mapping[str, Any]) -> BaselineFigure | None:
    """A figure that later visits compare; one without key, number or kind is none."""
    key, kind = row.get("key"), row.get("kind")
    number, u = _number(row.get("number")), _number(row.get("u_number"))
    if not isinstance(key, str) or not key or kind not in KINDS or number is None:
        return None
    unit = Q(1, KINDS[kind].si.pint).to_base_units().units
    return BaselineFigure(
        key,
        str(row.get("label", key)),
        Q(number, unit),
        None if u is None else Q(u, "delta_degC" if kind == "temperature" else unit),
        kind,
        str(row.get("text", "")),
    )


def _number(value: object) -> float | None:
    if not isinstance(value, int | float) or isinstance(value, bool) or not math.isfinite(value):
        return None
    return float(value)
