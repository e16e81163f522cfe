"""Arrow columns to numpy and back without pandas: `pyarrow.scalar` and `to_numpy` import all of it
(0.2 s) to ask it whether a number is a series.
"""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

if TYPE_CHECKING:
    import pyarrow as pa

    Column: TypeAlias = pa.ChunkedArray | pa.Array


def scalar(value: bool | int | str | None) -> pa.Scalar:
    """A value as Arrow's compute functions take it together with a column.

    Parameters
    ----------
    value : bool, int, str or None
    """
    import pyarrow as pa

    if value is None:
        return pa.NULL
    if isinstance(value, str):
        content = value.encode("utf-8")
        return pa.Array.from_buffers(
            pa.string(),
            1,
            [None, pa.py_buffer(struct.pack("<ii", 0, len(content))), pa.py_buffer(content)],
        )[0]
    kind, content = (
        (pa.bool_(), bytes([value]))
        if isinstance(value, bool)
        else (pa.int64(), struct.pack("<q", value))
    )
    return pa.Array.from_buffers(kind, 1, [None, pa.py_buffer(content)])[0]


def places(numbers: np.ndarray) -> pa.Array:
    """Row numbers as Arrow's `take` wants them.

    Parameters
    ----------
    numbers : numpy.ndarray
        Whole numbers.
    """
    import pyarrow as pa

    return pa.Array.from_buffers(
        pa.int64(), numbers.size, [None, pa.py_buffer(np.ascontiguousarray(numbers, np.int64))]
    )


def floats(column: Column) -> np.ndarray:
    """A column of numbers or of truth values; where it holds nothing, not a number.

    Parameters
    ----------
    column : pyarrow.ChunkedArray or pyarrow.Array
    """
    import pyarrow as pa
    import pyarrow.compute as pc

    plain = pc.cast(column, pa.float64(), safe=False)
    array = plain.combine_chunks() if isinstance(plain, pa.ChunkedArray) else plain
    if not len(array):
        return np.empty(0)
    present, content = array.buffers()
    values = np.frombuffer(content, np.float64, len(array), 8 * array.offset).copy()
    if array.null_count:
        bits = np.unpackbits(np.frombuffer(present, np.uint8), bitorder="little")
        values[bits[array.offset : array.offset + len(array)] == 0] = np.nan
    return values


def marks(column: Column) -> np.ndarray:
    """A column of truth values; where it holds nothing, false."""
    return floats(column) == 1.0
