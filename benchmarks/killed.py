"""Kill a writing process at random moments and see that every acknowledged entry is there and the
chain intact.

Run:  python benchmarks/killed.py [kills]   (default 1000)
"""

from __future__ import annotations

import random
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[1]
if str(ROOT) not in sys.path:
    sys.path.insert(0, str(ROOT))

from startkit.facts.journal import Journal


@dataclass
class Tally:
    """What a run of kills showed."""

    kills: int = 0
    acknowledged: int = 0
    lost: int = 0
    broken: int = 0
    unreadable: int = 0


def kill_often(kills: int, seed: int = 7, folder: Path | None = None) -> Tally:
    """Start a writer, kill it after a random time, check the journal; the same journal all along.

    Parameters
    ----------
    kills : int
    seed : int
        Of the random moments.
    folder : pathlib.Path, optional
        Folder of the journal; default: a temporary folder.
    """
    chance, tally = random.Random(seed), Tally()
    with tempfile.TemporaryDirectory() as temporary:
        path = (folder or Path(temporary)) / "job.db"
        journal = Journal.create(path)
        for n in range(kills):
            said = _killed_writer(path, f"w{n}", chance.uniform(0.0, 0.06))
            tally.kills += 1
            tally.acknowledged += len(said)
            _check(journal, said, tally)
    return tally


def _killed_writer(path: Path, name: str, after: float) -> dict[int, str]:
    """Numbers and hashes that a writer acknowledged before it was killed, `after` seconds from its
    first word.
    """
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.trust.writer", str(path), name, "100000"],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    first = process.stdout.readline()
    time.sleep(after)
    process.kill()
    lines = [first, *process.stdout.read().splitlines()]
    process.wait()
    # The last line may be cut in the middle: it counts only if its hash is whole.
    pairs = [line.split() for line in lines if line.strip()]
    return {int(pair[0]): pair[1] for pair in pairs if len(pair) == 2 and len(pair[1]) == 64}


def _check(journal: Journal, said: dict[int, str], tally: Tally) -> None:
    try:
        entries = journal.read()
    except Exception:  # any failure to read is what is looked for
        tally.unreadable += 1
        return
    there = {e.seq: e.digest for e in entries}
    tally.lost += sum(there.get(seq) != digest for seq, digest in said.items())
    tally.broken += bool(journal.faults())


def main(kills: int) -> None:
    """Print the tally."""
    begin = time.perf_counter()
    tally = kill_often(kills)
    print(
        f"{tally.kills} kills in {time.perf_counter() - begin:.0f} s: {tally.acknowledged} entries"
        f" acknowledged, {tally.lost} lost, {tally.broken} broken chains, {tally.unreadable}"
        " unreadable journals"
    )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
