"""A job served as a page, and the hands that fill it."""

from __future__ import annotations

import json
import os
import re
import socket
import sqlite3
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path
from typing import Any

from startkit.facts.job import Job
from startkit.facts.plugins import find_template
from startkit.procedure.registry import stages

SHEET = Path(__file__).parents[2] / "workbook" / "plant" / "machines" / "CH-1.toml"
PLANT = "Hall </title><b id='hostile'>A & B</b>"
# The same server with kernels of closed pages ended after forty seconds instead of half an hour; a
# page that is still
# being opened on a busy computer is not closed yet.
SERVE = """
import sys
from pathlib import Path
from startkit.desk import page
page.CULL_AFTER, page.CULL_EVERY = 40, 1
page.serve_page(Path(sys.argv[1]), browser=False, port=int(sys.argv[2]), address=sys.argv[3])
"""


def question(item: str) -> str:
    """What the form asks for an item, so that its wording may change."""
    stage, name = item.split(".")
    return next(field.question for field in stages()[stage].fields if field.name == name)


SERIAL = question("setup.nameplate_serial")


def free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return free.getsockname()[1]


class Served:
    """A job served as a page, with a home of its own."""

    def __init__(self, home: Path, address: str = "127.0.0.1") -> None:
        home.mkdir(parents=True, exist_ok=True)
        sheet = home / "sheet.toml"
        sheet.write_text(
            re.sub(
                r"^plant = .*$",
                lambda _: f"plant = {json.dumps(PLANT)}",
                SHEET.read_text(encoding="utf-8"),
                flags=re.MULTILINE,
            ),
            encoding="utf-8",
        )
        self.job = Job.create(home / "job", sheet, find_template("new-machine"))
        (self.job.folder / "photo.png").write_bytes(b"\x89PNG")
        # A foreign job could bring settings along: they are programs, and must not run.
        (self.job.folder / "voila.py").write_text(
            f"open({str(home / 'ran')!r}, 'w').close()\n", encoding="utf-8"
        )
        self.home, self.log, self.address = home, home / "page.log", address
        names = {
            "HOME": "",
            "JUPYTER_CONFIG_DIR": "config",
            "JUPYTER_DATA_DIR": "data",
            "JUPYTER_RUNTIME_DIR": "runtime",
            "IPYTHONDIR": "ipython",
        }
        environment = {**os.environ, **{name: str(home / part) for name, part in names.items()}}
        with self.log.open("wb") as log:
            self.process = subprocess.Popen(
                [
                    sys.executable,
                    "-P",
                    "-c",
                    SERVE,
                    str(self.job.folder),
                    str(free_port()),
                    address,
                ],
                env=environment,
                stdout=log,
                stderr=log,
                cwd=self.job.folder,
            )
        self.url = self._url()
        self.base, self.token = self.url.split("?token=")

    def _url(self) -> str:
        for _ in range(1200):
            found = re.search(r"http://\S+\?token=\S+", self.said)
            if found:
                return found.group()
            time.sleep(0.1)
        raise RuntimeError(f"the page was not served:\n{self.said[-2000:]}")

    @property
    def said(self) -> str:
        return self.log.read_text(encoding="utf-8")

    def ask(self, path: str, with_token: bool = True, method: str = "GET") -> tuple[int, str]:
        """Status and text of one request, as a program without a browser makes it."""
        request = urllib.request.Request(
            self.base + path,
            method=method,
            headers={"Authorization": f"token {self.token}"} if with_token else {},
        )
        try:
            with urllib.request.urlopen(request, timeout=60) as reply:
                return reply.status, reply.read().decode("utf-8", "replace")
        except urllib.error.HTTPError as error:
            return error.code, error.read().decode("utf-8", "replace")

    def stop(self) -> None:
        self.process.terminate()
        self.process.wait(20)


def setup(page: Any) -> Any:
    return page.get_by_role("form", name="Setup")


def field(page: Any, question: str) -> Any:
    return setup(page).locator(".sk-field").filter(has=page.get_by_label(question, exact=True))


def name_me(page: Any) -> None:
    who = setup(page).get_by_label("Who is entering", exact=True)
    if who.input_value() != "A. Technician":
        who.fill("A. Technician")
        who.press("Tab")


def says(place: Any, words: str) -> None:
    place.get_by_text(re.compile(words)).first.wait_for()


def values(job: Job, what: str) -> list[str]:
    with sqlite3.connect(job.folder / "job.db") as db:
        return [
            row[0]
            for row in db.execute("SELECT value FROM entries WHERE what = ? ORDER BY seq", (what,))
        ]


def kernel(page: Any) -> str:
    return json.loads(page.locator("#jupyter-config-data").text_content())["kernelId"]
