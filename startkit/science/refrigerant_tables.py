"""Refrigerant tables: what an equation of state gave on a grid, one file for each refrigerant,
shipped with the package.

`refrigerant_equations` makes them and `refrigerant_states` reads them.
"""

# `Any` here: a folder of the package is a path or what stands in for one.
from __future__ import annotations

import io
from dataclasses import dataclass
from importlib import resources
from typing import Any

import numpy as np

from startkit.science.refrigerant_data import folded

FOLDER: Any = resources.files("startkit.science") / "tables"
BEYOND = 3.0  # K past the saturation line, so that a sensor's uncertainty can be carried across it
SUPERHEAT_MAX, SUBCOOLING_MAX = 100.0, 40.0  # K
PROPERTIES = ("h", "s", "rho", "w")


@dataclass(frozen=True, eq=False)
class Side:
    """The dew or the bubble line and the vapour or liquid beside it.

    Parameters
    ----------
    log_p, line : numpy.ndarray
        Natural logarithm of pressure [Pa], saturation temperature [K].
    surface_p, away : numpy.ndarray
        Axes of `values`: logarithm of pressure [Pa], distance from the line [K].
    values : numpy.ndarray
        `PROPERTIES` over ``(surface_p, away)``: h [J/kg], s [J/(kg K)], rho [kg/m3], w [m/s].
    """

    log_p: np.ndarray
    line: np.ndarray
    surface_p: np.ndarray
    away: np.ndarray
    values: np.ndarray


_PARTS = ("log_p", "line", "surface_p", "away", "values")


@dataclass(frozen=True, eq=False)
class Table:
    """One refrigerant.

    Parameters
    ----------
    name, made_with : str
        Designation; name and version of the library that was asked.
    equations : tuple of str
        Equations of state, and of mixing, as the library cites them.
    ends : tuple of float
        Coldest and hottest saturation temperature [K].
    bubble, dew : Side
    """

    name: str
    made_with: str
    equations: tuple[str, ...]
    ends: tuple[float, float]
    bubble: Side
    dew: Side


def file_of(name: str) -> str:
    """The file of a refrigerant: ``R-1233zd(E)`` is kept in ``r1233zde.npz``."""
    return f"r{folded(name)}.npz"


def to_bytes(table: Table) -> bytes:
    """A table as the bytes of its file; the same table gives the same bytes."""
    arrays = {
        f"{side}_{part}": getattr(getattr(table, side), part)
        for side in ("bubble", "dew")
        for part in _PARTS
    }
    content = io.BytesIO()
    np.savez_compressed(
        content,
        words=np.array([table.name, table.made_with, *table.equations]),
        ends=np.array(table.ends),
        **arrays,
    )
    return content.getvalue()


def from_bytes(content: bytes) -> Table:
    """The table in the bytes of a file."""
    with np.load(io.BytesIO(content), allow_pickle=False) as file:
        bubble, dew = (
            Side(**{part: file[f"{side}_{part}"] for part in _PARTS}) for side in ("bubble", "dew")
        )
        name, made_with, *equations = map(str, file["words"])
        return Table(
            name,
            made_with,
            tuple(equations),
            (float(file["ends"][0]), float(file["ends"][1])),
            bubble,
            dew,
        )
