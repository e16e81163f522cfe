"""How often the vane diagnosis is right, undecided and wrong on simulated strokes with a known
fault.

Run ``python benchmarks/vane_diagnosis.py`` to print the table, with ``--write`` to put it into
``workbook/proof/vane-diagnosis.md``. Seeded: the same number of runs gives the same table.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np

from startkit.science.strokes import Stroke
from startkit.science.vane_calibration import analyse_strokes
from startkit.science.vane_diagnosis import NOTHING_FOUND, UNDECIDED, diagnose
from workbook.stroke_model import FAULTS, VaneDrive, inject, ordinary, simulate_strokes

NOMINAL = 0.004
NOISES = (0.002, NOMINAL, 0.008, 0.016)
SIZES = (0.25, 0.5)
PAGE = Path(__file__).parent.parent / "workbook" / "proof" / "vane-diagnosis.md"

HEAD = """# Vane diagnosis: right, undecided, wrong

This page is written by `benchmarks/vane_diagnosis.py --write`.

A drive is simulated (`workbook/stroke_model.py`), one fault of random size is put into it, and
the strokes are diagnosed by `startkit.science.vane_diagnosis.diagnose` with its default bands.
Machines differ from run to run: travel time 30 to 60 s each way, dead time 0.2 to 1.2 s, play 0.2
to 1.2 %, zero within about 0.6 %. So do procedures: 3 to 5 full strokes each way, a staircase
each way in four runs of five, a sample every 0.5, 1 or 2 s; in three runs of ten the vanes were
not observed. A run in which the fault left no trace that these strokes could show counts as it
was answered. Noise is the standard deviation of the feedback as a fraction of travel; nominal is
0.4 %.

Sizes of the faults: zero shifted by 4 to 12 % or drifting 0.8 to 1.5 % a stroke; switch made 8 to
15 % early or never reached; make scattered by 1.5 to 3 % with failures in 10 to 40 % of strokes and
chatter; play 5 to 12 % with the vanes 5 to 12 % off; load rising to 70 to 115 % of stall torque at
one end; feedback jumping in 1 to 4 % of samples, or constant over 8 to 15 % of its travel. The last
tables show smaller ones.

A switch that never made may be out of adjustment or dead: strokes cannot distinguish the two, and
the diagnosis says so. That is why *switch misadjusted* is undecided in about half of its runs.
"""

SMALL = """## Smaller faults

A fault of a quarter or half the size is often within the bands of a healthy drive, and *nothing
found* is then the right answer by those bands. What counts here is that one fault is not mistaken
for another: wrong minus missed.
"""


def strokes(
    fault: str, run: int, noise: float, size: float = 1.0
) -> tuple[VaneDrive, list[Stroke]]:
    """Drive and strokes of one run; run and fault fix the seed."""
    rng = np.random.default_rng([run, list(FAULTS).index(fault)])
    drive = inject(fault, rng, ordinary(rng, noise), size)
    if rng.random() < 0.3:
        drive = replace(drive, seen_noise=None)
    pairs, staircase, interval = (
        int(rng.integers(3, 6)),
        bool(rng.random() < 0.8),
        float(rng.choice([0.5, 1.0, 2.0])),
    )
    return drive, simulate_strokes(drive, rng, pairs, staircase, interval)


def said(fault: str, run: int, noise: float, size: float = 1.0) -> str:
    """What the diagnosis says of one run."""
    return diagnose(analyse_strokes.si(strokes(fault, run, noise, size)[1])).outcome


def count(runs: int, noise: float, size: float = 1.0) -> dict[str, Counter[str]]:
    """Fault -> how often each answer was given."""
    return {
        fault: Counter(said(fault, run, noise, size) for run in range(runs)) for fault in FAULTS
    }


def share(table: dict[str, Counter[str]], answers: Callable[[str, str], bool]) -> float:
    """Share of runs whose fault and answer satisfy a condition."""
    runs = sum(sum(row.values()) for row in table.values())
    return (
        sum(
            n for fault, row in table.items() for answer, n in row.items() if answers(fault, answer)
        )
        / runs
    )


def wrong(table: dict[str, Counter[str]]) -> float:
    """Share of runs that were given another name than their fault's, undecided not counted as
    wrong.
    """
    return share(table, lambda fault, answer: answer not in (fault, UNDECIDED))


def missed(table: dict[str, Counter[str]]) -> float:
    """Share of runs with a fault that were reported as nothing found."""
    return share(table, lambda fault, answer: answer == NOTHING_FOUND != fault)


def markdown(table: dict[str, Counter[str]], noise: float, size: float = 1.0) -> str:
    """One table, faults down, answers across."""
    answers = [*FAULTS, UNDECIDED]
    runs = sum(sum(row.values()) for row in table.values())
    right, undecided = (
        share(table, lambda fault, answer: fault == answer),
        share(table, lambda fault, answer: answer == UNDECIDED),
    )
    title = (
        f"## Noise {100 * noise:.1f} % of travel"
        + (" (nominal)" if noise == NOMINAL else "")
        + ("" if size == 1.0 else f", faults at {100 * size:.0f} % of their size")
    )
    lines = [
        title,
        "",
        (
            f"Right {100 * right:.1f} %, undecided {100 * undecided:.1f} %, wrong"
            f" {100 * wrong(table):.1f} % (missed {100 * missed(table):.1f} %) of {runs} runs."
        ),
        "",
        "| fault | " + " | ".join(f"said: {a}" for a in answers) + " |",
        "|---|" + "---:|" * len(answers),
    ]
    lines += [
        "| " + fault + " | " + " | ".join(str(row[a] or "·") for a in answers) + " |"
        for fault, row in table.items()
    ]
    return "\n".join(lines) + "\n"


def page(runs: int) -> str:
    """The whole page."""
    full = [markdown(count(runs, noise), noise) for noise in NOISES]
    small = [markdown(count(runs, NOMINAL, size), NOMINAL, size) for size in SIZES]
    return HEAD + "\n" + "\n".join(full) + "\n" + SMALL + "\n" + "\n".join(small)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=200, help="runs for each fault and noise")
    parser.add_argument("--write", action="store_true", help=f"write {PAGE.name}")
    options = parser.parse_args()
    text = page(options.runs)
    print(text)
    if options.write:
        PAGE.parent.mkdir(parents=True, exist_ok=True)
        PAGE.write_text(text, encoding="utf-8")
