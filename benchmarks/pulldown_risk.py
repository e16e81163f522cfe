"""Predicted chance of an overcurrent trip against simulated pull-downs.

Each case is a loop that is pulled down under a current limit while the current ripples in a known
way. The pull-down is
simulated reading by reading with code of its own; the prediction sees only the loop, the machine,
and a trend of ripple.

    python benchmarks/pulldown_risk.py            # writes workbook/proof/pull-down-risk.md, some
    minutes
"""

from __future__ import annotations

import argparse
import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from startkit.science.machine_curve import TableMachine
from startkit.science.overcurrent import TripModel, exceedance
from startkit.science.pulldown import plan
from startkit.science.ripple import Ripple, ripple_from_range, ripple_from_trend

TARGET = Path(__file__).resolve().parent.parent / "workbook" / "proof" / "pull-down-risk.md"
RUNS, TRENDS, TREND = 2000, 300, 900


@dataclass(frozen=True)
class Case:
    """A known ripple about a limit, parts of full-load current; the loop is the same in all cases
    unless stated otherwise.
    """

    name: str
    limit: float
    trip: float
    sigma: float
    correlation: float = 0.0
    amplitude: float = 0.0
    period: float = math.inf
    delay: int = 0
    growth: float = 0.0


CASES = (
    Case("white", 0.80, 0.80 + 3.5 * 0.02, 0.02),
    Case("white, rare", 0.80, 0.80 + 4.1 * 0.02, 0.02),
    Case("correlated, r = 0.8", 0.80, 0.80 + 3.3 * 0.02, 0.02, 0.8),
    Case("correlated, r = 0.95", 0.80, 0.80 + 3.1 * 0.02, 0.02, 0.95),
    Case("periodic, 40 s, on white", 0.80, 0.80 + 4.5 * 0.01, 0.01, 0.0, 0.015, 40.0),
    Case("periodic, 60 s, on r = 0.8", 0.80, 0.80 + 4.3 * 0.01, 0.01, 0.8, 0.015, 60.0),
    Case("correlated, r = 0.9, trip lasts 3 s", 0.80, 0.80 + 2.4 * 0.02, 0.02, 0.9, delay=3),
    Case("white, limit not binding at the end", 1.10, 1.10 + 3.4 * 0.02, 0.02, growth=0.012),
)
# The loop: 40 m3 of water, 200 kW connected, 25 to 7 °C; the machine: 1500 kW, current in
# proportion to load and a little more.
HEAT_CAPACITY, LOAD, START, TARGET_WATER = 40 * 998.0 * 4186.0, 200e3, 298.15, 280.15
FULL, LOADS, CURRENTS = 1500e3, (0.2, 0.4, 0.6, 0.8, 1.0), (0.35, 0.48, 0.63, 0.80, 1.0)


def rippling(case: Case, runs: int, readings: int, rng: np.random.Generator) -> np.ndarray:
    """Ripple of a case, one row for each run, a reading a second."""
    noise = np.empty((runs, readings))
    noise[:, 0] = rng.standard_normal(runs)
    fresh = math.sqrt(1 - case.correlation**2) * rng.standard_normal((runs, readings))
    for step in range(1, readings):
        noise[:, step] = case.correlation * noise[:, step - 1] + fresh[:, step]
    wave = (
        np.sin(2 * np.pi * np.arange(readings) / case.period + rng.uniform(0, 2 * np.pi, (runs, 1)))
        if case.amplitude
        else 0.0
    )
    return case.sigma * noise + case.amplitude * wave


def held_current(case: Case) -> np.ndarray:
    """Current about which a pull-down ripples, second by second until the water is at set point;
    steps of one second.
    """
    water, current = START, []
    while water > TARGET_WATER:
        grown = 1 + case.growth * (water - TARGET_WATER)
        drawn = min(case.limit, grown * CURRENTS[-1])
        current.append(drawn)
        heat = FULL * grown * np.interp(drawn / grown, CURRENTS, LOADS)
        water += (LOAD - heat) / HEAT_CAPACITY
    return np.array(current)


def simulated(case: Case, runs: int, rng: np.random.Generator) -> float:
    """Part of simulated pull-downs in which the current was above the trip at `delay` + 1 readings
    in a row.
    """
    base = held_current(case)
    above = base[None, :] + rippling(case, runs, base.size, rng) > case.trip
    row, tripped = np.zeros(runs, dtype=int), np.zeros(runs, dtype=bool)
    for step in range(base.size):
        row = np.where(above[:, step], row + 1, 0)
        tripped |= row > case.delay
    return float(tripped.mean())


def machine(case: Case) -> TableMachine:
    return TableMachine(FULL, TARGET_WATER, LOADS, CURRENTS, case.growth)


def known(case: Case) -> Ripple:
    """The ripple as if it were known without doubt."""
    draws = np.tile([0.0, case.sigma, case.correlation, case.amplitude], (4, 1))
    return Ripple(
        0.0, case.sigma, case.correlation, case.amplitude, case.period, 1.0, 10**6, 10**6, draws
    )


def planned(case: Case, ripple: Ripple) -> tuple[float, float]:
    """Chance of a trip and time to set point by the plan for this case's limit."""
    found = plan.si(
        machine(case),
        ripple,
        START,
        TARGET_WATER,
        HEAT_CAPACITY,
        LOAD,
        case.trip,
        delay=float(case.delay),
        limits=(case.limit,),
    )
    return float(found.probability[0]), float(found.time[0])


def coverage(
    case: Case, truth: float, trends: int, rng: np.random.Generator
) -> tuple[float, float, float]:
    """How often the 90 % interval from a trend holds the simulated chance; mean prediction; mean
    width of the interval.
    """
    base = held_current(case)
    levels, dwell = np.unique(np.round(base, 4), return_counts=True)
    hits, means, widths = [], [], []
    for seed in range(trends):
        trend = rippling(case, 1, TREND, rng)[0]
        found = exceedance(
            TripModel(ripple_from_trend.si(trend + case.limit, 1.0, seed=seed), float(case.delay)),
            levels,
            dwell.astype(float),
            case.trip,
        )
        hits.append(found.low <= truth <= found.high)
        means.append(found.probability)
        widths.append(found.high - found.low)
    return float(np.mean(hits)), float(np.mean(means)), float(np.mean(widths))


def coverage_by_range(
    case: Case, truth: float, trends: int, rng: np.random.Generator, looks: int = 300
) -> tuple[float, float]:
    """The same for a ripple of which only the highest and lowest value were noted."""
    base = held_current(case)
    hits, means = [], []
    for seed in range(trends):
        seen = rippling(case, 1, looks, rng)[0] + case.limit
        found = exceedance(
            TripModel(ripple_from_range.si(seen.min(), seen.max(), looks, 1.0, seed=seed)),
            np.array([case.limit]),
            np.array([float(base.size)]),
            case.trip,
        )
        hits.append(found.low <= truth <= found.high)
        means.append(found.probability)
    return float(np.mean(hits)), float(np.mean(means))


def report(runs: int, trends: int, seed: int = 2026) -> str:
    rng = np.random.default_rng(seed)
    lines = [
        "# Chance of a trip during pull-down: predicted and simulated",
        "",
        (
            f"Written by `benchmarks/pulldown_risk.py` with {runs} simulated pull-downs and"
            f" {trends} trends a case, seed {seed}."
        ),
        (
            f"Loop {HEAT_CAPACITY / 1e6:.0f} MJ/K, load {LOAD / 1e3:.0f} kW, {START - 273.15:.0f}"
            f" to {TARGET_WATER - 273.15:.0f} °C; readings a second apart; a trend is {TREND}"
            " readings long."
        ),
        "",
        (
            "*known ripple* is the plan's prediction if the ripple were known; it must meet the"
            " simulation within the simulation's own"
        ),
        (
            "spread (two standard errors). *from a trend* is what a person has: its 90 % interval"
            " must hold the simulated chance in about"
        ),
        "90 of 100 trends.",
        "",
        (
            "| case | time, min | simulated | ± 2 s.e. | known ripple | from a trend, mean |"
            " interval, mean width | interval holds the simulated chance |"
        ),
        "|---|---|---|---|---|---|---|---|",
    ]
    held = []
    for case in CASES:
        truth = simulated(case, runs, rng)
        spread = 2 * math.sqrt(truth * (1 - truth) / runs)
        chance, time = planned(case, known(case))
        hit, mean, width = coverage(case, truth, trends, rng)
        held.append(hit)
        lines.append(
            f"| {case.name} | {time / 60:.1f} | {truth:.3f} | {spread:.3f} | {chance:.3f} |"
            f" {mean:.3f} | {width:.2f} | {100 * hit:.0f} % |"
        )
    hit, mean = coverage_by_range(CASES[0], simulated(CASES[0], runs, rng), trends, rng)
    lines += [
        "",
        f"Over all cases the interval held in {100 * np.mean(held):.0f} of 100 trends.",
        "",
        (
            f"From the highest and lowest of 300 readings alone (white ripple): mean {mean:.3f},"
            f" interval held in {100 * hit:.0f} of 100."
        ),
        "",
        (
            "What this does not prove: that a machine's ripple is of one of these kinds, or the"
            " same at another limit."
        ),
        "",
    ]
    return "\n".join(lines)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=RUNS)
    parser.add_argument("--trends", type=int, default=TRENDS)
    parser.add_argument("--target", type=Path, default=TARGET)
    chosen = parser.parse_args()
    chosen.target.parent.mkdir(parents=True, exist_ok=True)
    chosen.target.write_text(report(chosen.runs, chosen.trends), encoding="utf-8")
    print(chosen.target.read_text(encoding="utf-8"))
