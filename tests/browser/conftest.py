"""A real JupyterLab and a real Chromium; skipped with the reason where there is none."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from startkit.facts.job import Job
from startkit.facts.plugins import find_template
from tests.browser.serving import Served, kernel, name_me, setup

SHEET = Path(__file__).parents[2] / "workbook" / "plant" / "machines" / "CH-1.toml"
FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
# The execution indicator is not to be trusted: wait for the promises of page, document, session and
# kernel instead.
_STEPS = """async () => {
    const sleep = (ms) => new Promise((done) => setTimeout(done, ms));
    const steps = async () => {
        while (!window.jupyterapp?.shell?.currentWidget?.context) await sleep(50);
        const w = jupyterapp.shell.currentWidget;
        await w.revealed; await w.context.ready;
        await w.sessionContext.ready; await w.sessionContext.session.kernel.info;
        STEP
    };
    await Promise.race([steps(), sleep(150000).then(() => {
        throw new Error("the notebook was not ready in 150 s");
    })]);
}"""
READY = _STEPS.replace("STEP", "")
RUN_ALL = _STEPS.replace("STEP", 'await jupyterapp.commands.execute("notebook:run-all-cells");')
RESTART = _STEPS.replace(
    "STEP",
    "await w.sessionContext.session.kernel.restart(); await w.sessionContext.session.kernel.info;",
)


# A browser so slow that the widget library has given up on each form before the form was there.
GIVEN_UP = "[anywidget] Failed to initialize model."
SLOW_BROWSER = f"""
    const after = AbortSignal.timeout.bind(AbortSignal);
    AbortSignal.timeout = () => after(0);
    window.givenUp = 0;
    window.addEventListener("unhandledrejection", (event) => {{
        if (event.reason?.message === "{GIVEN_UP}") window.givenUp += 1;
    }});
"""

# A browser that looks for its forms' models, and looks away for six seconds while the kernel's
# answer comes.
LOOKS_AWAY = (
    "const later = window.setTimeout.bind(window); window.setTimeout = (call, ms, ...more) =>"
    " later(call, ms === 100 ? 6000 : ms, ...more);"
)


def missing(reason: str) -> None:
    """Skip and say why; where the browser is required, fail."""
    if os.environ.get("STARTKIT_REQUIRE_BROWSER") == "1":
        pytest.fail(f"STARTKIT_REQUIRE_BROWSER=1, but {reason}")
    pytest.skip(reason)


def chromium() -> str:
    named = os.environ.get("STARTKIT_CHROMIUM")
    found = named or next(
        (p for p in map(shutil.which, ("chromium", "chromium-browser", "google-chrome")) if p), None
    )
    if found is None:
        missing("no Chromium is installed (Debian: apt-get install chromium)")
    return found


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        missing("playwright is not installed (pip install 'startkit[test]')")
    executable = chromium()
    with sync_playwright() as running:
        started = running.chromium.launch(executable_path=executable, args=FLAGS)
        yield started
        started.close()


class Lab:
    """One JupyterLab server on the loopback, with its own home so that nothing of this machine's
    leaks in.
    """

    def __init__(self, home: Path) -> None:
        self.home, self.root = home, home / "jobs"
        self.root.mkdir(parents=True)
        settings = home / "settings" / "@jupyterlab" / "apputils-extension"
        settings.mkdir(parents=True)
        (settings / "notification.jupyterlab-settings").write_text(
            '{"fetchNews": "false", "checkForUpdates": false}'
        )
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        names = {
            "HOME": "",
            "JUPYTER_CONFIG_DIR": "config",
            "JUPYTER_DATA_DIR": "data",
            "JUPYTER_RUNTIME_DIR": "runtime",
            "IPYTHONDIR": "ipython",
            "JUPYTERLAB_SETTINGS_DIR": "settings",
            "JUPYTERLAB_WORKSPACES_DIR": "workspaces",
        }
        environment = {
            **os.environ,
            **{name: str(self.home / part) for name, part in names.items()},
        }
        command = [
            sys.executable,
            "-m",
            "jupyterlab",
            "--no-browser",
            "--allow-root",
            f"--ServerApp.port={self.port}",
            "--ServerApp.port_retries=0",
            "--ServerApp.ip=127.0.0.1",
            "--IdentityProvider.token=",
            f"--ServerApp.root_dir={self.root}",
            "--LabApp.expose_app_in_browser=True",
        ]
        with (self.home / "lab.log").open("ab") as log:
            self.process = subprocess.Popen(
                command, env=environment, stdout=log, stderr=log, cwd=self.root
            )
        self._wait()

    def _wait(self) -> None:
        for _ in range(1200):
            try:
                urllib.request.urlopen(f"http://127.0.0.1:{self.port}/api", timeout=2).read()
                return
            except OSError:
                time.sleep(0.1)
        raise RuntimeError(
            f"JupyterLab did not start:\n{(self.home / 'lab.log').read_text()[-2000:]}"
        )

    def stop(self) -> None:
        if self.process is not None:
            self.process.terminate()
            self.process.wait(20)

    def address(self, notebook: Path) -> str:
        return f"http://127.0.0.1:{self.port}/lab/tree/{notebook.relative_to(self.root).as_posix()}?reset"


@pytest.fixture(scope="session")
def lab(browser: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Lab]:
    server = Lab(tmp_path_factory.mktemp("lab"))
    server.start()
    yield server
    server.stop()


@pytest.fixture(scope="session")
def new_job(lab: Lab) -> Callable[[str], Job]:
    """Make a job of the demonstration's first machine below the server's folder."""
    return lambda name: Job.create(lab.root / name, SHEET, find_template("new-machine"))


def watch(page: Any, errors: list[str]) -> None:
    """Count errors in scripts; that the widget library gave up on a slow browser is no fault of a
    form, which goes on without it.
    """
    page.on(
        "pageerror",
        lambda error: None if str(error) == GIVEN_UP else errors.append(f"{error}\n{error.stack}"),
    )


@pytest.fixture(scope="module")
def open_page(browser: Any, lab: Lab) -> Iterator[Callable[..., Any]]:
    """Open a notebook on a page of its own; a script error on any of them fails the tests."""
    errors: list[str] = []
    contexts = []

    def opened(notebook: Path, width: int = 1280, height: int = 800, script: str = "") -> Any:
        context = browser.new_context(
            viewport={"width": width, "height": height}, service_workers="block"
        )
        context.add_init_script(script)
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(150_000)
        watch(page, errors)
        page.goto(lab.address(notebook))
        page.evaluate(READY)
        return page

    yield opened
    for context in contexts:
        context.close()
    assert not errors, errors


def give_reason(page: Any, words: str) -> None:
    """Answer by keyboard why a value changes, once the question is there and has the focus."""
    page.wait_for_function("() => document.activeElement.closest('.sk-why')")
    page.keyboard.type(words)
    page.keyboard.press("Enter")


def shot(page: Any, name: str) -> None:
    """A picture of the page, where a folder for pictures is named."""
    folder = os.environ.get("STARTKIT_SHOTS")
    if folder:
        Path(folder).mkdir(parents=True, exist_ok=True)
        page.screenshot(path=str(Path(folder) / f"{name}.png"))


# --- the job as a page ---------------------------------------------------------------------------


@pytest.fixture(scope="module")
def served(browser: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    try:
        import voila  # noqa: F401 - only whether it is there
    except ImportError:
        missing("Voila is not installed (pip install 'startkit[page]')")
    server = Served(tmp_path_factory.mktemp("page"))
    yield server
    server.stop()


def alive(page: Any, served: Served, said: list[str]) -> None:
    """Wait for the first form; where it does not come, tell what the page, its kernel and the
    server say.
    """
    try:
        setup(page).get_by_label("Who is entering", exact=True).wait_for()
    except Exception as error:
        shown = page.evaluate("document.body.innerText.slice(0, 1500)")
        models = page.evaluate(
            "({ forms: document.querySelectorAll('form, [role=form]').length, live:"
            " document.querySelectorAll('.sk').length, outputs:"
            " document.querySelectorAll('.jp-OutputArea-output').length })"
        )
        pytest.fail(
            f"{error}\nthe page: {shown}\n{models}\nits console: {said}\nits kernel: {kernel(page)}"
            f" of {served.ask('api/kernels')}\nthe server: {served.said[-3000:]}"
        )


@pytest.fixture(scope="module")
def open_job(browser: Any, served: Served) -> Iterator[Callable[..., Any]]:
    """Open the page; whatever it asks of another computer fails the tests, as does an error in a
    script.
    """
    outside: list[str] = []
    errors: list[str] = []
    contexts = []

    passing: list[Any] = []

    def opened(
        width: int = 1280,
        height: int = 800,
        scheme: str = "light",
        script: str = "",
        keep: bool = False,
    ) -> Any:
        # Only so many are served at a time: pages of earlier tests make room.
        while len(passing) > 2:
            passing.pop(0).close()
        context = browser.new_context(
            viewport={"width": width, "height": height},
            service_workers="block",
            color_scheme=scheme,
        )
        context.add_init_script(script)
        contexts.append(context)
        if not keep:
            passing.append(context)

        def watched(request: Any) -> None:
            # Only watched: a request that waits for a word from here may wait for ever while
            # another page is open.
            if not request.url.startswith((served.base, "data:", "blob:")):
                outside.append(request.url)

        context.on("request", watched)
        page = context.new_page()
        page.set_default_timeout(150_000)
        watch(page, errors)
        page.on(
            "websocket",
            lambda ws: (
                None
                if ws.url.startswith(served.base.replace("http", "ws", 1))
                else outside.append(ws.url)
            ),
        )
        said: list[str] = []
        page.on("console", lambda message: said.append(f"{message.type}: {message.text}"))
        page.goto(served.url)
        alive(page, served, said)
        return page

    yield opened
    for context in contexts:
        context.close()
    assert not outside, outside
    assert not errors, errors


@pytest.fixture(scope="module")
def shared(open_job: Callable[..., Any]) -> Any:
    """One page for all tests that need no fresh one, with a person named, as somebody at the
    machine has it.
    """
    page = open_job(820, 1180, keep=True)
    name_me(page)
    return page
