"""JupyterLab on this computer, opened at a job's notebook, with nothing on the screen but that."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tempfile
import threading
from pathlib import Path
from urllib.parse import quote

from startkit.errors import JobError
from startkit.facts.job import Job
from startkit.side_process import SAFE_PATH

PATIENCE = 10.0  # s for a program to end by itself
HOME = (
    Path(__file__).parent / "jupyter"
)  # our settings and style, laid out as Jupyter looks for them


def arguments(
    job: Job, browser: bool = True, port: int | None = None, layout: str = ""
) -> list[str]:
    """The command line of JupyterLab: loopback only, rooted at the job, with its notebook open.

    Parameters
    ----------
    job : Job
    browser : bool
    port : int, optional
    layout : str
        Folder for the layout of the window; empty: the person's own.
    """
    # -P: nothing in the current folder, which may be a job from someone else, is imported as a
    # module.
    command = [
        sys.executable,
        "-P",
        "-m",
        "jupyterlab",
        f"--ServerApp.root_dir={job.folder.resolve()}",
        "--ServerApp.ip=127.0.0.1",
        f"--LabApp.default_url=/doc/tree/{quote(job.template.name)}",
        # JupyterLab looks for news, newer versions and extensions by itself: here it is not asked
        # for anything.
        "--LabApp.news_url=None",
        "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate",
        "--LabApp.extension_manager=readonly",
        "--LabApp.custom_css=True",
        "--ServerApp.contents_manager_class=startkit.desk.contents.JobContents",
        f"--ServerApp.tornado_settings={{'static_custom_path': [{str(HOME / 'custom')!r}]}}",
    ]
    command += [f"--LabApp.workspaces_dir={layout}"] if layout else []
    command += [] if browser else ["--no-browser"]
    command += ["--allow-root"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []
    return command + ([f"--ServerApp.port={port}"] if port else [])


def environment() -> dict[str, str]:
    """The environment of JupyterLab: our defaults come after the person's own settings, which are
    neither changed nor hidden.
    """
    paths = (str(HOME), os.environ.get("JUPYTER_CONFIG_PATH", ""))
    return {
        **os.environ,
        **SAFE_PATH,
        "JUPYTER_CONFIG_PATH": os.pathsep.join(path for path in paths if path),
    }


def serve(folder: Path, browser: bool = True, port: int | None = None) -> int:
    """Open a job in JupyterLab and wait until it is closed.

    Raises
    ------
    JobError
        JupyterLab cannot be started.
    """
    job = Job(folder)
    # A layout of its own: the person's would bring other notebooks back, and be left without them.
    with tempfile.TemporaryDirectory(prefix="startkit-", ignore_cleanup_errors=True) as layout:
        try:
            return waited_for(arguments(job, browser, port, layout), environment())
        except OSError as error:
            raise JobError(
                f"JupyterLab cannot be started ({error.strerror})",
                "open",
                "reinstall startkit with pip",
            ) from None


def waited_for(command: list[str], variables: dict[str, str]) -> int:
    """Run a program until it ends, or until this one is asked to end: then it ends first.

    Returns
    -------
    int
        Its exit status; 0 if it was ended by Ctrl+C.

    Raises
    ------
    OSError
        It cannot be started.
    """
    with subprocess.Popen(command, env=variables) as started:
        before = None
        if threading.current_thread() is threading.main_thread():
            before = signal.signal(signal.SIGTERM, lambda *_: started.terminate())
        try:
            return started.wait()
        except KeyboardInterrupt:
            _end(started)
            return 0
        finally:
            if before is not None:
                signal.signal(signal.SIGTERM, before)


def _end(started: subprocess.Popen[bytes]) -> None:
    started.terminate()
    try:
        started.wait(PATIENCE)
    except subprocess.TimeoutExpired:
        started.kill()
