"""A command where there is no network but the loopback; the kernel counts what found no route."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parents[1]
ALONE = """
import fcntl, os, socket, struct, subprocess, sys
probe = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
fcntl.ioctl(probe, 0x8914, struct.pack("16sh", b"lo", 0x41))  # SIOCSIFFLAGS: up and running
assert [name for _, name in socket.if_nameindex()] == ["lo"]
status = subprocess.run([sys.executable, *sys.argv[1:]]).returncode
names, values = [line.split() for line in open("/proc/net/snmp") if line.startswith("Ip:")]
print("without a route:", dict(zip(names, values))["OutNoRoutes"])
sys.exit(status)
"""


@cache
def possible() -> bool:
    """Whether a network namespace can be made here."""
    return (
        shutil.which("unshare") is not None
        and subprocess.run(["unshare", "-rn", "true"], capture_output=True, check=False).returncode
        == 0
    )


def run(folder: Path, *command: str | Path) -> subprocess.CompletedProcess[str]:
    """Run a command of Python; with the network where there is no namespace."""
    alone = ["unshare", "-rn", sys.executable, "-c", ALONE] if possible() else [sys.executable]
    return subprocess.run(
        [*alone, *map(str, command)],
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        cwd=folder,
        timeout=280,
        check=False,
    )
