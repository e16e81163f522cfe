"""Make the README's pictures and the example from the real thing: the demonstration's notebook in
Chromium, its record's first page.

Run:  python workbook/pictures.py   (needs Chromium and the extra `test`)
"""

from __future__ import annotations

import re
import shutil
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
if str(ROOT) not in sys.path:
    sys.path.insert(0, str(ROOT))

from tests.browser.conftest import (
    FLAGS,
    READY,
    RUN_ALL,
    Lab,
    chromium,
)
from workbook.demo import WHOLE, build

STYLE = re.compile(r"<style>.*?</style>", re.DOTALL)
PICTURES = ROOT / "workbook" / "pictures"


def notebook_picture(job: Path, target: Path, scroll_to: str = "") -> Path:
    """The job's notebook in JupyterLab at 1280x800 after Run All, as a PNG."""
    from playwright.sync_api import sync_playwright

    with tempfile.TemporaryDirectory() as home, sync_playwright() as running:
        lab = Lab(Path(home))
        shutil.copytree(job, lab.root / job.name)
        lab.start()
        browser = running.chromium.launch(executable_path=chromium(), args=FLAGS)
        try:
            page = browser.new_page(viewport={"width": 1280, "height": 800})
            page.goto(lab.address(next((lab.root / job.name).glob("*.ipynb"))))
            page.evaluate(READY)
            page.evaluate("() => jupyterapp.shell.collapseLeft()")
            page.evaluate(RUN_ALL)
            page.wait_for_timeout(2500)
            (
                page.get_by_text(scroll_to or "State of the job").first.scroll_into_view_if_needed()
                if scroll_to
                else page.evaluate(
                    "() => document.querySelector('.jp-WindowedPanel-outer').scrollTo(0, 0)"
                )
            )
            page.wait_for_timeout(800)
            page.screenshot(path=str(target))
        finally:
            browser.close()
            lab.stop()
    return target


def record_picture(job: Path, target: Path) -> Path:
    """The first page of the job's record, as a PNG, drawn by the browser's own PDF viewer's engine
    or poppler.
    """
    import subprocess

    from startkit.paper.printing.export import export

    record = export(job)
    subprocess.run(
        [
            "pdftoppm",
            "-r",
            "80",
            "-f",
            "1",
            "-l",
            "1",
            "-singlefile",
            "-png",
            str(record),
            str(target.with_suffix("")),
        ],
        check=True,
        stderr=subprocess.DEVNULL,
    )
    return target


def example(executed: Path, target: Path) -> Path:
    """The executed notebook to read: what each cell shows as HTML, with one style for all, without
    the data of the record.
    """
    import nbformat

    notebook = nbformat.read(executed, as_version=4)
    seen = False
    for cell in notebook.cells:
        shown = [
            output for output in cell.get("outputs", []) if "text/html" in output.get("data", {})
        ]
        for output in shown:
            html = output["data"]["text/html"]
            output["data"] = {"text/html": STYLE.sub("", html) if seen else html}
            seen = True
        if cell.cell_type == "code":
            cell.outputs, cell.execution_count = shown, None
            cell.metadata.pop("papermill", None)
    notebook.metadata.pop("papermill", None)
    nbformat.write(notebook, target)
    return target


def main() -> None:
    """Both pictures and the example, anew."""
    PICTURES.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        jobs = build(Path(folder) / "demo")
        print(record_picture(jobs[WHOLE], PICTURES / "record.png"))
        print(
            example(jobs[WHOLE] / "records" / f"{WHOLE}.ipynb", ROOT / "workbook" / "example.ipynb")
        )
        print(notebook_picture(jobs[WHOLE], PICTURES / "notebook.png"))


if __name__ == "__main__":
    main()
