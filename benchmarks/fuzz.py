"""Fuzz every reader: only our own errors with their remedy, no hang, no flood of memory.

Run:  python benchmarks/fuzz.py [inputs] [target ...]   (default 100000 inputs a target, all
targets)

Where atheris is installed (``pip install atheris``) it chooses the inputs by what they reach; else
chance does.
"""

from __future__ import annotations

import json
import random
import subprocess
import sys
import tempfile
import time
import traceback
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path

ROOT = Path(__file__).parents[1]
if str(ROOT) not in sys.path:
    sys.path.insert(0, str(ROOT))

from benchmarks.fuzz_base import Target
from benchmarks.fuzz_inputs import (
    TOKENS,
    by_chance,
)
from benchmarks.fuzz_targets import TARGETS
from startkit.errors import LONGEST, StartkitError, shown

SLOWEST = 2.0  # s of processor time for one input
MOST_MEMORY = 1_000_000_000  # bytes of a whole process
KEPT = 20  # different faults kept of each target


@dataclass
class Tally:
    """What a run of one target showed."""

    target: str
    engine: str = "chance"
    inputs: int = 0
    refused: int = 0
    slowest: float = 0.0
    memory: int = 0
    faults: dict[str, str] = field(default_factory=dict)


def badly_said(error: StartkitError) -> str:
    """What is wrong with the sentence of an error; empty if a technician can act on it."""
    text = str(error)
    if not error.remedy:
        return f"no remedy: {text[:200]!r}"
    if shown(text) != text or "\n" in text:
        return f"not one plain line: {text[:200]!r}"
    return f"{len(text)} characters long: {text[:200]!r}" if len(text) > 3 * LONGEST + 20 else ""


def fault_of(target: Target, data: bytes, folder: Path, tally: Tally) -> str:
    """Read one input; what went wrong as a short text, empty if nothing did."""
    tally.inputs += 1
    begin = time.process_time()
    try:
        target.read(data, folder)
        fault = ""
    except StartkitError as error:
        tally.refused += 1
        fault = badly_said(error)
    except Exception as error:  # anything else that gets out is what is looked for
        fault = _where(error)
    took = time.process_time() - begin
    tally.slowest = max(tally.slowest, took)
    return fault or (f"took {took:.1f} s of processor time" if took > SLOWEST else "")


def _where(error: Exception) -> str:
    frames = [
        f for f in traceback.extract_tb(error.__traceback__) if f"{Path('startkit')}" in f.filename
    ] or traceback.extract_tb(error.__traceback__)
    return (
        f"{type(error).__name__} at {Path(frames[-1].filename).name}, {frames[-1].name}:"
        f" {str(error)[:200]}"
    )


def memory() -> int:
    """Most memory that this process has held [byte]."""
    import resource

    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024


# --- one target ----------------------------------------------------------------------------------


def run(target: Target, inputs: int, seed: int = 1) -> Tally:
    """Inputs by chance, in this process.

    Parameters
    ----------
    target : Target
    inputs : int
    seed : int
        Of chance.
    """
    tally = Tally(target.name)
    chance, seeds, tokens = random.Random(seed), list(target.seeds()), (*TOKENS, *target.tokens)
    with tempfile.TemporaryDirectory() as folder:
        warm_up(target, seeds, Path(folder))
        for _ in range(inputs):
            data = by_chance(chance, seeds, target.spans, tokens)
            _note(tally, fault_of(target, data, Path(folder), tally), data)
    tally.memory = memory()
    return tally


def warm_up(target: Target, seeds: Sequence[bytes], folder: Path) -> None:
    """Read every seed: what is imported late is there then, and a seed that is refused would lead
    nowhere.
    """
    for seed in seeds:
        target.read(seed, folder)


def _note(tally: Tally, fault: str, data: bytes) -> None:
    known = fault.partition(":")[0]
    if (
        fault
        and len(tally.faults) < KEPT
        and known not in {each.partition(":")[0] for each in tally.faults}
    ):
        tally.faults[fault] = data[:400].hex()


def guided(name: str, inputs: int, result: Path) -> None:
    """Inputs by atheris; it ends the process, so the tally is written as it grows."""
    import atheris

    with atheris.instrument_imports(include=["startkit"], enable_loader_override=False):
        import startkit.desk.cards
        import startkit.desk.intake
        import startkit.facts.trend
        import startkit.paper.evidence
        import startkit.procedure.registry  # noqa: F401 - atheris must see inside
    target, tally, folder = TARGETS[name], Tally(name, "atheris"), Path(tempfile.mkdtemp())
    corpus = folder / "seeds"
    corpus.mkdir()
    for n, data in enumerate(target.seeds()):
        (corpus / str(n)).write_bytes(data)
    tokens, words = (*TOKENS, *target.tokens), folder / "words"
    words.write_text("".join(map(_quoted, tokens)), encoding="ascii")

    def one(data: bytes) -> None:
        _note(tally, fault_of(target, data, folder, tally), data)
        if tally.inputs % 500 == 0 or tally.inputs >= inputs:
            tally.memory = memory()
            result.write_text(json.dumps(asdict(tally)), encoding="utf-8")

    def other(data: bytes, most: int, seed: int) -> bytes:
        """Half by values that break readers, half by libFuzzer's own changes."""
        chance = random.Random(seed)
        return (
            by_chance(chance, [data, *seeds], target.spans, tokens)[:most]
            if chance.random() < 0.5
            else atheris.Mutate(data, most)
        )

    seeds = list(target.seeds())
    warm_up(target, seeds, folder)
    longest = 2 * max(len(data) for data in target.seeds())
    atheris.Setup(
        [
            sys.argv[0],
            f"-runs={inputs}",
            f"-max_len={longest}",
            f"-dict={words}",
            "-timeout=60",
            "-rss_limit_mb=4000",
            "-verbosity=0",
            str(corpus),
        ],
        one,
        custom_mutator=other,
    )
    atheris.Fuzz()


def _quoted(token: bytes) -> str:
    """One line of libFuzzer's dictionary; long words are not for it."""
    return '"' + "".join(f"\\x{byte:02x}" for byte in token) + '"\n' if 0 < len(token) < 60 else ""


# --- all of them ----------------------------------------------------------------------------------


def tallies(inputs: int, names: list[str]) -> Iterator[Tally]:
    """Every target in a process of its own, so that each one's memory is its own."""
    for name in names:
        count = max(1, round(inputs * TARGETS[name].share))
        with tempfile.TemporaryDirectory() as folder:
            result = Path(folder) / "tally.json"
            done = subprocess.run(
                [sys.executable, __file__, "--one", name, str(count), str(result)],
                capture_output=True,
                text=True,
                check=False,
                cwd=ROOT,
            )
            found = (
                Tally(**json.loads(result.read_text(encoding="utf-8")))
                if result.exists()
                else Tally(name)
            )
        if done.returncode:
            found.faults[f"the process ended with status {done.returncode}"] = done.stderr[-400:]
        if found.memory > MOST_MEMORY:
            found.faults[f"{found.memory / 1e6:.0f} MB of memory"] = ""
        yield found


def _one(name: str, count: int, result: Path) -> None:
    try:
        import atheris  # noqa: F401 - only whether it is there
    except ImportError:
        result.write_text(json.dumps(asdict(run(TARGETS[name], count))), encoding="utf-8")
    else:
        guided(name, count, result)


def line(tally: Tally) -> str:
    """One line of the table."""
    return (
        f"{tally.target:18}{tally.engine:9}{tally.inputs:9}{tally.refused:9}{tally.slowest:9.2f}"
        f"{tally.memory / 1e6:8.0f}{len(tally.faults):8}"
    )


def main(arguments: list[str]) -> int:
    """Print a line for each target and every fault below it."""
    if arguments[:1] == ["--one"]:
        _one(arguments[1], int(arguments[2]), Path(arguments[3]))
        return 0
    print(
        f"{'target':18}{'engine':9}{'inputs':>9}{'refused':>9}{'slowest':>9}{'MB':>8}{'faults':>8}"
    )
    bad = 0
    for tally in tallies(
        int(arguments[0]) if arguments else 100_000, arguments[1:] or list(TARGETS)
    ):
        print(line(tally), flush=True)
        for fault, data in tally.faults.items():
            print(f"    {fault}\n      {data[:200]}")
        bad += len(tally.faults)
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
