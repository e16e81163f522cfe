"""`startkit` never sends anything anywhere: no address but this computer's own is asked for, by it
or by the kernel it starts.
"""

from __future__ import annotations

import ast
import json
import os
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from tests import offline

ROOT = Path(__file__).parents[2]
WATCH = Path(__file__).parent / "watch"
SHEET = ROOT / "workbook" / "plant" / "machines" / "CH-1.toml"
OWN = re.compile(r"^(127\.\d+\.\d+\.\d+|::1|localhost|)$")
READINGS = "item,value,unit,who\nlube.sump_temperature,51,°C,Ana\nlube.filter_drop,12,kPa,Ana\n"

# Every command in one process: starting each anew would take longer than its work.
ALL_OF = """
from startkit.cli import main

ended = []
for command in {}:
    try:
        ended.append(main(command, standalone_mode=True))
    except SystemExit as end:
        ended.append(end.code or 0)
print(ended)
"""

pytestmark = [pytest.mark.xdist_group("silence"), pytest.mark.timeout(300)]


def hosts(log: str) -> list[str]:
    """Every host that was connected to, sent to, bound or looked up; a path of this computer is
    none.
    """
    found = []
    for line in log.splitlines():
        event, _, arguments = line.partition("\t")
        if event == "process" or event == "socket.gethostbyname_ex":
            continue
        for value in _texts(ast.literal_eval(re.sub(r"<[^>]*>", "None", arguments))):
            if not value.startswith(("/", "\x00", "@")):
                found.append(value)
    return found


def _texts(value: object) -> list[str]:
    """The first text of an address, wherever it stands."""
    if isinstance(value, bytes):
        value = value.decode("utf-8", "replace")
    if isinstance(value, str):
        return [value]
    return _texts(value[0]) if isinstance(value, tuple | list) and value else []


@pytest.fixture
def watched(tmp_path: Path) -> Callable[..., tuple[subprocess.CompletedProcess[str], str]]:
    """Run a command with every network address noted."""

    def run(
        *command: str | Path, prefix: tuple[str, ...] = ()
    ) -> tuple[subprocess.CompletedProcess[str], str]:
        log = tmp_path / "watch.log"
        environment = {
            **os.environ,
            "STARTKIT_WATCH": str(log),
            "PYTHONPATH": os.pathsep.join((str(WATCH), str(ROOT))),
        }
        done = subprocess.run(
            [*prefix, sys.executable, *map(str, command)],
            env=environment,
            capture_output=True,
            text=True,
            cwd=tmp_path,
            timeout=240,
            check=False,
        )
        return done, log.read_text(encoding="utf-8")

    return run


def test_from_a_new_job_to_its_record_no_address_but_our_own_is_asked(watched, tmp_path):
    (tmp_path / "readings.csv").write_text(READINGS, encoding="utf-8")
    commands = [
        ["new", "J", "--sheet", str(SHEET)],
        ["items", "J"],
        ["enter", "J", "readings.csv"],
        ["status", "J"],
        ["limits"],
        ["spreadsheet", "J", "sheet.xlsx"],
        ["run", "J"],
        ["print", "J"],
    ]
    done, log = watched("-c", ALL_OF.format(commands))
    assert done.returncode == 0 and done.stdout.splitlines()[-1] == "[0, 0, 0, 1, 0, 0, 1, 1]", (
        done.stderr
    )
    assert list((tmp_path / "J" / "records").glob("*.pdf"))
    asked = hosts(log)
    assert asked and all(OWN.match(host) for host in asked), sorted(set(asked))
    assert "ipykernel_launcher" in log and "startkit.side_process" in log, (
        "the kernel and the process that draws were watched too"
    )


def test_the_watch_sees_one_who_sends(watched):
    code = (
        "import socket\nfor call in (lambda: socket.create_connection(('192.0.2.1', 9), 0.1),"
        " lambda: socket.socket(type=socket.SOCK_DGRAM).sendto(b'x', ('198.51.100.7', 9)), lambda:"
        " socket.getaddrinfo('startkit.invalid', 80)):\n    try: call()\n    except OSError: pass\n"
    )
    _, log = watched("-c", code)
    assert {"192.0.2.1", "198.51.100.7", "startkit.invalid"} <= {
        host for host in hosts(log) if not OWN.match(host)
    }


# --- with no network at all -----------------------------------------------------------------------


@pytest.mark.xdist_group("demo")
def test_the_demonstration_is_made_printed_and_says_where_it_is_without_any_network(demo_made):
    if not offline.possible():
        pytest.skip("no network namespace can be made here")
    folder, done = demo_made
    record = next(
        line.split(maxsplit=2)[2]
        for line in done.stdout.splitlines()
        if line.startswith("Record (PDF):")
    )
    assert Path(record).read_bytes().startswith(b"%PDF")
    assert Path(record).parent == folder / "jobs" / "CH-1" / "records"
    notebook = json.loads((Path(record).parent / "CH-1.ipynb").read_text(encoding="utf-8"))
    assert all(
        output["output_type"] != "error"
        for cell in notebook["cells"]
        for output in cell.get("outputs", [])
    )
    assert done.stdout.splitlines()[-1] == "without a route: 0", (
        "not one packet was meant for elsewhere"
    )


def test_a_packet_for_elsewhere_would_be_counted(tmp_path):
    if not offline.possible():
        pytest.skip("no network namespace can be made here")
    done = offline.run(
        tmp_path,
        "-c",
        "import socket\ntry: socket.create_connection(('192.0.2.1', 9), 1)\nexcept OSError: pass",
    )
    assert done.stdout.splitlines()[-1] != "without a route: 0"


def test_no_module_of_ours_opens_a_connection():
    """What could reach out is named: the page's own server, and the time stamp that a person asks
    for by its address.
    """
    # The page serves; visits of it are refused by an error of that server.
    allowed = {"desk/page.py", "desk/visits.py", "paper/time_stamps.py"}
    pattern = re.compile(
        r"^\s*(?:import|from)\s+(?:requests|urllib\.request|http\.client|socket|smtplib|ftplib|aiohttp|httpx|tornado)\b",
        re.MULTILINE,
    )
    found = {
        path.relative_to(ROOT / "startkit").as_posix()
        for path in (ROOT / "startkit").rglob("*.py")
        if pattern.search(path.read_text(encoding="utf-8"))
    }
    assert found <= allowed, found - allowed


def test_jupyterlab_is_told_to_ask_nobody(tmp_path):
    """News, newer versions and extensions are what JupyterLab fetches by itself."""
    from jupyterlab.labapp import LabApp

    from startkit.desk.lab import arguments
    from startkit.facts.job import Job

    command = arguments(
        Job.create(tmp_path / "J", SHEET, ROOT / "templates" / "new-machine.ipynb"), browser=False
    )
    app = LabApp()
    app.parse_command_line([part for part in command if part.startswith("--LabApp")])
    assert (app.news_url, app.check_for_updates_class.__name__, app.extension_manager) == (
        None,
        "NeverCheckForUpdate",
        "readonly",
    )
