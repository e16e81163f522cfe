"""How often the 95 % intervals of the load-up's figures hold the truth of the demonstration's
model.

Run ``python benchmarks/coverage.py --runs 500``; with ``--write`` the table goes into
``workbook/proof/coverage.md``. Seeded: the same number of runs
gives the same table.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
if str(HERE.parent) not in sys.path:
    sys.path.insert(0, str(HERE.parent))

from startkit.stages.load_up.formulas import BY_KEY
from workbook.recovery import NORMAL, STATED, Held, coverage

PAGE = HERE.parent / "workbook" / "proof" / "coverage.md"
HEAD = """# Coverage: how often a figure's 95 % interval holds the truth

This page is written by `benchmarks/coverage.py --write`.

The model of CH-1 (`workbook/chiller_model.py`, with properties independent of the package's) gives
the true values at 98.5, 75.5, 50.5 and 26.2 % load, in turn. Its readings pass through the
instruments of the demonstration with new errors in each run, then through the stage Load-up as if
typed. The table counts how often the 95 % interval that the stage states contains the true value.

*Normal errors*: each reading has a normally distributed error with the standard uncertainty of
its instrument. The interval should contain the true value in 95 of 100 runs; with {runs} runs the
count itself scatters by ± {scatter:.1f} points (two standard deviations). *As stated*: each
instrument has one constant error, uniformly distributed within its stated accuracy. A figure that
depends on one instrument alone (power, current) is then always within 1.96 standard
uncertainties, because the rectangle ends at 1.73: the interval is too wide, never too narrow.

*Off* is the mean deviation in standard uncertainties; it should scatter about zero. A UA whose mean
temperature difference is too uncertain is neither stated nor counted.

| figure | normal: held, % | off | as stated: held, % | off | runs |
|---|---|---|---|---|---|
"""


def page(normal: dict[str, Held], stated: dict[str, Held], runs: int) -> str:
    """The table of the proof."""
    scatter = 200 * (0.95 * 0.05 / runs) ** 0.5
    rows = [
        f"| {BY_KEY[key].label} | {100 * held.share:.1f} | {held.off:+.2f} |"
        f" {100 * stated[key].share:.1f} | {stated[key].off:+.2f} | {held.runs} |"
        for key, held in normal.items()
    ]
    return HEAD.format(runs=runs, scatter=scatter) + "\n".join(rows) + "\n"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=500)
    parser.add_argument("--write", action="store_true", help=f"write {PAGE.name}")
    chosen = parser.parse_args()
    text = page(coverage(chosen.runs, NORMAL), coverage(chosen.runs, STATED), chosen.runs)
    if chosen.write:
        PAGE.write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
