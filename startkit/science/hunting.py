"""Hunting: a swing that comes back at one period, found in a record and sized.

What merely climbs, wanders or is noisy is not hunting: the swing must make up most of what is left
beside a smooth course, and keep its size and its beat through the whole stretch.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from startkit.formula import Number, Value
from startkit.units import quantities

LEAST = 32  # readings in a stretch in which a swing can be told (own default)
CYCLES = 4.0  # that a stretch has to hold (own default)
PER_CYCLE = 4.0  # readings in a cycle: with fewer its size cannot be told (own default)
SHARE = 0.6  # of what a smooth course leaves, that the swing has to make up (own default)
EVEN = 0.5  # smallest over largest swing of the stretch's thirds (own default)
BEAT = np.pi / 4  # by which their beats may be apart (own default)
EVEN_STEPS = 0.01  # spread of the intervals, over their mean, up to which they count as even
OVERSAMPLING = 5.0  # of the periodogram, so that no peak is missed between two frequencies
SHORTEST = 4  # a stretch is a whole, a half or a quarter of the record


@dataclass(frozen=True)
class Swing:
    """A periodic swing.

    Parameters
    ----------
    period : float
        [s].
    amplitude, u_amplitude : float
        Half of its height, and the standard uncertainty of that from what it leaves unexplained
        [unit of the record].
    low, high : float
        Between which it swings [unit of the record].
    begin, end : float
        Of the stretch in which it was largest [s].
    share : float
        Of what a smooth course leaves, explained by the swing.
    """

    period: Value
    amplitude: float
    u_amplitude: float
    low: float
    high: float
    begin: Value
    end: Value
    share: float


@quantities(
    {"period": "second", "begin": "second", "end": "second"}, time="second", values="dimensionless"
)
def periodic_swing(time: Number, values: Number) -> Swing | None:
    """The largest periodic swing of a record; None if nothing comes back at one period.

    y(t) = parabola(t) + a cos(w t) + b sin(w t) + e;  P(w) = share of y's variance about the
    parabola that the wave explains (normalised Lomb-Scargle periodogram);
    u(A) = s_e sqrt(2 / n)

    Parameters
    ----------
    time : Quantity or array
        [s], rising; it need not be even.
    values : array
        Readings [1]; what is not a number is left out.

    Returns
    -------
    Swing or None
        Of the whole record, its halves and its quarters the stretch that swings most.

    Valid for periods of at least four readings, of which the stretch holds four or more.

    Source: Lomb (1976), Scargle (1982) as `scipy.signal.lombscargle`, even readings as
    `scipy.signal.periodogram`; thresholds of this project, false alarms counted in its test.
    """
    known = np.isfinite(time) & np.isfinite(values)
    t, y = np.asarray(time, float)[known], np.asarray(values, float)[known]
    found = [swing for part in _stretches(t) if (swing := _in_stretch(t[part], y[part]))]
    return max(found, key=lambda swing: swing.amplitude, default=None)


def _stretches(t: np.ndarray) -> Iterator[slice]:
    """The whole record, then halves and quarters that overlap by half."""
    parts = 1
    while parts <= SHORTEST and t.size // parts >= LEAST:
        length = t.size // parts
        for n in range(2 * parts - 1):
            begin = min(n * length // 2, t.size - length)
            yield slice(begin, begin + length)
        parts *= 2


def _in_stretch(t: np.ndarray, y: np.ndarray) -> Swing | None:
    rest = y - _parabola(t, y)
    span, step = float(t[-1] - t[0]), float(np.median(np.diff(t)))
    if span <= 0 or step <= 0 or float(rest.std()) <= 1e-9 * max(1.0, float(np.abs(y).max())):
        return None
    slowest, fastest = CYCLES / span, 1 / (PER_CYCLE * step)
    if fastest <= slowest:
        return None
    turns, power = _periodogram(t, rest, slowest, fastest)
    turn = float(turns[int(np.argmax(power))])
    if power.max() < SHARE or not _keeps_its_beat(t, rest, turn):
        return None
    return _sized(t, y, rest, turn, float(power.max()))


def _parabola(t: np.ndarray, y: np.ndarray) -> np.ndarray:
    x = (t - t.mean()) / max(float(np.ptp(t)), 1e-9)
    return np.polyval(np.polyfit(x, y, 2), x)


def _periodogram(
    t: np.ndarray, rest: np.ndarray, slowest: float, fastest: float
) -> tuple[np.ndarray, np.ndarray]:
    """Angles by which a wave turns in a second, and the share of the variance that each explains.

    Readings at even intervals go through a padded Fourier transform, which is the same figure in a
    hundredth of the time.
    """
    steps = np.diff(t)
    if float(np.ptp(steps)) <= EVEN_STEPS * float(steps.mean()):
        from scipy.signal import periodogram

        count = int(OVERSAMPLING * t.size)
        beats, power = periodogram(
            rest, 1 / float(steps.mean()), nfft=count, detrend=False, scaling="spectrum"
        )
        # The spectrum of a wave of amplitude A is A^2/2, its variance.
        inside = (beats >= slowest) & (beats <= fastest)
        return 2 * np.pi * beats[inside], power[inside] / float(rest.var())
    from scipy.signal import lombscargle

    turns = 2 * np.pi * np.arange(slowest, fastest, 1 / (OVERSAMPLING * float(t[-1] - t[0])))
    return turns, np.asarray(lombscargle(t - t[0], rest, turns, normalize=True))


def _waves(t: np.ndarray, turn: float, harmonics: int = 1) -> np.ndarray:
    orders = range(1, harmonics + 1)
    parts = [f(k * turn * (t - t[0])) for k in orders for f in (np.cos, np.sin)]
    return np.stack([*parts, np.ones_like(t)], axis=1)


def _keeps_its_beat(t: np.ndarray, rest: np.ndarray, turn: float) -> bool:
    """Whether each third of the stretch swings as much, and in step with the others: a level that
    wanders does not.
    """
    waves, thirds = _waves(t, turn), np.array_split(np.arange(t.size), 3)
    fitted = [np.linalg.lstsq(waves[part], rest[part], rcond=None)[0] for part in thirds]
    arrows = np.array([complex(a, -b) for a, b, _ in fitted])
    sizes = np.abs(arrows)
    if sizes.min() < EVEN * sizes.max():
        return False
    mean = arrows.sum() / abs(arrows.sum())
    return bool(np.all(np.abs(np.angle(arrows / mean)) <= BEAT))


def _sized(t: np.ndarray, y: np.ndarray, rest: np.ndarray, turn: float, share: float) -> Swing:
    """Half of the fitted wave's height, harmonics included as far as the readings tell them."""
    step = float(np.median(np.diff(t)))
    harmonics = int(np.clip(2 * np.pi / turn / step / 4, 1, 3))
    turn = _between(t, rest, turn, harmonics)
    coefficients = np.linalg.lstsq(_waves(t, turn, harmonics), rest, rcond=None)[0]
    period = 2 * np.pi / turn
    cycle = t[0] + np.linspace(0.0, period, 200)
    wave = _waves(cycle, turn, harmonics)[:, :-1] @ coefficients[:-1]
    left = rest - _waves(t, turn, harmonics) @ coefficients
    level = float(y.mean())
    return Swing(
        period=period,
        amplitude=float(np.ptp(wave)) / 2,
        u_amplitude=float(left.std()) * float(np.sqrt(2 / t.size)),
        low=level + float(wave.min()),
        high=level + float(wave.max()),
        begin=float(t[0]),
        end=float(t[-1]),
        share=share,
    )


def _between(t: np.ndarray, rest: np.ndarray, turn: float, harmonics: int) -> float:
    """The beat between two frequencies of the periodogram that leaves least unexplained."""
    near = turn + np.linspace(-1, 1, 21) * 2 * np.pi / (OVERSAMPLING * float(t[-1] - t[0]))

    def left(beat: float) -> float:
        waves = _waves(t, beat, harmonics)
        gap = rest - waves @ np.linalg.lstsq(waves, rest, rcond=None)[0]
        return float(gap @ gap)

    return min((float(beat) for beat in near), key=left)
