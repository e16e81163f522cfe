"""The run: one bad job stops no other, only what changed is done, and a killed run is taken up
again.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import nbformat
import pytest
from click.testing import CliRunner
from nbformat.v4 import new_code_cell

from startkit.cli import main
from startkit.errors import JobError
from startkit.facts.job import Job
from startkit.facts.journal import Entry
from startkit.fleet import record_stamp
from startkit.fleet.folder import Fleet
from startkit.fleet.run import LOG, Run, summary
from tests.fleet.conftest import WHO


def record_of(job: Path) -> Path:
    return job / "records" / f"{job.name}-commissioning-record.pdf"


def spoil(job: Path) -> None:
    """A cell that fails, at the end of the job's notebook."""
    path = Job(job).template
    notebook = nbformat.read(path, 4)
    notebook.cells.append(new_code_cell("1 / 0", id="bad"))
    nbformat.write(notebook, path)


def test_one_bad_job_stops_no_other_and_is_named_with_its_reason(
    make_fleet: Callable[..., Fleet],
) -> None:
    fleet = make_fleet(4)
    spoil(fleet.jobs()[1])
    fleet.jobs()[2].joinpath("machine.toml").write_text("[machine]\n", encoding="utf-8")
    run = Run(fleet)
    done = list(run.outcomes())
    assert {d.job for d in done if not d.fault} == {"CH-10", "CH-13"} and all(
        record_of(fleet.jobs()[n]).is_file() for n in (0, 3)
    )
    lines = summary(done, run.unchanged)
    assert lines[0].startswith("2 of 4 ")
    assert (
        lines[1].startswith("  CH-11: cell ") and "ZeroDivisionError: division by zero" in lines[1]
    )
    assert lines[2].startswith("  CH-12: machine.toml, line 1, ")


def test_only_what_changed_is_done_again(make_fleet: Callable[..., Fleet]) -> None:
    fleet = make_fleet(3)
    assert len(list(Run(fleet).outcomes())) == 3
    assert Run(fleet, changed=True).tasks == () and len(Run(fleet).tasks) == 3
    before = {job.name: record_of(job).stat().st_mtime_ns for job in fleet.jobs()}
    Job(fleet.jobs()[0]).record(Entry("setup.order_number", "A-7", who=WHO))
    (fleet.jobs()[1] / "specification.toml").write_text(
        '[limits]\n"lube.heater_time" = { low = "30 h", source = "letter" }\n', encoding="utf-8"
    )
    run = Run(fleet, changed=True)
    assert [task.name for task in run.tasks] == ["CH-10", "CH-11"] and run.unchanged == ("CH-12",)
    assert not [done.fault for done in run.outcomes() if done.fault]
    after = {job.name: record_of(job).stat().st_mtime_ns for job in fleet.jobs()}
    assert [name for name in after if after[name] != before[name]] == ["CH-10", "CH-11"]


@pytest.mark.parametrize(
    "how",
    ["entry", "template", "sheet", "check list", "large file", "version", "layout", "record gone"],
)
def test_whatever_may_change_the_record_makes_it_due(
    make_fleet: Callable[..., Fleet], monkeypatch: pytest.MonkeyPatch, how: str
) -> None:
    job = make_fleet(1).jobs()[0]
    (job / "trends").mkdir()
    (job / "trends" / "long.csv").write_bytes(b"0" * (record_stamp.LARGE + 1))
    record_of(job).parent.mkdir()
    record_of(job).write_bytes(b"%PDF")
    record_stamp.write(
        job, record_stamp.Stamp(record_stamp.digest_of(job), "", {record_of(job).name: "x"})
    )
    assert record_stamp.is_current(job)
    if how == "entry":
        Job(job).record(Entry("setup.order_number", "A-7", who=WHO))
    elif how == "template":
        spoil(job)
    elif how == "sheet":
        (job / "machine.toml").write_text(
            (job / "machine.toml").read_text(encoding="utf-8") + "\n# looked at\n", encoding="utf-8"
        )
    elif how == "check list":
        (job / "checklists").mkdir()
        (job / "checklists" / "own.toml").write_text("", encoding="utf-8")
    elif how == "large file":
        os.utime(job / "trends" / "long.csv", ns=(1, 1))
    elif how == "version":
        monkeypatch.setattr(record_stamp, "versions", lambda: ("startkit 9.9",))
    elif how == "record gone":
        record_of(job).unlink()
    assert not record_stamp.is_current(job, "us-letter|full|" if how == "layout" else "")


def test_a_stamp_that_cannot_be_read_makes_the_record_due(make_fleet: Callable[..., Fleet]) -> None:
    job = make_fleet(1).jobs()[0]
    (job / "records").mkdir()
    for text in ("", "{", "[]", '{"schema": "other"}', '{"schema": "startkit-made-1"}'):
        (job / "records" / record_stamp.STAMP).write_text(text, encoding="utf-8")
        assert record_stamp.read(job) is None and not record_stamp.is_current(job)


def test_a_killed_run_is_resumed_again_where_it_was(make_fleet: Callable[..., Fleet]) -> None:
    fleet = make_fleet(4)
    command = [
        sys.executable,
        "-m",
        "startkit.cli",
        "fleet",
        "run",
        str(fleet.folder),
        "--workers",
        "1",
    ]
    going = subprocess.Popen(
        command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True
    )
    log = fleet.records / LOG
    try:
        while not log.is_file() or '"job"' not in log.read_text(encoding="utf-8"):
            assert going.poll() is None, "it must not end before it is killed"
            time.sleep(0.02)
    finally:
        os.killpg(going.pid, signal.SIGKILL)
        going.wait()
    assert all(
        path.read_bytes().rstrip().endswith(b"%%EOF")
        for job in fleet.jobs()
        for path in (job / "records").glob("*.pdf")
    )
    log.write_text(
        log.read_text(encoding="utf-8") + '{"job": "CH-1', encoding="utf-8"
    )  # the line that it was at
    finished = {
        job.name: record_of(job).stat().st_mtime_ns
        for job in fleet.jobs()
        if record_stamp.is_current(job, Run(fleet).tasks[0].layout)
    }
    run = Run(fleet)
    assert run.resumed and 1 <= len(run.unchanged) < 4
    assert not [done.fault for done in run.outcomes() if done.fault]
    assert all(record_of(job).is_file() for job in fleet.jobs())
    assert all(
        record_of(fleet.jobs_folder / name).stat().st_mtime_ns == finished[name]
        for name in run.unchanged
    )
    assert Run(fleet).resumed == "" and len(Run(fleet).tasks) == 4


def test_another_run_than_the_killed_one_starts_anew(make_fleet: Callable[..., Fleet]) -> None:
    fleet = make_fleet(2)
    asked = Run(fleet)._asked
    fleet.records.mkdir(exist_ok=True)
    (fleet.records / LOG).write_text(
        json.dumps({"began": "2026-03-02T08:00:00+01:00", "asked": asked}) + "\n", encoding="utf-8"
    )
    assert (
        Run(fleet).resumed
        and not Run(fleet, form="short").resumed
        and not Run(fleet, names=("CH-10",)).resumed
    )


def test_the_command_says_what_became_of_each_and_its_status_tells(
    make_fleet: Callable[..., Fleet],
) -> None:
    fleet = make_fleet(1)
    result = CliRunner().invoke(main, ["fleet", "run", str(fleet.folder)])
    assert result.exit_code == 0 and result.output.strip().endswith("1 of 1 job printed.")
    spoil(fleet.jobs()[0])
    result = CliRunner().invoke(main, ["fleet", "run", str(fleet.folder), "--changed"])
    assert result.exit_code == 1 and "CH-10: cell " in result.output


def test_an_unknown_job_and_an_empty_fleet_are_one_sentence(
    make_fleet: Callable[..., Fleet],
) -> None:
    with pytest.raises(JobError, match=r"'CH-99' .*CH-10"):
        Run(make_fleet(1), names=("CH-99",))
    with pytest.raises(JobError, match="no job"):
        Run(Fleet(Path("nowhere"), "none"))
