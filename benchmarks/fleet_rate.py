"""Jobs to records: stock papermill and nbconvert's webpdf one job after another, against the fleet
run on the same jobs.

Run:  python benchmarks/fleet_rate.py [--sizes 10 50] [--stock 3]

The jobs are copies of the demonstration's three in turn: one complete, two just begun. Printed are
seconds a job of both ways,
their ratio, how the fleet run grows with the number of jobs, and the largest memory of a worker.
The stock way is measured
before and after the largest fleet run, for a computer that is shared does not run at one speed.
"""

from __future__ import annotations

import argparse
import os
import re
import resource
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))

from startkit.facts.job import Job
from startkit.fleet import workers
from startkit.fleet.task import Task, carry_out

CHROMIUM = (
    shutil.which("chromium")
    or shutil.which("chromium-browser")
    or shutil.which("google-chrome")
    or ""
)
_LAUNCH = (
    "from playwright.sync_api import sync_playwright as s\nwith s() as p:\n   "
    " p.chromium.launch(args=['--no-sandbox']).close()"
)


def filled(task: Task) -> float:
    """One task in a worker; its processor time [s]."""
    carry_out(task)
    return time.process_time()


def weighed(task: Task) -> tuple[float, float]:
    """One task in a worker, watched: the largest memory of its process [MB], shared pages counted
    by its share, and counted whole.
    """
    seen, done = [0.0], threading.Event()

    def watch() -> None:
        while not done.wait(0.02):
            found = re.search(
                r"^Pss:\s+(\d+)", Path("/proc/self/smaps_rollup").read_text(), re.MULTILINE
            )
            seen.append(int(found.group(1)) / 1024 if found else 0.0)

    watcher = threading.Thread(target=watch)
    watcher.start()
    try:
        carry_out(task)
    finally:
        done.set()
        watcher.join()
    return max(seen), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def copies(folder: Path, jobs: list[Path], count: int) -> list[Path]:
    """`count` jobs, copies of `jobs` in turn."""
    made = [folder / f"J-{n:03d}" for n in range(count)]
    for n, target in enumerate(made):
        shutil.copytree(jobs[n % len(jobs)], target, ignore=shutil.ignore_patterns("records"))
    return made


def ours(jobs: list[Path], do: Callable[[Task], Any] = filled) -> tuple[float, list[Any]]:
    """Seconds for all jobs by the fleet run's workers, and what each worker told."""
    began = time.perf_counter()
    outcomes = list(workers.each(do, [Task(job) for job in jobs]))
    seconds = time.perf_counter() - began
    faults = [outcome.fault for outcome in outcomes if outcome.fault]
    assert not faults, faults[0]
    return seconds, [outcome.result for outcome in outcomes]


def stock(jobs: list[Path], surroundings: dict[str, str]) -> float:
    """Seconds for all jobs by papermill and nbconvert from the command line, one after another."""
    began = time.perf_counter()
    for job in jobs:
        notebook = Job(job, read_only=True).template.name
        bin_ = Path(sys.executable).parent
        run = [
            str(bin_ / "papermill"),
            notebook,
            "out.ipynb",
            "-p",
            "job",
            ".",
            "-p",
            "mode",
            "record",
            "--no-progress-bar",
            "--log-level",
            "ERROR",
        ]
        subprocess.run(run, cwd=job, check=True, capture_output=True)
        sandbox = (
            ["--WebPDFExporter.disable_sandbox=True"]
            if hasattr(os, "geteuid") and os.geteuid() == 0
            else []
        )
        to_pdf = [
            str(bin_ / "jupyter"),
            "nbconvert",
            "--to",
            "webpdf",
            *sandbox,
            "--log-level",
            "ERROR",
            "out.ipynb",
        ]
        subprocess.run(to_pdf, cwd=job, check=True, capture_output=True, env=surroundings)
        assert (job / "out.pdf").read_bytes().startswith(b"%PDF")
    return time.perf_counter() - began


@contextmanager
def browser() -> Iterator[dict[str, str]]:
    """Environment in which playwright uses this computer's Chromium."""
    with tempfile.TemporaryDirectory() as home:
        surroundings = {**os.environ, "PLAYWRIGHT_BROWSERS_PATH": home}
        tried = subprocess.run(
            [sys.executable, "-c", _LAUNCH],
            env=surroundings,
            capture_output=True,
            text=True,
            check=False,
        )
        missing = re.search(r"Executable doesn't exist at (\S+)", tried.stderr)
        if missing:
            place = Path(missing.group(1))
            place.parent.mkdir(parents=True)
            place.symlink_to(CHROMIUM)
        yield surroundings


def fleet_run(folder: Path, demo: list[Path], size: int) -> float:
    """Seconds a job of a fleet run of `size` jobs; told."""
    seconds, times = ours(copies(folder / f"ours-{size}", demo, size))
    print(
        f"fleet run, {size} jobs on {workers.usual_workers()} cores: {seconds:.1f} s,"
        f" {seconds / size:.2f} s a job, of it {sum(times) / size:.2f} s of a processor",
        flush=True,
    )
    return seconds / size


def stock_run(folder: Path, demo: list[Path], count: int, surroundings: dict[str, str]) -> float:
    """Seconds a job of the stock way; told."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    there = stock(copies(folder, demo, count), surroundings) / count
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    busy = (after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime) / count
    print(
        f"papermill and nbconvert --to webpdf, {count} jobs one after another: {there:.2f} s a job,"
        f" of it {busy:.2f} s of processors",
        flush=True,
    )
    return there


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument(
        "--sizes", type=int, nargs="+", default=[10, 50], help="numbers of jobs of the fleet run"
    )
    parser.add_argument(
        "--stock", type=int, default=3, help="jobs that are done the stock way as well; 0: none"
    )
    asked = parser.parse_args()
    from workbook.demo import build

    with tempfile.TemporaryDirectory() as scratch, browser() as surroundings:
        folder = Path(scratch)
        demo = sorted(build(folder / "demo").values())
        ours(
            copies(folder / "warm", demo, 1)
        )  # the process that the others are forked from is started once
        *smaller, largest = sorted(asked.sizes)
        for size in smaller:
            fleet_run(folder, demo, size)
        there = (
            [stock_run(folder / "before", demo, asked.stock, surroundings)]
            if asked.stock and CHROMIUM
            else []
        )
        each = fleet_run(folder, demo, largest)
        there += [stock_run(folder / "after", demo, asked.stock, surroundings)] if there else []
        if Path("/proc/self/smaps_rollup").is_file():
            memory = ours(copies(folder / "weighed", demo, len(demo)), weighed)[1]
            print(
                f"memory of a worker: at most {max(m for m, _ in memory):.0f} MB with its share of"
                f" what all share, {max(m for _, m in memory):.0f} MB with all of it"
            )
        if there:
            print(f"ratio: {sum(there) / len(there) / each:.1f}")
        elif asked.stock:
            print("no Chromium here: the stock way cannot be measured")
    return 0


if __name__ == "__main__":
    sys.exit(main())
