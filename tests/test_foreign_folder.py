"""A folder that somebody else filled: none of its Python files is run, and a changed notebook is
reported before it is.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from startkit.cli import main
from startkit.facts.job import Job

ROOT = Path(__file__).parents[1]
SHEET = ROOT / "workbook" / "plant" / "machines" / "CH-1.toml"
# Modules of the standard library and of others that the commands and their helper processes import.
PLANTED = (
    *("abc", "asyncio", "encodings", "json", "multiprocessing", "pathlib", "pickle", "re", "runpy"),
    *("signal", "socket", "typing"),
    *("anywidget", "IPython", "ipykernel", "ipykernel_launcher", "matplotlib", "nbformat", "numpy"),
    *("papermill", "pint", "startkit", "typst", "zmq"),
)
COMMANDS: tuple[tuple[str, ...], ...] = (
    (),
    ("status", "."),
    ("items", "."),
    ("limits",),
    ("doctor", "."),
    ("run", "."),
    ("print", "."),
    ("spreadsheet", ".", "out.xlsx"),
    ("rescue", ".", "saved"),
    ("fleet", "run", "../.."),
    ("fleet", "register", "../.."),
    ("verify", "records/CH-1-r1.pdf"),
)


def command() -> str:
    """The installed command: `python -m` would itself add the current folder to the path."""
    return str(Path(sys.executable).with_name("startkit.exe" if os.name == "nt" else "startkit"))


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, [str(a) for a in arguments])


@pytest.fixture
def job(tmp_path: Path) -> Path:
    """A job in a fleet."""
    fleet = tmp_path / "fleet"
    (fleet / "jobs").mkdir(parents=True)
    (fleet / "fleet.toml").write_text('[fleet]\nname = "Harbour"\n', encoding="utf-8")
    assert run("new", fleet / "jobs" / "CH-1", "--sheet", SHEET, "--who", "Ana").exit_code == 0
    return fleet / "jobs" / "CH-1"


@pytest.fixture
def planted(job: Path, tmp_path: Path) -> Iterator[Callable[[], list[str]]]:
    """The planted modules that were run; they are in the folders of the job and of the fleet."""
    seen = tmp_path / "seen"
    for folder in (job, job.parents[1]):
        for name in PLANTED:
            (folder / f"{name}.py").write_text(
                f"open({str(seen)!r}, 'a').write({name!r} + '\\n')\nraise ImportError('planted')\n",
                encoding="utf-8",
            )
    yield lambda: seen.read_text(encoding="utf-8").split() if seen.exists() else []


@pytest.mark.skipif(not Path(command()).exists(), reason="startkit is not installed as a command")
@pytest.mark.xdist_group("foreign folder")
def test_no_command_runs_a_python_file_of_the_folder(
    job: Path, planted: Callable[[], list[str]]
) -> None:
    for arguments in COMMANDS:
        subprocess.run(
            [command(), *arguments], cwd=job, capture_output=True, timeout=200, check=False
        )
        assert planted() == [], f"startkit {' '.join(arguments)}"
    assert list((job / "records").glob("*.pdf")), "the commands did their work"
    assert (job.parents[1] / "records" / "register.pdf").is_file()


@pytest.mark.skipif(not Path(command()).exists(), reason="startkit is not installed as a command")
@pytest.mark.skipif(os.name == "nt", reason="Windows ends a server otherwise")
@pytest.mark.parametrize("arguments", [["open", ".", "--no-browser"], ["open", ".", "--page"]])
def test_no_server_and_no_kernel_runs_a_python_file_of_the_folder(
    job: Path, planted: Callable[[], list[str]], arguments: list[str], tmp_path: Path
) -> None:
    output = tmp_path / "output"
    environment = {**os.environ, "BROWSER": "true"}
    with output.open("wb") as file:
        server = subprocess.Popen(
            [command(), *arguments],
            cwd=job,
            stdout=file,
            stderr=file,
            env=environment,
            start_new_session=True,
        )
    try:
        address = _address(output, server)
        if "--page" in arguments:
            page = _answer(address)
            assert "sk-part" in page or "sk-" in page, "the notebook was run"
        else:
            assert _cell_in_a_new_kernel(address) == "ok"
        assert planted() == []
    finally:
        os.killpg(server.pid, signal.SIGKILL)
        server.wait()


def _address(output: Path, server: subprocess.Popen[bytes]) -> str:
    for _ in range(600):
        text = output.read_text(encoding="utf-8", errors="replace")
        found = re.search(r"http://127\.0\.0\.1:\d+/\S*token=[0-9a-zA-Z_-]+", text)
        if found:
            return found.group(0)
        assert server.poll() is None, text
        time.sleep(0.1)
    raise AssertionError(output.read_text(encoding="utf-8"))


def _answer(address: str, content: bytes | None = None) -> str:
    base, _, token = address.partition("token=")
    request = urllib.request.Request(
        base.rstrip("?&"), content, {"Authorization": f"token {token}"}
    )
    for _ in range(50):
        try:
            with urllib.request.urlopen(request, timeout=120) as response:
                return response.read().decode("utf-8", "replace")
        except ConnectionError:
            time.sleep(0.2)
        except urllib.error.URLError as error:
            if not isinstance(error.reason, ConnectionError):
                raise
            time.sleep(0.2)
    raise AssertionError(f"no answer from {base}")


def _cell_in_a_new_kernel(address: str) -> str:
    """Status of a cell that imports what a job's notebook imports, in a kernel that the server
    started.
    """
    from jupyter_client.blocking import BlockingKernelClient
    from jupyter_core.paths import jupyter_runtime_dir

    root = re.sub(r"/(lab|doc|tree)\b.*?(?=\?|$)", "", address.split("?")[0])
    token = address.partition("token=")[2]
    kernel = json.loads(_answer(f"{root}/api/kernels?token={token}", b'{"name": "python3"}'))
    client = BlockingKernelClient(
        connection_file=str(Path(jupyter_runtime_dir()) / f"kernel-{kernel['id']}.json")
    )
    client.load_connection_file()
    client.start_channels()
    try:
        client.wait_for_ready(timeout=60)
        reply = client.execute_interactive(
            "import numpy, pint\nimport startkit.desk.book", timeout=60
        )
        return str(reply["content"]["status"])
    finally:
        client.stop_channels()


# --- a changed notebook ---------------------------------------------------------------------------


def change(job: Path, source: str = "import os") -> None:
    path = job / "new-machine.ipynb"
    notebook = json.loads(path.read_bytes())
    notebook["cells"][1]["source"] = [source]
    path.write_text(json.dumps(notebook, indent=1), encoding="utf-8")


def test_an_unchanged_notebook_is_not_reported(job: Path) -> None:
    result = run("status", job, "--notebook")
    assert result.exit_code == 0 and "is the template" in result.output
    from startkit.facts.job_notebook import warning

    assert warning(Job(job)) == ""


def test_the_difference_is_shown_cell_by_cell(job: Path) -> None:
    change(job, "import shutil")
    result = run("status", job, "--notebook")
    assert result.exit_code == 1 and "+import shutil" in result.output.splitlines()


@pytest.mark.parametrize("arguments", [("print",), ("run",), ("open", "--page")])
def test_a_changed_notebook_is_reported_once_before_it_is_run(
    job: Path, arguments: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    from startkit.desk import page
    from startkit.fleet import task
    from startkit.paper.printing import runs

    def stop(*_: object, **__: object) -> None:
        raise SystemExit(5)

    monkeypatch.setattr(page, "serve_page", stop)
    monkeypatch.setattr(task, "print_alone", stop)
    monkeypatch.setattr(runs, "run", stop)
    change(job)
    result = run(arguments[0], job, *arguments[1:])
    assert result.exit_code == 5
    assert result.stderr.count("differs from its template") == 1
    assert "--notebook" in result.stderr


def test_a_fleet_run_reports_each_changed_notebook(job: Path) -> None:
    from startkit.fleet.folder import load
    from startkit.fleet.run import Run

    shutil.copytree(job, job.with_name("CH-2"))
    change(job)
    assert [text for text in Run(load(job.parents[1])).warnings() if "CH-2" in text] == []
    assert len(Run(load(job.parents[1])).warnings()) == 1


def saved_by_jupyterlab(notebook: dict) -> None:
    notebook["metadata"]["kernelspec"]["display_name"] = "Python 3 (ipykernel)"
    notebook["metadata"]["language_info"] = {"name": "python", "version": "3.12.1"}
    for cell in notebook["cells"]:
        if cell["cell_type"] == "code":
            cell["execution_count"] = 3
            cell["metadata"]["trusted"] = True
            cell["outputs"] = [{"output_type": "stream", "name": "stdout", "text": ["x"]}]


@pytest.mark.parametrize("installed", [True, False])
def test_outputs_that_jupyterlab_saved_are_no_change(
    job: Path, installed: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    from startkit.facts import job_notebook

    if not installed:
        monkeypatch.setattr(job_notebook, "_installed", lambda job, digest: None)
    path = job / "new-machine.ipynb"
    notebook = json.loads(path.read_bytes())
    saved_by_jupyterlab(notebook)
    path.write_text(json.dumps(notebook, indent=1, ensure_ascii=False), encoding="utf-8")
    assert not job_notebook.is_changed(Job(job))
    change(job)
    assert job_notebook.is_changed(Job(job))


@pytest.mark.parametrize("content", [b"", b"[]", b'{"cells": 3}', b"[" * 100_000, b"\xff"])
def test_a_file_that_is_no_notebook_is_changed_and_one_sentence(job: Path, content: bytes) -> None:
    (job / "new-machine.ipynb").write_bytes(content)
    from startkit.facts.job_notebook import is_changed

    assert is_changed(Job(job))
    result = run("status", job, "--notebook")
    assert result.exit_code == 2 and result.stderr.count("\n") == 1
