"""Pasted text: columns are found by what separates them and by their heading, never by guess."""

from __future__ import annotations

import pytest

from startkit.procedure.block import read_block
from startkit.procedure.stage import SERIES, Column, Field

RECORD = Field(
    "record",
    "Record",
    SERIES,
    columns=(
        Column("time", "Time", "time"),
        Column("supply", "Supply pressure", "pressure_difference"),
        Column("differential", "Differential, oil", "pressure_difference"),
        Column("state", "State", "text"),
    ),
)
ALONE = Field("alone", "Alone", SERIES, columns=(Column("time", "Time", "time"),))


@pytest.mark.parametrize(
    ("text", "time", "supply"),
    [
        ("0 20\n10 18.5", ("0", "10"), ("20", "18.5")),
        ("0, 20\n10, 18.5", ("0", "10"), ("20", "18.5")),
        ("0,5 12,5", ("0,5",), ("12,5",)),
        ("0,5, 12,5", ("0,5",), ("12,5",)),
        ("0.5,20.1", ("0.5",), ("20.1",)),
        ("0,20,21", ("0",), ("20",)),
        ("0 s 20 psi", ("0 s",), ("20 psi",)),
        ("0;20", ("0",), ("20",)),
        ("1 018\t20", ("1 018",), ("20",)),
    ],
)
def test_the_separator_is_found(text: str, time: tuple[str, ...], supply: tuple[str, ...]) -> None:
    block = read_block(text, RECORD)
    assert (block.texts["time"], block.texts["supply"], block.problems) == (time, supply, ())


@pytest.mark.parametrize(
    "text",
    [
        "Time [s]\tDifferential, oil [psi]\n0\t20",
        "Time [s];differential, OIL [psi]\n0;20",
        "Time [s], Differential, oil [psi]\n0, 20",
        "time differential, oil [psi]\n0 20",
        "Differential, oil [psi]\tTime\n20\t0",
    ],
)
def test_a_heading_chooses_the_columns(text: str) -> None:
    block = read_block(text, RECORD)
    assert block.texts["time"] == ("0",) and block.texts["differential"] == ("20",)
    assert block.texts["supply"] == ("",) and block.problems == ()
    assert block.columns["differential"] == pytest.approx([20 * 6894.757], rel=1e-6)


def test_an_unknown_heading_among_known_ones_is_named_and_not_read() -> None:
    block = read_block("Time\tdp\n0\t20", RECORD)
    assert block.texts["supply"] == ("",) and block.texts["time"] == ("0",)
    assert len(block.problems) == 1 and "'dp'" in block.problems[0]


def test_an_unknown_heading_whose_unit_fits_one_column_is_that_column() -> None:
    block = read_block("Seconds [s]\tDifferential, oil [psi]\n0\t20", RECORD)
    assert block.texts["time"] == ("0",) and block.problems == ()


def test_headings_that_are_all_unknown_leave_the_columns_in_their_order() -> None:
    block = read_block("t\tdp\n0\t20", RECORD)
    assert block.texts["supply"] == ("20",) and block.problems == ()


def test_one_comma_that_may_be_a_decimal_mark_is_not_read() -> None:
    block = read_block("0,20", RECORD)
    assert not any(block.texts["time"]) and "two columns" in block.problems[0]


def test_two_numbers_in_one_cell_are_not_read_as_one() -> None:
    block = read_block("10 18\t20", RECORD)
    assert "two numbers" in block.problems[0]


def test_a_row_with_more_cells_than_columns_is_named() -> None:
    assert "row 2" in read_block("0 1 2 run\n0 1 2 run 9", RECORD).problems[0]


def test_a_single_column_keeps_blanks_between_thousands() -> None:
    assert read_block("12,5\n1 200", ALONE).columns["time"] == pytest.approx([12.5, 1200])
