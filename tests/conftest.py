"""Shared by all tests: the ledger of checks against something outside this project, and the
demonstration.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Any

import pytest

from tests import ledger, offline

ROOT = Path(__file__).parents[1]
WRITTEN = ROOT / "workbook" / "proof" / "outside.json"

# `make check` leaves these out: processes are started or killed, records printed, kernels run.
SLOW = (
    "tests/browser/",
    "tests/desk/test_proof_notebook.py",
    "tests/fleet/",
    "tests/paper/",
    "tests/test_benchmarks.py",
    "tests/test_foreign_folder.py",
    "tests/test_here_and_doctor.py",
    "tests/test_proof.py::test_a_whole_run",
    "tests/test_proof.py::test_workers",
    "tests/test_whole_job.py",
    "tests/trust/",
    "tests/workbook/",
    "tests/wrong_machines/",
)

_CHECKS: list[ledger.Check] = []
_EDGES = ledger.Edges()
_COMPLAINTS: list[str] = []


@pytest.fixture
def outside(request: pytest.FixtureRequest) -> Iterator[ledger.Ledger]:
    """The ledger for this test."""
    yield ledger.Ledger(_CHECKS, request.node.nodeid)


@pytest.fixture
def edges() -> ledger.Edges:
    """For a test that judges at a limit which no single reading is held against."""
    return _EDGES


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--outside-table", default=None, help="write the outside checks to this JSON file"
    )
    parser.addoption(
        "--edge-table",
        default=None,
        help="write the readings nearest to each limit to this JSON file",
    )
    parser.addoption(
        "--proof-only",
        action="store_true",
        help="run only the tests with outside checks and the tests of the stages",
    )


def pytest_configure(config: pytest.Config) -> None:
    _EDGES.watch()


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    for item in items:
        if item.nodeid.startswith(SLOW):
            item.add_marker(pytest.mark.slow)
        if item.get_closest_marker("xdist_group") is None and _has_module_fixture(item):
            # What a module makes once would else be made once by each worker.
            item.add_marker(pytest.mark.xdist_group(item.nodeid.partition("::")[0]))
    if config.getoption("--proof-only"):
        items[:] = [
            item
            for item in items
            if "outside" in getattr(item, "fixturenames", ()) or "tests/stages/" in item.nodeid
        ]


def _has_module_fixture(item: pytest.Item) -> bool:
    fixtures = getattr(getattr(item, "_fixtureinfo", None), "name2fixturedefs", {})
    return any(
        definition.scope == "module"
        for definitions in fixtures.values()
        for definition in definitions
    )


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node: Any, error: object) -> None:
    """A worker of a parallel run has finished: take over what it saw."""
    seen = getattr(node, "workeroutput", {}).get("ledger", {"checks": [], "edges": []})
    _CHECKS.extend(ledger.Check(**row) for row in seen["checks"])
    for row in seen["edges"]:
        _EDGES.keep(ledger.Edge(**row))


def _whole(config: pytest.Config) -> bool:
    """True if every test runs, so that what is not seen is not there."""
    chosen = (
        config.getoption(name, None)
        for name in ("keyword", "markexpr", "lf", "deselect", "ignore", "proof_only", "collectonly")
    )
    return config.args_source is pytest.Config.ArgsSource.TESTPATHS and not any(chosen)


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session) -> None:
    config = session.config
    if hasattr(config, "workeroutput"):
        config.workeroutput["ledger"] = {
            "checks": [asdict(c) for c in _CHECKS],
            "edges": [asdict(e) for e in _EDGES.nearest.values()],
        }
        return
    for option, rows in (
        ("--outside-table", ledger.check_rows(_CHECKS)),
        ("--edge-table", ledger.edge_rows(_EDGES)),
    ):
        if config.getoption(option):
            ledger.write(config.getoption(option), rows)
    if _whole(config) and session.testscollected and session.exitstatus == pytest.ExitCode.OK:
        _COMPLAINTS[:] = ledger.differences(
            json.loads(WRITTEN.read_text(encoding="utf-8")), ledger.check_rows(_CHECKS)
        )
        if _COMPLAINTS:
            session.exitstatus = pytest.ExitCode.TESTS_FAILED


def pytest_terminal_summary(terminalreporter: Any) -> None:
    if _COMPLAINTS:
        terminalreporter.section(
            "the written table of outside checks is not that of the tests: run `make proof`"
        )
        for complaint in _COMPLAINTS:
            terminalreporter.line(complaint)


# --- the demonstration, made once -----------------------------------------------------------------
if str(ROOT) not in sys.path:
    # The workbook is not installed: let its tests find it beside the package.
    sys.path.insert(0, str(ROOT))


@pytest.fixture(scope="session")
def demo_made(
    tmp_path_factory: pytest.TempPathFactory,
) -> tuple[Path, subprocess.CompletedProcess[str]]:
    """The demonstration's folder and what its command printed, made without any network. Tests that
    use it belong to the group ``demo``.
    """
    folder = tmp_path_factory.mktemp("demonstration") / "demo"
    done = offline.run(folder.parent, ROOT / "workbook" / "demo.py", folder)
    assert done.returncode == 0, done.stderr[-2000:]
    return folder, done


@pytest.fixture(scope="session")
def demo(demo_made: tuple[Path, subprocess.CompletedProcess[str]]) -> Path:
    """The demonstration's folder, with the record of CH-1 printed."""
    return demo_made[0]
