"""Entries: the journal's texts as readings, rows and pasted blocks; what cannot be read is said,
never dropped.
"""

from __future__ import annotations

import numpy as np
import pytest

from startkit.facts.job import ROW_REMOVED
from startkit.procedure.block import read_block
from startkit.procedure.stage import Column, Field, Findings, Stage
from startkit.stages.setup import STAGE as SETUP
from startkit.units import Q

ROWS = (
    Column("place", "Place"),
    Column("drop", "Drop", "pressure_drop", plausible=("0 kPa", "100 kPa")),
    Column("made", "Made", "yes_no"),
)
TREND = Field(
    "trend",
    "Trend",
    "series",
    columns=(
        Column("time", "Time", "time"),
        Column("temperature", "Temperature", "temperature"),
        Column("sump", "Sump", "gauge_pressure"),
        Column("state", "State", "text"),
    ),
)
BENCH = Stage(
    "bench",
    "Bench",
    "Something to try entries on.",
    (
        Field("warm", "Warm side", "temperature", plausible=("0 °C", "60 °C")),
        Field("gauge", "Gauge", "gauge_pressure", required=False),
        Field("answer", "Answer", "yes_no", required=False),
        Field("day", "Day", "date", required=False),
        Field("moment", "Moment", "moment", required=False),
        Field("way", "Way", "choice", choices=("up", "down"), required=False),
        Field(
            "variable",
            "Only variable speed",
            "text",
            applies=lambda machine: machine.variable_speed,
        ),
        Field("rows", "Rows", "table", columns=ROWS),
        TREND,
    ),
    lambda machine, limits, entries: Findings(),
    before="oil_pump",
    order=1,
)
STAGES = {"setup": SETUP, "bench": BENCH}


@pytest.fixture
def bench(make_job, put, assess):
    """The bench's entries from ``{"field": (value, unit)}`` or ``{"field": (value, unit,
    instrument)}``.
    """

    def make(entered, system="SI", setup=None):
        job = make_job(system=system, stages=STAGES)
        for stage, fields in (("setup", setup or {}), ("bench", entered)):
            for what, (value, unit, *more) in fields.items():
                put(
                    job,
                    f"{stage}.{what}",
                    value,
                    unit,
                    instrument=more[0] if more else "",
                    at=more[1] if len(more) > 1 else "",
                )
        return assess(job).stage_entries("bench")

    return make


# --- single readings ---------------------------------------------------------------------------


def test_a_reading_is_read_in_the_unit_that_was_typed(bench):
    assert bench({"warm": ("50", "°F")}).quantity("warm").to("degC").magnitude == pytest.approx(
        10.0
    )


def test_a_decimal_comma_is_understood(bench):
    assert bench({"warm": ("12,5", "°C")}).quantity("warm").to("degC").magnitude == pytest.approx(
        12.5
    )


def test_a_text_that_is_no_number_is_kept_and_its_fault_is_one_sentence(bench):
    reading = bench({"warm": ("about ten", "°C")}).reading("warm")
    assert reading.taken and reading.quantity is None and reading.text == "about ten"
    assert reading.problem.startswith(
        "Warm side: 'about ten' is not a number"
    ) and reading.problem.endswith(".")


def test_a_number_that_can_be_read_in_two_ways_is_refused(bench):
    assert "two ways" in bench({"warm": ("1,234", "°C")}).reading("warm").problem


def test_a_unit_of_another_dimension_is_a_problem_that_names_the_right_one(bench):
    assert "give °C or °F" in bench({"warm": ("5", "kPa")}).reading("warm").problem


def test_a_reading_without_unit_is_a_problem(bench):
    assert "has no unit" in bench({"warm": ("5", "")}).reading("warm").problem


def test_a_field_that_nobody_filled_has_neither_quantity_nor_problem(bench):
    reading = bench({}).reading("warm")
    assert not reading.taken and reading.quantity is None and reading.problem == ""


def test_a_blanked_entry_counts_as_not_taken(make_job, put, assess):
    job = make_job(stages=STAGES)
    put(job, "bench.warm", "20", "°C")
    put(job, "bench.warm", "", note="wrong machine")
    assert not assess(job).stage_entries("bench").reading("warm").taken


def test_an_implausible_reading_is_kept_and_flagged(bench):
    reading = bench({"warm": ("70", "°C")}).reading("warm")
    assert reading.quantity is not None and "outside the usual 0.0 °C to 60.0 °C" in reading.flag
    assert bench({"warm": ("60", "°C")}).reading("warm").flag == ""


def test_a_field_that_this_machine_does_not_have_is_not_asked_for(bench):
    entries = bench({"variable": ("yes", "")})
    assert not entries.has("variable") and not entries.reading("variable").taken


def test_a_gauge_reading_rises_by_the_measured_barometer(bench):
    entries = bench({"gauge": ("100", "kPa gauge")}, setup={"barometer": ("84", "kPa")})
    assert entries.quantity("gauge").to("kPa").magnitude == pytest.approx(184.0)


def test_without_a_barometer_the_standard_atmosphere_stands_in(bench):
    assert bench({"gauge": ("100", "kPa gauge")}).quantity("gauge").to(
        "kPa"
    ).magnitude == pytest.approx(201.325)


def test_a_vacuum_reading_falls_from_the_barometer(bench):
    entries = bench({"gauge": ("10", "in Hg vac")}, setup={"barometer": ("100", "kPa")})
    assert entries.quantity("gauge").to("kPa").magnitude == pytest.approx(100 - 33.86389, abs=1e-3)


@pytest.mark.parametrize(
    ("field", "text", "told"),
    [
        ("answer", "perhaps", "neither yes nor no"),
        ("day", "25.11.2026", "is not a date"),
        ("moment", "soon", "2026-11-25 14:30"),
        ("way", "sideways", "use up, down"),
    ],
)
def test_a_text_that_does_not_fit_its_field_is_a_problem(bench, field, text, told):
    assert told in bench({field: (text, "")}).reading(field).problem


# --- instruments -------------------------------------------------------------------------------


def _thermometer(accuracy="0.3 K", due="2027-01-31", kind="temperature"):
    cells = {"tag": "T1", "kind": kind, "accuracy": accuracy, "due": due}
    return {f"instruments.1.{name}": (value, "") for name, value in cells.items()}


def test_a_reading_carries_the_uncertainty_of_its_instrument(bench):
    reading = bench({"warm": ("20", "°C", "T1")}, setup=_thermometer()).reading("warm")
    assert reading.u.to("delta_degC").magnitude == pytest.approx(0.3 / 3**0.5)
    assert reading.untrusted == ""


def test_an_instrument_out_of_calibration_leaves_the_reading_untrusted(bench):
    reading = bench(
        {"warm": ("20", "°C", "T1", "2027-02-01T10:00:00+00:00")}, setup=_thermometer()
    ).reading("warm")
    assert "out of calibration" in reading.untrusted


def test_on_its_due_day_an_instrument_is_still_in_calibration(bench):
    assert (
        bench({"warm": ("20", "°C", "T1", "2027-01-31T23:00:00+00:00")}, setup=_thermometer())
        .reading("warm")
        .untrusted
        == ""
    )


def test_an_instrument_of_another_kind_is_named_as_such(bench):
    reading = bench({"gauge": ("100", "kPa gauge", "T1")}, setup=_thermometer()).reading("gauge")
    assert reading.u is None and "does not read gauge pressure" in reading.untrusted


def test_a_tag_that_no_instrument_bears_gives_no_uncertainty(bench):
    assert bench({"warm": ("20", "°C", "T9")}, setup=_thermometer()).reading("warm").u is None


def test_an_instrument_whose_accuracy_cannot_be_read_gives_no_uncertainty(bench):
    assert (
        bench({"warm": ("20", "°C", "T1")}, setup=_thermometer("quite good")).reading("warm").u
        is None
    )


# --- tables ------------------------------------------------------------------------------------


def test_rows_come_in_order_of_their_numbers_whatever_the_order_of_entry(bench):
    entries = bench(
        {"rows.10.place": ("c", ""), "rows.2.place": ("b", ""), "rows.1.place": ("a", "")}
    )
    assert [row.text("place") for row in entries.rows("rows")] == ["a", "b", "c"]
    assert [row.index for row in entries.rows("rows")] == [1, 2, 10]


def test_a_removed_row_is_gone_but_the_others_keep_their_numbers(make_job, put, assess):
    job = make_job(stages=STAGES)
    for n in (1, 2, 3):
        put(job, f"bench.rows.{n}.place", f"place {n}")
    put(job, "bench.rows.2.row", ROW_REMOVED, note="entered twice")
    assert [row.index for row in assess(job).stage_entries("bench").rows("rows")] == [1, 3]


def test_a_row_whose_cells_are_all_blank_is_no_row(make_job, put, assess):
    job = make_job(stages=STAGES)
    put(job, "bench.rows.1.place", "a")
    put(job, "bench.rows.1.place", "", note="slip")
    assert assess(job).stage_entries("bench").rows("rows") == ()


def test_a_cell_that_cannot_be_read_names_table_row_and_column(bench):
    row = bench({"rows.3.drop": ("much", "kPa")}).rows("rows")[0]
    assert row.reading("drop").problem.startswith("Rows, row 3, Drop: ")
    assert row.quantity("drop") is None


def test_an_implausible_cell_is_flagged(bench):
    assert (
        "outside the usual"
        in bench({"rows.1.drop": ("120", "kPa")}).rows("rows")[0].reading("drop").flag
    )


def test_a_cell_answers_yes_or_no(bench):
    assert bench({"rows.1.made": ("yes", "")}).rows("rows")[0].yes("made") is True
    assert bench({"rows.1.place": ("a", "")}).rows("rows")[0].yes("made") is None


def test_a_column_that_is_not_there_reads_as_not_taken(bench):
    assert not bench({"rows.1.place": ("a", "")}).rows("rows")[0].reading("colour").taken


# --- pasted blocks -----------------------------------------------------------------------------


def test_a_pasted_block_is_read_in_the_jobs_units():
    block = read_block("0\t50\t10\trun\n1\t59\t20\trun", TREND, "I-P", Q(101.325, "kPa"))
    assert block.columns["temperature"] == pytest.approx([283.15, 288.15])
    assert block.columns["sump"] == pytest.approx(
        [101325 + 10 * 6894.757, 101325 + 20 * 6894.757], rel=1e-6
    )
    assert block.texts["state"] == ("run", "run") and block.problems == ()


def test_units_in_the_head_of_a_block_win_over_those_of_the_job():
    block = read_block(
        "Time (min)\tTemperature [°F]\tSump (psig)\tState\n1\t50\t10\trun",
        TREND,
        "SI",
        Q(100, "kPa"),
    )
    assert block.columns["time"] == pytest.approx([60.0])
    assert block.columns["temperature"] == pytest.approx([283.15])
    assert block.columns["sump"] == pytest.approx([100000 + 68947.57], rel=1e-6)


def test_a_unit_in_the_cell_wins_over_the_head():
    block = read_block("Time (min)\tTemperature [°F]\n1\t10 °C", TREND)
    assert block.columns["temperature"] == pytest.approx([283.15])


def test_semicolons_and_decimal_commas_are_understood():
    block = read_block("0,5;12,5;;run\n1,0;13,25;;run", TREND)
    assert block.columns["time"] == pytest.approx([0.5, 1.0])
    assert block.columns["temperature"] == pytest.approx([285.65, 286.4])


def test_an_empty_cell_is_not_a_number_and_no_problem():
    block = read_block("0\t\t\trun", TREND)
    assert np.isnan(block.columns["temperature"][0]) and block.problems == ()


def test_a_cell_that_cannot_be_read_is_listed_and_the_row_stays():
    block = read_block("0\t12\t\t\n1\twarm\t\t\n2\t14\t\t", TREND)
    assert len(block) == 3 and np.isnan(block.columns["temperature"][1])
    assert block.problems == (
        (
            "Trend, row 2, Temperature: 'warm' is not a number; type digits with a comma or a point"
            " as decimal mark."
        ),
    )


def test_a_wrong_unit_in_the_head_is_told():
    assert any(
        "is not a unit of temperature" in problem
        for problem in read_block("Time (s)\tTemperature (kPa)\n0\t12", TREND).problems
    )


def test_many_bad_cells_are_counted_not_listed_one_by_one():
    block = read_block("\n".join(f"{n}\tx\t\t" for n in range(30)), TREND)
    assert len(block.problems) == 21 and block.problems[-1].startswith("10 more cells")


def test_a_short_row_leaves_the_missing_cells_blank():
    block = read_block("0\n1\t12", TREND)
    assert len(block) == 2 and block.texts["state"] == ("", "")


def test_an_empty_paste_is_an_empty_block(bench):
    assert len(bench({}).block("trend")) == 0 and len(read_block("\n \n", TREND)) == 0


def test_a_block_of_a_field_that_is_no_series_is_empty(bench):
    assert len(bench({"warm": ("20", "°C")}).block("warm")) == 0


# --- the stage as a whole ----------------------------------------------------------------------


def test_every_problem_of_a_stage_is_listed(bench):
    entries = bench({"warm": ("x", "°C"), "rows.1.drop": ("y", "kPa"), "trend": ("0\tz", "")})
    assert len(entries.problems()) == 3


def test_missing_names_the_required_fields_that_are_empty(bench):
    assert [f.name for f in bench({}).missing()] == ["warm", "rows", "trend"]
    assert [f.name for f in bench({"warm": ("20", "°C"), "rows.1.place": ("a", "")}).missing()] == [
        "trend"
    ]


def test_an_empty_stage_of_another_name_can_be_asked(bench):
    assert bench({}).of("nowhere").text("anything") == ""


def test_a_quantity_is_shown_in_the_jobs_units(bench):
    assert bench({}, system="I-P").show(Q(10, "degC"), "temperature") == "50.0 °F"
    assert bench({}).show(None, "temperature") == "not taken"


# --- readings from a pasted block --------------------------------------------------------------

WARMING = "0\t12\t100\trun\n60\t14\t120\trun"


@pytest.fixture
def trend(bench):
    """The block "trend", pasted on a day with an instrument of Setup."""

    def make(tag="T1", day="2026-11-25", text=WARMING, **thermometer):
        at = f"{day}T10:00:00+00:00"
        entered = {"trend": (text, "", tag, at)} if text else {}
        return bench(entered, setup=_thermometer(**thermometer)).block("trend")

    return make


def test_a_figure_from_a_series_carries_its_item_instrument_and_moment(trend):
    found = trend().reading("temperature", Q(14, "degC"))
    assert found.taken and found.quantity == Q(14, "degC")
    assert found.items == ("bench.trend",) and found.instruments == ("T1",)
    assert found.moment.date().isoformat() == "2026-11-25"


def test_a_figure_from_a_series_has_the_uncertainty_of_one_reading_unless_another_is_given(trend):
    block = trend()
    found = block.reading("temperature", Q(14, "degC"))
    assert found.u.to("delta_degC").magnitude == pytest.approx(0.3 / 3**0.5)
    given = block.reading("temperature", Q(14, "degC"), Q(1, "delta_degC"))
    assert given.u == Q(1, "delta_degC")


def test_a_figure_of_another_kind_than_its_column_has_no_uncertainty_of_its_own(trend):
    block = trend()
    assert block.reading("temperature", Q(60, "second")).u is None
    assert block.reading(("temperature", "sump"), Q(14, "degC")).u is None
    assert block.reading("sump", Q(100, "kPa")).u is None


def test_a_figure_from_a_series_of_an_overdue_instrument_is_untrusted(trend):
    found = trend(day="2027-02-01").reading("temperature", Q(14, "degC"))
    assert "out of calibration" in found.untrusted and found.u is not None


def test_a_figure_from_a_series_of_an_instrument_for_something_else_is_untrusted(trend):
    found = trend(kind="current", accuracy="1 A").reading("temperature", Q(14, "degC"))
    assert found.untrusted == "instrument T1 does not read temperature" and found.u is None


def test_a_series_without_an_instrument_gives_figures_without_uncertainty(trend):
    found = trend(tag="").reading("temperature", Q(14, "degC"))
    assert found.taken and found.u is None and found.untrusted == "" and found.instruments == ()


def test_a_series_that_is_missing_or_gives_no_figure_gives_a_reading_not_taken(trend):
    for found in (
        trend(text="").reading("temperature", Q(14, "degC")),
        trend().reading("temperature", None),
    ):
        assert not found.taken and found.quantity is None and found.items == ("bench.trend",)


def test_a_name_that_is_not_on_the_job_is_a_problem_of_its_field(make_job, put, assess):
    job = make_job()
    put(job, "setup.people.1.name", "B. Jansen")
    put(job, "setup.people.1.role", "technician")
    put(job, "safety.lock_out_by", "N. Fairweather")
    assert any("not among the people" in p for p in assess(job).stage_entries("safety").problems())
    put(job, "safety.lock_out_by", "B. Jansen")
    problems = assess(job).stage_entries("safety").problems()
    assert not any("not among the people" in problem for problem in problems)


def test_a_reading_taken_after_it_was_entered_is_a_problem_and_no_reading(make_job, put, assess):
    job = make_job()
    put(job, "taken.lube.sump_temperature", "2026-11-26T08:00:00+00:00")
    put(job, "lube.sump_temperature", "51", "°C")
    reading = assess(job).stage_entries("lube").reading("sump_temperature")
    assert reading.quantity is None and "future" in reading.problem


@pytest.mark.parametrize(("typed", "ahead"), [("2026-11-25 08:05", False), ("2027-01-01", True)])
def test_something_that_happened_after_it_was_written_down_is_a_problem(
    make_job, put, assess, typed, ahead
):
    job = make_job()
    put(job, "first_start.starts.1.started", typed)
    (row,) = assess(job).stage_entries("first_start").rows("starts")
    assert ("future" in row.reading("started").problem) is ahead


def test_an_instrument_is_asked_on_the_day_of_the_reading(make_job, put, assess):
    job = make_job()
    for name, value in (
        ("tag", "TI-1"),
        ("kind", "temperature"),
        ("accuracy", "0.1 K"),
        ("due", "2026-11-20"),
    ):
        put(job, f"setup.instruments.1.{name}", value)
    put(job, "taken.lube.sump_temperature", "2026-11-19T08:00:00+00:00")
    put(job, "lube.sump_temperature", "51", "°C", instrument="TI-1")
    put(job, "lube.supply_temperature", "45", "°C", instrument="TI-1")
    entries = assess(job).stage_entries("lube")
    assert entries.reading("sump_temperature").untrusted == ""
    assert entries.reading("supply_temperature").untrusted != ""
