"""Hunting: known swings are found and sized, by another library's periodogram as well; what only
climbs, wanders or is noisy is not hunting.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import lombscargle, sawtooth

from startkit.science.hunting import CYCLES, SHARE, periodic_swing
from startkit.units import Q


def wave(period, amplitude=1.0, seconds=240, step=1.0, noise=0.05, seed=1):
    """A sine on a ramp, with noise."""
    t = np.arange(0, seconds, step)
    rng = np.random.default_rng(seed)
    return t, 0.02 * t + amplitude * np.sin(2 * np.pi * t / period) + rng.normal(0, noise, t.size)


@pytest.mark.parametrize("period", [8.0, 13.7, 28.0, 51.0])
def test_a_sine_of_known_period_and_size_is_found(outside, period):
    t, y = wave(period)
    found = periodic_swing(Q(t, "second"), y)
    assert found is not None
    for printed, ours, rel in (
        (period, found.period.to("second").magnitude, 0.05),
        (1.0, found.amplitude, 0.06),
    ):
        outside.check(
            "hunting.periodic_swing",
            printed=printed,
            ours=ours,
            source="synthetic sine of known period and amplitude",
            standing="closed form",
            rel=rel,
        )


@pytest.mark.parametrize("even", [True, False])
def test_the_period_is_that_of_the_peak_of_a_lomb_scargle_periodogram(outside, even):
    t, y = wave(23.0, seconds=200, noise=0.3)
    if not even:
        kept = np.random.default_rng(7).random(t.size) < 0.7
        t, y = t[kept], y[kept]
    rest = y - np.polyval(np.polyfit(t, y, 2), t)
    turns = 2 * np.pi * np.linspace(1 / 60, 1 / 5, 4000)
    power = lombscargle(t, rest, turns, normalize=True)
    ours = periodic_swing(Q(t, "second"), y)
    assert ours is not None
    outside.check(
        "hunting.periodic_swing",
        printed=2 * np.pi / turns[np.argmax(power)],
        ours=ours.period.to("second").magnitude,
        source="scipy.signal.lombscargle, peak on a fine grid",
        standing="library",
        rel=0.03,
    )
    assert power.max() > SHARE and ours.share > SHARE


def test_a_triangle_is_sized_by_its_height_and_not_by_its_first_harmonic():
    t = np.arange(0, 180.0, 1.0)
    found = periodic_swing.si(t, 0.69 + 0.12 * sawtooth(2 * np.pi * t / 28, width=0.5))
    assert found.low == pytest.approx(0.57, abs=0.015)
    assert found.high == pytest.approx(0.81, abs=0.015)
    assert found.period == pytest.approx(28, rel=0.02)


def test_hunting_in_a_part_of_a_record_is_found_there():
    t, y = wave(20.0, seconds=400)
    y = np.where(t < 250, 0.02 * t, y)
    found = periodic_swing.si(t, y)
    assert found is not None and found.begin >= 190


def test_too_few_cycles_or_readings_are_no_hunting():
    t, y = wave(100.0, seconds=240)
    assert CYCLES > 240 / 100 and periodic_swing.si(t, y) is None
    assert periodic_swing.si(*(part[:30] for part in wave(6.0))) is None
    assert periodic_swing.si(np.arange(3.0), np.full(3, np.nan)) is None


def correlated(r, count, rng):
    x, steps = np.zeros(count), rng.normal(size=count)
    for i in range(1, count):
        x[i] = r * x[i - 1] + steps[i]
    return x


def pulsed(count, rng):
    """A position that an actuator moves by one percent now and then."""
    return np.cumsum((rng.random(count) < 0.15) * rng.choice([-0.01, 0.01], count))


COUNT = 180
HARMLESS = {
    "noise": lambda rng: rng.normal(size=COUNT),
    "noise that remembers": lambda rng: correlated(rng.uniform(0.5, 0.99), COUNT, rng),
    "a ramp": lambda rng: np.linspace(0, rng.uniform(-50, 50), COUNT) + rng.normal(size=COUNT),
    "a decay": lambda rng: 20 * np.exp(-np.arange(COUNT) / rng.uniform(20, 400)),
    "a step": lambda rng: (np.arange(COUNT) > rng.integers(10, 170)) + rng.normal(0, 0.05, COUNT),
    "pulses of an actuator": lambda rng: pulsed(COUNT, rng),
}


@pytest.mark.parametrize("what", HARMLESS)
def test_false_alarms_are_rare(what):
    # Counted once with a thousand series of each kind: none of noise, ramps, decays, steps and
    # pulses, 0.1 to 0.5 % of noise that remembers, by how long it does.
    rng, t = np.random.default_rng(11), np.arange(float(COUNT))
    found = sum(periodic_swing.si(t, HARMLESS[what](rng)) is not None for _ in range(60))
    assert found <= 1
