"""The job's notebook as a page without code, served by Voila on this computer."""

# `Any` here: Voila and its settings have no types.
from __future__ import annotations

import os
import secrets
import socket
import tempfile
import webbrowser
from html import escape
from pathlib import Path
from typing import Any

from startkit.desk import visits
from startkit.errors import JobError
from startkit.facts.job import Job
from startkit.side_process import SAFE_PATH

HOME = Path(__file__).parent / "jupyter"  # our template, laid out as Jupyter looks for it
LOOPBACK = "127.0.0.1"
CULL_AFTER, CULL_EVERY = (
    1800,
    60,
)  # s that the kernel of a closed page is kept, and how often it is looked for
# A page talks to this server alone: nothing is fetched from outside, nothing
# is # sent there.
POLICY = (
    "default-src 'self'; script-src 'self' 'unsafe-inline' 'unsafe-eval' blob:; style-src 'self'"
    " 'unsafe-inline'; img-src 'self' data: blob:; font-src 'self' data:; connect-src 'self';"
    " object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'self'"
)
# What a page needs of JupyterLab's extensions; the person's others would only make it slower.
EXTENSIONS = [
    "anywidget",
    "@jupyter-widgets/jupyterlab-manager",
    "@voila-dashboards/widgets-manager8",
    "startkit-page",
]
OPEN_TO_OTHERS = (
    "Warning: this page can be reached from other computers at {address}. Anyone who has its"
    " address with the token can enter readings under any name, and nothing is encrypted in"
    " transit. Each visit takes some 330 MB of memory. Use it only on a network you trust and"
    " close it with Ctrl+C when the work is done."
)
NO_PORTS = 50  # further ports that are tried if one is taken


def serve_page(
    folder: Path, browser: bool = True, port: int | None = None, address: str = LOOPBACK
) -> int:
    """Serve a job as a page and wait until it is closed.

    Parameters
    ----------
    folder : pathlib.Path
    browser : bool
        Open a browser; the address is printed in any case.
    port : int, optional
    address : str
        Address of this computer to listen at; any other than 127.0.0.1 prints a warning.

    Raises
    ------
    JobError
        Voila is not installed, the notebook is missing, or the address or port cannot be used.
    """
    try:
        from voila.app import Voila
    except ImportError:
        raise JobError(
            "the page needs Voila, which is not installed",
            "open --page",
            "in the folder of startkit's source, run  .venv/bin/python -m pip install -e '.[page]'",
        ) from None
    job = Job(folder)
    if not job.template.is_file():
        raise JobError(
            "the job's notebook is missing",
            str(job.template),
            "copy it back, or open the job without --page",
        )
    _refuse_unusable(address, port or 0)
    os.environ |= SAFE_PATH  # for the kernels that Voila starts
    # Jupyter's own way to add a folder of templates; those of the person stay where they are.
    os.environ["JUPYTER_PATH"] = os.pathsep.join(
        part for part in (str(HOME), os.environ.get("JUPYTER_PATH", "")) if part
    )
    server = _server_class(Voila)(config=_with_a_limit(configuration(job, port, address)))
    server.with_browser = browser
    server.initialize([str(job.template.resolve())])
    if address != LOOPBACK:
        print(OPEN_TO_OTHERS.format(address=address), flush=True)
    server.start()
    return 0


def _with_a_limit(settings: Any) -> Any:
    """The settings, with a manager that starts only so many kernels."""
    from jupyter_server.services.kernels.kernelmanager import AsyncMappingKernelManager

    settings.VoilaConfiguration.multi_kernel_manager_class = visits.manager(
        AsyncMappingKernelManager
    )
    return settings


def reachable(address: str) -> str:
    """An address at which a browser finds what listens at `address`: this computer's own one where
    that means all of them.
    """
    elsewhere = {"0.0.0.0": ("192.0.2.1", LOOPBACK), "::": ("2001:db8::1", "::1")}
    if address not in elsewhere:
        return address or LOOPBACK
    # Addresses for documentation (RFC 5737, RFC 3849): to choose a way there sends nothing.
    other, own = elsewhere[address]
    family = socket.AF_INET6 if ":" in other else socket.AF_INET
    try:
        with socket.socket(family, socket.SOCK_DGRAM) as tried:
            tried.connect((other, 9))
            return str(tried.getsockname()[0])
    except OSError:
        return own


def _refuse_unusable(address: str, port: int) -> None:
    """Try the address before Voila does: it ends the program with a line of its own."""
    try:
        family = socket.getaddrinfo(address, port, type=socket.SOCK_STREAM)[0][0]
        with socket.socket(family, socket.SOCK_STREAM) as tried:
            if os.name == "posix":  # a port just left by another page is free
                tried.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            tried.bind((address, port))
    except OSError as error:
        where = f"{address}, port {port}" if port else address
        raise JobError(
            f"the page cannot be served at {where} ({error.strerror})",
            "open --page",
            "give another --port or --address",
        ) from None


def configuration(job: Job, port: int | None = None, address: str = LOOPBACK) -> Any:
    """Voila's settings: one notebook, our template, a token, no file of the job, kernels of closed
    pages ended.
    """
    from traitlets.config import Config

    machine = job.machine
    return Config(
        {
            # No settings from the folder that happens to be the current one: in a foreign job they
            # would be foreign code.
            "Voila": {
                "ip": address,
                "open_browser": False,
                "config_file_paths": [],
                "log_level": 40,
                "root_dir": str(job.folder.resolve()),
                "token": secrets.token_urlsafe(24),
                "tornado_settings": {"headers": {"Content-Security-Policy": POLICY}},
                "port_retries": 0 if port else NO_PORTS,
                **({"port": port} if port else {}),
            },
            "VoilaConfiguration": {
                "template": "startkit",
                "allow_template_override": "NO",
                "allow_theme_override": "NO",
                "strip_sources": True,
                "show_tracebacks": False,
                "file_allowlist": [],
                "extension_allowlist": EXTENSIONS,
                "resources": {
                    "startkit": {"title": f"{machine.machine.tag}, {machine.site.plant}"}
                },
            },
            "MappingKernelManager": {
                "cull_idle_timeout": CULL_AFTER,
                "cull_interval": CULL_EVERY,
                "cull_connected": False,
            },
        }
    )


def _server_class(voila: Any) -> Any:
    """Voila's server, which prints its address once it listens."""

    class Page(voila):
        with_browser = False

        @property
        def address(self) -> str:
            host = reachable(self.ip)
            host = f"[{host}]" if ":" in host else host
            where = f"http://{host}:{self.port}{self.base_url}"
            return f"{where}?token={self.identity_provider.token}"

        def listen(self) -> None:
            import tornado.ioloop

            # Voila runs its loop inside `listen`: what is printed once it listens has to wait
            # for that loop.
            tornado.ioloop.IOLoop.current().add_callback(self.say)
            super().listen()

        def say(self) -> None:
            print(
                f"The page is at  {self.address}\nClose it with Ctrl+C; all entries are saved.",
                flush=True,
            )
            if self.with_browser:
                _open(self.address)

    return Page


def _open(address: str) -> None:
    """Open a browser by a file that only this person can read: a token on a command line can be
    seen by others.
    """
    handle, name = tempfile.mkstemp(suffix=".html", prefix="startkit-")
    with os.fdopen(handle, "w", encoding="utf-8") as file:
        file.write(
            '<!DOCTYPE html><meta charset="utf-8"><meta http-equiv="refresh"'
            f' content="0;url={escape(address)}"><a href="{escape(address)}">Open the job</a>'
        )
    webbrowser.open(Path(name).as_uri())
