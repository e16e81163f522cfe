"""Without a command: where you are and what is next. The doctor: whether this computer is ready,
each fault with its remedy.
"""

from __future__ import annotations

import sqlite3
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace

import pytest
from click.testing import CliRunner, Result

from startkit.cli import main
from startkit.facts.job import Job
from startkit.facts.worked_examples import examples
from startkit.paper import doctor

SHEET = Path(__file__).parents[1] / "workbook" / "plant" / "machines" / "CH-1.toml"


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, [str(a) for a in arguments])


@pytest.fixture
def job(tmp_path: Path) -> Path:
    assert run("new", tmp_path / "jobs" / "CH-1", "--sheet", SHEET, "--who", "Ana").exit_code == 0
    return tmp_path / "jobs" / "CH-1"


# --- where you are --------------------------------------------------------------------------------


def test_elsewhere_the_three_commands_to_begin_are_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    result = run()
    assert result.exit_code == 0
    for command in ("startkit sheet", "startkit new", "startkit open", "startkit doctor"):
        assert command in result.output


def test_the_commands_to_begin_are_commands() -> None:
    from startkit.fleet.location import BEGIN

    for line in BEGIN[1:4]:
        assert line.split()[1] in main.commands


def test_jobs_below_are_named_with_the_command_that_tells_of_them(
    job: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(job.parents[1])
    assert "startkit status jobs/CH-1" in run().output


@pytest.mark.parametrize("below", ["", "records"])
def test_in_a_job_its_state_and_what_is_next_are_said(
    job: Path, monkeypatch: pytest.MonkeyPatch, below: str
) -> None:
    (job / below).mkdir(exist_ok=True)
    monkeypatch.chdir(job / below)
    result = run()
    assert result.exit_code == 1, "nothing is proven yet"
    assert result.output.startswith("You are in the job CH-1")
    assert "NOT CLEAR TO TURN THE SHAFT" in result.output and "\nNext: " in result.output


def test_in_a_fleet_every_job_has_its_line(job: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    fleet = job.parents[1]
    (fleet / "fleet.toml").write_text('[fleet]\nname = "Harbour"\n', encoding="utf-8")
    (fleet / "jobs" / "CH-2").mkdir()
    (fleet / "jobs" / "CH-2" / "job.db").write_bytes(b"no database")
    monkeypatch.chdir(fleet)
    result = run()
    assert result.exit_code == 1
    assert "Harbour: 2 jobs, 0 clear" in result.output
    assert "NOT CLEAR" in next(line for line in result.output.splitlines() if "CH-1" in line)
    assert (
        next(line for line in result.output.splitlines() if "CH-2" in line).lstrip().startswith("✗")
    )


def test_a_damaged_job_is_one_line_and_misuse(job: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (job / "machine.toml").write_text("[machine\n", encoding="utf-8")
    monkeypatch.chdir(job)
    result = run()
    assert (
        result.exit_code == 2
        and result.stderr.startswith("startkit: ")
        and result.stderr.count("\n") == 1
    )


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_a_shell_is_given_its_completion(shell: str) -> None:
    result = CliRunner().invoke(
        main, env={"_STARTKIT_COMPLETE": f"{shell}_source"}, prog_name="startkit"
    )
    if shell == "bash" and "Bash version" in result.output + result.stderr:
        pytest.skip("this computer's bash is too old or missing")
    assert "_STARTKIT_COMPLETE" in result.output


def test_commands_complete() -> None:
    result = CliRunner().invoke(
        main,
        env={"_STARTKIT_COMPLETE": "zsh_complete", "COMP_WORDS": "startkit fie", "COMP_CWORD": "1"},
        prog_name="startkit",
    )
    assert "field-sheet" in result.output


# --- the doctor -----------------------------------------------------------------------------------


def test_a_ready_computer_is_called_ready(tmp_path: Path) -> None:
    result = run("doctor", tmp_path)
    assert result.exit_code == 0, result.output
    assert result.output.rstrip().endswith("ready.")
    for name in (
        "versions",
        "fonts",
        "typesetter",
        "kernel",
        "write access",
        "clock",
        "language",
        "browser",
        "figures",
    ):
        assert f"✓ {name}" in result.output
    assert f"{len(examples())} of {len(examples())} worked examples" in result.output
    assert list(tmp_path.iterdir()) == [], "nothing is left behind"


def only(monkeypatch: pytest.MonkeyPatch, name: str, folder: Path) -> doctor.Examined:
    """The one look, the others taken as in order."""
    for other in (
        "_versions",
        "_fonts",
        "_typesetter",
        "_kernel",
        "_language",
        "_browser",
        "_figures",
    ):
        if other.removeprefix("_") != name:
            monkeypatch.setattr(doctor, other, lambda: ("", ""))
    return next(each for each in doctor.examine(folder) if each.name == name)


def test_a_folder_that_is_not_there_cannot_be_written(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    found = only(monkeypatch, "write access", tmp_path / "none")
    assert not found.ok and str(tmp_path / "none") in found.found and "folder" in found.remedy


def test_a_disk_that_refuses_the_journal_is_told(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def full(path: Path) -> None:
        raise sqlite3.OperationalError("database or disk is full")

    monkeypatch.setattr(doctor.sqlite3, "connect", full)
    found = only(monkeypatch, "write access", tmp_path)
    assert not found.ok and "disk is full" in found.found


def test_little_room_is_told(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(doctor.shutil, "disk_usage", lambda folder: SimpleNamespace(free=499e6))
    assert only(monkeypatch, "write access", tmp_path).remedy.startswith("free some space")


def test_a_clock_before_the_last_entry_is_told(monkeypatch: pytest.MonkeyPatch, job: Path) -> None:
    monkeypatch.setattr(
        doctor, "_last_entry", lambda folder: datetime.now(UTC) + timedelta(hours=2)
    )
    found = only(monkeypatch, "clock", job)
    assert not found.ok and "last entry" in found.found


def test_the_last_entry_is_that_of_the_journal(job: Path) -> None:
    made = Job(job, read_only=True).state().entries[-1]
    assert doctor._last_entry(job) == datetime.fromisoformat(made.at)
    assert doctor._last_entry(job.parent) is None


def test_a_folder_whose_clock_is_away_is_told(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    import time

    away = time.time() + 3600
    monkeypatch.setattr(doctor.time, "time", lambda: away)
    found = only(monkeypatch, "clock", tmp_path)
    assert not found.ok and "3600 s away" in found.found


@pytest.mark.parametrize(
    ("need", "said"),
    [
        ("nothing-of-this-name>=1", "nothing-of-this-name is not installed"),
        ("pint>=99.1,<100", "pint is "),
        ("pint>=0.1,<0.2", "pint is "),
        ('nothing-of-this-name; extra == "test"', ""),
        ("pint>=0.20", ""),
        ("click", ""),
        ("CoolProp>=8,<9", ""),
    ],
)
def test_a_package_that_is_missing_too_old_or_too_new_is_named(need: str, said: str) -> None:
    found = doctor._lacking(need)
    assert found.startswith(said) and bool(found) is bool(said)


def test_signs_that_cannot_be_written_are_told(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(doctor.sys, "getfilesystemencoding", lambda: "ascii")
    found = only(monkeypatch, "language", tmp_path)
    assert not found.ok and "files: ascii" in found.found and "PYTHONUTF8" in found.remedy


def test_a_figure_that_no_longer_agrees_is_told_by_its_name(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    from startkit.facts import worked_examples

    worked = worked_examples.rework
    monkeypatch.setattr(
        worked_examples,
        "rework",
        lambda example: (
            worked_examples.Reworked(example, None, "gone")
            if "44 °F" in example.title
            else worked(example)
        ),
    )
    found = only(monkeypatch, "figures", tmp_path)
    assert not found.ok and "1000 gpm from 54 to 44 °F" in found.found


def test_one_look_that_breaks_does_not_hide_the_others(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def broken() -> tuple[str, str]:
        raise RuntimeError("no such library\nand more")

    monkeypatch.setattr(doctor, "_typesetter", broken)
    found = {each.name: each for each in doctor.examine(tmp_path)}
    assert (
        found["typesetter"].found == "RuntimeError: no such library" and not found["typesetter"].ok
    )
    assert found["kernel"].ok and found["figures"].ok
    assert "1 of 9" in doctor.told(tuple(found.values()))[-1]
