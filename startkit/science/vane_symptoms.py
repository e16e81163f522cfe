"""Vane symptoms: what a set of strokes shows that a healthy drive would not.

Each symptom has a grade by its bands; `vane_diagnosis` asks which fault explains them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from startkit.science.strokes import CLOSING, OPENING
from startkit.science.vane_calibration import StrokesResult
from startkit.science.vane_motion import Stall
from startkit.science.vanes import StrokeResult

CALIBRATION_LOST = "calibration lost"
SWITCH_MISADJUSTED = "switch misadjusted"
SWITCH_FAILING = "switch failing"
LINKAGE_SLIP = "linkage slip"
SHORT_OF_TORQUE = "actuator short of torque"
FEEDBACK_FAULT = "feedback fault"

_K = 2.0  # coverage factor of the expanded uncertainty, JCGM 100:2008, 6.2.1


@dataclass(frozen=True)
class Bands:
    """What is still normal, as fractions of travel unless noted. All defaults: common practice, no
    source.

    Parameters
    ----------
    zero, open_end : float
        Feedback at rest closed and open, from where it should be.
    drift : float
        Change of the zero from the first to the last stroke.
    hysteresis : float
        Mean difference between closing and opening at the same command.
    switch_early, switch_late : float
        Distance from the closed rest at which the switch may make at the most and should make at
        the least.
    switch_scatter : float
        Standard deviation of the make position, sampling and noise taken off.
    seen : float
        Difference between the position seen and the end it should be at, or the feedback.
    slowing : float
        Speed in the middle over speed in the last part of the travel [ratio].
    """

    zero: float = 0.02
    open_end: float = 0.02
    drift: float = 0.02
    hysteresis: float = 0.03
    switch_early: float = 0.05
    switch_late: float = 0.004
    switch_scatter: float = 0.008
    seen: float = 0.025
    slowing: float = 1.4


@dataclass(frozen=True)
class Symptom:
    """One thing seen in the strokes.

    Parameters
    ----------
    key : str
    shown : bool
        Outside its band by more than its expanded uncertainty; False: unclear, at the edge of the
        band.
    sentence : str
        With strokes and figures.
    explained_by : tuple of str
        Faults that would cause it.
    points_to : tuple of str
        Those of them that it is a reason for.
    """

    key: str
    shown: bool
    sentence: str
    explained_by: tuple[str, ...]
    points_to: tuple[str, ...]


def _percent(value: float) -> str:
    return f"{100 * value:.1f} %".replace("-", "−")


def _named(numbers: Sequence[int]) -> str:
    listed = ", ".join(str(n) for n in sorted(set(numbers)))
    return f"stroke {listed}" if len(set(numbers)) == 1 else f"strokes {listed}"


def _grade(excess: float, u: float) -> bool | None:
    """True shown, False unclear, None absent; `excess` is the distance outside the band."""
    if excess > _K * u:
        return True
    return False if excess > -_K * u else None


def _symptom(
    key: str,
    excess: float,
    u: float,
    sentence: str,
    explained_by: Sequence[str],
    points_to: Sequence[str],
) -> list[Symptom]:
    shown = _grade(excess, u)
    return (
        []
        if shown is None
        else [Symptom(key, shown, sentence, tuple(explained_by), tuple(points_to))]
    )


@dataclass(frozen=True)
class _Look:
    """Position seen at one end over the strokes, and the feedback of the same strokes."""

    seen: float
    feedback: float
    u: float
    numbers: tuple[int, ...]


def _look(result: StrokesResult, direction: str) -> _Look | None:
    """From the later half of the looks, because a slip grows."""
    found = [
        r
        for r in result.each
        if r.direction == direction and r.seen_mismatch is not None and r.came_to_rest
    ]
    found = found[len(found) // 2 :]
    if not found:
        return None
    mismatch = np.array([r.seen_mismatch for r in found], float)
    rest = np.array([r.rest_position for r in found])
    # One look has no spread; reading a lever or a gap by eye is good to about 1 % of travel (common
    # practice, no source).
    u = max(float(mismatch.std(ddof=1)) if mismatch.size > 1 else 0.0, 0.005) / np.sqrt(
        mismatch.size
    )
    return _Look(
        float(np.mean(mismatch + rest)), float(rest.mean()), u, tuple(r.number for r in found)
    )


def _end_moved(result: StrokesResult, bands: Bands, direction: str, slow: bool) -> list[Symptom]:
    """Feedback at rest is not where it should be: the sensor moved, or the vanes really are
    elsewhere.
    """
    rests = [
        r
        for r in result.each
        if r.direction == direction and r.came_to_rest and r.form != "staircase"
    ]
    if not rests:
        return []
    nominal, band = (0.0, bands.zero) if direction == CLOSING else (1.0, bands.open_end)
    levels = np.array([r.rest_position for r in rests])
    now, u = float(levels[-2:].mean()), max(result.noise, 1e-4) / np.sqrt(3.0)
    end = "closed" if direction == CLOSING else "open"
    text = (
        f"Feedback rests at {_percent(now)} {end} instead of {_percent(nominal)}"
        f" ({_named([r.number for r in rests])}: {_percent(levels.min())} to"
        f" {_percent(levels.max())})"
    )
    look = _look(result, direction)
    if look is None:
        fits: tuple[str, ...] = (SHORT_OF_TORQUE,) if slow else (CALIBRATION_LOST,)
        return _symptom(
            f"{end} end moved",
            abs(now - nominal) - band,
            u,
            text + ".",
            (CALIBRATION_LOST, *fits),
            fits,
        )
    in_place = abs(look.seen - nominal) < abs(look.seen - look.feedback)
    text += f", and the vanes were seen at {_percent(look.seen)} ({_named(look.numbers)})."
    fits = (
        (CALIBRATION_LOST,)
        if in_place
        else (SHORT_OF_TORQUE,)
        if slow
        else (SHORT_OF_TORQUE, LINKAGE_SLIP)
    )
    return _symptom(f"{end} end moved", abs(now - nominal) - band, u, text, fits, fits)


def _drift(result: StrokesResult, bands: Bands, slow: bool) -> list[Symptom]:
    line = result.drift
    if line is None or not np.isfinite(line.u_slope):
        return []
    reach = max(result.zero_strokes) - min(result.zero_strokes)
    change, u = abs(line.slope) * reach, line.u_slope * reach
    text = (
        f"The zero drifts by {_percent(line.slope)} of travel per stroke, from"
        f" {_percent(result.zeros[0])} to {_percent(result.zeros[-1])}"
        f" ({_named(result.zero_strokes)})."
    )
    fits = (CALIBRATION_LOST, SHORT_OF_TORQUE) if slow else (CALIBRATION_LOST,)
    return _symptom("zero drifts", change - bands.drift, u, text, fits, fits[:1])


def _slips(result: StrokesResult, bands: Bands) -> list[Symptom]:
    """Vanes seen elsewhere than at the end that feedback shows."""
    found: list[Symptom] = []
    for direction, nominal, band in ((CLOSING, 0.0, bands.zero), (OPENING, 1.0, bands.open_end)):
        look = _look(result, direction)
        # Where the feedback is the one further off, the sensor moved and not the linkage.
        if look is None or abs(look.feedback - nominal) > min(
            band + _K * result.noise, abs(look.seen - nominal)
        ):
            continue
        end = "closed" if direction == CLOSING else "open"
        text = (
            f"Feedback read {_percent(look.feedback)} {end} while the vanes were seen at"
            f" {_percent(look.seen)} ({_named(look.numbers)})."
        )
        found += _symptom(
            f"seen off {end}",
            abs(look.seen - look.feedback) - bands.seen,
            look.u,
            text,
            (LINKAGE_SLIP,),
            (LINKAGE_SLIP,),
        )
    return found[:1]


def _hysteresis(result: StrokesResult, bands: Bands) -> list[Symptom]:
    if result.hysteresis_mean is None or result.u_hysteresis is None:
        return []
    if result.hysteresis is None or result.hysteresis_at is None:
        return []
    u = max(result.u_hysteresis, 5e-4) / np.sqrt(4.0)
    text = (
        f"At the same command, feedback closing is {_percent(result.hysteresis_mean)} above"
        f" feedback opening on average, and {_percent(result.hysteresis)} at command"
        f" {_percent(result.hysteresis_at)}."
    )
    return _symptom(
        "hysteresis",
        abs(result.hysteresis_mean) - bands.hysteresis,
        u,
        text,
        (LINKAGE_SLIP, SHORT_OF_TORQUE, FEEDBACK_FAULT),
        (LINKAGE_SLIP,),
    )


def _slowing(result: StrokesResult, bands: Bands, direction: str) -> list[Symptom]:
    timed = [r for r in result.each if r.direction == direction and r.slowing is not None]
    if not timed:
        return []
    ratios = np.array([r.slowing for r in timed])
    by_noise = 2 * float(np.median([r.noise for r in timed])) / 0.17 * float(np.median(ratios))
    u = (float(ratios.std(ddof=1)) if ratios.size > 2 else by_noise) / np.sqrt(ratios.size)
    end = "open" if direction == OPENING else "closed"
    text = (
        f"Towards the {end} end the vanes move {np.median(ratios):.1f} times slower than at"
        f" mid-travel ({_named([r.number for r in timed])}: {ratios.min():.1f} to"
        f" {ratios.max():.1f} times)."
    )
    return _symptom(
        f"slow towards {end}",
        float(np.median(ratios)) - bands.slowing,
        u,
        text,
        (SHORT_OF_TORQUE,),
        (SHORT_OF_TORQUE,),
    )


def _jumps(result: StrokesResult) -> list[Symptom]:
    jumping = [r for r in result.each if r.jumps]
    if not jumping:
        return []
    sizes = [abs(j.size) for r in jumping for j in r.jumps]
    text = (
        f"Feedback jumps {'once' if len(sizes) == 1 else f'{len(sizes)} times'} by up to"
        f" {_percent(max(sizes))} between two samples, more than the vanes can move"
        f" ({_named([r.number for r in jumping])})."
    )
    # One jump in one stroke may be a disturbance of the record; twice is the sensor.
    return [Symptom("jumps", len(sizes) > 1, text, (FEEDBACK_FAULT,), (FEEDBACK_FAULT,))]


def _stalls(result: StrokesResult) -> list[Symptom]:
    """A pause followed by a jump is the sensor; a pause without one is the vanes."""
    held: list[tuple[StrokeResult, Stall]] = []
    plain: list[tuple[StrokeResult, Stall]] = []
    for r in result.each:
        for s in r.stalls:
            (held if any(s.start <= j.time <= s.end + 5.0 for j in r.jumps) else plain).append(
                (r, s)
            )
    found = []
    if held:
        found.append(
            Symptom(
                "sticks and jumps",
                True,
                _stall_text(held) + " and then jumps to the right value.",
                (FEEDBACK_FAULT,),
                (FEEDBACK_FAULT,),
            )
        )
    if plain:
        text = _stall_text(plain) + " while commanded to move."
        found.append(
            Symptom(
                "stalls",
                len(plain) > 1,
                text,
                (SHORT_OF_TORQUE, LINKAGE_SLIP, FEEDBACK_FAULT),
                (SHORT_OF_TORQUE, LINKAGE_SLIP),
            )
        )
    return found


def _stall_text(stalls: Sequence[tuple[StrokeResult, Stall]]) -> str:
    longest = max((s for _, s in stalls), key=lambda s: s.end - s.start)
    return (
        f"Feedback stops at {_percent(longest.position)} for {longest.end - longest.start:.0f} s"
        f" in {_named([r.number for r, _ in stalls])}"
    )


def _switch_place(result: StrokesResult, bands: Bands, slow: bool) -> list[Symptom]:
    switch = result.switch
    fits: tuple[str, ...]
    if switch.trials and switch.failures == switch.trials:
        text = (
            "The switch was not made at the end of any closing stroke"
            f" ({_named(switch.failed_strokes)})."
        )
        fits = (SWITCH_MISADJUSTED, SWITCH_FAILING)
        return [
            Symptom(
                "never made",
                switch.trials > 1,
                text,
                (*fits, SHORT_OF_TORQUE) if slow else fits,
                fits if not slow else (),
            )
        ]
    if switch.distance_from_stop is None:
        return []
    n = len(switch.makes_from_rest)
    u = max(switch.distance_sd or 0.0, switch.u_position) / np.sqrt(n)
    median = float(np.median(switch.makes_from_rest))
    text = (
        f"The switch makes {_percent(median)} of travel before the closed rest, known to"
        f" {_percent(_K * u)} ({_named(switch.make_strokes)})."
    )
    fits = (SWITCH_MISADJUSTED, SWITCH_FAILING) if n < switch.trials else (SWITCH_MISADJUSTED,)
    early = _symptom("makes early", median - bands.switch_early, u, text, fits, fits[:1])
    late = _symptom("makes late", bands.switch_late - median, u, text, fits, fits[:1])
    # A switch that made every time is not suspected for a place that is merely not known well
    # enough.
    return early + [s for s in late if s.shown or n < switch.trials]


def _switch_spread(result: StrokesResult, bands: Bands, slow: bool) -> list[Symptom]:
    switch, found = result.switch, []
    fits = (SWITCH_FAILING, SHORT_OF_TORQUE) if slow else (SWITCH_FAILING,)
    if 0 < switch.failures < switch.trials:
        text = (
            f"The switch was not made at the end of {switch.failures} of {switch.trials} closing"
            f" strokes ({_named(switch.failed_strokes)})."
        )
        # A switch set right at the stop also fails at times.
        late = (
            len(switch.makes_from_rest) > 0
            and float(np.median(switch.makes_from_rest))
            <= bands.switch_late + _K * switch.u_position
        )
        both = (SWITCH_MISADJUSTED,) if late else ()
        found.append(Symptom("fails at times", True, text, fits + both, fits[:1] + both))
    if switch.chatter:
        text = (
            f"The switch chattered: {switch.chatter} extra changes"
            f" ({_named(switch.chattering_strokes)})."
        )
        found.append(Symptom("chatter", switch.chatter > 1, text, fits, fits[:1]))
    if switch.distance_sd is not None:
        found += _scatter(result, bands, fits)
    return found


def _scatter(result: StrokesResult, bands: Bands, fits: Sequence[str]) -> list[Symptom]:
    """Spread of the make beyond what sampling and noise explain (chi-square, 95 %); the spread of
    few strokes is itself uncertain.
    """
    from scipy.special import chdtri

    switch, n = result.switch, len(result.switch.makes_from_rest)
    if switch.distance_sd is None or switch.u_position is None:
        return []
    if (n - 1) * switch.distance_sd**2 <= chdtri(n - 1, 0.05) * switch.u_position**2:
        return []
    own = float(np.sqrt(max(0.0, switch.distance_sd**2 - switch.u_position**2)))
    u = switch.distance_sd / np.sqrt(2.0 * (n - 1))
    if own + u <= bands.switch_scatter:
        return []
    text = (
        f"The make point of the switch varies from {_percent(switch.makes_from_rest.min())} to"
        f" {_percent(switch.makes_from_rest.max())} off the closed rest"
        f" ({_named(switch.make_strokes)}), standard deviation {_percent(switch.distance_sd)} of"
        f" which {_percent(switch.u_position)} is sampling and noise."
    )
    return [
        Symptom(
            "scatter",
            bool(own - u > bands.switch_scatter),
            text,
            (*fits, FEEDBACK_FAULT),
            (SWITCH_FAILING,),
        )
    ]


def symptoms(result: StrokesResult, bands: Bands | None = None) -> tuple[Symptom, ...]:
    """All that is outside its band, or unclear at its edge.

    Parameters
    ----------
    result : StrokesResult
        From `startkit.science.vane_calibration.analyse_strokes`.
    bands : Bands, optional

    Source: common practice, no source.
    """
    bands = bands or Bands()
    opening, closing = _slowing(result, bands, OPENING), _slowing(result, bands, CLOSING)
    return tuple(
        _jumps(result)
        + _stalls(result)
        + opening
        + closing
        + _hysteresis(result, bands)
        + _slips(result, bands)
        + _end_moved(result, bands, CLOSING, bool(closing))
        + _end_moved(result, bands, OPENING, bool(opening))
        + _drift(result, bands, bool(closing))
        + _switch_place(result, bands, bool(closing))
        + _switch_spread(result, bands, bool(closing))
    )
