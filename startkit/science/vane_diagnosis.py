"""Vane diagnosis: which fault the pattern of a set of strokes points to, and with what evidence.

Symptoms are measured against bands that come in as an argument. A symptom is *shown* if it lies
outside its band by two standard uncertainties, *unclear* if within that of the band's edge.
Each fault explains some symptoms; what it cannot explain speaks against it. Where two explain
equally well, or a symptom is only unclear, the diagnosis says undecided.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from startkit.science.strokes import CLOSING, OPENING
from startkit.science.vane_calibration import StrokesResult
from startkit.science.vanes import Stall, StrokeResult

CALIBRATION_LOST = "calibration lost"
SWITCH_MISADJUSTED = "switch misadjusted"
SWITCH_FAILING = "switch failing"
LINKAGE_SLIP = "linkage slip"
SHORT_OF_TORQUE = "actuator short of torque"
FEEDBACK_FAULT = "feedback fault"
NOTHING_FOUND = "nothing found"
UNDECIDED = "undecided"

_K = 2.0  # coverage factor of the expanded uncertainty, JCGM 100:2008, 6.2.1


@dataclass(frozen=True)
class Bands:
    """What is still ordinary, as fractions of travel unless said otherwise. All defaults: common
    practice, no source.

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
        Difference between the position seen and the end it should stand at, or the feedback.
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


@dataclass(frozen=True)
class Candidate:
    """One fault with what speaks for it, what it leaves unexplained, and what to do next. `score`:
    symptoms that point to it less those it leaves.
    """

    name: str
    score: float
    evidence: tuple[str, ...]
    against: tuple[str, ...]
    next_step: str


@dataclass(frozen=True)
class Diagnosis:
    """What the pattern of the strokes says.

    Parameters
    ----------
    outcome : str
        The name of a fault, ``"nothing found"`` or ``"undecided"``.
    sentence : str
        One plain sentence.
    candidates : tuple of Candidate
        Best first; where undecided, the ones that fit equally stand first.
    symptoms : tuple of Symptom
    not_examined : tuple of str
        What the strokes could not show, and what entry would.
    """

    outcome: str
    sentence: str
    candidates: tuple[Candidate, ...]
    symptoms: tuple[Symptom, ...]
    not_examined: tuple[str, ...]


_NEXT = {
    CALIBRATION_LOST: (
        "with the vanes seen closed, set the feedback zero again, then the open end, and stroke"
        " again; look why the sensor moved on its shaft"
    ),
    SWITCH_MISADJUSTED: (
        "press the switch by hand to see that it makes, set it to make just before the closed stop,"
        " lock it, and stroke again"
    ),
    SWITCH_FAILING: (
        "look at the switch, its lever, fixing and wiring; replace it if it makes at changing"
        " places by hand as well, and stroke again"
    ),
    LINKAGE_SLIP: (
        "lock out, then look at clamps, keys, pins and rod ends from drive to vane ring for play"
        " and slip marks; tighten or replace, calibrate again"
    ),
    SHORT_OF_TORQUE: (
        "lock out, uncouple the drive and turn the vanes by hand to see whether they bind; check"
        " the drive's supply voltage and rating"
    ),
    FEEDBACK_FAULT: (
        "measure the raw feedback at its terminals along a slow stroke; check wiring and track of"
        " the sensor and replace it if it jumps there as well"
    ),
    NOTHING_FOUND: (
        "nothing for these strokes; see whether their number is enough for the closed proof"
    ),
}


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


# --- what was seen by eye --------------------------------------------------------------------


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


# --- symptoms --------------------------------------------------------------------------------


def _end_moved(result: StrokesResult, bands: Bands, direction: str, slow: bool) -> list[Symptom]:
    """Feedback at rest is not where it should be: the sensor moved, or the vanes really stand
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
        f"The zero drifts by {_percent(line.slope)} of travel a stroke, from"
        f" {_percent(result.zeros[0])} to {_percent(result.zeros[-1])}"
        f" ({_named(result.zero_strokes)})."
    )
    fits = (CALIBRATION_LOST, SHORT_OF_TORQUE) if slow else (CALIBRATION_LOST,)
    return _symptom("zero drifts", change - bands.drift, u, text, fits, fits[:1])


def _slips(result: StrokesResult, bands: Bands) -> list[Symptom]:
    """Vanes seen elsewhere than at the end where feedback says they stand."""
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
            f"Feedback says {_percent(look.feedback)} {end} while the vanes were seen at"
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
    u = max(result.u_hysteresis, 5e-4) / np.sqrt(4.0)
    text = (
        f"At the same command, feedback closing stands {_percent(result.hysteresis_mean)} above"
        f" feedback opening in the mean, {_percent(result.hysteresis)} at command"
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
        f"Towards the {end} end the vanes run {np.median(ratios):.1f} times slower than in"
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
    """Standing still and catching up in a jump is the sensor; standing still and going on is the
    vanes.
    """
    held: list[Any] = []
    plain: list[Any] = []
    for r in result.each:
        for s in r.stalls:
            (held if any(s.start <= j.time <= s.end + 5.0 for j in r.jumps) else plain).append(
                (r, s)
            )
    found = []
    if held:
        found.append(
            Symptom(
                "stands and jumps",
                True,
                _stall_text(held) + " and then jumps to where it should be.",
                (FEEDBACK_FAULT,),
                (FEEDBACK_FAULT,),
            )
        )
    if plain:
        text = _stall_text(plain) + " while it was commanded."
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
        f"Feedback stands still at {_percent(longest.position)} for"
        f" {longest.end - longest.start:.0f} s in {_named([r.number for r, _ in stalls])}"
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
            f"The switch chattered: {switch.chatter} changes too many"
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
    if (n - 1) * switch.distance_sd**2 <= chdtri(n - 1, 0.05) * switch.u_position**2:
        return []
    own = float(np.sqrt(max(0.0, switch.distance_sd**2 - switch.u_position**2)))
    u = switch.distance_sd / np.sqrt(2.0 * (n - 1))
    if own + u <= bands.switch_scatter:
        return []
    text = (
        f"The switch makes at changing places, {_percent(switch.makes_from_rest.min())} to"
        f" {_percent(switch.makes_from_rest.max())} from the closed rest"
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
    """All that lies outside its band, or unclear at its edge.

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


# --- the diagnosis ---------------------------------------------------------------------------


def diagnose(result: StrokesResult, bands: Bands | None = None, lead: float = 0.75) -> Diagnosis:
    """Which fault the strokes point to, ranked, with evidence and next step.

    score = number of shown symptoms that point to the fault - number of shown symptoms that it does
    not explain

    Parameters
    ----------
    result : StrokesResult
        From `analyse_strokes` (with or without units).
    bands : Bands, optional
        What is still ordinary.
    lead : float
        By how much the best must lead the second, in symptoms, to be named. Default 0.75.

    Returns
    -------
    Diagnosis

    Source: common practice, no source; the rate of right, undecided and wrong on simulated strokes
    is published with the project.
    """
    seen = symptoms(result, bands)
    ranked = _rank([s for s in seen if s.shown])
    missing = _not_examined(result)
    if not seen:
        return _nothing_shown(result, missing)
    if not ranked or ranked[0].score <= 0:
        return _not_settled(seen, ranked, missing)
    equal = [c for c in ranked if ranked[0].score - c.score < lead]
    if len(equal) > 1:
        return Diagnosis(
            UNDECIDED, f"The strokes fit {_either(equal)} equally well.", ranked, seen, missing
        )
    return Diagnosis(
        ranked[0].name,
        f"The strokes point to {ranked[0].name}: {_lower(ranked[0].evidence[0])}",
        ranked,
        seen,
        missing,
    )


def _rank(shown: Sequence[Symptom]) -> tuple[Candidate, ...]:
    found = []
    for name in (
        CALIBRATION_LOST,
        SWITCH_MISADJUSTED,
        SWITCH_FAILING,
        LINKAGE_SLIP,
        SHORT_OF_TORQUE,
        FEEDBACK_FAULT,
    ):
        evidence = tuple(s.sentence for s in shown if name in s.points_to)
        against = tuple(s.sentence for s in shown if name not in s.explained_by)
        if evidence:
            found.append(
                Candidate(name, float(len(evidence) - len(against)), evidence, against, _NEXT[name])
            )
    return tuple(sorted(found, key=lambda c: -c.score))


def _not_settled(
    seen: Sequence[Symptom], ranked: tuple[Candidate, ...], missing: tuple[str, ...]
) -> Diagnosis:
    """Only unclear symptoms, or such as no one fault explains."""
    if ranked:
        return Diagnosis(
            UNDECIDED,
            f"No single fault explains the strokes; {_either(ranked)} each explain a part.",
            ranked,
            tuple(seen),
            missing,
        )
    names = dict.fromkeys(name for s in seen for name in s.points_to or s.explained_by)
    maybe = tuple(
        Candidate(n, 0.0, tuple(s.sentence for s in seen if n in s.explained_by), (), _NEXT[n])
        for n in names
    )
    sentence = (
        f"A sign of {_either(maybe)} lies at the edge of what is ordinary and cannot be told from"
        " it; make more strokes."
    )
    return Diagnosis(UNDECIDED, sentence, maybe, tuple(seen), missing)


def _either(candidates: Sequence[Candidate]) -> str:
    names = [c.name for c in candidates]
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1]


def _lower(sentence: str) -> str:
    return sentence[:1].lower() + sentence[1:]


def _nothing_shown(result: StrokesResult, missing: tuple[str, ...]) -> Diagnosis:
    """Nothing found, unless a fault could not have shown: what was not looked for is not absent."""
    blind = _not_looked_for(result)
    candidates = tuple(
        Candidate(name, 0.0, (), (), _NEXT[name]) for name in (NOTHING_FOUND, *blind)
    )
    count = len(result.each)
    head = (
        f"{count} strokes show nothing out of the ordinary"
        if count != 1
        else "One stroke shows nothing out of the ordinary"
    )
    if not blind:
        return Diagnosis(NOTHING_FOUND, head + ".", candidates, (), missing)
    tail = f", but {_either(candidates[1:])} could not have shown in them."
    return Diagnosis(UNDECIDED, head + tail, candidates, (), missing)


def _not_looked_for(result: StrokesResult) -> tuple[str, ...]:
    """Faults of which these strokes could show no sign."""
    timed = any(r.slowing is not None for r in result.each)
    looked = {
        CALIBRATION_LOST: result.zero is not None and result.open_end is not None,
        SWITCH_MISADJUSTED: result.switch.trials > 0,
        SWITCH_FAILING: result.switch.trials > 1,
        LINKAGE_SLIP: (
            result.hysteresis is not None or any(r.seen_mismatch is not None for r in result.each)
        ),
        SHORT_OF_TORQUE: timed,
        FEEDBACK_FAULT: timed,
    }
    return tuple(name for name, seen in looked.items() if not seen)


def _not_examined(result: StrokesResult) -> tuple[str, ...]:
    """What these strokes could not show."""
    checks = (
        (
            result.hysteresis is None,
            "Hysteresis was not examined: step the command up and down with a hold at each step.",
        ),
        (
            not result.switch.trials,
            "The closed-position switch was not examined: record its state in closing strokes.",
        ),
        (
            0 < result.switch.trials < 2,
            "The spread of the switch was not examined: make at least two closing strokes.",
        ),
        (
            all(r.seen_mismatch is None for r in result.each),
            "The feedback was not held against the vanes: note the position seen at both ends.",
        ),
        (
            all(r.slowing is None for r in result.each),
            "Speed along the travel was not examined: record feedback over time in full strokes.",
        ),
        (
            result.drift is None,
            "Drift of the zero was not examined: make at least three closing strokes.",
        ),
    )
    return tuple(text for missing, text in checks if missing)
