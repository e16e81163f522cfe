"""Instruments with their errors: a constant bias, noise, and a display that rounds.

Each instrument draws its bias once, from its stated accuracy taken as the half-width of a
rectangular distribution; every reading adds noise. Seeds depend on the tag and on what is read, so
that a reading does not change when another one is added before it.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass

import numpy as np


def stream(seed: int, *names: str | int) -> np.random.Generator:
    """A random stream of its own for these names."""
    return np.random.default_rng([seed, *(zlib.crc32(str(name).encode()) for name in names)])


@dataclass(frozen=True)
class Sensor:
    """One instrument.

    Parameters
    ----------
    tag, name, serial : str
    kind : str
        What it reads, as the list of instruments says it.
    unit : str
        Unit of everything below, and of its display.
    constant, of_reading : float
        Stated accuracy: constant [unit] plus share of reading.
    noise : float
        [unit] standard deviation of one reading.
    digits : int
        Decimals of the display.
    span : tuple of float or None
        Range [unit].
    due : str
        Calibration due, ISO date.
    difference_unit : str
        Unit of a difference, if it is not `unit` (thermometers: K).
    pair : str
        Tag of the other one of a matched pair.
    pair_constant : float
        [unit, difference] stated accuracy of the difference of the two.
    """

    tag: str
    name: str
    serial: str
    kind: str
    unit: str
    constant: float = 0.0
    of_reading: float = 0.0
    noise: float = 0.0
    digits: int = 1
    span: tuple[float, float] | None = None
    due: str = ""
    difference_unit: str = ""
    pair: str = ""
    pair_constant: float = 0.0

    @property
    def pair_accuracy(self) -> str:
        """Stated accuracy of the difference within a matched pair, as text."""
        return f"{self.pair_constant:g} {self.difference_unit or self.unit}" if self.pair else ""

    @property
    def accuracy(self) -> str:
        """The stated accuracy as it is written in the list of instruments."""
        terms = []
        if self.of_reading:
            terms.append(f"{100 * self.of_reading:g} % of reading")
        if self.constant:
            terms.append(f"{self.constant:g} {self.difference_unit or self.unit}")
        return " + ".join(terms)

    @property
    def range(self) -> str:
        return f"{self.span[0]:g} to {self.span[1]:g} {self.unit}" if self.span else ""

    def bias(self, seed: int) -> tuple[float, float]:
        """The constant [unit] and the relative part of this specimen's error."""
        if self.pair:
            return self._paired_bias(seed), 0.0
        rng = stream(seed, self.tag, "bias")
        return self.constant * rng.uniform(-1, 1), self.of_reading * rng.uniform(-1, 1)

    def _paired_bias(self, seed: int) -> float:
        """Nearly all of a matched pair's error is common to both; what differs keeps within the
        accuracy of the difference.
        """
        first = min(self.tag, self.pair)
        rng = stream(seed, first, "pair")
        common, difference = (
            (self.constant - self.pair_constant / 2) * rng.uniform(-1, 1),
            self.pair_constant * rng.uniform(-1, 1),
        )
        return common + (difference if self.tag == first else -difference) / 2

    def reads(self, truth: float, seed: int, *names: str | int, samples: int = 1) -> float:
        """What its display shows for a true value [unit]; the mean of `samples` readings."""
        offset, share = self.bias(seed)
        noise = (
            stream(seed, self.tag, *names).normal(0.0, self.noise / np.sqrt(samples))
            if self.noise
            else 0.0
        )
        return round(float(truth * (1 + share) + offset + noise), self.digits)

    def shows(self, truth: float, seed: int, *names: str | int, samples: int = 1) -> str:
        """The same as text, as it is written down."""
        value = self.reads(truth, seed, *names, samples=samples)
        return f"{value + 0.0:.{self.digits}f}"
