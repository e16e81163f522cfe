"""The run of a fleet: prints every job. A fault stops only its own job; a killed run resumes."""

# `Any` here: a line of the run's own JSON file.
from __future__ import annotations

import json
import os
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from startkit.errors import JobError, PaperError, StartkitError
from startkit.facts import job_notebook
from startkit.facts.job import Job
from startkit.fleet import company_mark, record_stamp, workers
from startkit.fleet.folder import Fleet
from startkit.fleet.register_tables import several
from startkit.fleet.task import Task, carry_out
from startkit.fleet.workers import Outcome

LOG = "run.jsonl"  # in the fleet's records: what the last run was asked, and each job it finished


@dataclass(frozen=True)
class Done:
    """What happened to one job: the record's file, or one sentence on why there is none."""

    job: str
    record: str = ""
    fault: str = ""
    seconds: float = 0.0


class Run:
    """One run over a fleet.

    Parameters
    ----------
    fleet : Fleet
    names : tuple of str
        Jobs by their folders' names; empty: all.
    changed : bool
        Only jobs whose entries, files, layout or version changed since their record was made.
    processes : int
        At a time; 0: one for each core.
    scheduler : str
        Address of a Dask scheduler; empty: this computer.
    form : str
        ``"full"`` or ``"short"``.

    Attributes
    ----------
    tasks : tuple of Task
        What there is to do.
    unchanged : tuple of str
        Jobs that need nothing.
    resumed : str
        When the interrupted run that this one resumes began; empty: this is a new run.
    """

    def __init__(
        self,
        fleet: Fleet,
        names: tuple[str, ...] = (),
        changed: bool = False,
        processes: int = 0,
        scheduler: str = "",
        form: str = "full",
    ) -> None:
        self.fleet, self.changed, self.processes, self.scheduler, self.form = (
            fleet,
            changed,
            processes,
            scheduler,
            form,
        )
        chosen = _chosen(fleet, names)
        for folder in chosen:
            # A folder that cannot be written is reported when its record cannot be written either.
            with suppress(PaperError, OSError):
                company_mark.bring(fleet, folder)
        every = tuple(Task(folder, fleet.paper, form, fleet.company) for folder in chosen)
        self._asked = {
            "jobs": [task.name for task in every],
            "changed": changed,
            "form": form,
            "paper": fleet.paper,
            "company": fleet.company,
        }
        self._log = _Log(fleet.records / LOG)
        self.resumed, finished = self._log.unfinished(self._asked)
        self.tasks = tuple(
            task for task in every if not (task.name in finished or changed) or not _current(task)
        )
        self.unchanged = tuple(task.name for task in every if task not in self.tasks)

    def warnings(self) -> list[str]:
        """One sentence for each job to run whose notebook is not that of its template."""
        found = []
        for task in self.tasks:
            with suppress(StartkitError):  # the run will report why the job cannot be opened
                found.append(job_notebook.warning(Job(task.folder, read_only=True)))
        return [sentence for sentence in found if sentence]

    def outcomes(self) -> Iterator[Done]:
        """Carry out the tasks; each job's outcome as it comes."""
        if not self.resumed:
            self._log.begin(self._asked)
        for outcome in self._done():
            done = _done_of(self.tasks[outcome.number], outcome)
            self._log.add(done)
            yield done
        self._log.end()

    def _done(self) -> Iterator[Outcome]:
        if self.scheduler:
            from startkit.fleet import scheduler

            return scheduler.each(self.scheduler, self.tasks)
        return workers.each(carry_out, self.tasks, self.processes)


def _chosen(fleet: Fleet, names: tuple[str, ...]) -> list[Path]:
    jobs = fleet.jobs()
    unknown = [name for name in names if name not in {job.name for job in jobs}]
    if unknown:
        raise JobError(
            f"there is no job {unknown[0]!r} in this fleet",
            "fleet run",
            f"its jobs are {', '.join(job.name for job in jobs[:20]) or 'none'}",
        )
    if not jobs:
        raise JobError(
            "there is no job in this fleet",
            str(fleet.jobs_folder),
            "make jobs with `startkit fleet new`",
        )
    return [job for job in jobs if not names or job.name in names]


def _current(task: Task) -> bool:
    """A job whose journal cannot be read is not current: the run will report why."""
    try:
        return record_stamp.is_current(task.folder, task.layout)
    except StartkitError:
        return False


def _done_of(task: Task, outcome: Outcome) -> Done:
    record = (
        next((name for name in outcome.result.files if name.endswith(".pdf")), "")
        if outcome.result
        else ""
    )
    return Done(task.name, record, outcome.fault, outcome.seconds)


class _Log:
    """What the run was asked and what it has finished, one line each, so that it can resume."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def unfinished(self, asked: dict[str, Any]) -> tuple[str, frozenset[str]]:
        """When an unfinished run with the same request began, and the jobs that it had finished."""
        lines = self._lines()
        if not lines or lines[0].get("asked") != asked or any("ended" in line for line in lines):
            return "", frozenset()
        return str(lines[0].get("began", "")), frozenset(
            line["job"] for line in lines[1:] if line.get("record")
        )

    def _lines(self) -> list[dict[str, Any]]:
        lines = []
        with suppress(OSError):
            for text in self._path.read_text(encoding="utf-8").splitlines():
                with suppress(ValueError):  # the last line of a killed run may be truncated
                    lines.append(json.loads(text))
        return [line for line in lines if isinstance(line, dict)]

    def begin(self, asked: dict[str, Any]) -> None:
        self._path.parent.mkdir(parents=True, exist_ok=True)
        self._path.unlink(missing_ok=True)
        self._write({"began": _now(), "asked": asked})

    def add(self, done: Done) -> None:
        self._write(
            {
                "job": done.job,
                "record": done.record,
                "fault": done.fault,
                "seconds": round(done.seconds, 3),
                "at": _now(),
            }
        )

    def end(self) -> None:
        self._write({"ended": _now()})

    def _write(self, line: dict[str, Any]) -> None:
        try:
            with self._path.open("a", encoding="utf-8") as file:
                file.write(json.dumps(line, ensure_ascii=False) + "\n")
                file.flush()
                os.fsync(file.fileno())
        except OSError as error:
            raise JobError(
                f"the run's log cannot be written ({error.strerror})",
                str(self._path),
                "check the disk and the folder",
            ) from None


def _now() -> str:
    return datetime.now().astimezone().isoformat(timespec="seconds")


def summary(done: list[Done], unchanged: tuple[str, ...]) -> list[str]:
    """Lines on the result: how many jobs, and each failure with its reason."""
    failed = [each for each in done if each.fault]
    lines = [
        f"{len(done) - len(failed)} of {several(len(done), 'job', 'jobs')} printed"
        + (f", {len(unchanged)} unchanged" if unchanged else "")
        + "."
    ]
    return lines + [
        f"  {each.job}: {each.fault}" for each in sorted(failed, key=lambda each: each.job)
    ]
