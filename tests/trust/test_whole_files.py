"""Whatever writes files may be killed at any step or moment: each file is whole or not there, and
the deed can be done again.

STARTKIT_FILE_KILLS sets the kills at random moments for each deed, and then those that take long
are tried as well.
The kill of a fleet's run, and of its workers, stands in tests/fleet.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
KILLS = os.environ.get("STARTKIT_FILE_KILLS")
QUICK, LONG = (
    ("new", "rescue", "trend", "new key"),
    ("run and print", "sign", "import", "entry sheet"),
)

pytestmark = pytest.mark.timeout(3600 if KILLS else 300)


@pytest.mark.parametrize("deed", [*QUICK, *LONG])
def test_a_deed_killed_at_any_step_leaves_whole_files(deed: str) -> None:
    if deed in LONG and not KILLS:
        pytest.skip("takes minutes: set STARTKIT_FILE_KILLS")
    # In a process of its own: it forks, which this one with its threads must not.
    done = subprocess.run(
        [sys.executable, "benchmarks/killed_files.py", KILLS or "4", deed],
        capture_output=True,
        text=True,
        cwd=ROOT,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    steps = int(done.stdout.split(" steps")[0].split()[-1])
    assert steps >= 3, "it was killed in the midst of it"


@pytest.mark.parametrize(
    ("half", "said"),
    [(".db", "job.db"), (".pdf", "r.pdf"), (".ipynb", "n.ipynb"), (".toml", "s.toml")],
)
def test_the_watch_sees_half_a_file(half: str, said: str, tmp_path: Path) -> None:
    from benchmarks.killed_files import half_files

    whole = {
        ".db": b"SQLite format 3\0",
        ".pdf": b"%PDF-1.7\n",
        ".ipynb": b'{"cells": [',
        ".toml": b'tag = "CH',
    }
    (tmp_path / said).write_bytes(whole[half])
    assert [fault.split(":")[0] for fault in half_files(tmp_path)] == [said]
    (tmp_path / said).rename(tmp_path / f".{said}.7.part")
    assert half_files(tmp_path) == []


def test_a_full_disk_leaves_the_old_record(tmp_path: Path) -> None:
    """A limit on the size of files stands in for a full disk."""
    code = (
        "import resource, signal, sys; from pathlib import Path; from startkit.errors import"
        " PaperError; from startkit.facts.safe_files import write_whole\n"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN); path = Path(sys.argv[1]); write_whole(path,"
        " b'old')\nresource.setrlimit(resource.RLIMIT_FSIZE, (10_000,"
        " resource.RLIM_INFINITY))\ntry: write_whole(path, b'x' * 100_000)\nexcept PaperError as"
        " error: print(error)\n"
    )
    said = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path / "r.pdf")],
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    assert "cannot be written (File too large)" in said and said.count("\n") == 1
    assert [(path.name, path.read_bytes()) for path in tmp_path.iterdir()] == [("r.pdf", b"old")]
