"""How often the 95 % intervals of the load-up's figures hold the truth of the models.

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
from workbook.recovery import CASES, LOADS, METERED, NORMAL, STATED, Case, coverage

PAGE = HERE.parent / "workbook" / "proof" / "coverage.md"
HEAD = """# Coverage: how often a figure's 95 % interval holds the truth

This page is written by `benchmarks/coverage.py --write`.

The models of the demonstration (`workbook/chiller_model.py`, with properties independent of the
package's) give the true values at 98.5, 75.5, 50.5 and 26.2 % load, in turn; after the first table
at the two highest loads, where first order serves. Their readings pass through instruments with new
errors in each run, then through the stage Load-up as if typed. What the stage assumes without an
instrument is drawn anew in each run too: the maker's curve and exponent where flow comes from a
pressure drop, the share and properties of glycol, the loss of a drive. The tables count how often
the 95 % interval that the stage states contains the true value.

*Normal errors*: each deviation is normal with the standard uncertainty that the stage counts. The
interval should contain the true value in 95 of 100 runs; with {runs} runs the count itself scatters
by ± {scatter:.1f} points (two standard deviations). *As stated*: each deviation is uniform within
its stated half-width, constant for one instrument. A figure that depends on one of them alone
(power, current) is then always within 1.96 standard uncertainties, because the rectangle ends at
1.73: the interval is too wide, never too narrow.

*Off* is the mean deviation in standard uncertainties; it should scatter about zero. A UA whose mean
temperature difference is too uncertain is neither stated nor counted.
"""
COLUMNS = """
## {case}

| figure | normal: held, % | off | as stated: held, % | off | runs |
|---|---|---|---|---|---|
"""


def table(case: Case, runs: int) -> str:
    """The coverage of every figure in one case."""
    loads = LOADS if case is METERED else LOADS[:2]
    normal, stated = (coverage(runs, errors, loads=loads, case=case) for errors in (NORMAL, STATED))
    rows = [
        f"| {BY_KEY[key].label} | {100 * held.share:.1f} | {held.off:+.2f} |"
        f" {100 * stated[key].share:.1f} | {stated[key].off:+.2f} | {held.runs} |"
        for key, held in normal.items()
        if held.runs
    ]
    return COLUMNS.format(case=case.name) + "\n".join(rows) + "\n"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=500)
    parser.add_argument("--write", action="store_true", help=f"write {PAGE.name}")
    chosen = parser.parse_args()
    scatter = 200 * (0.95 * 0.05 / chosen.runs) ** 0.5
    head = HEAD.format(runs=chosen.runs, scatter=scatter)
    text = head + "".join(table(case, chosen.runs) for case in CASES)
    if chosen.write:
        PAGE.write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
