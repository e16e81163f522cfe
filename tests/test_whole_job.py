"""One job from end to end: sheet, notebook by papermill, verdicts, record."""

from __future__ import annotations

import io
import json
import shutil
import subprocess
import sys
from pathlib import Path

import nbformat
import pikepdf
import pypdf
import pytest
from click.testing import CliRunner

from startkit.cli import main
from startkit.errors import PaperError
from startkit.facts.job import Job, State
from startkit.paper.printing.export import export
from startkit.paper.printing.exporter import RecordExporter
from startkit.paper.printing.runs import run
from startkit.procedure import memory, registry
from startkit.procedure.assessment import Assessment

pytestmark = pytest.mark.xdist_group("demo")
PART = "application/vnd.startkit.part+json"


@pytest.fixture(scope="module")
def job(demo: Path) -> Path:
    return demo / "jobs" / "CH-1"


@pytest.fixture(scope="module")
def record(job: Path) -> Path:
    return job / "records" / "CH-1-commissioning-record.pdf"


@pytest.fixture(scope="module")
def text(record: Path) -> str:
    return "\n".join(page.extract_text() for page in pypdf.PdfReader(record).pages)


@pytest.fixture
def copy(job: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(job, tmp_path / "CH-1"))


@pytest.fixture(scope="module")
def again(job: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The job run and printed once more, elsewhere and in a kernel; the demonstration prints it
    without one, as `startkit print` does.
    """
    copied = Path(shutil.copytree(job, tmp_path_factory.mktemp("again") / "CH-1"))
    shutil.rmtree(copied / "records")
    export(copied)
    return copied


def parts(notebook: Path) -> list[dict]:
    cells = nbformat.read(notebook, as_version=4).cells
    return [
        o.data[PART]
        for c in cells
        if c.cell_type == "code"
        for o in c.outputs
        if PART in o.get("data", {})
    ]


def test_every_stage_of_the_template_is_in_the_executed_notebook(job: Path) -> None:
    asked = [
        c.source
        for c in nbformat.read(job / "new-machine.ipynb", as_version=4).cells
        if c.source.startswith("book.stage(")
    ]
    shown = [p["stage"] for p in parts(job / "records" / "CH-1.ipynb") if p["part"] == "stage"]
    assert shown and [f'book.stage("{name}")' for name in shown] == asked


def test_a_record_run_shows_no_widget(job: Path) -> None:
    for cell in nbformat.read(job / "records" / "CH-1.ipynb", as_version=4).cells:
        for output in cell.get("outputs", []):
            assert "application/vnd.jupyter.widget-view+json" not in output.get("data", {})


def test_no_path_of_the_machine_is_in_notebook_or_record(
    job: Path, record: Path, text: str
) -> None:
    written = (job / "records" / "CH-1.ipynb").read_text(encoding="utf-8")
    assert str(job) not in written and str(job) not in text
    assert str(Path.home()) not in written


def test_the_same_job_gives_the_same_bytes(again: Path, record: Path) -> None:
    assert (again / "records" / record.name).read_bytes() == record.read_bytes()


def test_an_unknown_parameter_is_an_error_not_a_warning(copy: Path) -> None:
    with pytest.raises(PaperError, match="is not a parameter"):
        run(copy, parameters={"jbo": "."})
    assert CliRunner().invoke(main, ["run", str(copy), "-p", "jbo", "."]).exit_code == 2


def test_nbval_finds_the_executed_notebook_reproducible_and_notices_one_changed_digit(
    copy: Path,
) -> None:
    notebook = json.loads((copy / "records" / "CH-1.ipynb").read_text(encoding="utf-8"))
    cell = next(c for c in notebook["cells"] if "".join(c["source"]) == 'book.stage("setup")')
    figure = cell["outputs"][0]["data"][PART]["figures"][0]
    figure["text"] = figure["text"].replace("1", "2", 1)
    (copy / "again.ipynb").write_text(json.dumps(notebook), encoding="utf-8")
    # The kernel starts beside the notebook, which is the job's folder.
    command = [
        sys.executable,
        "-m",
        "pytest",
        "-q",
        "--nbval",
        "again.ipynb",
        "-p",
        "no:cacheprovider",
        "-p",
        "no:xdist",
        "--rootdir",
        ".",
    ]
    done = subprocess.run(command, cwd=copy, capture_output=True, text=True, check=False)
    code = [c for c in notebook["cells"] if c["cell_type"] == "code"]
    assert done.returncode == 1 and f"1 failed, {len(code) - 1} passed" in done.stdout, done.stdout[
        -3000:
    ]


def test_the_first_page_says_machine_and_hold_points(record: Path) -> None:
    first = pypdf.PdfReader(record).pages[0].extract_text()
    assert "CH-1" in first and "turn the shaft" in first.lower()


@pytest.mark.parametrize("paper", ["a4", "us-letter"])
def test_the_short_form_is_three_pages_first_page_figures_signatures(job: Path, paper: str) -> None:
    content, _ = RecordExporter(paper=paper, form="short").from_filename(
        str(job / "records" / "CH-1.ipynb")
    )
    pages = [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(content)).pages]
    assert len(pages) == 3
    assert (
        "State of the job" in pages[0]
        and "Figures at each load" in pages[1]
        and "Settings as left" in pages[1]
        and pages[2].count("Signatures") == 1
    )


def test_every_verdict_of_the_notebook_stands_in_the_record(job: Path, text: str) -> None:
    # A title may break at a hyphen or between words.
    flat = "".join(text.split())
    for part in parts(job / "records" / "CH-1.ipynb"):
        for verdict in part.get("verdicts", []):
            assert "".join(verdict["title"].split()) in flat, verdict["title"]


def test_notebook_and_journal_are_attached_and_whole(job: Path, record: Path) -> None:
    with pikepdf.open(record) as pdf:
        attached = {name: spec.get_file().read_bytes() for name, spec in pdf.attachments.items()}
    notebook = next(data for name, data in attached.items() if name.endswith("CH-1.ipynb"))
    assert notebook == (job / "records" / "CH-1.ipynb").read_bytes()
    journal = json.loads(
        next(data for name, data in attached.items() if name.endswith("journal.json"))
    )
    assert [e["digest"] for e in journal["entries"]] == [
        e.digest for e in Job(job, read_only=True).state().entries
    ]


def test_the_record_claims_pdf_a_3b(record: Path) -> None:
    with pikepdf.open(record) as pdf:
        metadata = pdf.open_metadata()
        assert (metadata["pdfaid:part"], metadata["pdfaid:conformance"]) == ("3", "B")


def test_qpdf_finds_nothing_wrong(record: Path) -> None:
    with pikepdf.open(record) as pdf:
        assert (
            pdf.check_pdf_syntax() == [] if hasattr(pdf, "check_pdf_syntax") else pdf.check() == []
        )


def test_the_job_run_again_gives_the_same_verdicts(again: Path, job: Path) -> None:
    later, before = parts(again / "records" / "CH-1.ipynb"), parts(job / "records" / "CH-1.ipynb")
    assert [(v["key"], v["outcome"]) for p in later for v in p.get("verdicts", [])] == [
        (v["key"], v["outcome"]) for p in before for v in p.get("verdicts", [])
    ]


@pytest.mark.parametrize("name", ["CH-1", "CH-2", "CH-3"])
def test_a_look_back_that_makes_nothing_but_verdicts_makes_the_same_ones(
    demo: Path, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = Job(demo / "jobs" / name, read_only=True)
    stages, entries = registry.for_job(folder), folder.state().entries
    for upto in (len(entries) // 3, 2 * len(entries) // 3, len(entries)):
        found = []
        for shown in (True, False):
            monkeypatch.setattr(memory, "_MEMORIES", [])
            seen = Assessment(
                folder.machine,
                folder.limits,
                stages,
                State(entries[:upto]),
                folder.system,
                folder.baseline,
                folder.trends,
                shown,
            )
            found.append([(v.key, v.outcome, v.sentence) for _, v in seen.verdicts()])
        assert found[0] == found[1]
