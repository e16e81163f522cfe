"""Hunting in a record: what swings, by how much, how fast, and whether that is too much."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pint

from startkit.facts.limits import Limit, Limits
from startkit.procedure.contradiction import where_wrong
from startkit.procedure.entries import Entries
from startkit.procedure.judging import check
from startkit.science.hunting import Swing, periodic_swing
from startkit.units import Q
from startkit.verdict import Verdict


@dataclass(frozen=True)
class Watched:
    """A column in which hunting is looked for.

    Parameters
    ----------
    label : str
    kind, unit : str
        Kind of its readings, and the SI unit of the array.
    size_kind, size_unit : str
        Kind and unit in which half of its height is judged.
    per : float
        What the array is divided by before it is judged: full-load current, or 1.
    """

    label: str
    kind: str
    unit: str
    size_kind: str
    size_unit: str
    per: float = 1.0


def watched(full_load_current: pint.Quantity) -> dict[str, Watched]:
    """Current as a part of full-load current, vanes, leaving chilled water."""
    amperes = float(full_load_current.to("ampere").magnitude)
    return {
        "current": Watched("current", "current", "ampere", "percent", "dimensionless", amperes),
        "vanes": Watched("vane position", "percent", "dimensionless", "percent", "dimensionless"),
        "leaving": Watched(
            "leaving chilled water", "temperature", "kelvin", "temperature_difference", "delta_degC"
        ),
    }


def swings(time: np.ndarray, columns: Mapping[str, np.ndarray]) -> dict[str, Swing]:
    """The largest periodic swing of each column; those in which nothing swings are left out."""
    found = {
        name: _swing(time.tobytes(), np.asarray(values, float).tobytes())
        for name, values in columns.items()
    }
    return {name: swing for name, swing in found.items() if swing is not None}


@lru_cache(maxsize=128)
def _swing(time: bytes, values: bytes) -> Swing | None:
    # A journal is judged anew at each entry; what swings depends on the record alone.
    found: Swing | None = periodic_swing.si(np.frombuffer(time), np.frombuffer(values))
    return found


def sizes(
    entries: Entries,
    limits: Limits,
    stage: str,
    found: Mapping[str, Swing],
    kinds: Mapping[str, Watched],
    items: Iterable[str],
) -> list[tuple[str, Verdict]]:
    """Half of the height of each swing against its limit: (what swings in words, verdict)."""
    named = tuple(items)
    return [
        (
            said(entries, swing, kinds[name]),
            _size(entries, limits[f"{stage}.swing_{name}"], swing, kinds[name], named),
        )
        for name, swing in found.items()
    ]


def _size(
    entries: Entries, limit: Limit, swing: Swing, kind: Watched, items: tuple[str, ...]
) -> Verdict:
    return check(
        entries,
        limit,
        Q(swing.amplitude / kind.per, kind.size_unit),
        u=Q(swing.u_amplitude / kind.per, kind.size_unit),
        next_step="",
        rests_on=items,
    )


def too_large(judged: Iterable[tuple[str, Verdict]]) -> list[str]:
    """What swings more than it may, in words."""
    return [words for words, verdict in judged if where_wrong(verdict)]


def said(entries: Entries, swing: Swing, kind: Watched) -> str:
    """``"current 348 to 408 A every 23 s"``."""
    low, high = (Q(value, kind.unit) for value in (swing.low, swing.high))
    period = entries.show(Q(swing.period, "second"), "time", 0)
    return (
        f"{kind.label} {entries.show(low, kind.kind)} to {entries.show(high, kind.kind)} every"
        f" {period}"
    )
