"""Runs: parameters, failing cells, the same bytes, files that appear whole."""

from __future__ import annotations

import re
from pathlib import Path

import nbformat
import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook

from startkit.errors import JournalError, PaperError
from startkit.facts.safe_files import file_safe, write_whole
from startkit.paper.printing import runs
from tests.paper.conftest import make_job

KERNEL = {"kernelspec": {"name": "python3", "display_name": "Python 3", "language": "python"}}
PARAMETERS = new_code_cell(
    'job = "."  # folder\nmode = "form"\npaper = "a4"\nlimit: float = 2.5\n',
    metadata={"tags": ["parameters"]},
    id="parameters",
)


def notebook(*sources: str):
    cells = [PARAMETERS, *(new_code_cell(source, id=f"c{n}") for n, source in enumerate(sources))]
    return new_notebook(cells=cells, metadata=KERNEL)


def put(job, *sources: str) -> Path:
    nbformat.write(notebook(*sources), job.template)
    return job.template


def test_the_executed_notebook_lies_in_the_records_and_ran_in_the_jobs_folder(job):
    put(job, "import os\nprint(job, mode, os.path.isfile('job.db'))")
    path = runs.run(job.folder)
    assert path == job.folder / "records" / "CH-3.ipynb"
    assert nbformat.read(path, 4).cells[-1].outputs[0].text == ". record True\n"


def test_the_same_job_run_twice_gives_the_same_bytes(job):
    put(
        job,
        "import sys, time\nfor n in range(3):\n    print(n, flush=True)\n   "
        " time.sleep(0.05)\nprint('late', file=sys.stderr)\nlimit",
    )
    first = runs.run(job.folder).read_bytes()
    assert runs.run(job.folder).read_bytes() == first


def test_no_path_of_the_machine_and_no_time_of_the_run_stays_in_the_notebook(job, tmp_path: Path):
    put(job, "job")
    path = runs.run(job.folder)
    text, node = path.read_text(encoding="utf-8"), nbformat.read(path, 4)
    assert str(tmp_path) not in text
    assert "papermill" not in node.metadata and all(
        "papermill" not in cell.metadata and "execution" not in cell.metadata for cell in node.cells
    )
    assert node.cells[-1].execution_count == 3


def test_an_unknown_parameter_is_refused_in_one_sentence_that_names_the_known_ones(job):
    put(job, "job")
    with pytest.raises(PaperError) as caught:
        runs.run(job.folder, parameters={"papr": "a4"})
    assert re.fullmatch(r"template\.ipynb: 'papr' .*: job, mode, paper, limit\.", str(caught.value))
    assert not (job.folder / "records").exists()


def test_a_known_parameter_reaches_the_notebook(job):
    put(job, "print(limit)")
    assert (
        nbformat.read(runs.run(job.folder, parameters={"limit": 4.5}), 4).cells[-1].outputs[0].text
        == "4.5\n"
    )


def test_parameters_are_read_without_running_anything(tmp_path: Path):
    found = runs.parameters_of(notebook("raise SystemExit"))
    assert found == {"job": ".", "mode": "form", "paper": "a4", "limit": 2.5}
    assert runs.parameters_of(new_notebook(cells=[new_markdown_cell("job = 1")])) == {}


def test_a_failing_cell_is_named_with_its_error_in_one_line_and_the_notebook_is_kept_aside(job):
    put(job, "1 + 1", "# the total\ntotal = 1 / 0")
    with pytest.raises(PaperError) as caught:
        runs.run(job.folder)
    said = str(caught.value)
    assert said.startswith("cell 3 (# the total): ZeroDivisionError: division by zero; ")
    assert "CH-3-failed.ipynb" in said and "\n" not in said
    assert [p.name for p in (job.folder / "records").iterdir()] == ["CH-3-failed.ipynb"]


@pytest.mark.parametrize(
    ("raised", "told"),
    [("KeyboardInterrupt", ".*keyboard.*"), ("ValueError", "ValueError")],
)
def test_an_error_without_words_of_its_own_is_a_sentence_all_the_same(job, raised: str, told: str):
    from startkit.fleet import engine

    engine.register()
    put(job, f"raise {raised}")
    with pytest.raises(PaperError) as caught:
        runs.run(job.folder, engine=engine.IN_PROCESS)
    assert re.fullmatch(
        rf"cell 2 \(raise {raised}\): {told}; see CH-3-failed.ipynb [^\n]*\.", str(caught.value)
    )


def test_our_own_errors_are_passed_on_as_the_sentence_that_they_are(job):
    put(
        job,
        "from startkit.errors import JobError\nraise JobError('the folder is gone', 'job', 'look"
        " for it')",
    )
    with pytest.raises(
        PaperError,
        match=(
            r"^cell 2 \(from startkit.errors import JobError\): job: the folder is gone; look for"
            r" it; see"
        ),
    ):
        runs.run(job.folder)


def test_after_a_good_run_the_failed_notebook_is_gone(job):
    put(job, "1 / 0")
    with pytest.raises(PaperError):
        runs.run(job.folder)
    put(job, "1")
    assert [p.name for p in runs.run(job.folder).parent.iterdir()] == ["CH-3.ipynb"]


def test_a_failing_run_leaves_the_record_of_before_untouched(job):
    put(job, "1")
    before = runs.run(job.folder).read_bytes()
    put(job, "1 / 0")
    with pytest.raises(PaperError):
        runs.run(job.folder)
    assert (job.folder / "records" / "CH-3.ipynb").read_bytes() == before


def test_an_unknown_mode_and_a_missing_template_are_one_sentence(job, tmp_path: Path):
    put(job, "1")
    with pytest.raises(PaperError, match="draft"):
        runs.run(job.folder, mode="draft")
    with pytest.raises(PaperError, match="no such notebook"):
        runs.run(job.folder, template=tmp_path / "gone.ipynb")


def test_a_folder_without_a_journal_is_refused(tmp_path: Path):
    with pytest.raises(JournalError, match="no journal"):
        runs.run(tmp_path)


def test_a_tag_that_is_no_file_name_is_made_one(tmp_path: Path):
    from tests.paper.conftest import SHEET

    job = make_job(tmp_path / "odd", [], SHEET.replace('"CH-3"', '"CH 3/../é:*"'))
    put(job, "1")
    assert runs.run(job.folder) == job.folder / "records" / "CH-3.ipynb"


@pytest.mark.parametrize(
    ("tag", "safe"),
    [
        ("CH-3", "CH-3"),
        ("CH 3", "CH-3"),
        ("../../etc/passwd", "etc-passwd"),
        ("con", "machine"),
        ("冷水機", "machine"),
        ("a\x00b", "a-b"),
        ("." * 300, "machine"),
        ("x" * 300, "x" * 80),
    ],
)
def test_tags_become_safe_file_names(tag: str, safe: str):
    assert file_safe(tag) == safe


def test_a_file_that_cannot_be_written_leaves_the_old_one_and_nothing_beside(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    target = tmp_path / "record.pdf"
    write_whole(target, b"old")
    monkeypatch.setattr(
        "os.fsync", lambda handle: (_ for _ in ()).throw(OSError(28, "No space left on device"))
    )
    with pytest.raises(PaperError, match="No space left on device"):
        write_whole(target, b"new")
    assert [(p.name, p.read_bytes()) for p in tmp_path.iterdir()] == [("record.pdf", b"old")]
