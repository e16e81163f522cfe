"""Names cannot write lines of the output, an address works, and what was started ends."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time

import click
import pytest
from click.testing import CliRunner

from startkit.cli.output import say
from startkit.desk.page import LOOPBACK, reachable


def test_a_line_break_in_a_name_begins_no_line() -> None:
    @click.command()
    def told() -> None:
        say("Signed by Ana\nVALID")
        say(["first\nVALID", "second"])

    lines = CliRunner().invoke(told).output.splitlines()
    assert lines == ["Signed by Ana VALID", "first VALID", "second"]


@pytest.mark.parametrize("address", ["0.0.0.0", "::"])
def test_an_address_that_means_all_is_told_as_one_that_works(address: str) -> None:
    family = socket.AF_INET6 if address == "::" else socket.AF_INET
    try:
        listening = socket.socket(family)
        listening.bind((address, 0))
    except OSError:
        pytest.skip("this computer has no such addresses")
    with listening:
        listening.listen()
        found = reachable(address)
        assert found != address
        socket.create_connection((found, listening.getsockname()[1]), timeout=5).close()


def test_any_other_address_is_told_as_it_was_given() -> None:
    assert reachable("127.0.0.2") == "127.0.0.2"
    assert reachable("") == LOOPBACK


@pytest.mark.skipif(os.name != "posix", reason="Windows has no such signals")
def test_what_open_started_ends_with_it() -> None:
    inner = "import os, time; print(os.getpid(), flush=True); time.sleep(600)"
    outer = (
        "import os, sys; from startkit.desk.lab import waited_for;"
        f"waited_for([sys.executable, '-c', {inner!r}], dict(os.environ))"
    )
    with subprocess.Popen([sys.executable, "-c", outer], stdout=subprocess.PIPE) as started:
        assert started.stdout is not None
        number = int(started.stdout.readline())
        started.send_signal(signal.SIGTERM)
        started.wait(20)
    until = time.monotonic() + 20
    while time.monotonic() < until:
        try:
            os.kill(number, 0)
        except ProcessLookupError:
            return
        time.sleep(0.05)
    os.kill(number, signal.SIGKILL)
    pytest.fail("it is still running")
