"""More than one machine: a scheduler and two workers as processes of their own on loopback, one
killed in mid-run.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from startkit.errors import JobError
from startkit.fleet import job_bundle, scheduler
from startkit.fleet.folder import Fleet
from startkit.fleet.job_bundle import Reply
from startkit.fleet.run import LOG, Run
from startkit.fleet.task import Task

pytest.importorskip("distributed", reason='Dask is an extra: pip install "startkit[dask]"')
COUNT = 4


def started(module: str, *arguments: str, folder: Path) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-m", "dask", module, *arguments]
    surroundings = {**os.environ, "DASK_DISTRIBUTED__SCHEDULER__WORKER_TTL": "20s"}
    return subprocess.Popen(
        command,
        cwd=folder,
        env=surroundings,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[tuple[str, list[subprocess.Popen[bytes]]]]:
    """Address of a scheduler, and its two workers."""
    file = tmp_path / "scheduler.json"
    processes = [
        started(
            "scheduler",
            "--host",
            "127.0.0.1",
            "--port",
            "0",
            "--no-dashboard",
            "--scheduler-file",
            str(file),
            folder=tmp_path,
        )
    ]
    try:
        while not file.is_file() or not file.read_text():
            assert processes[0].poll() is None
            time.sleep(0.05)
        address = json.loads(file.read_text())["address"]
        workers = [
            started(
                "worker",
                address,
                "--host",
                "127.0.0.1",
                "--nthreads",
                "1",
                "--no-nanny",
                "--no-dashboard",
                "--name",
                name,
                folder=tmp_path,
            )
            for name in "ab"
        ]
        processes += workers
        from distributed import Client

        with Client(address, timeout=30, set_as_default=False) as client:
            client.wait_for_workers(2, timeout=60)
        yield address, workers
    finally:
        for process in processes:
            if process.poll() is None:
                os.killpg(process.pid, signal.SIGKILL)
            process.wait()


@pytest.mark.timeout(240)
def test_a_worker_killed_in_mid_run_loses_nothing_and_nothing_is_done_twice(
    make_fleet: Callable[..., Fleet], cluster
) -> None:
    address, workers = cluster
    fleet = make_fleet(COUNT)
    run = Run(fleet, scheduler=address)
    done = []
    for outcome in run.outcomes():
        if not done:
            workers[
                0
                # the other one is at work as well: each has a parcel in hand and one that waits
            ].kill()
            workers[0].wait()
        done.append(outcome)
    assert sorted(outcome.job for outcome in done) == [job.name for job in fleet.jobs()]
    assert not [outcome.fault for outcome in done if outcome.fault]
    assert all(
        (job / "records" / outcome.record).read_bytes().startswith(b"%PDF")
        for job, outcome in zip(fleet.jobs(), sorted(done, key=lambda o: o.job), strict=True)
    )
    logged = [json.loads(line) for line in (fleet.records / LOG).read_text().splitlines()]
    assert (
        sorted(line["job"] for line in logged if "job" in line)
        == [job.name for job in fleet.jobs()]
        and "ended" in logged[-1]
    )
    assert Run(fleet, changed=True).tasks == ()


def test_a_scheduler_that_does_not_answer_is_one_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(scheduler, "REACH", 0.5)
    with pytest.raises(JobError, match="scheduler"):
        list(scheduler.each("tcp://127.0.0.1:9", ()))


# --- parcels, without a cluster -------------------------------------------------------------------


def test_a_job_travels_as_bytes_and_its_record_comes_back_as_bytes(
    make_fleet: Callable[..., Fleet], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    fleet = make_fleet(1)
    folder = fleet.jobs()[0]
    sent = job_bundle.packed(Task(folder))
    hidden = folder.rename(tmp_path / "unplugged")  # whoever works on it sees no disk of ours
    reply = job_bundle.carried_out(sent)
    hidden.rename(folder)
    assert not reply.fault and sorted(reply.files) == [
        f"{folder.name}-commissioning-record.pdf",
        f"{folder.name}.ipynb",
    ]
    job_bundle.unpacked(sent, reply)
    assert (
        (folder / "records" / f"{folder.name}-commissioning-record.pdf")
        .read_bytes()
        .startswith(b"%PDF")
    )


def test_a_worker_with_another_version_is_refused(
    make_fleet: Callable[..., Fleet], monkeypatch: pytest.MonkeyPatch
) -> None:
    sent = job_bundle.packed(Task(make_fleet(1).jobs()[0]))
    monkeypatch.setattr(job_bundle, "__version__", "9.9")
    fault = job_bundle.carried_out(sent).fault
    assert "startkit 9.9" in fault and sent.version in fault and "same version" in fault


@pytest.mark.parametrize("name", ["../../evil.pdf", "/etc/evil", ".made.json", "a/b.pdf"])
def test_a_name_that_leads_elsewhere_is_refused(
    make_fleet: Callable[..., Fleet], name: str
) -> None:
    sent = job_bundle.packed(Task(make_fleet(1).jobs()[0]))
    with pytest.raises(JobError, match="is not the name of a record"):
        job_bundle.unpacked(sent, Reply({name: b"x"}))
