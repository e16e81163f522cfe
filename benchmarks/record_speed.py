"""Seconds from a job's folder to its record, and to its verification; beside nbconvert's webpdf on
the same notebook.

Run:  python benchmarks/record_speed.py [--runs 3]

Cold is a command of its own, `startkit print`; warm is a process that has printed before. The
demonstration job CH-1 is printed. webpdf needs
playwright and a Chromium; where they are lacking the ratio is left out.
"""

from __future__ import annotations

import argparse
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
if str(ROOT) not in sys.path:
    sys.path.insert(0, str(ROOT))


def seconds(action: Callable[[], object], runs: int) -> float:
    """Median duration."""
    spent = []
    for _ in range(runs):
        begin = time.perf_counter()
        action()
        spent.append(time.perf_counter() - begin)
    return statistics.median(spent)


def additions() -> None:
    """A measure of the machine itself, which may be shared and change its speed within the hour."""
    total = 0
    for number in range(10_000_000):
        total += number


def command(*arguments: str | Path) -> Callable[[], object]:
    """A command of its own, quiet; its exit status says whether the job is clear, which is not the
    question here.
    """
    return lambda: subprocess.run(
        [sys.executable, "-m", *map(str, arguments)], cwd=ROOT, capture_output=True, check=False
    )


def warm(notebook: Path) -> Callable[[], object]:
    """The executed notebook to the record, in this process."""
    from startkit.paper.printing.exporter import RecordExporter

    return lambda: RecordExporter().from_filename(str(notebook))


def signed(record: Path, folder: Path) -> Path:
    """A copy of the record, signed by two throwaway identities."""
    from startkit.paper.signing import identity, seal

    copy = folder / "signed.pdf"
    shutil.copyfile(record, copy)
    for role, name in (("technician", "Technician"), ("witness", "Witness")):
        seal.sign(seal.ready(copy, role), identity.new(name).signer(), for_another=True)
    return copy


def webpdf(notebook: Path, folder: Path) -> Callable[[], object] | None:
    """nbconvert's own PDF of the same executed notebook; None where it cannot be made."""
    chromium = (
        shutil.which("chromium")
        or shutil.which("chromium-browser")
        or shutil.which("google-chrome")
    )
    code = (
        "import sys, pathlib; from nbconvert.exporters import WebPDFExporter; from"
        " playwright.async_api import BrowserType; launch = BrowserType.launch; BrowserType.launch"
        " = lambda self, **kw: launch(self, **{**kw, 'executable_path': sys.argv[3], 'args':"
        " ['--no-sandbox']});"
        " pathlib.Path(sys.argv[2]).write_bytes(WebPDFExporter().from_filename(sys.argv[1])[0])"
    )
    target = folder / "web.pdf"
    run = [sys.executable, "-c", code, str(notebook), str(target), chromium or ""]
    if (
        not chromium
        or subprocess.run(run, capture_output=True, check=False).returncode
        or not target.is_file()
    ):
        return None
    return lambda: subprocess.run(run, capture_output=True, check=True)


def main(arguments: list[str]) -> int:
    """Build the demonstration, measure, print a table and the ratio."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--runs", type=int, default=3)
    runs = parser.parse_args(arguments).runs
    from startkit.paper.printing.export import export
    from workbook.demo import WHOLE, build

    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        job = build(folder / "demo")[WHOLE]
        record = export(job)
        notebook = record.parent / f"{WHOLE}.ipynb"
        again = warm(notebook)
        again()
        print_alone = [
            sys.executable,
            "-c",
            (
                "from startkit.paper.printing.exporter import RecordExporter;"
                f" RecordExporter().from_filename({str(notebook)!r})"
            ),
        ]
        web = webpdf(notebook, folder)
        rows = [
            (
                "job folder to record, cold: notebook run and printed (`startkit print`)",
                seconds(command("startkit.cli", "print", job), runs),
            ),
            (
                "executed notebook to record, cold",
                seconds(lambda: subprocess.run(print_alone, cwd=ROOT, check=True), runs),
            ),
            ("executed notebook to record, warm", seconds(again, runs)),
            (
                "signed record verified (`startkit verify`)",
                seconds(command("startkit.cli", "verify", signed(record, folder)), runs),
            ),
        ]
        rows += (
            [("the same executed notebook by nbconvert's webpdf, cold", seconds(web, runs))]
            if web
            else []
        )
        size = record.stat().st_size
    print(f"{os.cpu_count()} cores, median of {runs}; record of {WHOLE}: {size / 1e6:.2f} MB")
    print(
        "for comparison of machines: ten million additions in plain Python take"
        f" {seconds(additions, runs):.2f} s here\n"
    )
    print("\n".join(f"{spent:7.2f} s  {name}" for name, spent in rows))
    print(
        f"\nwebpdf to record, both cold, ratio: {rows[-1][1] / rows[1][1]:.2f}"
        if web
        else "\nno ratio: webpdf cannot be run here"
    )
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
