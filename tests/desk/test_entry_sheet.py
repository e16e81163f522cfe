"""The entry sheet: written for a job, filled in a spreadsheet, read back whole or not at all."""

from __future__ import annotations

import re
import shutil
import zipfile
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from click.testing import CliRunner
from openpyxl.utils import get_column_letter

from startkit.cli import main
from startkit.desk.entry_sheet.entries import CellsRefused, enter_sheet
from startkit.desk.entry_sheet.export import write
from startkit.desk.entry_sheet.tab import LONGEST_SERIES
from startkit.errors import ReadingError, SheetError
from startkit.facts.job import ROW_REMOVED, Job
from startkit.facts.journal import Entry
from startkit.facts.plugins import find_template
from startkit.procedure import registry
from startkit.procedure.assessment import Assessment
from startkit.procedure.registry import for_job
from startkit.procedure.stage import SERIES, TABLE, Column, Field, Stage
from startkit.units import KINDS, label

MACHINE = Path(__file__).parents[2] / "workbook" / "plant" / "machines" / "CH-1.toml"
# Most tests are about a cell or a table, and a sheet of four tabs is written and read in a third of
# the time.
FEW = ("setup", "vanes", "lube", "load_up")


def few(folder: Path, path: Path) -> Path:
    """An entry sheet of a few stages: somebody has taken the other tabs out."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(
            registry,
            "for_job",
            lambda job: {name: stage for name, stage in for_job(job).items() if name in FEW},
        )
        return write(folder, path)


class Sheet:
    """An entry sheet in the hands of somebody with a spreadsheet program."""

    def __init__(self, job: Job, path: Path) -> None:
        self.job, self.path = job, path
        self.book = openpyxl.load_workbook(path)
        self.tabs = {
            sheet.cell(1, 1).value.removeprefix("stage/"): sheet
            for sheet in self.book
            if str(sheet.cell(1, 1).value).startswith("stage/")
        }

    def row(self, mark: str) -> tuple[Any, int]:
        stage, _, rest = mark.partition(".")
        tab = self.tabs[stage]
        return tab, next(r for r in range(1, tab.max_row + 1) if tab.cell(r, 1).value == rest)

    def cell(self, what: str, place: str = "C") -> Any:
        """The cell of a field, or of a table's reading that stands in a row of its own."""
        stage, name, *rest = what.split(".")
        if not rest:
            tab, row = self.row(f"{stage}.field/{name}")
            return tab[f"{place}{row}"]
        index, column = rest
        tab = self.tabs[stage]
        marks = {tab.cell(r, 1).value: r for r in range(1, tab.max_row + 1)}
        if f"cell/{name}/{column}" in marks:
            return self._crossing(
                tab, marks[f"indexes/{name}"], index, marks[f"cell/{name}/{column}"]
            )
        return self._crossing(tab, marks[f"columns/{name}"], column, marks[f"row/{name}/{index}"])

    @staticmethod
    def _crossing(tab: Any, head: int, name: str, row: int) -> Any:
        column = next(
            c for c in range(1, tab.max_column + 1) if str(tab.cell(head, c).value) == name
        )
        return tab.cell(row, column)

    def lines(self, what: str, rows: list[list[Any]]) -> None:
        """Fill a series from its first line on."""
        stage, name = what.split(".")
        tab, first = self.row(f"{stage}.line/{name}")
        for r, cells in enumerate(rows):
            for c, value in enumerate(cells):
                tab.cell(first + r, 3 + c).value = value

    def address(self, what: str, place: str = "C") -> str:
        cell = self.cell(what, place)
        return f"{cell.parent.title}!{cell.coordinate}"

    def enter(self, who: str = "A. Technician") -> list[Entry]:
        self.book.save(self.path)
        return enter_sheet(self.job.folder, self.path, who).entries

    def refused(self, who: str = "A. Technician") -> list[str]:
        """What is refused; nothing is in the journal then."""
        before = len(self.job.state().entries)
        with pytest.raises(CellsRefused) as error:
            self.enter(who)
        assert len(Job(self.job.folder).state().entries) == before
        return error.value.refused


@pytest.fixture(scope="module")
def blank(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A new job and its sheet, made once and copied for each test."""
    folder = tmp_path_factory.mktemp("blank")
    job = Job.create(
        folder / "CH-1", MACHINE, find_template("new-machine"), who="A. Technician"
    ).folder
    write(job, folder / "whole.xlsx")
    few(job, folder / "few.xlsx")
    return folder


@pytest.fixture
def job(blank: Path, tmp_path: Path) -> Job:
    return Job(shutil.copytree(blank / "CH-1", tmp_path / "CH-1"))


@pytest.fixture
def sheet(blank: Path, job: Job, tmp_path: Path) -> Sheet:
    return Sheet(job, Path(shutil.copyfile(blank / "few.xlsx", tmp_path / "sheet.xlsx")))


@pytest.fixture
def whole(blank: Path, job: Job, tmp_path: Path) -> Sheet:
    return Sheet(job, Path(shutil.copyfile(blank / "whole.xlsx", tmp_path / "sheet.xlsx")))


@pytest.fixture
def with_entries(job: Job, tmp_path: Path) -> Callable[..., Sheet]:
    def made(*entries: Entry) -> Sheet:
        job.record(entries)
        return Sheet(job, few(job.folder, tmp_path / "sheet.xlsx"))

    return made


def put(what: str, value: str, unit: str = "", **more: str) -> Entry:
    return Entry(what, value, unit, "B. Colleague", **more)


# --- there and back -----------------------------------------------------------------------------


def asked_of(stage: Stage, job: Job) -> list[Field]:
    """What a blank sheet asks for: all but what only earlier journals hold."""
    return [field for field in stage.fields_for(job.machine) if not field.retired]


def everything(job: Job) -> Iterator[tuple[str, Field | Column, str]]:
    """(item, what asks for it, a value) for all that a sheet can take; two rows of each table."""
    for name, stage in for_job(job).items():
        for field in asked_of(stage, job):
            if field.kind == TABLE:
                yield from (
                    (f"{name}.{field.name}.{n}.{c.name}", c, value_for(c, n))
                    for n in (1, 2)
                    for c in field.columns
                )
            elif field.kind == SERIES:
                yield f"{name}.{field.name}", field, series_for(field)
            elif field.kind not in ("photo", "signature"):
                yield f"{name}.{field.name}", field, value_for(field, 1)


def value_for(declared: Field | Column, n: int) -> str:
    if declared.choices:
        return declared.labels[n % len(declared.labels)]
    special = {
        "yes_no": ("yes", "no")[n % 2],
        "date": f"2026-11-{n:02}",
        "moment": f"2026-11-{n:02} 14:3{n}",
        "person": "A. Technician",
        "count": str(n),
        "long_text": "line one\nline two",
    }
    return special.get(declared.kind, f"{10 + n},5" if declared.kind in KINDS else f"word {n}")


def series_for(field: Field) -> str:
    head = "\t".join(
        f"{c.label} [{label(c.kind)}]" if c.kind in KINDS and label(c.kind) else c.label
        for c in field.columns
    )
    return "\n".join(
        [
            head,
            *(
                "\t".join(
                    str(n + i) if c.kind in KINDS else "made" for i, c in enumerate(field.columns)
                )
                for n in range(3)
            ),
        ]
    )


def said(job: Job) -> dict[str, tuple[str, str]]:
    return {
        what: (e.value, e.unit)
        for what, e in Job(job.folder).state().latest.items()
        if not what.startswith("job.")
    }


def judged(job: Job) -> list[tuple[str, str, str]]:
    found = Assessment(job.machine, job.limits, for_job(job), job.state(), job.system)
    return [(v.key, v.outcome.value, v.sentence) for _, v in found.verdicts()]


def test_a_blank_sheet_filled_with_everything_gives_the_same_job_as_typing_it(
    job: Job, whole: Sheet, tmp_path: Path
) -> None:
    typed = Job.create(
        tmp_path / "typed", MACHINE, find_template("new-machine"), who="A. Technician"
    )
    wanted = list(everything(job))
    typed.record(
        Entry(what, value, label(asks.kind) if asks.kind in KINDS else "", "A. Technician")
        for what, asks, value in wanted
    )
    for what, asks, value in wanted:
        if asks.kind == SERIES:
            whole.lines(what, [line.split("\t") for line in value.splitlines()[1:]])
        else:
            whole.cell(what).value = (
                datetime.fromisoformat(value) if asks.kind in ("date", "moment") else value
            )
    assert len(whole.enter()) == len(wanted) > 300
    assert said(job) == said(typed)
    assert judged(Job(job.folder)) == judged(Job(typed.folder))


def test_a_sheet_of_a_filled_job_brings_nothing_unless_it_is_touched(
    job: Job, tmp_path: Path
) -> None:
    job.record(
        Entry(
            what,
            value,
            label(asks.kind) if asks.kind in KINDS else "",
            "A. Technician",
            at="2026-11-25T10:00:00+01:00",
        )
        for what, asks, value in everything(job)
    )
    filled = Sheet(job, write(job.folder, tmp_path / "sheet.xlsx"))
    assert filled.enter() == []
    filled.cell("lube.sump_temperature").value = "12"
    filled.cell("lube.sump_temperature", "F").value = "read again"
    assert [(e.what, e.value, e.note) for e in filled.enter()] == [
        ("lube.sump_temperature", "12", "read again")
    ]


def test_the_same_file_may_be_entered_again_after_more_was_filled(sheet: Sheet) -> None:
    sheet.cell("lube.sump_temperature").value = "51,5"
    sheet.cell("setup.instruments.1.tag").value = "TI-1"
    assert len(sheet.enter()) == 2
    assert sheet.enter() == []
    sheet.cell("setup.instruments.1.name").value = "Thermometer"
    assert [e.what for e in sheet.enter()] == ["setup.instruments.1.name"]


def test_a_typed_unit_wins_over_the_one_beside_it(sheet: Sheet) -> None:
    sheet.cell("lube.sump_pressure").value = "60 psig"
    sheet.cell("lube.sump_temperature").value = "51,5"
    sheet.cell("load_up.points.1.evaporator_pressure").value = "12 in Hg vac"
    sheet.cell("load_up.points.1.chilled_leaving").value = 6.7
    values = {e.what: (e.value, e.unit) for e in sheet.enter()}
    assert values == {
        "lube.sump_pressure": ("60", "psig"),
        "lube.sump_temperature": ("51,5", "°C"),
        "load_up.points.1.evaporator_pressure": ("12", "in Hg vac"),
        "load_up.points.1.chilled_leaving": ("6.7", "°C"),
    }


def test_the_unit_beside_a_value_may_be_changed(sheet: Sheet) -> None:
    sheet.cell("lube.sump_temperature").value, sheet.cell("lube.sump_temperature", "D").value = (
        125,
        "°F",
    )
    assert [(e.value, e.unit) for e in sheet.enter()] == [("125", "°F")]


def test_a_reading_with_its_own_unit_in_a_table_is_shown_with_it(
    with_entries: Callable[..., Sheet],
) -> None:
    filled = with_entries(
        put("load_up.points.1.chilled_leaving", "44", "°F"),
        put("load_up.points.1.chilled_entering", "12", "°C"),
    )
    assert (
        filled.cell("load_up.points.1.chilled_leaving").value,
        filled.cell("load_up.points.1.chilled_entering").value,
    ) == ("44 °F", "12")
    assert filled.enter() == []


def test_instruments_of_the_same_sheet_count(sheet: Sheet) -> None:
    sheet.cell("setup.instruments.1.tag").value = "TI-1"
    sheet.cell("lube.sump_temperature").value, sheet.cell("lube.sump_temperature", "E").value = (
        "51",
        "TI-1",
    )
    tab, row = sheet.row("load_up.cell/points/chilled_leaving")
    tab[f"D{row}"].value = "TI-1"
    sheet.cell("load_up.points.2.chilled_leaving").value = "7"
    assert {e.what: e.instrument for e in sheet.enter()} == {
        "setup.instruments.1.tag": "",
        "lube.sump_temperature": "TI-1",
        "load_up.points.2.chilled_leaving": "TI-1",
    }


def test_the_instrument_chosen_for_a_kind_stands_ready_and_makes_no_entry(
    with_entries: Callable[..., Sheet],
) -> None:
    filled = with_entries(
        put("setup.instruments.1.tag", "TI-1"), put("job.instrument.temperature", "TI-1")
    )
    assert filled.cell("lube.sump_temperature", "E").value == "TI-1"
    assert filled.enter() == []
    filled.cell("lube.sump_temperature").value = "51"
    assert [e.instrument for e in filled.enter()] == ["TI-1"]


def test_a_series_is_one_entry_in_the_units_above_it(job: Job, sheet: Sheet) -> None:
    tab, row = sheet.row("lube.units/pre_lube")
    tab.cell(row, 6).value = "psi"
    sheet.lines("lube.pre_lube", [[0, None, None, 0], [5, None, None, "25,5"]])
    assert [e.what for e in sheet.enter()] == ["lube.pre_lube"]
    block = (
        Assessment(job.machine, job.limits, for_job(job), job.state(), job.system)
        .stage_entries("lube")
        .block("pre_lube")
    )
    assert block.columns["differential"][1] == pytest.approx(25.5 * 6894.757, rel=1e-6)
    assert block.problems == ()


def test_a_pasted_series_is_shown_and_corrected_with_a_reason(
    with_entries: Callable[..., Sheet],
) -> None:
    filled = with_entries(put("lube.pre_lube", "0\t\t\t0\n5\t\t\t170"))
    assert filled.enter() == []
    filled.lines("lube.pre_lube", [[0, None, None, 0], [5, None, None, 175]])
    tab, row = filled.row("lube.series/pre_lube")
    assert any(f"F{row}" in line for line in filled.refused())
    tab[f"F{row}"].value = "misread"
    assert [e.note for e in filled.enter()] == ["misread"]


def test_a_series_too_long_for_a_sheet_is_left_to_its_file(
    with_entries: Callable[..., Sheet],
) -> None:
    filled = with_entries(
        put("lube.pre_lube", "\n".join(f"{n}\t\t\t{n}" for n in range(LONGEST_SERIES + 1)))
    )
    shown = [
        str(cell.value) for row in filled.tabs["lube"].iter_rows() for cell in row if cell.value
    ]
    assert any("--series lube.pre_lube" in text for text in shown)
    assert filled.enter() == []


# --- who, and when ------------------------------------------------------------------------------


def test_who_read_is_named_by_the_tab_else_the_first_tab_else_the_command(sheet: Sheet) -> None:
    for what in ("lube.sump_temperature", "setup.barometer"):
        sheet.cell(what).value = "99"
    tab, row = sheet.row("lube.by")
    tab[f"C{row}"].value = "L. Oiler"
    assert {e.what: e.who for e in sheet.enter("C. Clerk")} == {
        "lube.sump_temperature": "L. Oiler",
        "setup.barometer": "C. Clerk",
    }


def test_the_first_tab_names_who_read_where_a_tab_does_not(sheet: Sheet) -> None:
    sheet.book["Start"]["C4"].value = "F. First"
    sheet.cell("lube.sump_temperature").value = "51"
    assert [e.who for e in sheet.enter("C. Clerk")] == ["F. First"]


def test_where_nobody_is_named_nothing_is_entered(sheet: Sheet) -> None:
    sheet.cell("lube.sump_temperature").value = "51"
    (refused,) = sheet.refused(who="")
    assert refused.startswith("Lubrication!C3: ") and "--who" in refused


def test_the_time_of_reading_goes_into_the_journal_but_never_as_that_of_the_entry(
    sheet: Sheet, job: Job
) -> None:
    tab, row = sheet.row("lube.by")
    tab[f"F{row}"].value = datetime(2025, 3, 2, 9, 15)
    sheet.cell("lube.sump_temperature").value = "51"
    (entry,) = sheet.enter()
    taken = datetime.fromisoformat(job.state().taken(entry))
    assert taken == datetime(2025, 3, 2, 9, 15).astimezone()
    assert datetime.now().astimezone() - datetime.fromisoformat(entry.at) < timedelta(minutes=5)


def test_a_time_of_reading_that_is_still_to_come_is_refused(sheet: Sheet) -> None:
    tab, row = sheet.row("lube.by")
    tab[f"F{row}"].value = datetime.now().replace(microsecond=0) + timedelta(days=2)
    sheet.cell("lube.sump_temperature").value = "51"
    assert any(
        line.startswith(f"Lubrication!F{row}: ") and "future" in line for line in sheet.refused()
    )


# --- refused cells ------------------------------------------------------------------------------


WRONG = [
    ("lube.sump_temperature", "about 51", "is not a number; type digits"),
    ("lube.supply_temperature", "51 psi", "'psi' is not a unit of temperature; give °C or °F"),
    ("lube.filter_drop", "1,234", "can be read in two ways; type it without a mark"),
    ("lube.trip_seen", "=25+26", "a formula; type the value itself"),
    ("setup.nameplate_serial", '=HYPERLINK("x")', "a formula; type the value itself"),
    (
        "lube.pump_speed",
        datetime(2026, 5, 12),
        "a date; format the cell as text",
    ),
    (
        "lube.pump_start",
        timedelta(minutes=1, seconds=30),
        "a time of day; format",
    ),
    ("lube.oil_kind", True, "TRUE; format the cell as text"),
    ("lube.oil_charge", "#DIV/0!", "shows the error #DIV/0!; type the value itself"),
    ("lube.sight_glass", "murky", "is not one of the choices; use clear"),
    ("lube.cooler_water", "perhaps", "is neither yes nor no; choose one"),
    ("lube.heater_on_since", "yesterday", "is not a date; write it as 2026-11-25 14:30"),
    ("load_up.points.1.power", "many", "is not a number"),
    ("vanes.strokes.3.direction", "sideways", "is not one of the choices"),
]


def test_every_cell_that_cannot_be_taken_is_named_with_reason_and_remedy_and_nothing_is_saved(
    sheet: Sheet,
) -> None:
    for what, value, _ in WRONG:
        sheet.cell(what).value = value
    sheet.cell("setup.barometer").value = "101,3"  # a good one among them is not saved either
    refused = dict(line.split(": ", 1) for line in sheet.refused())
    assert set(refused) == {sheet.address(what) for what, _, _ in WRONG} and len(WRONG) == 14
    for what, _, reason in WRONG:
        assert reason in refused[sheet.address(what)], what


def test_a_line_of_a_series_that_cannot_be_read_is_named(sheet: Sheet) -> None:
    sheet.lines("lube.pre_lube", [[0, None, None, "none"], [5, None, None, 170]])
    assert any(
        "row 1, Differential" in line and "is not a number" in line for line in sheet.refused()
    )


def test_a_tag_that_no_instrument_has_is_refused_once_for_a_column(sheet: Sheet) -> None:
    tab, row = sheet.row("load_up.cell/points/power")
    tab[f"D{row}"].value = "W-9"
    for n in (1, 2, 3):
        sheet.cell(f"load_up.points.{n}.power").value = "250"
    assert sheet.refused() == [
        f"{sheet.address('load_up.points.1.power')}: there is no instrument 'W-9' in Setup;"
        " correct the tag, or add it there."
    ]


def test_a_percentage_typed_into_a_percent_cell_is_not_a_hundredth(sheet: Sheet) -> None:
    cell = sheet.cell("load_up.points.1.vane_position")
    cell.value, cell.number_format = 0.85, "0%"
    assert [(e.value, e.unit) for e in sheet.enter()] == [("85", "%")]


def test_a_long_number_keeps_its_digits(sheet: Sheet) -> None:
    sheet.cell("setup.nameplate_serial").value = 123456789012345
    assert [e.value for e in sheet.enter()] == ["123456789012345"]


def test_true_and_false_answer_a_question_for_yes_or_no(sheet: Sheet) -> None:
    sheet.cell("lube.cooler_water").value = True
    assert [e.value for e in sheet.enter()] == ["yes"]


def test_a_reading_outside_its_usual_range_is_kept_and_told(sheet: Sheet) -> None:
    sheet.cell("load_up.points.1.chilled_leaving").value = "67"
    sheet.book.save(sheet.path)
    entered = enter_sheet(sheet.job.folder, sheet.path, "A. Technician")
    assert [e.value for e in entered.entries] == ["67"]
    assert len(entered.flagged) == 1 and entered.flagged[0].startswith(
        f"{sheet.address('load_up.points.1.chilled_leaving')}: outside the usual"
    )


# --- corrections, and other people --------------------------------------------------------------


def test_a_correction_needs_its_reason_and_says_where(with_entries: Callable[..., Sheet]) -> None:
    filled = with_entries(put("lube.sump_temperature", "51", "°C"))
    filled.cell("lube.sump_temperature").value = "57"
    refused = filled.refused()
    assert len(refused) == 1 and "B. Colleague entered 51 °C" in refused[0]
    assert filled.cell("lube.sump_temperature", "F").coordinate in refused[0]
    filled.cell("lube.sump_temperature", "F").value = "figures turned round"
    assert [(e.value, e.note) for e in filled.enter()] == [("57", "figures turned round")]


def test_emptying_a_cell_is_a_correction(with_entries: Callable[..., Sheet]) -> None:
    filled = with_entries(put("lube.sump_temperature", "51", "°C"))
    filled.cell("lube.sump_temperature").value = None
    assert len(filled.refused()) == 1
    filled.cell("lube.sump_temperature", "F").value = "wrong thermometer well"
    assert [(e.value, e.unit, e.note) for e in filled.enter()] == [
        ("", "", "wrong thermometer well")
    ]


def test_a_reason_of_a_table_row_goes_to_what_is_corrected_only(
    with_entries: Callable[..., Sheet],
) -> None:
    filled = with_entries(put("vanes.strokes.1.travel_time", "31", "s"))
    filled.cell("vanes.strokes.1.travel_time").value = "32"
    filled.cell("vanes.strokes.1.direction").value = "opening"
    filled.cell("vanes.strokes.1.why/").value = "misread"
    assert {e.what: e.note for e in filled.enter()} == {
        "vanes.strokes.1.direction": "",
        "vanes.strokes.1.travel_time": "misread",
    }


def test_a_reason_below_a_load_serves_that_load(with_entries: Callable[..., Sheet]) -> None:
    filled = with_entries(put("load_up.points.1.power", "250", "kW"))
    filled.cell("load_up.points.1.power").value = "205"
    tab, row = filled.row("load_up.whys/points")
    tab.cell(row, 5).value = "figures turned round"
    assert [(e.value, e.note) for e in filled.enter()] == [("205", "figures turned round")]


def test_the_same_value_with_a_remark_is_an_entry_once(with_entries: Callable[..., Sheet]) -> None:
    filled = with_entries(put("lube.sump_temperature", "51", "°C"))
    filled.cell("lube.sump_temperature", "F").value = "seen again"
    assert [(e.value, e.note) for e in filled.enter()] == [("51", "seen again")]
    assert filled.enter() == []


def test_what_somebody_else_entered_meanwhile_is_not_written_over(job: Job, sheet: Sheet) -> None:
    job.record(put("lube.sump_temperature", "49", "°C"))
    sheet.cell("lube.sump_temperature").value = "51"
    refused = sheet.refused()
    assert len(refused) == 1 and "B. Colleague entered 49 °C here" in refused[0]


def test_an_untouched_cell_leaves_what_somebody_else_corrected(
    job: Job, with_entries: Callable[..., Sheet]
) -> None:
    filled = with_entries(put("lube.sump_temperature", "51", "°C"))
    job.record(put("lube.sump_temperature", "49", "°C", note="read again"))
    filled.cell("lube.filter_drop").value = "20"
    assert [e.what for e in filled.enter()] == ["lube.filter_drop"]
    assert said(job)["lube.sump_temperature"] == ("49", "°C")


def test_a_remark_on_a_value_that_was_changed_meanwhile_does_not_bring_it_back(
    job: Job, with_entries: Callable[..., Sheet]
) -> None:
    filled = with_entries(put("lube.sump_temperature", "51", "°C"))
    job.record(put("lube.sump_temperature", "49", "°C", note="read again"))
    filled.cell("lube.sump_temperature", "F").value = "seen"
    assert "since the sheet was made" in filled.refused()[0]


def test_a_row_that_somebody_else_filled_meanwhile_is_not_mixed_with_mine(
    job: Job, sheet: Sheet
) -> None:
    job.record([put("setup.instruments.1.tag", "PI-3"), put("setup.instruments.1.name", "Gauge")])
    sheet.cell("setup.instruments.1.serial").value = "S-77"
    refused = sheet.refused()
    assert len(refused) == 1 and "filled this row since" in refused[0]


def test_nothing_is_written_into_a_row_that_was_removed(
    job: Job, with_entries: Callable[..., Sheet]
) -> None:
    filled = with_entries(put("setup.instruments.1.tag", "PI-3"))
    job.record(put("setup.instruments.1.row", ROW_REMOVED, note="not used"))
    filled.cell("setup.instruments.1.name").value = "Gauge"
    assert "row was removed since" in filled.refused()[0]


def test_a_removed_row_is_not_offered_again(with_entries: Callable[..., Sheet]) -> None:
    filled = with_entries(
        put("setup.instruments.1.tag", "PI-3"),
        put("setup.instruments.1.row", ROW_REMOVED, note="not used"),
    )
    marks = [filled.tabs["setup"].cell(r, 1).value for r in range(1, filled.tabs["setup"].max_row)]
    assert "row/instruments/1" not in marks and "row/instruments/2" in marks


# --- hands that move things ---------------------------------------------------------------------


def test_rows_put_in_by_hand_move_no_value_to_another_item(sheet: Sheet) -> None:
    sheet.cell("lube.sump_temperature").value = "51"
    sheet.cell("lube.zero.1.supply").value = "0,2"
    tab = sheet.tabs["lube"]
    tab.insert_rows(9, 3)
    assert {e.what: e.value for e in sheet.enter()} == {
        "lube.sump_temperature": "51",
        "lube.zero.1.supply": "0,2",
    }


def test_a_copied_row_is_refused(sheet: Sheet) -> None:
    tab, row = sheet.row("lube.field/sump_temperature")
    last = tab.max_row + 1
    tab.cell(last, 1).value, tab.cell(last, 3).value = tab.cell(row, 1).value, "52"
    assert any(
        line.startswith(f"Lubrication!C{last}: the row is in the workbook twice")
        for line in sheet.refused()
    )


def test_a_tab_of_notes_that_somebody_added_is_left_alone(sheet: Sheet) -> None:
    sheet.book.create_sheet("My notes")["A1"].value = "=1+1"
    assert sheet.enter() == []


def test_an_item_that_the_job_does_not_ask_for_is_refused(sheet: Sheet) -> None:
    tab, row = sheet.row("lube.field/sump_temperature")
    tab.cell(row, 1).value, tab.cell(row, 3).value = "field/wormhole", "51"
    assert sheet.refused() == [
        f"Lubrication!C{row}: the stage does not ask for this on this machine; clear the cell, or"
        " write a new one with `startkit spreadsheet`."
    ]


# --- hostile content ----------------------------------------------------------------------------

HOSTILE = (
    "=1+1",
    "+1",
    "-1",
    "@SUM(A1)",
    "=cmd|' /C calc'!A0",
    "\t=1",
    "#N/A",
    "<b>&amp;</b>",
    "a\x00b\x1b",
    "x" * 40_000,
    "\r\nline\r\n",
    "_x0041_",
    "')\"};--",
    "😀 नमस्ते",
    "12 % \u202e",
)


def test_what_was_typed_stays_text_and_comes_back_as_nothing_new(
    with_entries: Callable[..., Sheet],
) -> None:
    filled = with_entries(
        *(
            put(f"setup.{what}", text)
            for n, text in enumerate(HOSTILE, 1)
            for what in (f"people.{n}.name", f"instruments.{n}.tag", f"people.{n}.role")
        ),
        put("vanes.trace", "\n".join(f"1\t2\t3\t4\t{text}" for text in HOSTILE)),
    )
    for n in range(1, len(HOSTILE) + 1):
        assert (
            filled.cell(f"setup.people.{n}.name").data_type
            == filled.cell(f"setup.instruments.{n}.tag").data_type
            == "s"
        )
    with zipfile.ZipFile(filled.path) as archive:
        sheets = [
            archive.read(name).decode()
            for name in archive.namelist()
            if name.startswith("xl/worksheets/sheet")
        ]
    assert not any(re.search(r"<f[ >]", xml) for xml in sheets)
    assert enter_sheet(filled.job.folder, filled.path, "A. Technician").entries == []
    assert filled.enter() == []


def test_a_text_that_begins_like_a_formula_is_marked_as_text(
    with_entries: Callable[..., Sheet],
) -> None:
    cell = with_entries(put("lube.oil_kind", "=1+1")).cell("lube.oil_kind")
    assert (cell.value, cell.quotePrefix, cell.number_format) == ("=1+1", True, "@")


def test_a_sheet_of_another_job_is_refused(sheet: Sheet, tmp_path: Path) -> None:
    other = Job.create(
        tmp_path / "other", MACHINE, find_template("new-machine"), who="A. Technician"
    )
    with pytest.raises(ReadingError, match="another job"):
        enter_sheet(other.folder, sheet.path, "A. Technician")


def test_a_workbook_that_is_no_entry_sheet_is_refused(job: Job, tmp_path: Path) -> None:
    openpyxl.Workbook().save(tmp_path / "mine.xlsx")
    with pytest.raises(ReadingError, match="`startkit spreadsheet`"):
        enter_sheet(job.folder, tmp_path / "mine.xlsx", "A. Technician")


@pytest.mark.parametrize(
    "content",
    [b"", b"item,value\n", b"PK\x03\x04" + b"\x00" * 100, b"\xd0\xcf\x11\xe0" + b"\x00" * 2000],
)
def test_a_file_that_is_no_workbook_is_one_sentence(
    job: Job, tmp_path: Path, content: bytes
) -> None:
    (tmp_path / "a.xlsx").write_bytes(content)
    with pytest.raises(ReadingError, match="not a workbook"):
        enter_sheet(job.folder, tmp_path / "a.xlsx", "A. Technician")


def changed_archive(sheet: Sheet, name: str, change: Callable[[bytes], bytes]) -> None:
    kept = sheet.path.with_suffix(".kept")
    shutil.copyfile(sheet.path, kept)
    with (
        zipfile.ZipFile(kept) as old,
        zipfile.ZipFile(sheet.path, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for part in old.infolist():
            new.writestr(
                part.filename, change(old.read(part)) if part.filename == name else old.read(part)
            )


def test_a_workbook_that_would_unpack_without_end_is_refused_before_it_is_unpacked(
    sheet: Sheet,
) -> None:
    changed_archive(sheet, "xl/worksheets/sheet2.xml", lambda xml: xml + b" " * 60_000_000)
    assert sheet.path.stat().st_size < 500_000
    with pytest.raises(ReadingError, match="larger"):
        enter_sheet(sheet.job.folder, sheet.path, "A. Technician")


def test_a_workbook_with_entities_of_its_own_is_refused(sheet: Sheet) -> None:
    changed_archive(
        sheet,
        "xl/worksheets/sheet2.xml",
        lambda xml: b'<?xml version="1.0"?><!DOCTYPE w [<!ENTITY a "aaaa">]>' + xml,
    )
    with pytest.raises(ReadingError, match="entities"):
        enter_sheet(sheet.job.folder, sheet.path, "A. Technician")


def test_a_tab_of_a_million_rows_is_refused(sheet: Sheet) -> None:
    changed_archive(
        sheet,
        "xl/worksheets/sheet2.xml",
        lambda xml: xml.replace(
            b"</sheetData>",
            b'<row r="1048576"><c r="A1048576"'
            b' t="inlineStr"><is><t>x</t></is></c></row></sheetData>',
        ),
    )
    with pytest.raises(ReadingError, match="more rows"):
        enter_sheet(sheet.job.folder, sheet.path, "A. Technician")


def test_a_torn_workbook_is_one_sentence(sheet: Sheet) -> None:
    changed_archive(sheet, "xl/worksheets/sheet2.xml", lambda xml: xml[: len(xml) // 2])
    with pytest.raises(ReadingError, match="cannot be read"):
        enter_sheet(sheet.job.folder, sheet.path, "A. Technician")


# --- how it is made -----------------------------------------------------------------------------


def test_every_stage_has_its_tab_and_every_question_its_row(job: Job, whole: Sheet) -> None:
    assert [name for name in whole.tabs if name != "stage"] == list(for_job(job))
    for name, stage in for_job(job).items():
        texts = "\n".join(
            str(cell.value) for row in whole.tabs[name].iter_rows() for cell in row if cell.value
        )
        for field in asked_of(stage, job):
            assert field.question in texts and field.help in texts, (name, field.name)
        assert all(f"Caution: {caution}" in texts for caution in stage.cautions)


def test_headings_are_locked_and_only_cells_for_entry_are_open(job: Job, whole: Sheet) -> None:
    for tab in whole.tabs.values():
        assert tab.protection.sheet and tab.column_dimensions["A"].hidden
        assert all(
            tab.cell(r, c).protection.locked for r in range(1, tab.max_row + 1) for c in (1, 2)
        )
    for what, asks, _ in everything(job):
        if asks.kind != SERIES:
            assert not whole.cell(what).protection.locked, what


def rule_of(cell: Any) -> Any:
    return next(
        (
            rule
            for rule in cell.parent.data_validations.dataValidation
            if cell.coordinate in rule.sqref
        ),
        None,
    )


def test_choices_are_offered_whole_and_nothing_else_is_taken(sheet: Sheet) -> None:
    rule = rule_of(sheet.cell("lube.sight_glass"))
    start, end = re.findall(r"\$([A-Z]+)\$(\d+)", rule.formula1)
    texts = [
        sheet.book["lists"][f"{start[0]}{row}"].value
        for row in range(int(start[1]), int(end[1]) + 1)
    ]
    assert texts[0] == "clear, level in the glass" and rule.showErrorMessage
    assert sheet.book["lists"].sheet_state == sheet.book["as written"].sheet_state == "veryHidden"


def test_dates_are_checked_and_numbers_are_free_text(sheet: Sheet) -> None:
    since, temperature = sheet.cell("lube.heater_on_since"), sheet.cell("lube.sump_temperature")
    assert (rule_of(since).type, since.number_format) == ("date", "yyyy-mm-dd hh:mm")
    assert (rule_of(temperature), temperature.number_format) == (None, "@")


def test_loads_stand_side_by_side(sheet: Sheet) -> None:
    cells = [sheet.cell(f"load_up.points.{n}.power") for n in (1, 2, 3)]
    assert len({cell.row for cell in cells}) == 1 and [
        get_column_letter(cell.column) for cell in cells
    ] == ["E", "F", "G"]


@pytest.mark.parametrize(("system", "paper", "unit"), [("SI", "9", "°C"), ("I-P", "1", "°F")])
def test_units_and_paper_follow_the_job(tmp_path: Path, system: str, paper: str, unit: str) -> None:
    job = Job.create(tmp_path / "J", MACHINE, find_template("new-machine"), system, "A. Technician")
    made = Sheet(job, few(job.folder, tmp_path / "s.xlsx"))
    tab = made.tabs["lube"]
    assert (str(tab.page_setup.paperSize), made.cell("lube.sump_temperature", "D").value) == (
        paper,
        unit,
    )
    assert (
        tab.page_setup.fitToWidth,
        tab.page_setup.fitToHeight,
        tab.print_title_rows,
        tab.freeze_panes,
    ) == (1, 0, "$1:$4", "C5")


def test_an_existing_file_is_never_written_over(sheet: Sheet) -> None:
    before = sheet.path.read_bytes()
    with pytest.raises(SheetError, match="already"):
        write(sheet.job.folder, sheet.path)
    assert sheet.path.read_bytes() == before


def test_a_name_that_is_not_xlsx_is_refused(job: Job, tmp_path: Path) -> None:
    with pytest.raises(SheetError, match=r"\.xlsx"):
        write(job.folder, tmp_path / "sheet.csv")


def test_the_command_writes_reads_back_and_lists_what_is_refused(job: Job, tmp_path: Path) -> None:
    path = tmp_path / "sheet.xlsx"
    assert (
        CliRunner()
        .invoke(main, ["spreadsheet", str(job.folder), str(path)])
        .output.startswith(f"Entry sheet: {path}.")
    )
    book = openpyxl.load_workbook(path)
    tab = book["Lubrication"]
    row = next(r for r in range(1, tab.max_row) if tab.cell(r, 1).value == "field/sump_temperature")
    tab.cell(row, 3).value = "warm"
    book.save(path)
    result = CliRunner().invoke(
        main, ["enter", str(job.folder), str(path), "--who", "A. Technician"]
    )
    assert result.exit_code == 2
    first, second = result.stderr.splitlines()[:2]
    assert first.startswith("startkit: sheet.xlsx: 1 cell ") and "nothing was saved" in first
    assert second.startswith("  Lubrication!C")
    tab.cell(row, 3).value = "51"
    book.save(path)
    result = CliRunner().invoke(
        main, ["enter", str(job.folder), str(path), "--who", "A. Technician"]
    )
    assert (result.exit_code, result.output) == (0, f"1 entry saved in {job.folder}.\n")
