"""The harness of what is promised: killed, fuzzed and tampered with at length, its figures written
to workbook/proof/trust.md.

Run:  python benchmarks/trust.py            some half an hour
      python benchmarks/trust.py --nightly  100,000 inputs for each reader: hours
"""

from __future__ import annotations

import os
import platform
import sys
from dataclasses import replace
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
if str(ROOT) not in sys.path:
    sys.path.insert(0, str(ROOT))

from benchmarks.all import (
    BENCHMARKS,
    Line,
    measured,
)

PAGE = ROOT / "workbook" / "proof" / "trust.md"
LONGEST = 24 * 3600.0  # s
RUNS = {
    "killed": ("1000",),
    "power_cut": ("200",),
    "killed_files": ("10",),
    "tampering": ("--write",),
    "fuzz": ("2000",),
}
NIGHTLY = {**RUNS, "killed_files": ("40",), "fuzz": ("100000",)}
HEAD = """# What was tried, and the result

Figures of the last full run of each harness, on {where}.
`python benchmarks/trust.py` runs them all.
[DEVELOPERS.md](../../DEVELOPERS.md#promises) lists the promises and the test of each;
reduced forms of these runs are part of `make test`.

| what was tried | result | s | command |
|---|---|---|---|
"""


def page(lines: list[Line]) -> str:
    """The page with one row for each run."""
    where = (
        f"{platform.system()} {platform.machine()}, {os.cpu_count()} cores, Python"
        f" {platform.python_version()}"
    )
    return HEAD.format(where=where) + "".join(
        f"| {line.about} | {line.shown} | {line.seconds:.0f} | `{line.command}` |\n"
        for line in lines
    )


def main(options: list[str]) -> int:
    """Run them all, tell each as it is done, write the page."""
    runs = NIGHTLY if "--nightly" in options else RUNS
    lines = []
    for name, arguments in runs.items():
        benchmark = next(b for b in BENCHMARKS if b.name == name)
        lines.append(
            measured(replace(benchmark, reduced=arguments, full=" ".join(arguments)), LONGEST)
        )
        print(f"{lines[-1].about}: {lines[-1].shown} ({lines[-1].seconds:.0f} s)", flush=True)
    PAGE.write_text(page(lines), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
