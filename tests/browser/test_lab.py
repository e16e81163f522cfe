"""JupyterLab as `startkit open` shows it: no code in sight, one button, the person's own Jupyter
left as it was.
"""

from __future__ import annotations

import os
import re
import socket
import subprocess
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from startkit.desk import lab as lab_
from startkit.facts.job import Job
from startkit.facts.plugins import find_template
from tests.browser.conftest import READY, shot

pytestmark = [pytest.mark.browser, pytest.mark.timeout(300), pytest.mark.xdist_group("browser")]

SHEET = Path(__file__).parents[2] / "workbook" / "plant" / "machines" / "CH-1.toml"
START = "Start the forms"
MINE = '{"fetchNews": "true", "checkForUpdates": false}'  # a setting of the person's own


class Opened:
    """What `startkit open` starts, with a home of its own."""

    def __init__(self, home: Path) -> None:
        self.home = home
        self.job = Job.create(home / "a job", SHEET, find_template("new-machine"))
        self.settings = home / "settings"
        mine = (
            self.settings
            / "@jupyterlab"
            / "apputils-extension"
            / "notification.jupyterlab-settings"
        )
        mine.parent.mkdir(parents=True)
        mine.write_text(MINE, encoding="utf-8")
        (home / "config" / "custom").mkdir(parents=True)
        names = {
            "HOME": "",
            "JUPYTER_CONFIG_DIR": "config",
            "JUPYTER_DATA_DIR": "data",
            "JUPYTER_RUNTIME_DIR": "runtime",
            "IPYTHONDIR": "ipython",
            "JUPYTERLAB_SETTINGS_DIR": "settings",
            "JUPYTERLAB_WORKSPACES_DIR": "workspaces",
        }
        environment = {**os.environ, **{name: str(home / part) for name, part in names.items()}}
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = free.getsockname()[1]
        self.base = f"http://127.0.0.1:{port}/"
        command = [
            *lab_.arguments(self.job, browser=False, port=port, layout=str(home / "layout")),
            "--IdentityProvider.token=",
            "--LabApp.expose_app_in_browser=True",
        ]
        ours = {"JUPYTER_CONFIG_PATH": lab_.environment()["JUPYTER_CONFIG_PATH"]}
        with (home / "lab.log").open("wb") as log:
            self.process = subprocess.Popen(
                command, env={**environment, **ours}, stdout=log, stderr=log, cwd=home
            )
        for _ in range(400):
            try:
                urllib.request.urlopen(self.base + "api", timeout=2).read()
                return
            except OSError:
                time.sleep(0.1)
        raise RuntimeError(f"JupyterLab did not start:\n{(home / 'lab.log').read_text()[-2000:]}")

    def stop(self) -> None:
        self.process.terminate()
        self.process.wait(20)


@pytest.fixture(scope="module")
def opened(browser: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Opened]:
    server = Opened(tmp_path_factory.mktemp("opened"))
    yield server
    server.stop()


@pytest.mark.parametrize(("width", "height", "scheme"), [(1280, 800, "light"), (820, 1180, "dark")])
def test_no_code_is_in_sight_and_one_button_starts_the_forms(
    browser, opened, width, height, scheme
):
    context = browser.new_context(
        viewport={"width": width, "height": height}, service_workers="block", color_scheme=scheme
    )
    outside: list[str] = []
    context.on(
        "request",
        lambda request: (
            None
            if request.url.startswith((opened.base, "data:", "blob:"))
            else outside.append(request.url)
        ),
    )
    page = context.new_page()
    page.set_default_timeout(150_000)
    page.goto(opened.base)
    page.evaluate(READY)
    button = page.get_by_role("button", name=START)
    button.wait_for()
    shot(page, f"lab-opened-{scheme}-{width}")
    code_is_hidden(page)
    assert button.bounding_box()["height"] >= 44
    button.click()
    page.get_by_role("form", name="Setup").get_by_label("Who is entering", exact=True).wait_for()
    code_is_hidden(page)
    page.get_by_text(re.compile("NOT CLEAR TO TURN THE SHAFT")).first.wait_for()
    shot(page, f"lab-alive-{scheme}-{width}")
    assert page.evaluate("document.body.dataset.jpThemeLight") == str(scheme == "light").lower()
    context.close()
    assert not outside, outside


def code_is_hidden(page: Any) -> None:
    """No line of code can be seen, in whatever way a cell may show one."""
    page.wait_for_function("() => document.querySelectorAll('.jp-CodeCell').length > 10")
    seen = page.evaluate(
        """[...document.querySelectorAll(
            '.jp-CodeCell :is(.cm-content, .jp-InputPlaceholder, .jp-InputPrompt, .jp-OutputPrompt)'
        )]
        .filter((node) => node.checkVisibility() && node.getBoundingClientRect().height > 0)
        .map((node) => node.textContent)"""
    )
    assert seen == []


def test_the_persons_own_settings_and_layout_are_left_as_they_were(opened):
    files = [path for path in opened.settings.rglob("*") if path.is_file()]
    assert [path.read_text(encoding="utf-8") for path in files] == [MINE]
    assert (
        not list((opened.home / "config").rglob("*.json"))
        and not (opened.home / "workspaces").exists()
    )


def test_the_persons_own_settings_stand_above_ours(opened):
    import json

    with urllib.request.urlopen(
        opened.base + "lab/api/settings/@jupyterlab/apputils-extension:notification", timeout=30
    ) as reply:
        told = json.load(reply)
    assert told["settings"]["fetchNews"] == "true"  # the person's own
    assert (
        told["schema"]["properties"]["fetchNews"]["default"] == "false"
    )  # ours, where the person says nothing


def test_a_notebook_opened_again_shows_its_last_state_and_no_dead_widget(browser, opened) -> None:
    def fresh() -> Any:
        context = browser.new_context(viewport={"width": 1280, "height": 800})
        page = context.new_page()
        page.set_default_timeout(150_000)
        page.goto(opened.base)
        page.evaluate(READY)
        return context, page

    context, page = fresh()
    page.get_by_role("button", name=START).click()
    page.get_by_role("form", name="Setup").get_by_label("Who is entering", exact=True).wait_for()
    page.wait_for_function(
        "jupyterapp.shell.currentWidget.sessionContext.session.kernel.status === 'idle'"
    )
    page.evaluate("jupyterapp.shell.currentWidget.context.save()")
    page.evaluate("jupyterapp.shell.currentWidget.sessionContext.shutdown()")
    context.close()

    context, page = fresh()
    page.get_by_text(re.compile(r"^as of \d{4}-")).first.wait_for()
    assert page.get_by_text("Error displaying widget").count() == 0
    context.close()
