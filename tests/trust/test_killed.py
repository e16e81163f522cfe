"""Whatever happens to the process, what was acknowledged is there and the chain is whole."""

from __future__ import annotations

import os
import resource
import subprocess
import sys
from pathlib import Path

import pytest

from benchmarks.killed import kill_often
from startkit.errors import JournalError
from startkit.facts.journal import Entry, Journal

ROOT = Path(__file__).parents[2]


def test_a_writer_killed_at_random_moments_loses_nothing_that_it_acknowledged(
    tmp_path: Path,
) -> None:
    tally = kill_often(int(os.environ.get("STARTKIT_KILLS", "25")), folder=tmp_path)
    assert tally.acknowledged > tally.kills
    assert (tally.lost, tally.broken, tally.unreadable) == (0, 0, 0)


def test_eight_processes_make_one_chain(tmp_path: Path) -> None:
    count = int(os.environ.get("STARTKIT_ENTRIES", "100"))
    journal = Journal.create(tmp_path / "job.db")
    command = [sys.executable, "-m", "tests.trust.writer", str(journal.path)]
    writers = [
        subprocess.Popen([*command, f"p{n}", str(count)], cwd=ROOT, stdout=subprocess.DEVNULL)
        for n in range(8)
    ]
    assert [writer.wait(timeout=220) for writer in writers] == [0] * 8
    entries = journal.read()
    assert len(entries) == 8 * count and journal.faults() == []
    assert {e.what for e in entries} == {f"p{p}.{n}" for p in range(8) for n in range(count)}


def test_a_reader_never_sees_half_a_batch(tmp_path: Path) -> None:
    journal = Journal.create(tmp_path / "job.db")
    code = (
        "import sys, time; from pathlib import Path; from startkit.facts.journal import Entry,"
        " Journal; j = Journal.open(Path(sys.argv[1]))\nfor n in range(60):"
        " j.append([Entry(f'b{n}.{i}', '1') for i in range(5)]); time.sleep(0.01)"
    )
    writer = subprocess.Popen([sys.executable, "-c", code, str(journal.path)])
    seen = []
    while writer.poll() is None:
        seen.append(len(journal.read()))
    assert writer.returncode == 0 and all(n % 5 == 0 for n in [*seen, len(journal.read())])
    assert len(set(seen)) > 3, "the reader did look while the writer wrote"


def test_a_full_disk_is_one_sentence_and_harms_nothing(tmp_path: Path) -> None:
    journal = Journal.create(tmp_path / "job.db")
    journal.append([Entry("a", "1")])
    # A limit on the size of files stands in for a full disk: the write fails in the middle.
    code = (
        "import resource, signal, sys; from pathlib import Path; from startkit.errors import"
        " JournalError; from startkit.facts.journal import Entry,"
        " Journal\nsignal.signal(signal.SIGXFSZ, signal.SIG_IGN); j ="
        " Journal.open(Path(sys.argv[1]))\nresource.setrlimit(resource.RLIMIT_FSIZE, (40_000,"
        " resource.RLIM_INFINITY))\ntry: j.append([Entry('big', 'x' * 200_000)])\nexcept"
        " JournalError as error: print(error)\n"
    )
    said = subprocess.run(
        [sys.executable, "-c", code, str(journal.path)], capture_output=True, text=True, check=True
    ).stdout
    assert "nothing was saved" in said and said.count("\n") == 1
    assert [e.what for e in journal.read()] == ["a"] and journal.faults() == []
    journal.append([Entry("b", "2")])
    assert journal.faults() == []
    assert resource.getrlimit(resource.RLIMIT_FSIZE)[0] == resource.RLIM_INFINITY


@pytest.mark.skipif(
    os.name == "posix" and os.geteuid() == 0, reason="root writes into read-only folders"
)
def test_a_read_only_folder_is_one_sentence(tmp_path: Path) -> None:
    journal = Journal.create(tmp_path / "job.db")
    tmp_path.chmod(0o500)
    try:
        with pytest.raises(JournalError, match="not writable"):
            journal.append([Entry("a", "1")])
    finally:
        tmp_path.chmod(0o700)


def test_a_write_protected_file_is_one_sentence_even_for_root(tmp_path: Path) -> None:
    journal = Journal.create(tmp_path / "job.db")
    protected = Journal(journal.path, read_only=True)
    with pytest.raises(JournalError, match="read-only"):
        protected.append([Entry("a", "1")])
    assert protected.read() == []


def test_a_lock_of_a_dead_process_frees_itself(tmp_path: Path) -> None:
    journal = Journal.create(tmp_path / "job.db")
    code = (
        "import sqlite3, sys, time; d = sqlite3.connect(sys.argv[1], isolation_level=None);"
        " d.execute('BEGIN IMMEDIATE'); print('locked', flush=True); time.sleep(60)"
    )
    holder = subprocess.Popen(
        [sys.executable, "-c", code, str(journal.path)], stdout=subprocess.PIPE, text=True
    )
    assert holder.stdout is not None and holder.stdout.readline() == "locked\n"
    holder.kill()
    holder.wait()
    journal.append([Entry("a", "1")])
    assert [e.what for e in journal.read()] == ["a"]


HALF_DONE = """
import sqlite3, sys, time
db = sqlite3.connect(sys.argv[1], isolation_level=None)
# Pages go to the file before the end, as they do in a large change.
db.execute("PRAGMA cache_size = 1")
db.execute("BEGIN IMMEDIATE")
for n in range(2, 400):
    db.execute(
        "INSERT INTO entries (seq, what, value, unit, who, instrument, note, at, previous, digest)"
        " VALUES (?, 'b', ?, '', '', '', '', '', ?, ?)",
        (n, "x" * 3000, str(n), str(n)),
    )
print("half done", flush=True)
time.sleep(60)
"""


@pytest.mark.parametrize("read_only", [True, False])
def test_what_a_killed_writer_left_half_done_is_undone_by_whoever_opens_first(
    tmp_path: Path, read_only: bool
) -> None:
    journal = Journal.create(tmp_path / "job.db")
    journal.append([Entry("a", "1")])
    writer = subprocess.Popen(
        [sys.executable, "-c", HALF_DONE, str(journal.path)], stdout=subprocess.PIPE, text=True
    )
    assert writer.stdout is not None and writer.stdout.readline() == "half done\n"
    writer.kill()
    writer.wait()
    assert (tmp_path / "job.db-journal").stat().st_size > 0, "something was left half done"
    opened = Journal.open(journal.path, read_only)
    assert [e.what for e in opened.read()] == ["a"] and opened.faults() == []
    assert not (tmp_path / "job.db-journal").exists()
