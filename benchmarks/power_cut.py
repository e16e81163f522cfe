"""Cut the power while entries are written, and count the acknowledged entries that are lost.

A writer keeps a journal on a real ext4 file system in an image behind a loop device. At random
moments it is stopped and the image is copied: the copy is what a disk holds at a power cut, without
anything that was only in memory. The copy is mounted, which replays the file system's own log, and
every entry that was acknowledged before the cut is looked for in it. `synchronous = FULL` is
measured beside the journal's own setting for contrast.

Run as root:  python benchmarks/power_cut.py [cuts]   (default 50)
"""

from __future__ import annotations

import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

ROOT = Path(__file__).parents[1]
if str(ROOT) not in sys.path:
    sys.path.insert(0, str(ROOT))

from startkit.errors import StartkitError
from startkit.facts import journal as journal_
from startkit.facts.journal import Entry, Journal

MEGABYTES = 32  # of the image
LONGEST = 0.6  # s between two cuts
PAUSE = 0.1  # s between two entries: a person who types pauses longer, and a cut comes in a pause


@dataclass
class Tally:
    """What a run of power cuts showed."""

    cuts: int = 0
    lost: int = 0
    broken: int = 0
    unreadable: int = 0
    acknowledged: dict[int, str] = field(default_factory=dict)  # digests by number


def obstacle() -> str:
    """Why no file system can be mounted here; empty if one can."""
    lacking = [name for name in ("losetup", "mkfs.ext4", "mount") if not shutil.which(name)]
    if lacking:
        return f"no {' and no '.join(lacking)} on this machine"
    if os.geteuid() != 0:
        return "mounting an image takes root"
    done = subprocess.run(["losetup", "-f"], capture_output=True, text=True, check=False)
    return "" if done.returncode == 0 else f"no loop device ({done.stderr.strip()})"


def cut_often(cuts: int, synchronous: str, seed: int = 7) -> Tally:
    """Cut the power again and again under one writer.

    Parameters
    ----------
    cuts : int
    synchronous : str
        SQLite's setting with which the writer works.
    seed : int
        Of the random moments.
    """
    chance, tally = random.Random(seed), Tally()
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        with _disk(folder) as (image, mounted):
            path = mounted / "job" / "job.db"
            path.parent.mkdir()
            Journal.create(path)
            os.sync()
            with _writing(path, synchronous) as writer:
                for _ in range(cuts):
                    time.sleep(chance.uniform(0.02, LONGEST))
                    _cut(writer, image, folder, tally)
    return tally


@contextmanager
def _disk(folder: Path) -> Iterator[tuple[Path, Path]]:
    """A new image and the folder where it is mounted."""
    image = folder / "disk.img"
    with image.open("wb") as file:
        file.truncate(MEGABYTES << 20)
    _run("mkfs.ext4", "-q", "-F", image)
    with _mounted(image, folder / "disk") as place:
        yield image, place


@contextmanager
def _mounted(image: Path, place: Path) -> Iterator[Path]:
    place.mkdir(exist_ok=True)
    _run("mount", "-o", "loop", image, place)
    try:
        yield place
    finally:
        _run("umount", place)


@contextmanager
def _writing(path: Path, synchronous: str) -> Iterator[subprocess.Popen[bytes]]:
    writer = subprocess.Popen(
        [sys.executable, __file__, "--write", path, synchronous], stdout=subprocess.PIPE
    )
    assert writer.stdout is not None
    os.set_blocking(writer.stdout.fileno(), False)
    try:
        yield writer
    finally:
        writer.kill()
        writer.wait()


def _cut(writer: subprocess.Popen[bytes], image: Path, folder: Path, tally: Tally) -> None:
    """Stop the writer, take the disk as it is, and look for what was acknowledged."""
    writer.send_signal(signal.SIGSTOP)
    os.waitid(os.P_PID, writer.pid, os.WSTOPPED)
    copy = folder / "copy.img"
    _run("cp", "--sparse=always", image, copy)
    assert writer.stdout is not None
    for line in (writer.stdout.read() or b"").decode().splitlines():
        number, digest = line.split()
        tally.acknowledged[int(number)] = digest
    with _mounted(copy, folder / "copy") as place:
        _look(place / "job" / "job.db", tally)
    tally.cuts += 1
    writer.send_signal(signal.SIGCONT)


def _look(path: Path, tally: Tally) -> None:
    try:
        entries = Journal.open(path).read()
    except StartkitError:
        tally.unreadable += 1
        return
    there = {entry.seq: entry.digest for entry in entries}
    tally.lost += sum(there.get(n) != digest for n, digest in tally.acknowledged.items())
    tally.broken += bool(journal_.chain_faults(entries))


def _run(*command: str | Path) -> None:
    subprocess.run(command, check=True, capture_output=True)


def _write(path: Path, synchronous: str) -> None:
    """Write entries until killed; say number and digest of each once it is acknowledged."""
    journal_.SYNCHRONOUS = synchronous
    journal = Journal.open(path)
    n = 0
    while True:
        n += 1
        (saved,) = journal.append([Entry("lube.note", f"reading {n}", "kPa", "Ana")])
        # One write of one line: a stopped writer leaves no half of it.
        os.write(1, f"{saved.seq} {saved.digest}\n".encode())
        time.sleep(PAUSE)


def main(cuts: int) -> None:
    """Print the tally of the journal's own setting, and of FULL."""
    if why := obstacle():
        print(f"The power cannot be cut here: {why}.")
        return
    for synchronous in (journal_.SYNCHRONOUS, "FULL"):
        begin = time.perf_counter()
        tally = cut_often(cuts, synchronous)
        print(
            f"{synchronous}: {tally.cuts} cuts in {time.perf_counter() - begin:.0f} s:"
            f" {len(tally.acknowledged)} entries acknowledged, {tally.lost} lost, {tally.broken}"
            f" broken chains, {tally.unreadable} unreadable journals",
            flush=True,
        )


if __name__ == "__main__":
    if sys.argv[1:2] == ["--write"]:
        _write(Path(sys.argv[2]), sys.argv[3])
    else:
        main(int(sys.argv[1]) if len(sys.argv) > 1 else 50)
