"""The command: quick help, one-line errors, exit status that tells."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from startkit.cli import main
from startkit.facts.job import Job

ROOT = Path(__file__).parents[1]
SHEET = ROOT / "workbook" / "plant" / "machines" / "CH-1.toml"
HEAVY = (
    "pint",
    "pandas",
    "numpy",
    "CoolProp",
    "matplotlib",
    "typst",
    "papermill",
    "nbconvert",
    "pydantic",
    "scipy",
    "IPython",
)


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, [str(a) for a in arguments])


@pytest.fixture
def job(tmp_path: Path) -> Path:
    assert run("new", tmp_path / "J", "--sheet", SHEET, "--who", "Ana").exit_code == 0
    return tmp_path / "J"


def test_help_imports_nothing_heavy() -> None:
    code = f"import sys, startkit.cli; print([m for m in {HEAVY!r} if m in sys.modules])"
    assert (
        subprocess.run(
            [sys.executable, "-c", code], capture_output=True, text=True, check=True
        ).stdout.strip()
        == "[]"
    )


def test_every_command_explains_itself() -> None:
    silent = [name for name, command in main.commands.items() if not command.help]
    assert silent + [name for name in main.commands if run(name, "--help").exit_code != 0] == []


def test_a_new_job_says_how_to_open_it(tmp_path: Path) -> None:
    result = run("new", tmp_path / "J", "--sheet", SHEET)
    assert result.exit_code == 0 and "startkit open" in result.output


def test_a_wrong_sheet_is_one_line_and_status_2(tmp_path: Path) -> None:
    sheet = tmp_path / "s.toml"
    sheet.write_text("[machine]\ntag = 5\n", encoding="utf-8")
    result = run("new", tmp_path / "J", "--sheet", sheet)
    assert result.exit_code == 2
    assert result.stderr.startswith("startkit: s.toml, line") and result.stderr.count("\n") == 1


def test_an_unknown_template_names_the_known_ones(tmp_path: Path) -> None:
    result = run("new", tmp_path / "J", "--sheet", SHEET, "--template", "old-machine")
    assert result.exit_code == 2 and "new-machine" in result.stderr


def test_misuse_of_options_is_status_2() -> None:
    assert run("new").exit_code == 2 and run("nonsense").exit_code == 2


def test_a_job_that_is_not_clear_is_status_1(job: Path) -> None:
    result = run("status", job)
    assert result.exit_code == 1
    assert "NOT CLEAR TO TURN THE SHAFT" in result.output and "Next:" in result.output


def test_readings_are_entered_from_a_file(job: Path, tmp_path: Path) -> None:
    file = tmp_path / "readings.csv"
    file.write_text(
        "item,value,unit,instrument\nsetup.instruments.1.tag,T1,,\n"
        'lube.sump_temperature,"51,5",°C,T1\nvanes.strokes.1.direction,opening,,\n',
        encoding="utf-8",
    )
    result = run("enter", job, file, "--who", "Ben")
    assert result.exit_code == 0 and result.output.startswith("3 entries saved")
    entry = Job(job).state().latest["lube.sump_temperature"]
    assert (entry.value, entry.unit, entry.who, entry.instrument) == ("51,5", "°C", "Ben", "T1")


def test_an_instrument_that_is_not_on_the_job_is_refused_with_the_nearest(
    job: Path, tmp_path: Path
) -> None:
    file = tmp_path / "readings.csv"
    head = "item,value,unit,instrument\nsetup.instruments.1.tag,TW-1,,\n"
    file.write_text(f"{head}lube.sump_temperature,51,°C,TW-11\n", encoding="utf-8")
    before = len(Job(job).state().entries)
    told = run("enter", job, file, "--who", "Ben")
    assert told.exit_code == 2 and "'TW-11'" in told.stderr and "nearest is 'TW-1'" in told.stderr
    assert len(Job(job).state().entries) == before
    series = tmp_path / "oil.csv"
    series.write_text("time (s),supply,sump,differential (kPa),speed\n0,,,0,\n", encoding="utf-8")
    named = ("--series", "lube.pre_lube", "--instrument", "PO-S", "--who", "Ben")
    told = run("enter", job, series, *named)
    assert told.exit_code == 2 and "no instrument 'PO-S'" in told.stderr


def test_semicolons_and_a_byte_order_mark_are_read_as_well(job: Path, tmp_path: Path) -> None:
    file = tmp_path / "readings.csv"
    file.write_text(
        "\ufeffitem;value;unit;who\nlube.sump_temperature;51,5;°C;Ben\n", encoding="utf-8"
    )
    assert run("enter", job, file).exit_code == 0


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("lube.sump,51,°C,Ben", "line 2: 'lube.sump': the stage lube asks for no 'sump'"),
        ("oil.sump,51,°C,Ben", "there is no stage 'oil'"),
        ("vanes.strokes.1,51,,Ben", "name row and column"),
        ("lube.sump_temperature,51,°C,", "no person is named"),
        (",51,°C,Ben", "no item"),
    ],
)
def test_a_line_that_cannot_be_entered_is_named_and_nothing_is_saved(
    job: Path, tmp_path: Path, row: str, said: str
) -> None:
    file = tmp_path / "readings.csv"
    file.write_text(f"item,value,unit,who\n{row}\nlube.filter_drop,12,kPa,Ben\n", encoding="utf-8")
    before = len(Job(job).state().entries)
    result = run("enter", job, file)
    assert result.exit_code == 2 and said in result.stderr
    assert len(Job(job).state().entries) == before


def test_a_file_without_its_head_says_what_to_write(job: Path, tmp_path: Path) -> None:
    file = tmp_path / "readings.csv"
    file.write_text("a,b\n1,2\n", encoding="utf-8")
    assert "must name the columns item and value" in run("enter", job, file).stderr


def test_a_long_series_is_entered_from_a_file(job: Path, tmp_path: Path) -> None:
    file = tmp_path / "oil.csv"
    file.write_text(
        "time (s),supply,sump,differential (kPa),speed\n0,,,0,\n5,,,170,\n", encoding="utf-8"
    )
    assert run("enter", job, file, "--series", "lube.pre_lube", "--who", "Ben").exit_code == 0
    assert Job(job).state().latest["lube.pre_lube"].value.splitlines()[2] == "5\t\t\t170"


def test_a_series_for_a_single_field_is_refused(job: Path, tmp_path: Path) -> None:
    assert (
        "does not take a series"
        in run(
            "enter", job, tmp_path / "x.csv", "--series", "lube.filter_drop", "--who", "Ben"
        ).stderr
    )


def test_items_lists_what_can_be_entered(job: Path) -> None:
    listed = run("items", job).output
    assert "lube.sump_temperature" in listed and "vanes.strokes.1.direction" in listed


def test_limits_are_listed_with_their_source() -> None:
    listed = run("limits", "--sheet", SHEET).output
    assert (
        "vanes.switch_distance" in listed
        and "machine sheet" in listed
        and "check against the standard" in listed
    )


def test_a_blank_sheet_is_written_once(tmp_path: Path) -> None:
    assert run("sheet", tmp_path / "s.toml").exit_code == 0
    assert run("sheet", tmp_path / "s.toml").exit_code == 2


def test_a_folder_that_is_no_job_is_one_line(tmp_path: Path) -> None:
    result = run("status", tmp_path)
    assert result.exit_code == 2 and result.stderr.count("\n") == 1


def test_jupyterlab_is_bound_to_this_computer_and_opens_the_notebook(job: Path) -> None:
    from startkit.desk.lab import arguments

    command = arguments(Job(job), browser=False, port=9999)
    assert (
        "--ServerApp.ip=127.0.0.1" in command
        and "--LabApp.default_url=/doc/tree/new-machine.ipynb" in command
    )
    assert not any("token" in part for part in command)


def test_the_state_of_a_job_is_given_to_a_script(job: Path) -> None:
    result = run("status", job, "--json")
    found = json.loads(result.output)
    assert result.exit_code == 1 and found["clear"] is False
    assert {"stages", "verdicts", "holds", "early", "back_dated", "problems"} <= set(found)
    verdict = found["verdicts"][0]
    assert {"key", "outcome", "sentence", "before"} <= set(verdict)
    assert [h["hold"] for h in found["holds"]] == ["oil_pump", "turn_shaft", "load", "hand_over"]
    assert {h["state"] for h in found["holds"]} == {"not clear"}
    assert all(h["released"] is None for h in found["holds"])


def test_a_hold_point_that_is_not_clear_cannot_be_released(job: Path) -> None:
    result = run("release", job, "oil_pump", "--who", "Ana")
    assert result.exit_code == 2 and "not clear" in result.stderr
    assert run("release", job, "lunch", "--who", "Ana").exit_code == 2
    assert "release.oil_pump" not in Job(job, read_only=True).state().latest
