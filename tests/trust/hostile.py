"""A job in which everything that anybody can type, name or put in a file means harm."""

from __future__ import annotations

import json
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from startkit.facts.job import Job
from startkit.facts.journal import Entry

ROOT = Path(__file__).parents[2]
SHEET = ROOT / "workbook" / "plant" / "machines" / "CH-1.toml"
SECRET = "the secret beside the job"


class Listener:
    """A door on the loopback that counts who knocks."""

    def __init__(self) -> None:
        self._socket = socket.create_server(("127.0.0.1", 0))
        self.port = self._socket.getsockname()[1]
        self.knocks = 0
        self._thread = threading.Thread(target=self._count, daemon=True)
        self._thread.start()

    def _count(self) -> None:
        while True:
            try:
                self._socket.accept()[0].close()
            except OSError:
                return
            self.knocks += 1

    def close(self) -> None:
        self._socket.close()


@contextmanager
def listening() -> Iterator[Listener]:
    """A listener for the time of a test."""
    door = Listener()
    yield door
    door.close()


def texts(port: int) -> dict[str, str]:
    """One text for each way of harming; `port` is where a fetch would knock."""
    door = f"http://127.0.0.1:{port}"
    return {
        "script": f"<script>window.harmed=1;fetch('{door}/script')</script>",
        "picture": f'<img src="{door}/picture" onerror="window.harmed=1">',
        "attribute": '" onmouseover="window.harmed=1" autofocus onfocus="window.harmed=1" x="',
        "element": f"</td></table></div><svg onload=window.harmed=1><iframe src={door}/frame>",
        "style": f"</style><style>@import '{door}/style'; body {{ background: url({door}/back) }}",
        "formula": (
            r"$\require{html}\href{javascript:window.harmed=1}{x}$ and"
            r" \(\require{html}\style{color:red}{x}\)"
        ),
        "typst": (
            f'#read("../secret.txt") #image("{door}/typst") #set page(fill: red) = H <label> @ref'
            ' $x^2$ *bold* _i_ `raw` #panic("x")'
        ),
        "latex": r"\input{../secret.txt} \write18{touch harmed} \href{x}{y} % comment",
        "terminal": (
            f"\x1b[31mred\x1b[0m \x1b]8;;{door}/terminal\x07link\x1b]8;;\x07 \x1b[2J\x07\x08\x9b5m"
        ),
        "markdown": (
            f"![a]({door}/markdown.png) ![b](file:///etc/hostname) [c](javascript:window.harmed=1)"
            f" <{door}/auto>"
        ),
        "turned": "abc\u202edcba\u202c \u2066x\u2069",
        "equals": f'=HYPERLINK("{door}/sheet","x")',
        "plus": "+1+cmd|' /C calc'!A1",
        "minus": "-2+3+cmd|' /C calc'!A1",
        "at": "@SUM(1+1)*cmd|' /C calc'!A0",
        "tab": "\t=1+1",
        "line": "\r=1+1\n=2+2",
        "blank": " =1+1",
        "wide": "＝1+1",
        "path": "../../../../../../../../etc/hostname",
        "format": "%s%n {0} {__class__} ${HOME} $(touch harmed) `touch harmed` ; touch harmed #",
        "null": "a\x00b",
        "lone": "half \ud800 sign",
        "long": "W" * 3000,
    }


def make(folder: Path, port: int) -> Job:
    """The job in ``folder / "J"``; beside it lies a secret that nothing may read."""
    said = texts(port)
    (folder / "secret.txt").write_text(SECRET, encoding="utf-8")
    (folder / "secret.svg").write_text(
        f'<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"><text>{SECRET}</text></svg>',
        encoding="utf-8",
    )
    sheet = SHEET.read_text(encoding="utf-8")
    for old, new in (
        ("CH-1", f"T {said['script']}"),
        ("OV26-0417", said["typst"]),
        ("Skerrow Harbour Market Hall", said["picture"]),
        ("OVS 500", said["terminal"]),
        ("Orrinvale Rotating Machines", said["element"]),
    ):
        assert f'= "{old}"' in sheet
        sheet = sheet.replace(f'= "{old}"', f"= {json.dumps(new)}", 1)
    (folder / "sheet.toml").write_text(sheet, encoding="utf-8")
    job = Job.create(
        folder / "J",
        folder / "sheet.toml",
        ROOT / "templates" / "new-machine.ipynb",
        who=said["script"],
    )
    job.record(_entries(said))
    _files(job.folder, said)
    return Job(job.folder)


def _entries(said: dict[str, str]) -> list[Entry]:
    """Hostile texts in every place that an entry has, and in every kind of field."""
    who = said["picture"]
    rows = [
        Entry(f"setup.people.{n}.{column}", text, who=who)
        for n, (name, text) in enumerate(said.items(), start=1)
        for column in ("name", "role", "firm")
        if name != "long" or column == "name"
    ]
    cells = [
        Entry(f"setup.instruments.{n}.{column}", text, who=who)
        for n, text in enumerate(list(said.values())[:-1], start=1)
        for column in ("tag", "name", "kind", "accuracy")
    ]
    fields = [
        Entry(item, text, said["element"], who, said["attribute"], said["typst"])
        for item, text in (
            ("lube.sump_temperature", said["script"]),
            ("lube.filter_drop", said["equals"]),
            ("lube.oil_kind", said["typst"]),
            ("setup.nameplate_serial", said["formula"]),
            ("setup.nameplate_model", said["markdown"]),
            ("setup.barometer", said["minus"]),
            ("safety.lock_out_list_text", said["terminal"]),
            ("safety.who_may_energise_text", said["latex"]),
            ("safety.relief_devices_photo", "../secret.svg"),
            ("electrical.covers_photo", said["script"]),
            ("handover.documents", said["turned"]),
            ("vanes.trace", "\n".join(said.values())),
        )
    ]
    corrections = [
        Entry("lube.oil_kind", said["style"], "", who, "", said["markdown"]),
        Entry("lube.oil_kind", said["format"], "", said["typst"], "", said["script"]),
    ]
    waivers = [
        Entry("waiver.lube.oil_level", said["typst"], who=said["script"]),
        Entry("not_applicable.lube.foaming", said["script"], who=said["at"]),
    ]
    owed = [
        Entry("handover.statements.1.name", who, who=who),
        Entry("handover.statements.1.role", "technician", who=who),
        Entry("handover.statements.1.statement", said["element"], who=who),
    ]
    return [*rows, *cells, *fields, *corrections, *waivers, *owed]


def _files(folder: Path, said: dict[str, str]) -> None:
    """A check list and trend files with hostile contents and names."""
    item = {
        "name": "one",
        "question": said["script"],
        "help": said["picture"],
        "group": said["attribute"],
        "next": said["typst"],
        "source": said["latex"],
    }
    body = {"name": "harm", "title": said["element"], "purpose": said["markdown"]}
    lines = (
        [f"{key} = {json.dumps(value)}" for key, value in body.items()]
        + [f"cautions = [{json.dumps(said['terminal'])}]", "[[items]]"]
        + [f"{key} = {json.dumps(value)}" for key, value in item.items()]
    )
    (folder / "checklists").mkdir(exist_ok=True)
    (folder / "checklists" / "harm.toml").write_text("\n".join(lines) + "\n", encoding="utf-8")
    (folder / "trends").mkdir(exist_ok=True)
    for name in (
        "<img src=x onerror=harmed=1>.csv",
        "=1+1.csv",
        "#read(..).csv",
        "$(touch harmed).csv",
        "-rf.csv",
    ):
        (folder / "trends" / name).write_text("Time,A\n1,2\n", encoding="utf-8")
