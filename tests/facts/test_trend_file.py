"""Trend files as systems export them: marks, headers, stamps, faulty rows, and files that mean
harm.
"""

from __future__ import annotations

import zipfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from startkit.errors import ReadingError
from startkit.facts.trend import files, stamps
from startkit.facts.trend.cells import numbers, split_unit
from startkit.facts.trend.files import read, sniff
from startkit.facts.trend.table import Layout

BEGIN = datetime(2026, 4, 16, 8)


def write(folder: Path, text: str | bytes, name: str = "trend.csv") -> Path:
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def chunked(values) -> pa.ChunkedArray:
    return pa.chunked_array([values])


# --- layout ---------------------------------------------------------------------------------------


def test_semicolons_and_decimal_commas_below_a_title_are_seen(tmp_path):
    rows = "".join(
        f"16.04.2026 08:{m:02d};{7 + m / 100:.2f};{12 + m / 50:.2f}\n".replace(".", ",").replace(
            ",04,", ".04."
        )
        for m in range(50)
    )
    path = write(tmp_path, "Plant export\nmade by somebody\n\nTime;CHWS;CHWR\n;°C;°C\n" + rows)
    layout = sniff(path)
    assert (layout.delimiter, layout.decimal, layout.header, layout.units, layout.first) == (
        ";",
        ",",
        4,
        5,
        6,
    )
    raw = read(path)
    assert raw.units == ("", "°C", "°C")
    assert numbers(raw.column("CHWS"), ",").values[10] == pytest.approx(7.10)


def test_commas_with_points_are_seen_and_a_comma_between_thousands_is_read(tmp_path):
    path = write(
        tmp_path,
        "Time,Flow gpm\n"
        + "".join(f'2026-04-16 08:{m:02d}:00,"1,{200 + m}.5"\n' for m in range(30)),
    )
    raw = read(path)
    assert numbers(raw.column("Flow gpm"), raw.layout.decimal).values[3] == pytest.approx(1203.5)


@pytest.mark.parametrize("delimiter", ["\t", ";", ",", "|"])
def test_each_delimiter_is_told_from_the_others(tmp_path, delimiter):
    lines = [
        ["Time", "A", "B"],
        *([f"2026-04-16 08:{m:02d}:00", f"{m}.5", f"{m}"] for m in range(20)),
    ]
    path = write(tmp_path, "\n".join(delimiter.join(line) for line in lines))
    assert sniff(path).delimiter == delimiter
    assert len(read(path)) == 20


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
def test_degree_signs_survive_every_encoding(tmp_path, encoding):
    path = write(
        tmp_path,
        (
            "Time,Temp (°F)\n" + "".join(f"2026-04-16 08:{m:02d}:00,{m}.5\n" for m in range(20))
        ).encode(encoding),
    )
    assert read(path).names == ("Time", "Temp (°F)")


def test_a_degree_sign_far_below_an_ascii_head_is_read_in_its_old_encoding(tmp_path):
    rows = [f"2026-04-16 08:{m // 60:02d}:{m % 60:02d},{m},calm" for m in range(3000)]
    path = write(
        tmp_path,
        ("Time,A,Note\n" + "\n".join([*rows * 4, "2026-04-16 09:59:59,1,20 °C"])).encode("cp1252"),
    )
    assert path.stat().st_size > files.HEAD
    assert read(path).column("Note")[-1].as_py() == "20 °C"


def test_a_file_without_header_gets_numbered_columns(tmp_path):
    path = write(tmp_path, "".join(f"2026-04-16 08:{m:02d}:00,{m}.5,3\n" for m in range(20)))
    raw = read(path)
    assert raw.layout.header == 0
    assert raw.names == ("column 1", "column 2", "column 3")
    assert len(raw) == 20


def test_a_name_that_stands_twice_is_told_apart(tmp_path):
    raw = read(
        write(
            tmp_path, "Time,T,T\n" + "".join(f"2026-04-16 08:{m:02d}:00,1,2\n" for m in range(10))
        )
    )
    assert raw.names == ("Time", "T", "T (3)")


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("CHWS Temp (°F)", ("CHWS Temp", "°F")),
        ("Evap Press [kPa]", ("Evap Press", "kPa")),
        ("Flow_gpm", ("Flow", "gpm")),
        ("IGV Pos %", ("IGV Pos", "%")),
        ("Vane A1", ("Vane A1", "")),
        ("Chiller", ("Chiller", "")),
    ],
)
def test_the_unit_in_a_name_is_found_and_nothing_else(name, expected):
    assert split_unit(name) == expected


# --- faulty rows and cells ------------------------------------------------------------------------


def test_rows_of_another_width_are_shown_with_their_line(tmp_path):
    lines = ["Time,A,B", *(f"2026-04-16 08:{m:02d}:00,{m},1" for m in range(30))]
    lines.insert(12, "2026-04-16 08:59:00,1,2,3,4")
    lines.insert(20, "")
    lines.append("end of report")
    raw = read(write(tmp_path, "\n".join(lines)))
    assert len(raw) == 30
    assert raw.bad_count == 2
    assert [row.line for row in raw.bad] == [13, 34]
    assert raw.bad[0].why == "5 columns instead of 3"


def test_words_where_numbers_are_due_are_counted_and_shown(tmp_path):
    cells = ["7.1", "Bad", "7.3", "I/O Timeout", "--", "7.6", "n/a", "7.8"]
    raw = read(
        write(
            tmp_path,
            "Time,A\n"
            + "".join(f"2026-04-16 08:{m:02d}:00,{cell}\n" for m, cell in enumerate(cells)),
        )
    )
    found = numbers(raw.column("A"))
    assert np.isfinite(found.values).tolist() == [
        True,
        False,
        True,
        False,
        False,
        True,
        False,
        True,
    ]
    assert (found.unreadable, found.examples) == (1, ("I/O Timeout",))


def test_on_and_off_are_one_and_zero():
    assert numbers(chunked(["On", "OFF", "on", None])).values[:3].tolist() == [1.0, 0.0, 1.0]


def test_numbers_carry_their_unit_or_a_percent_sign():
    assert numbers(chunked(["44.5 °F", "1 234.5", "55 %", "−3.2"])).values.tolist() == [
        44.5,
        1234.5,
        55.0,
        -3.2,
    ]


# --- hostile files --------------------------------------------------------------------------------


def one_sentence(error: pytest.ExceptionInfo) -> str:
    text = str(error.value)
    assert "\n" not in text and text.endswith(".") and len(text) < 400
    return text


def test_a_million_columns_are_refused(tmp_path):
    path = write(
        tmp_path,
        ",".join(f"c{i}" for i in range(1_000_000))
        + "\n"
        + ",".join("1" for _ in range(1_000_000))
        + "\n",
    )
    with pytest.raises(ReadingError) as error:
        read(path)
    one_sentence(error)


def test_a_workbook_that_unpacks_to_gigabytes_is_refused_unopened(tmp_path):
    path = tmp_path / "bomb.xlsx"
    with (
        zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive,
        archive.open("xl/worksheets/sheet1.xml", "w") as member,
    ):
        for _ in range(300):
            member.write(b"0" * 1_000_000)
    assert path.stat().st_size < 1_000_000
    with pytest.raises(ReadingError) as error:
        read(path)
    assert "unpacks" in one_sentence(error)


def test_a_parquet_file_that_claims_too_many_rows_is_refused(tmp_path, monkeypatch):
    import pyarrow.parquet as pq

    path = tmp_path / "big.parquet"
    pq.write_table(pa.table({f"c{i}": [0.0] * 100 for i in range(50)}), path)
    monkeypatch.setattr("startkit.facts.trend.sheets.MOST_CELLS", 1_000)
    with pytest.raises(ReadingError) as error:
        read(path)
    one_sentence(error)


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("a.csv", b""),
        ("a.csv", b"\x00\x01\x02" * 50),
        ("a.csv", b"just words\nand more words\n"),
        ("a.xlsx", b"not a zip"),
        ("a.parquet", b"PAR1 no"),
        ("a.xls", b"\xd0\xcf\x11\xe0" * 9),
        ("a.csv", b"x" * 300_000),
    ],
)
def test_what_is_no_table_is_said_in_one_sentence(tmp_path, name, content):
    with pytest.raises(ReadingError) as error:
        read(write(tmp_path, content, name))
    one_sentence(error)


def test_a_missing_file_is_said_in_one_sentence(tmp_path):
    with pytest.raises(ReadingError) as error:
        read(tmp_path / "nowhere.csv")
    one_sentence(error)


@given(st.binary(max_size=400))
@settings(max_examples=60, deadline=None)
def test_no_bytes_bring_a_traceback(tmp_path_factory, content):
    path = write(tmp_path_factory.mktemp("bytes"), content)
    try:
        read(path)
    except ReadingError as error:
        assert str(error)


# --- workbooks and Parquet ------------------------------------------------------------------------


def test_a_workbook_below_a_title_is_read_with_its_stamps(tmp_path):
    import openpyxl

    book = openpyxl.Workbook()
    book.active.append(["Trend report"])
    book.active.append([])
    book.active.append(["Time", "CHWS", "Power"])
    book.active.append(["", "°F", "kW"])
    for i in range(50):
        book.active.append([BEGIN + timedelta(seconds=10 * i), 44.6 + i / 100, 120 + i])
    book.create_sheet("Notes").append(["nothing here"])
    path = tmp_path / "trend.xlsx"
    book.save(path)
    raw = read(path)
    assert (raw.layout.header, raw.layout.units, raw.layout.first, len(raw)) == (3, 4, 5, 50)
    assert raw.units[1:] == ("°F", "kW")
    seconds = stamps.moments(raw.column("Time"), stamps.ISO)
    assert np.diff(seconds) == pytest.approx(np.full(49, 10.0), abs=2e-3)


def test_parquet_keeps_names_numbers_and_stamps(tmp_path):
    import pyarrow.parquet as pq

    moments = pa.array([BEGIN + timedelta(seconds=i) for i in range(30)], pa.timestamp("ms"))
    pq.write_table(
        pa.table({"time": moments, "CHWS": pa.array(np.linspace(6, 7, 30))}), tmp_path / "t.parquet"
    )
    raw = read(tmp_path / "t.parquet")
    assert raw.names == ("time", "CHWS")
    assert (
        stamps.moments(raw.column("time"), stamps.ISO)[5]
        - stamps.moments(raw.column("time"), stamps.ISO)[0]
        == 5.0
    )


def test_a_layout_given_by_hand_wins(tmp_path):
    path = write(tmp_path, "A;B\n1;2\n3;4\n")
    raw = read(path, Layout(";", ".", "utf8", 1, 0, 3))
    assert len(raw) == 1


# --- stamps ---------------------------------------------------------------------------------------


FORMATS = (
    "%Y-%m-%d %H:%M:%S",
    "%Y-%m-%dT%H:%M:%S",
    "%m/%d/%Y %I:%M:%S %p",
    "%d.%m.%Y %H:%M:%S",
    "%d-%b-%y %I:%M:%S %p EDT",
    "%Y-%m-%dT%H:%M:%S-0400",
    "%d/%m/%Y %H:%M",
    "%Y-%m-%d %H:%M:%S.%f",
    "%b %d, %Y %I:%M %p",
    "%Y/%m/%d %H:%M:%S",
    "%d-%b-%Y %H:%M:%S",
    "%m/%d/%Y %H:%M:%S.%f",
    "%Y%m%d %H%M%S",
)


@pytest.mark.parametrize("written", FORMATS)
def test_every_usual_way_to_write_a_stamp_is_recognised_and_read(written):
    true = [BEGIN + timedelta(minutes=n) for n in range(300)]
    texts = [moment.strftime(written) for moment in true]
    found = stamps.guess(texts)
    assert found is not None and found.sure, written
    seconds = stamps.moments(chunked(texts), found.text)
    offset = 4 * 3600 if written.endswith(("EDT", "-0400")) else 0
    expected = np.array([(moment - datetime(1970, 1, 1)).total_seconds() for moment in true])
    assert seconds - offset == pytest.approx(expected, abs=1e-5)


def test_a_day_that_could_be_a_month_is_said_to_be_unsure():
    within_a_day = [
        (datetime(2026, 5, 4) + timedelta(minutes=n)).strftime("%m/%d/%Y %H:%M") for n in range(300)
    ]
    found = stamps.guess(within_a_day)
    assert not found.sure and "either way" in found.note


def test_a_clock_that_goes_forward_tells_day_from_month():
    over_a_month = [
        (datetime(2026, 3, 1) + timedelta(hours=2 * n)).strftime("%d/%m/%Y %H:%M")
        for n in range(140)
    ]
    assert stamps.guess(over_a_month) == stamps.StampFormat("%d/%m/%Y %H:%M")
    # Days up to the twelfth only: nothing but the order tells.
    first_days = [
        (datetime(2026, 3, 1) + timedelta(hours=6 * n)).strftime("%d/%m/%Y %H:%M")
        for n in range(40)
    ]
    assert stamps.guess(first_days).text == "%d/%m/%Y %H:%M"


def test_serial_days_and_seconds_since_1970_are_told_by_their_size():
    assert stamps.guess(np.linspace(46128.0, 46129.0, 50)).text == stamps.DAYS
    assert stamps.guess(1.7763e9 + np.arange(50.0)).text == stamps.SECONDS
    assert stamps.guess(1.7763e12 + 1000 * np.arange(50.0)).text == stamps.MILLISECONDS
    assert stamps.guess(np.array([7.0, 7.1, 6.9, 7.0])) is None


def test_a_serial_day_is_the_spreadsheets_own_count(outside):
    # 2026-04-16 08:00 is day 46128.333 of a spreadsheet that counts 1900-01-01 as day 1 and
    # believes in 1900-02-29.
    seconds = stamps.moments(chunked([46128 + 1 / 3]), stamps.DAYS)[0]
    outside.check(
        "trend.stamps",
        printed=(datetime(2026, 4, 16, 8) - datetime(1970, 1, 1)).total_seconds(),
        ours=seconds,
        source="ECMA-376 part 1, 18.17.4: serial dates, 1900 base",
        standing="from memory",
        abs=1e-3,
    )


def test_the_hour_that_comes_twice_in_autumn_is_told_by_the_clock_set_back():
    zone = stamps.zone_of("America/New_York")
    true = np.arange(0, 4 * 3600, 300.0) + 1793505600 - 3600
    texts = [datetime.fromtimestamp(each, zone).strftime("%Y-%m-%d %H:%M:%S") for each in true]
    assert stamps.moments(chunked(texts), stamps.ISO, "America/New_York") == pytest.approx(true)


def test_the_hour_missing_in_spring_leaves_no_hole():
    zone = stamps.zone_of("Europe/Berlin")
    true = np.arange(0, 6 * 3600, 600.0) + datetime(2026, 3, 28, 22).timestamp()
    texts = [datetime.fromtimestamp(each, zone).strftime("%d.%m.%Y %H:%M:%S") for each in true]
    assert np.diff(
        stamps.moments(chunked(texts), "%d.%m.%Y %H:%M:%S", "Europe/Berlin")
    ) == pytest.approx(np.full(true.size - 1, 600.0))


@pytest.mark.parametrize("zone", ["Atlantis/Centre", "+25", "summer"])
def test_a_zone_that_is_none_is_refused(zone):
    with pytest.raises(ReadingError):
        stamps.zone_of(zone)


def test_a_name_of_a_zone_that_means_several_is_refused():
    with pytest.raises(ReadingError):
        stamps.moments(chunked(["16.04.2026 08:00:00 CST"] * 3), "%d.%m.%Y %H:%M:%S %Z")


def test_stamps_that_cannot_be_read_are_not_a_number():
    seconds = stamps.moments(
        chunked(["2026-04-16 08:00:00", "soon", None, "2026-04-16 08:00:03"]), stamps.ISO
    )
    assert np.isfinite(seconds).tolist() == [True, False, False, True]
    assert files.MOST_COLUMNS < 1_000_000


# --- found by fuzzing -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("format_", "texts"),
    [
        (stamps.ISO, ["2026-02-28 10:00", "2026-02-30 10:00", "2026-03-02 10:00"]),
        ("%d.%m.%Y %H:%M", ["28.02.2026 10:00", "30.02.2026 10:00", "02.03.2026 10:00"]),
        ("%m/%d/%y", ["02/28/26", "02/30/26", "03/02/26"]),
        ("%b %d %Y", ["Apr 30 2026", "Apr 31 2026", "May 1 2026"]),
        ("%Y%m%d %H%M%S", ["20260228 101010", "20260231 101010", "20260303 101010"]),
    ],
)
def test_a_day_that_no_calendar_has_is_not_moved_to_the_next_month(format_, texts):
    found = stamps.moments(chunked(pa.array(texts)), format_)
    assert np.isnan(found).tolist() == [False, True, False]
    assert datetime.fromtimestamp(found[0], UTC).month in (2, 4) and found[2] > found[0]


def test_a_number_beyond_what_a_float_counts_is_read_and_breaks_nothing():
    assert numbers(chunked(pa.array([1, 2**60 + 1]))).values[1] == pytest.approx(2.0**60)
    assert np.isfinite(
        stamps.moments(chunked(pa.array([2**61], pa.timestamp("us"))), stamps.ISO)
    ).all()


@pytest.mark.parametrize("sign", ["\x0c", "\x0b", "\x1c", "\x85", "\u2028"])
def test_a_sign_that_ends_lines_elsewhere_ends_none_here(tmp_path, sign):
    rows = "".join(f"2026-04-16 08:{m:02d}:00,1.5,2\n" for m in range(30))
    raw = read(write(tmp_path, f"Time,A{sign}x,B\n{rows}"))
    assert len(raw) == 30 and len(raw.names) == 3


def test_a_row_of_a_workbook_is_kept_as_wide_as_it_is_filled(tmp_path):
    import openpyxl

    from startkit.facts.trend.sheets import _cells

    book = openpyxl.Workbook()
    for row in (["Time", "A", "B"], ["2026-04-16 08:00:00", 1.5], [None, None, 2]):
        book.active.append(row)
    book.save(tmp_path / "t.xlsx")
    assert [
        len(row)
        for row in _cells(
            openpyxl.load_workbook(tmp_path / "t.xlsx", read_only=True).active, tmp_path
        )
    ] == [3, 2, 3]
