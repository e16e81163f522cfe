"""Arrow columns and numpy, without pandas."""

from __future__ import annotations

import subprocess
import sys
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pytest

from startkit.facts.trend import arrow


@pytest.mark.parametrize("value", [True, False, 0, -7, 2**40, "", "°C — 5", None])
def test_a_scalar_is_the_value(value: Any) -> None:
    assert arrow.scalar(value).as_py() == value and type(arrow.scalar(value).as_py()) is type(value)


@pytest.mark.parametrize(
    ("values", "kind"),
    [
        ([1.5, None, -2.0], pa.float64()),
        ([1, None, 3], pa.int32()),
        ([True, None, False], pa.bool_()),
        ([None, None], pa.float64()),
        ([], pa.int64()),
        ([Decimal("1.25"), None], pa.decimal128(5, 2)),
        ([*list(range(70)), None], pa.int8()),
    ],
)
@pytest.mark.parametrize("pieces", [1, 2])
def test_a_column_is_floats_with_gaps(values: list[Any], kind: pa.DataType, pieces: int) -> None:
    column = pa.chunked_array([pa.array(values, kind)] * pieces, kind)
    expected = [np.nan if value is None else float(value) for value in values] * pieces
    np.testing.assert_array_equal(arrow.floats(column), np.array(expected, float))


def test_a_part_of_a_column_is_that_part() -> None:
    part = pa.array([1.0, None, 3.0, None, 5.0, None, 7.0, None, 9.0, 10.0]).slice(3, 6)
    np.testing.assert_array_equal(arrow.floats(part), [np.nan, 5.0, np.nan, 7.0, np.nan, 9.0])


def test_rows_are_taken_by_their_numbers() -> None:
    assert pa.array(["a", "b", "c"]).take(arrow.places(np.array([0, 1, 2])[::-2])).to_pylist() == [
        "c",
        "a",
    ]
    assert pa.array(["a"]).take(arrow.places(np.array([], int))).to_pylist() == []


def test_marks_are_false_where_nothing_stands() -> None:
    assert arrow.marks(pa.array([True, None, False])).tolist() == [True, False, False]


def test_what_comes_back_may_be_changed() -> None:
    values = arrow.floats(pa.array([1.0, 2.0]))
    values[0] = 5.0
    assert values.tolist() == [5.0, 2.0]


def test_reading_a_trend_imports_no_pandas(tmp_path: Path) -> None:
    rows = "\n".join(
        f"0{1 + n % 3}.06.2026 10:{n:02d}:00;{n},5;{'on' if n % 2 else 'off'}" for n in range(40)
    )
    (tmp_path / "t.csv").write_text(f"Time;Current [A];Pump\n{rows}\n", encoding="utf-8")
    code = (
        "import sys; from pathlib import Path;"
        " from startkit.facts.trend import cells, files, guess, stamps; guess.guess_file('t.csv');"
        " raw = files.read(Path('t.csv')); numbers = cells.numbers(raw.columns[1],"
        " ',').values; time = stamps.moments(raw.columns[0], '%d.%m.%Y %H:%M:%S', '');"
        " print(len(numbers), float(numbers[3]), float(time[3] - time[0]),"
        " cells.numbers(raw.columns[2], ',').values[:2].tolist(), 'pandas' in sys.modules)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert done.stdout.split() == ["40", "3.5", "180.0", "[0.0,", "1.0]", "False"], done.stderr[
        -600:
    ]
