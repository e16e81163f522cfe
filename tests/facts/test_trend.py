"""From a file to a trend: marks that delete nothing, a map that a person confirms, a file that is
kept as it was.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from startkit.errors import JobError, ReadingError, SheetError
from startkit.facts import machine as machine_
from startkit.facts.digests import sha256_of_file
from startkit.facts.job import Job
from startkit.facts.trend import column_map, points, quality, trend
from startkit.facts.trend.guess import guess_file
from startkit.facts.trend.importer import import_file
from startkit.facts.trend.quality import CLOCK, DUPLICATE, GAP, LACKING, RANGE, SPIKE, STUCK, ZERO

BEGIN = datetime(2026, 4, 16, 8)


def export(
    folder: Path,
    columns: dict[str, np.ndarray],
    seconds: np.ndarray | None = None,
    name: str = "panel.csv",
) -> Path:
    """A CSV file as a panel writes it."""
    count = len(next(iter(columns.values())))
    clock = np.arange(count) * 10.0 if seconds is None else seconds
    lines = [",".join(["Time", *columns])]
    for i in range(count):
        stamp = (BEGIN + timedelta(seconds=float(clock[i]))).strftime("%Y-%m-%d %H:%M:%S")
        lines.append(
            ",".join(
                [
                    stamp,
                    *(
                        f"{values[i]:.2f}" if np.isfinite(values[i]) else ""
                        for values in columns.values()
                    ),
                ]
            )
        )
    path = folder / name
    path.write_text("\n".join(lines) + "\n")
    return path


def plant(count: int = 400, seed: int = 1) -> dict[str, np.ndarray]:
    """A running machine's readings with their noise."""
    rng, share = np.random.default_rng(seed), 0.7 + 0.2 * np.sin(np.arange(count) / 80)
    return {
        "CHWS Temp (°C)": 7 + rng.normal(0, 0.03, count),
        "CHWR Temp (°C)": 7 + 5.5 * share + rng.normal(0, 0.03, count),
        "CHW Flow (L/s)": 75 + rng.normal(0, 0.3, count),
        "CDWS Temp (°C)": 24 + rng.normal(0, 0.03, count),
        "CDWR Temp (°C)": 24 + 5.3 * share + rng.normal(0, 0.03, count),
        "CDW Flow (L/s)": 90 + rng.normal(0, 0.3, count),
        "Evap Press (kPa)": 254 + rng.normal(0, 0.5, count),
        "Cond Press (kPa)": 620 + 60 * share + rng.normal(0, 0.5, count),
        "Power kW": 300 * share + rng.normal(0, 1, count),
    }


def built(
    folder: Path, columns: dict[str, np.ndarray], seconds: np.ndarray | None = None, machine=None
) -> trend.Trend:
    path = export(folder, columns, seconds)
    return trend.build(path, guess_file(path, machine))


@pytest.fixture
def machine(sheet) -> machine_.Machine:
    return machine_.load(sheet())


# --- marks ----------------------------------------------------------------------------------------


def test_nothing_is_deleted_and_every_fault_is_marked(tmp_path):
    columns = plant()
    columns["CHWS Temp (°C)"][50] = 0.0
    columns["CHWS Temp (°C)"][120] = 19.0
    columns["CHW Flow (L/s)"][200] = 0.0
    columns["Cond Press (kPa)"][30] = 99999.0
    columns["Power kW"][70] = np.nan
    found = built(tmp_path, columns)
    assert len(found) == 400
    assert found.quality["chilled_leaving"][50] & ZERO
    assert found.quality["chilled_leaving"][120] & SPIKE
    assert found.quality["evaporator_flow"][200] & ZERO
    assert found.quality["condenser_pressure"][30] & RANGE
    assert found.quality["power"][70] & LACKING
    assert found.values["chilled_leaving"][120] == pytest.approx(273.15 + 19)
    assert np.isnan(found.usable("chilled_leaving")[[50, 120]]).all()
    assert sum(np.count_nonzero(flags) for flags in found.quality.values()) == 5


def test_a_temperature_that_passes_through_zero_is_no_drop_out(tmp_path):
    columns = plant()
    columns["CHWS Temp (°C)"] = np.round(np.linspace(3, -3, 400), 1)
    assert not (built(tmp_path, columns).quality["chilled_leaving"] & ZERO).any()


def test_a_zero_in_fahrenheit_is_a_drop_out_too(tmp_path):
    columns = plant()
    columns["CHWS Temp (°F)"] = columns.pop("CHWS Temp (°C)") * 1.8 + 32
    columns["CHWS Temp (°F)"][100:103] = 0.0
    flags = built(tmp_path, columns).quality["chilled_leaving"]
    assert np.flatnonzero(flags & ZERO).tolist() == [100, 101, 102]


def test_a_machine_that_stands_still_has_no_lost_readings(tmp_path):
    columns = plant()
    columns["Power kW"][150:250] = 0.0
    columns["CHW Flow (L/s)"][150:250] = 0.0
    found = built(tmp_path, columns)
    assert not (found.quality["power"] & ZERO).any()
    assert not (found.quality["evaporator_flow"] & ZERO).any()


def test_a_reading_that_stands_for_an_hour_is_marked_but_kept_in_use(tmp_path):
    columns = plant(800)
    columns["CHWS Temp (°C)"][200:600] = 7.01
    found = built(tmp_path, columns)
    assert np.flatnonzero(found.quality["chilled_leaving"] & STUCK)[[0, -1]].tolist() == [200, 599]
    assert np.isfinite(found.usable("chilled_leaving")).all()


def test_a_coarse_display_that_often_stands_is_not_called_stuck(tmp_path):
    columns = plant(2000)
    columns["CHWS Temp (°C)"] = np.round(7 + 1.2 * np.sin(np.arange(2000) / 150), 0)
    assert not (built(tmp_path, columns).quality["chilled_leaving"] & STUCK).any()


@pytest.mark.parametrize("rows", [1, 2])
def test_a_spike_of_one_or_two_rows_is_marked_and_a_step_is_not(tmp_path, rows):
    columns = plant()
    columns["Power kW"][100 : 100 + rows] += 150
    columns["CDWS Temp (°C)"][200:] += 5
    found = built(tmp_path, columns)
    assert np.flatnonzero(found.quality["power"] & SPIKE).tolist() == list(range(100, 100 + rows))
    assert not (found.quality["condenser_entering"] & SPIKE).any()


# --- the clock ------------------------------------------------------------------------------------


def test_stamps_that_stand_twice_are_marked_and_the_first_counts(tmp_path):
    clock = np.arange(400) * 10.0
    clock[200] = clock[199]
    found = built(tmp_path, plant(), clock)
    assert found.quality["power"][200] & DUPLICATE
    assert found.rows.size == 399 and 200 not in found.rows


def test_one_stamp_years_ahead_costs_its_own_row_only(tmp_path):
    clock = np.arange(400) * 10.0
    clock[100] += 1e8
    found = built(tmp_path, plant(), clock)
    assert np.flatnonzero(found.quality["power"] & CLOCK).tolist() == [100]
    assert found.rows.size == 399


def test_a_clock_set_back_counts_again_from_where_it_is_new(tmp_path):
    clock = np.arange(400) * 10.0
    clock[250:] -= 505.0
    found = built(tmp_path, plant(), clock)
    assert (np.diff(found.clock) > 0).all()
    assert found.rows.size == 400 - 50


def test_a_gap_is_told_and_nothing_is_filled_in(tmp_path):
    clock = np.arange(400) * 10.0
    clock[300:] += 600.0
    found = built(tmp_path, plant(), clock)
    assert len(found.gaps) == 1 and found.gaps[0][1] - found.gaps[0][0] == pytest.approx(610.0)
    assert np.flatnonzero(found.quality["power"] & GAP).tolist() == [300]
    assert found.rows.size == 400


def test_the_newest_row_first_is_turned_round(tmp_path):
    path = export(tmp_path, plant())
    head, *rows = path.read_text().splitlines()
    path.write_text("\n".join([head, *rows[::-1]]) + "\n")
    found = trend.build(path, guess_file(path))
    assert found.moment(found.clock[0]) == "2026-04-16 08:00:00"
    assert (np.diff(found.clock) == 10).all()


@given(st.lists(st.integers(0, 300), min_size=2, max_size=120))
@settings(max_examples=200, deadline=None)
def test_whatever_the_clock_did_kept_rows_go_forward_and_no_row_is_lost_unmarked(stamps):
    time = np.array(stamps, float)
    found = quality.clock(time)
    assert (np.diff(time[found.rows]) > 0).all()
    left_out = np.setdiff1d(np.arange(time.size), found.rows)
    assert (found.flags[left_out] & (CLOCK | DUPLICATE)).all()
    assert not (found.flags[found.rows] & (CLOCK | DUPLICATE)).any()
    # Never fewer rows than the plain rule "later than everything before" keeps.
    assert found.rows.size >= np.unique(np.maximum.accumulate(time)).size - 1


# --- units and pressures --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("unit", "value"), [("psig", 100.0), ("psi", 100.0), ("bar", 6.894757), ("kPa", 689.4757)]
)
def test_gauge_pressure_stays_gauge_until_the_barometer_is_known(tmp_path, outside, unit, value):
    columns = plant()
    del columns["Cond Press (kPa)"]
    columns[f"Cond Press ({unit})"] = np.full(400, value)
    path = export(tmp_path, columns)
    made = guess_file(path)
    found = trend.build(path, made)
    assert found.gauge("condenser_pressure")
    outside.check(
        "trend.build",
        printed=689475.7,
        ours=float(found.values["condenser_pressure"][0]),
        source="NIST SP 811: 1 psi = 6894.757 Pa",
        standing="published",
        rel=2e-3,
    )


def test_gauge_or_absolute_is_told_by_the_water_beside_it(tmp_path, machine):
    columns = plant()
    assert (
        built(tmp_path, columns, machine=machine).columns["evaporator_pressure"].reference
        == "gauge"
    )
    columns["Evap Press (kPa)"] += 101.3
    assert (
        built(tmp_path, columns, machine=machine).columns["evaporator_pressure"].reference
        == "absolute"
    )


def test_without_a_unit_the_range_tells_fahrenheit_from_celsius(tmp_path, machine):
    columns = plant()
    columns["CHWS"] = columns.pop("CHWS Temp (°C)") * 1.8 + 32
    made = guess_file(export(tmp_path, columns), machine)
    assert next(column for column in made.used if column.point == "chilled_leaving").unit == "°F"


def test_names_that_are_swapped_are_told(tmp_path):
    columns = plant()
    columns["CHWS Temp (°C)"], columns["CHWR Temp (°C)"] = (
        columns["CHWR Temp (°C)"],
        columns["CHWS Temp (°C)"],
    )
    assert any("swapped" in remark for remark in guess_file(export(tmp_path, columns)).remarks)


# --- names ----------------------------------------------------------------------------------------


NAMES = {
    "chilled_leaving": (
        "CHWST",
        "CH1_CHWS_Temp",
        "Lvg Evap Water Temp",
        "Evaporator Leaving Water Temperature",
        "LCHWT",
        "Chilled Water Supply Temp",
    ),
    "chilled_entering": (
        "CHWRT",
        "Evap Ent Water Temp",
        "Chilled Water Return Temperature",
        "ECHWT",
    ),
    "condenser_entering": (
        "ECWT",
        "CDWS Temp",
        "Cond Entering Water Temp",
        "Condenser Water Supply Temp",
    ),
    "condenser_leaving": ("LCWT", "CDWR Temp", "Cond Lvg Water Temp"),
    "evaporator_pressure": ("Evap Press", "Evaporator Refrigerant Pressure", "Suction Pressure"),
    "condenser_pressure": ("Cond Press", "Condenser Refrig Pressure", "Discharge Pressure"),
    "power": ("kW", "Chiller 1 Power", "Input Power"),
    "current": ("Motor Amps", "Avg Motor Current"),
    "current_share": ("Percent RLA", "Motor Current %FLA"),
    "vane_position": ("IGV Pos", "Guide Vane Position"),
    "oil_differential": ("Oil Diff Press", "Oil dP"),
    "evaporator_flow": ("CHW Flow", "Evaporator Flow"),
    "discharge_temperature": ("Comp Discharge Temp",),
    "liquid_temperature": ("Liquid Line Temp",),
    "evaporator_saturation": ("Evap Sat Temp",),
    "condenser_drop": ("Cond Water dP",),
}


@pytest.mark.parametrize(
    ("point", "name"), [(point, name) for point, names in NAMES.items() for name in names]
)
def test_trade_words_and_their_abbreviations_name_the_point(point, name):
    rated = {each.name: points.says(name, each) for each in points.points().values()}
    assert max(rated, key=rated.get) == point


def test_the_names_of_the_open_standards_name_the_point():
    for point in points.points().values():
        for name in filter(
            None, (point.haystack, "" if point.name in ("vane_position", "speed") else point.brick)
        ):
            rated = {each.name: points.says(name, each) for each in points.points().values()}
            assert max(rated, key=rated.get) == point.name, name


def test_the_brick_names_are_classes_of_the_brick_schema(outside):
    # As the schema's sensor definitions list them (entering and leaving since 1.3).
    known = {
        "Entering_Chilled_Water_Temperature_Sensor",
        "Leaving_Chilled_Water_Temperature_Sensor",
        "Leaving_Chilled_Water_Temperature_Setpoint",
        "Chilled_Water_Flow_Sensor",
        "Chilled_Water_Differential_Pressure_Sensor",
        "Entering_Condenser_Water_Temperature_Sensor",
        "Leaving_Condenser_Water_Temperature_Sensor",
        "Condenser_Water_Flow_Sensor",
        "Electric_Power_Sensor",
        "Motor_Current_Sensor",
        "Position_Sensor",
        "Frequency_Sensor",
        "Run_Status",
    }
    ours = {point.brick for point in points.points().values() if point.brick}
    outside.check(
        "trend.points",
        printed=len(ours),
        ours=len(ours & known),
        source="Brick schema 1.3, class names (some from memory)",
        standing="secondary",
        abs=0.1,
    )


def test_a_column_of_another_machine_comes_last(tmp_path, machine):
    columns = {
        "CH-8 CHWS Temp (°C)": plant()["CHWS Temp (°C)"],
        **{f"CH-9 {name}": values for name, values in plant().items()},
    }
    made = guess_file(export(tmp_path, columns), machine)
    assert (
        next(column for column in made.used if column.point == "chilled_leaving").column
        == "CH-9 CHWS Temp (°C)"
    )


def test_what_says_nothing_is_left_out_with_its_reason(tmp_path):
    made = guess_file(export(tmp_path, {**plant(), "Zone 4 damper": np.ones(400)}))
    assert not next(each for each in made.columns if each.column == "Zone 4 damper").point


# --- the map --------------------------------------------------------------------------------------


def test_a_map_written_and_read_again_is_the_same(tmp_path):
    made = guess_file(export(tmp_path, plant()))
    path = tmp_path / "map.toml"
    path.write_text(column_map.text(made))
    again = column_map.load(path)
    assert not again.confirmed
    assert {(c.column, c.point, c.unit, c.reference) for c in again.columns} == {
        (c.column, c.point, c.unit, c.reference) for c in made.columns
    }
    assert (again.layout, again.stamps, again.format, again.zone) == (
        made.layout,
        made.stamps,
        made.format,
        made.zone,
    )


FAULTS = [
    ('point = "chilled_leaving"', 'point = "chilled_leavng"', "chilled_leavng"),
    ('unit = "°C"', 'unit = "kPa"', "is not a unit of temperature"),
    ("[time]", "[tyme]", "does not belong here"),
    ('format = "ISO 8601"', 'format = 3\nzones = "x"', "does not belong here"),
    ('columns = ["Time"]', "columns = []", "time column"),
    ('decimal = "."', 'decimal = "!"', "contradicts itself"),
    ('zone = ""', 'zone = "Nowhere/Land"', "'Nowhere/Land'"),
    ("first = 2", 'first = "two"', "not a line number"),
    ('point = "chilled_entering"', 'point = "chilled_leaving"', "given to two columns"),
    ('reference = "gauge"', 'reference = "both"', "'both'"),
    ('unit = "°C"', 'unit = "°C"\nscale = 0', "scale is not zero"),
]


@pytest.mark.parametrize(("right", "wrong", "said"), FAULTS)
def test_a_fault_in_the_map_is_named_in_one_sentence(tmp_path, right, wrong, said):
    text = column_map.text(guess_file(export(tmp_path, plant())))
    assert right in text
    path = tmp_path / "map.toml"
    path.write_text(text.replace(right, wrong, 1))
    with pytest.raises((SheetError, ReadingError)) as error:
        column_map.load(path)
    assert said in str(error.value) and "\n" not in str(error.value)


def test_scale_and_offset_make_a_reading_of_a_raw_count(tmp_path):
    path = export(tmp_path, plant())
    made = guess_file(path)
    mapped = tuple(
        (
            c
            if c.point != "power"
            else column_map.Mapped(c.column, "power", "kW", scale=2.0, offset=-10.0)
        )
        for c in made.columns
    )
    plain = trend.build(path, made).values["power"]
    scaled = trend.build(
        path, column_map.TrendMap(made.layout, made.stamps, made.format, made.zone, mapped)
    ).values["power"]
    assert scaled == pytest.approx(2 * plain - 10e3)


# --- in a job -------------------------------------------------------------------------------------


def confirmed(folder: Path, path: Path) -> Path:
    target = folder / "map.toml"
    target.write_text(
        column_map.text(guess_file(path)).replace("confirmed = false", "confirmed = true")
    )
    return target


def test_file_and_map_are_kept_with_their_hash_in_the_journal(tmp_path, job):
    path = export(tmp_path, plant())
    original = path.read_bytes()
    import_file(job, path, confirmed(tmp_path, path), "A. Tester")
    path.unlink()
    assert (job.folder / "trends" / "panel.csv").read_bytes() == original
    entry = job.state().latest["trend.panel"]
    assert (entry.value, entry.who) == ("panel.csv", "A. Tester")
    assert sha256_of_file(job.folder / "trends" / "panel.csv") in entry.note
    again = Job(job.folder, read_only=True).trends
    assert (
        list(again) == ["panel"] and len(again["panel"]) == 400 and again["panel"] is again["panel"]
    )


def test_a_map_nobody_confirmed_is_not_imported(tmp_path, job):
    path = export(tmp_path, plant())
    target = tmp_path / "map.toml"
    target.write_text(column_map.text(guess_file(path)))
    with pytest.raises(ReadingError, match="not confirmed"):
        import_file(job, path, target, "A. Tester")
    with pytest.raises(ReadingError, match="confirmed"):
        import_file(job, path, confirmed(tmp_path, path), " ")
    assert not job.trends and not (job.folder / "trends").exists()


@pytest.mark.parametrize("name", ["panel.csv", "panel.toml"])
def test_a_file_changed_after_the_import_is_not_believed(tmp_path, job, name):
    path = export(tmp_path, plant())
    import_file(job, path, confirmed(tmp_path, path), "A. Tester")
    kept = job.folder / "trends" / name
    kept.write_text(kept.read_text() + "\n")
    with pytest.raises(JobError, match="changed after"):
        Job(job.folder).trends["panel"]


def test_another_file_of_the_same_name_is_refused(tmp_path, job):
    path = export(tmp_path, plant())
    target = confirmed(tmp_path, path)
    import_file(job, path, target, "A. Tester")
    export(tmp_path, plant(seed=2))
    with pytest.raises(JobError, match="already"):
        import_file(job, path, target, "A. Tester")


def test_moments_are_shown_and_read_on_the_trends_own_clock(tmp_path):
    path = export(tmp_path, plant())
    made = guess_file(path)
    here = trend.build(
        path,
        column_map.TrendMap(
            made.layout, made.stamps, made.format, "America/New_York", made.columns
        ),
    )
    assert here.clock[0] == datetime.fromisoformat("2026-04-16T08:00:00-04:00").timestamp()
    assert here.moment(here.clock[3]) == "2026-04-16 08:00:30"
    assert here.seconds("2026-04-16 08:00:30") == here.clock[3]
    with pytest.raises(ReadingError):
        here.seconds("soon")


@pytest.mark.parametrize("encoding", ["CHW Flow", "rot13", "idna", "unicode_escape", "zip", ""])
def test_an_encoding_that_is_none_is_refused_with_its_line(tmp_path, encoding):
    path = export(tmp_path, plant(30))
    text = column_map.text(guess_file(path)).replace(
        'encoding = "utf8"', f'encoding = "{encoding}"'
    )
    (tmp_path / "map.toml").write_text(text, encoding="utf-8")
    with pytest.raises(SheetError, match=r"line \d+, file.encoding: "):
        column_map.load(tmp_path / "map.toml")
