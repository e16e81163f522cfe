"""Every benchmark in a reduced form, in one table: what it shows, and the command that shows it in
full.

Run:  python benchmarks/all.py [name ...]      all, or those named; nothing passes or fails by time
"""

from __future__ import annotations

import os
import platform
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

HERE = Path(__file__).resolve().parent
LONGEST = 600.0  # s that one benchmark may take
SCRATCH = "SCRATCH"  # represents a temporary folder


@dataclass(frozen=True)
class Benchmark:
    """One file of this folder: what it is about, how it is run here and in full, and how its figure
    is read from what it prints.
    """

    name: str
    about: str
    reduced: tuple[str, ...]
    full: str
    read: Callable[[str], str]

    @property
    def file(self) -> Path:
        return HERE / f"{self.name}.py"

    @property
    def command(self) -> str:
        return f"python benchmarks/{self.name}.py {self.full}".strip()


def found(pattern: str, shown: str = "{}") -> Callable[[str], str]:
    """What a pattern first catches in the output, put into words."""

    def read(output: str) -> str:
        match = re.search(pattern, output, re.MULTILINE)
        return shown.format(*match.groups()) if match else ""

    return read


def slowest_target(output: str) -> str:
    """Inputs and faults over all targets of the fuzzing."""
    rows = re.findall(r"^(\S.*?) {2,}\S+ +(\d+) +\d+ +\S+ +\S+ +(\d+)$", output, re.MULTILINE)
    return (
        f"{sum(int(r[1]) for r in rows)} inputs over {len(rows)} readers,"
        f" {sum(int(r[2]) for r in rows)} faults"
        if rows
        else ""
    )


def faults_of_deeds(output: str) -> str:
    """Kills and faults over all deeds that write files."""
    rows = re.findall(r"^.+? +\d+ steps +(\d+) kills +(\d+) faults$", output, re.MULTILINE)
    return (
        f"{sum(int(kills) for kills, _ in rows)} kills of {len(rows)} deeds,"
        f" {sum(int(faults) for _, faults in rows)} faults"
        if rows
        else ""
    )


def intervals(output: str) -> str:
    """Lowest and highest share of intervals that hold the truth."""
    shares = [
        float(s) for s in re.findall(r"^\| [^|]+ \| (\d+(?:\.\d+)?) \| [+-]", output, re.MULTILINE)
    ]
    return (
        f"95 % intervals hold the truth in {min(shares):.0f} to {max(shares):.0f} % of runs"
        if shares
        else ""
    )


BENCHMARKS = (
    Benchmark(
        "help_time",
        "`startkit --help` beside a bare Python",
        (),
        "",
        found(r"ratio ([\d.]+)", "ratio {}"),
    ),
    Benchmark(
        "desk_latency",
        "edit to durable save and new card, 2,000 entries",
        ("3",),
        "15",
        found(r"median of all: ([\d.]+) ms", "{} ms"),
    ),
    Benchmark(
        "killed",
        "a writing process killed at random moments",
        ("60",),
        "1000",
        found(r"(\d+) kills.*?(\d+ lost, \d+ broken chains)", "{} kills: {}"),
    ),
    Benchmark(
        "killed_files",
        "what writes files killed before each step and at random moments",
        ("3",),
        "40",
        faults_of_deeds,
    ),
    Benchmark(
        "power_cut",
        "power cut at random moments while entries are written (ext4 on a loop device, root)",
        ("20",),
        "200",
        found(r"EXTRA: (\d+) cuts.*?(\d+ lost, \d+ broken chains)", "{} cuts: {}"),
    ),
    Benchmark(
        "trend_speed",
        "a day of 86,400 rows and 40 columns; its figures beside a scalar property loop",
        (),
        "--rows 86400 1000000 --write",
        found(r"\*\*([\d.]+)\*\*.*\| (\d+) \|$", "{0} s together, ratio {1}"),
    ),
    Benchmark(
        "coverage",
        "load-up: how often an interval holds the truth",
        ("--runs", "40"),
        "--runs 500 --write",
        intervals,
    ),
    Benchmark(
        "vane_diagnosis",
        "vane diagnosis on simulated faults, smallest noise",
        ("--runs", "6"),
        "--write",
        found(
            r"^(Right [\d.]+ %.*?), undecided ([\d.]+ %), wrong ([\d.]+ %)",
            "{0}, undecided {1}, wrong {2}",
        ),
    ),
    Benchmark(
        "wrong_readings",
        "wrong readings that some verdict notices",
        ("--share", "0.002"),
        "--write",
        found(r"of them count: (\d+) of (\d+) \(([\d.]+ %)\)", "{2} of {1} noticed"),
    ),
    Benchmark(
        "honest_machines",
        "honest machines that are called wrong",
        ("--machines", "2"),
        "--machines 500 --write",
        found(r"^\| clear to hand over \| (\d+) \| ([\d.]+ %)", "{0} false fails, {1}"),
    ),
    Benchmark(
        "pulldown_risk",
        "chance of a trip beside simulated pull-downs",
        ("--runs", "200", "--trends", "12", "--target", f"{SCRATCH}/risk.md"),
        "",
        found(r"interval held in (\d+) of 100 trends", "90 % interval holds in {} of 100"),
    ),
    Benchmark(
        "record_speed",
        "executed notebook to PDF beside nbconvert's webpdf",
        ("--runs", "1"),
        "--runs 3",
        found(r"ratio:? ([\d.]+)", "ratio {}"),
    ),
    Benchmark(
        "fleet_rate",
        "jobs to records beside papermill and webpdf one after another",
        ("--sizes", "6", "--stock", "1"),
        "--sizes 10 50 --stock 3",
        found(r"ratio: ([\d.]+)", "ratio {}"),
    ),
    Benchmark(
        "tampering",
        "a record tampered with after it was signed, or forged before; honest ones",
        ("--flips", "20"),
        "--write",
        found(r"caught (\d+ of \d+); honest (\d+ of \d+)", "caught {}; honest records valid {}"),
    ),
    Benchmark("fuzz", "every reader fed with broken input", ("300",), "100000", slowest_target),
)


@dataclass(frozen=True)
class Line:
    """One line of the table."""

    name: str
    about: str
    shown: str
    seconds: float
    command: str


def measured(benchmark: Benchmark, longest: float = LONGEST) -> Line:
    """Run one for at most `longest` [s]; a benchmark that is not there, fails or prints no figure
    says so.
    """
    begin = time.monotonic()
    shown = (
        _shown(benchmark, longest)
        if benchmark.file.is_file()
        else "missing: there is no such benchmark yet"
    )
    return Line(benchmark.name, benchmark.about, shown, time.monotonic() - begin, benchmark.command)


def _shown(benchmark: Benchmark, longest: float) -> str:
    with tempfile.TemporaryDirectory() as scratch:
        command = [
            sys.executable,
            str(benchmark.file),
            *(part.replace(SCRATCH, scratch) for part in benchmark.reduced),
        ]
        try:
            done = subprocess.run(
                command,
                cwd=HERE.parent,
                capture_output=True,
                text=True,
                check=False,
                timeout=longest,
            )
        except subprocess.TimeoutExpired:
            return f"no figure after {longest:.0f} s"
    figure = benchmark.read(done.stdout)
    said = (done.stderr or done.stdout).strip().splitlines()
    return figure or f"no figure: {said[-1][:100] if said else 'it printed nothing'}"


def unlisted() -> list[str]:
    """Benchmarks of this folder that the table does not know."""
    known = {benchmark.name for benchmark in BENCHMARKS}
    return sorted(
        path.stem
        for path in HERE.glob("*.py")
        if path.stem not in known | {"__init__", "all", "trust"}
        and 'if __name__ == "__main__"' in path.read_text(encoding="utf-8")
    )


def table(lines: Iterator[Line]) -> Iterator[str]:
    """Lines of the table, each as soon as it is there."""
    yield (
        f"{platform.system()} {platform.machine()}, {os.cpu_count()} cores, Python"
        f" {platform.python_version()}; reduced runs. The command is that of the full run."
    )
    for line in lines:
        yield (
            f"{line.name:15} {line.about}\n{'':15} {line.shown}   ({line.seconds:.0f} s)\n{'':15}"
            f" {line.command}"
        )


def main(names: list[str]) -> int:
    """Print the table for all benchmarks, or for those named."""
    unknown = sorted(set(names) - {benchmark.name for benchmark in BENCHMARKS})
    if unknown:
        print(
            f"no benchmark is called {', '.join(unknown)}; there are"
            f" {', '.join(b.name for b in BENCHMARKS)}",
            file=sys.stderr,
        )
        return 2
    chosen = [benchmark for benchmark in BENCHMARKS if not names or benchmark.name in names]
    for text in table(measured(benchmark) for benchmark in chosen):
        print(text, flush=True)
    for name in unlisted():
        print(f"not in this table: benchmarks/{name}.py")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
