"""Runs: a job's notebook executed from top to bottom, the same job giving the same bytes."""

# `Any` here: values of a notebook's parameters, and papermill's errors, which have no types.
from __future__ import annotations

import ast
import re
import tempfile
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

from startkit import errors
from startkit.errors import PaperError
from startkit.facts import given_files
from startkit.facts.job import Job
from startkit.facts.safe_files import file_safe, write_whole
from startkit.paper.revisions import RECORDS
from startkit.side_process import SAFE_PATH, environment

if TYPE_CHECKING:
    from nbformat import NotebookNode

MODES = ("record", "form")
_ANSI = re.compile(r"\x1b\[[0-?]*[ -/]*[@-~]|\x1b\][^\x07]*\x07")


def run(
    job_folder: Path,
    template: Path | None = None,
    parameters: Mapping[str, object] | None = None,
    mode: str = "record",
    engine: str | None = None,
) -> Path:
    """Execute a job's notebook and put it whole into the job's ``records`` folder.

    Parameters
    ----------
    job_folder : pathlib.Path
    template : pathlib.Path, optional
        Notebook to run; default: the job's own.
    parameters : mapping, optional
        Values for names of the notebook's ``parameters`` cell besides ``job`` and ``mode``.
    mode : str
        ``"record"`` opens the job read-only and shows no widget; ``"form"`` shows the forms.
    engine : str, optional
        Name of a papermill engine; default: papermill's own, which starts a kernel.

    Returns
    -------
    pathlib.Path
        The executed notebook, ``records/<tag>.ipynb`` inside the job.

    Raises
    ------
    PaperError
        Unknown parameter, or a cell that fails: cell and error in one sentence.
    """
    job = Job(job_folder, read_only=True)
    notebook = read(Path(template) if template else job.template)
    # The job is its own working folder: no path of this machine reaches the notebook's outputs.
    values = {**(parameters or {}), "job": ".", "mode": mode}
    _check_parameters(values, notebook, template or job.template)
    target = job.folder / RECORDS / f"{file_safe(job.machine.machine.tag)}.ipynb"
    executed, failure = execute(notebook, values, job.folder, engine)
    content = to_bytes(settled(executed))
    if failure is not None:
        kept = write_whole(target.with_name(f"{target.stem}-failed.ipynb"), content)
        raise PaperError(
            failure[1],
            failure[0],
            f"see {kept.name} in the job's records folder, correct it and run again",
        )
    written = write_whole(target, content)
    with suppress(OSError):  # a stale file of a failed run harms nothing
        target.with_name(f"{target.stem}-failed.ipynb").unlink(missing_ok=True)
    return written


def read(path: Path) -> NotebookNode:
    """A notebook from its file.

    Raises
    ------
    PaperError
        No such file, or not a notebook.
    """
    import nbformat

    given_files.refuse_other(path)
    try:
        return whole(nbformat.read(path, as_version=4))
    except PaperError:
        raise
    except FileNotFoundError:
        raise PaperError("there is no such notebook", str(path), "check the name") from None
    except Exception:  # nbformat raises many kinds for a damaged file
        raise PaperError(
            "the file is not a notebook", str(path), "start from the template again"
        ) from None


def again(content: bytes) -> NotebookNode:
    """A notebook from bytes that `to_bytes` has made."""
    from nbformat.v4.nbjson import reads

    return reads(content.decode("utf-8"))


def whole(notebook: NotebookNode) -> NotebookNode:
    """The notebook itself.

    Raises
    ------
    PaperError
        A cell or an output lacks what the notebook format asks for.
    """
    import nbformat

    try:
        nbformat.validate(notebook)
    except nbformat.ValidationError as error:
        place = "/".join(map(str, getattr(error, "absolute_path", ())))
        raise PaperError(
            f"the notebook is damaged ({place or 'its outermost part'})",
            "notebook",
            "start from the template again, or run it again",
        ) from None
    return notebook


def to_bytes(notebook: NotebookNode) -> bytes:
    """A notebook as the bytes of its file, those that nbformat would write."""
    from nbformat import v4

    return f"{v4.writes(notebook)}\n".encode()


# --- parameters ----------------------------------------------------------------------------------


def parameters_of(notebook: NotebookNode) -> dict[str, Any]:
    """Names and default values of the ``parameters`` cell, read from its source: no kernel is
    started.

    A default that is not a plain literal is given as None.
    """
    sources = [
        cell.source
        for cell in notebook.cells
        if cell.cell_type == "code" and "parameters" in cell.metadata.get("tags", [])
    ]
    try:
        statements = [statement for source in sources for statement in ast.parse(source).body]
    except SyntaxError:
        raise PaperError(
            "the parameters cell has more than plain assignments",
            "notebook",
            "write one  name = value  a line",
        ) from None
    found: dict[str, Any] = {}
    for statement in statements:
        targets = (
            statement.targets
            if isinstance(statement, ast.Assign)
            else [statement.target]
            if isinstance(statement, ast.AnnAssign)
            else []
        )
        found.update(
            {
                target.id: _literal(statement.value)
                for target in targets
                if isinstance(target, ast.Name)
            }
        )
    return found


def _literal(node: ast.expr) -> Any:
    try:
        return ast.literal_eval(node)
    except (ValueError, TypeError):
        return None


def _check_parameters(values: Mapping[str, object], notebook: NotebookNode, path: Path) -> None:
    known = parameters_of(notebook)
    unknown = [name for name in values if name not in known]
    if unknown:
        names = ", ".join(known) or "none"
        raise PaperError(
            f"{unknown[0]!r} is not a parameter of this notebook",
            Path(path).name,
            f"its parameters cell has: {names}",
        )
    if values["mode"] not in MODES:
        raise PaperError(f"{values['mode']!r} is not a mode", "mode", f"use {' or '.join(MODES)}")


# --- execution -----------------------------------------------------------------------------------


def execute(
    notebook: NotebookNode, values: Mapping[str, object], folder: Path, engine: str | None = None
) -> tuple[NotebookNode, tuple[str, str] | None]:
    """The executed notebook; and cell and error, if one failed.

    Raises
    ------
    PaperError
        The kernel is missing or died, or papermill refuses the notebook.
    """
    import nbformat
    from jupyter_client.kernelspec import NoSuchKernel
    from nbclient.exceptions import DeadKernelError
    from papermill.exceptions import PapermillException, PapermillExecutionError
    from papermill.execute import execute_notebook, remove_error_markers

    with tempfile.TemporaryDirectory() as scratch:
        source, result = Path(scratch) / "in.ipynb", Path(scratch) / "out.ipynb"
        source.write_bytes(to_bytes(notebook))
        try:
            with environment(**SAFE_PATH):
                executed = execute_notebook(
                    _literally(source),
                    _literally(result),
                    dict(values),
                    engine_name=engine,
                    request_save_on_cell_execute=False,
                    progress_bar=False,
                    cwd=folder,
                    # The kernel's warnings are not for a technician.
                    extra_arguments=["--IPKernelApp.log_level=40"],
                )
            return executed, None
        except PapermillExecutionError as error:
            executed = remove_error_markers(nbformat.read(result, as_version=4))
            return executed, (_failed_cell(error, notebook), _sentence(error))
        except DeadKernelError:
            raise PaperError(
                "the notebook's kernel died while running",
                "notebook",
                "close other programs to free memory and run again",
            ) from None
        except NoSuchKernel as error:
            raise PaperError(
                f"there is no kernel named {error.name!r}",
                "notebook",
                "choose the kernel Python 3 in the notebook",
            ) from None
        except (PapermillException, ValueError) as error:
            raise PaperError(
                _one_line(str(error)), "notebook", "check the notebook and its kernel"
            ) from None


def _literally(path: Path) -> str:
    """A path for papermill, which fills in what stands between braces."""
    return str(path).replace("{", "{{").replace("}", "}}")


def _failed_cell(error: Any, notebook: NotebookNode) -> str:
    """The failing cell as a person finds it in the job's notebook: its number and first line."""
    found = next(
        (n for n, cell in enumerate(notebook.cells, start=1) if cell.source == error.source),
        error.cell_index,
    )
    return cell_name(found, error.source or "")


def cell_name(number: int, source: str) -> str:
    """A cell by its number, counted from the top, and its first line."""
    first = next((line.strip() for line in source.splitlines() if line.strip()), "")
    return f"cell {number} ({first[:60]})" if first else f"cell {number}"


def _sentence(error: Any) -> str:
    """The error in one line; our own errors are sentences already."""
    if error.ename == "KeyboardInterrupt":
        return "it was stopped from the keyboard"
    ours = hasattr(errors, error.ename or "")
    return _one_line(error.evalue if ours else f"{error.ename}: {error.evalue}").rstrip(": ")


def without_colours(text: str) -> str:
    """Text of a terminal without its colour codes.

    nbconvert has a filter for it; its import would take longer than the whole print.
    """
    return _ANSI.sub("", text)


def _one_line(text: str) -> str:
    return " ".join(without_colours(text).split())[:300].rstrip(".")


# --- the same job, the same bytes ----------------------------------------------------------------


def settled(notebook: NotebookNode) -> NotebookNode:
    """The notebook without what changes from run to run: times, time stamps, random cell names."""
    notebook.metadata.pop("papermill", None)
    notebook.metadata.get("language_info", {}).pop("version", None)
    for number, cell in enumerate(notebook.cells, start=1):
        for key in ("papermill", "execution"):
            cell.metadata.pop(key, None)
        tags = [tag for tag in cell.metadata.get("tags", []) if not tag.startswith("papermill-")]
        if "injected-parameters" in tags:
            cell["id"] = f"run-{number}"
        if "tags" in cell.metadata:
            cell.metadata["tags"] = tags
        if cell.cell_type == "code":
            cell["outputs"] = _joined(cell.outputs)
    return notebook


def _joined(outputs: list[Any]) -> list[Any]:
    """Neighbouring pieces of one stream as one: where the kernel cut them depends on timing."""
    joined: list[Any] = []
    for output in outputs:
        if (
            joined
            and output.output_type == "stream"
            and joined[-1].output_type == "stream"
            and joined[-1].name == output.name
        ):
            joined[-1].text += output.text
        else:
            joined.append(output)
    return joined
