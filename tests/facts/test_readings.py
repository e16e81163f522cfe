"""Readings in a CSV file: what each cell means, and what is refused with its line."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import pytest

from startkit.errors import ReadingError
from startkit.facts import readings


def load(folder: Path, text: str):
    path = folder / "readings.csv"
    path.write_text(text, encoding="utf-8")
    return readings.load(path, lambda item: "", "Ana")


@pytest.mark.parametrize("sign", ["\u2028", "\x85", "\x0c", "\x1c"])
def test_a_sign_that_ends_lines_elsewhere_stays_in_its_cell(tmp_path, sign):
    (entry,) = load(tmp_path, f"item,value,note\nlube.filter_drop,12,above{sign}below\n")
    assert (entry.value, entry.note) == ("12", f"above{sign}below")


def test_a_cell_may_hold_more_than_one_line(tmp_path):
    assert [e.note for e in load(tmp_path, 'item,value,note\na,1,"one\ntwo"\nb,2,three\n')] == [
        "one\ntwo",
        "three",
    ]


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        ("2025-11-25T14:30:00+01:00", "2025-11-25T14:30:00.000+01:00"),
        ("2025-11-25 14:30-05:00", "2025-11-25T14:30:00.000-05:00"),
        ("2025-11-25T14:30Z", "2025-11-25T14:30:00.000+00:00"),
    ],
)
def test_when_it_was_read_is_kept_with_its_offset_before_the_reading(tmp_path, typed, kept):
    taken, reading = load(tmp_path, f"item,value,at\na,1,{typed}\n")
    assert (taken.what, taken.value, taken.who) == ("taken.a", kept, "Ana")
    assert (reading.what, reading.value) == ("a", "1")


def test_a_file_never_sets_the_time_of_an_entry(tmp_path):
    assert [e.at for e in load(tmp_path, "item,value,at\na,1,2025-11-25 14:30\n")] == ["", ""]


def test_a_reading_of_tomorrow_is_refused_with_its_line(tmp_path):
    tomorrow = datetime.now().astimezone() + timedelta(days=1)
    with pytest.raises(ReadingError, match=r"line 2: .*in the future"):
        load(tmp_path, f"item,value,at\na,1,{tomorrow.isoformat()}\n")


def test_a_moment_without_an_offset_is_one_of_this_place(tmp_path, monkeypatch):
    import time

    monkeypatch.setenv("TZ", "America/Denver")
    time.tzset()
    try:
        assert [
            e.value
            for e in load(tmp_path, "item,value,at\na,1,2025-07-01 14:30\nb,2,2025-12-01 14:30\n")
            if e.what.startswith("taken.")
        ] == ["2025-07-01T14:30:00.000-06:00", "2025-12-01T14:30:00.000-07:00"]
    finally:
        monkeypatch.undo()
        time.tzset()


@pytest.mark.parametrize("typed", ["yesterday", "25.11.2026", "2026-02-30 10:00", "24:00", "1e9"])
def test_a_moment_that_is_none_is_refused_with_its_line(tmp_path, typed):
    with pytest.raises(ReadingError, match=r"line 3: .*column at, .* is not a date and time"):
        load(tmp_path, f"item,value,at\na,1,\nb,2,{typed}\n")


def test_the_first_moment_of_all_breaks_nothing(tmp_path):
    try:
        load(tmp_path, "item,value,at\na,1,0001-01-01 00:00\n")
    except ReadingError as error:
        assert "not a date and time" in str(error)


def test_more_rows_than_anybody_enters_are_refused(tmp_path):
    with pytest.raises(ReadingError, match="more than 100000 rows"):
        load(tmp_path, "item,value\n" + "a,1\n" * 100_001)


def test_a_folder_is_no_file(tmp_path):
    with pytest.raises(ReadingError, match="not a file"):
        readings.load(tmp_path, lambda item: "")
