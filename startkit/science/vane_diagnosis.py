"""Vane diagnosis: which fault the pattern of a set of strokes points to, and with what evidence.

Symptoms are measured against bands that come in as an argument. A symptom is *shown* if it is
outside its band by two standard uncertainties, *unclear* if within that of the band's edge. Each
fault explains some symptoms; what it cannot explain counts against it. Where two explain equally
well, or a symptom is only unclear, the diagnosis says undecided.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from startkit.science.vane_calibration import StrokesResult
from startkit.science.vane_symptoms import (
    CALIBRATION_LOST,
    FEEDBACK_FAULT,
    LINKAGE_SLIP,
    SHORT_OF_TORQUE,
    SWITCH_FAILING,
    SWITCH_MISADJUSTED,
    Bands,
    Symptom,
    symptoms,
)

NOTHING_FOUND = "nothing found"
UNDECIDED = "undecided"


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
    """What the pattern of the strokes points to.

    Parameters
    ----------
    outcome : str
        The name of a fault, ``"nothing found"`` or ``"undecided"``.
    sentence : str
        One plain sentence.
    candidates : tuple of Candidate
        Best first; where undecided, those that fit equally come first.
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
        "with the vanes seen closed, reset the feedback zero, then the open end, and stroke"
        " again; find out why the sensor moved on its shaft"
    ),
    SWITCH_MISADJUSTED: (
        "press the switch by hand to check that it makes, set it to make just before the closed"
        " stop, lock it, and stroke again"
    ),
    SWITCH_FAILING: (
        "check the switch, its lever, mounting and wiring; replace it if its make point also"
        " varies by hand, and stroke again"
    ),
    LINKAGE_SLIP: (
        "lock out, then check clamps, keys, pins and rod ends from drive to vane ring for play"
        " and slip marks; tighten or replace, and calibrate again"
    ),
    SHORT_OF_TORQUE: (
        "lock out, uncouple the drive and turn the vanes by hand to check for binding; check the"
        " drive's supply voltage and rating"
    ),
    FEEDBACK_FAULT: (
        "measure the raw feedback at its terminals along a slow stroke; check the sensor's wiring"
        " and track, and replace it if the signal jumps there too"
    ),
    NOTHING_FOUND: (
        "nothing for these strokes; check that there are enough of them for the closed proof"
    ),
}


# --- what was seen by eye --------------------------------------------------------------------


# --- symptoms --------------------------------------------------------------------------------


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
            f"No single fault explains the strokes; {_either(ranked)} each explain part of them.",
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
        f"A sign of {_either(maybe)} is at the edge of the normal band; make more strokes to"
        " decide."
    )
    return Diagnosis(UNDECIDED, sentence, maybe, tuple(seen), missing)


def _either(candidates: Sequence[Candidate]) -> str:
    names = [c.name for c in candidates]
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1]


def _lower(sentence: str) -> str:
    return sentence[:1].lower() + sentence[1:]


def _nothing_shown(result: StrokesResult, missing: tuple[str, ...]) -> Diagnosis:
    """Nothing found, unless a fault could not have shown: what was not looked for may be there."""
    blind = _not_looked_for(result)
    candidates = tuple(
        Candidate(name, 0.0, (), (), _NEXT[name]) for name in (NOTHING_FOUND, *blind)
    )
    count = len(result.each)
    head = (
        f"{count} strokes show nothing abnormal"
        if count != 1
        else "One stroke shows nothing abnormal"
    )
    if not blind:
        return Diagnosis(NOTHING_FOUND, head + ".", candidates, (), missing)
    tail = f", but {_either(candidates[1:])} would not have shown in them."
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
            "Hysteresis was not checked: step the command up and down with a hold at each step.",
        ),
        (
            not result.switch.trials,
            "The closed-position switch was not checked: record its state in closing strokes.",
        ),
        (
            0 < result.switch.trials < 2,
            "The scatter of the switch was not checked: make at least two closing strokes.",
        ),
        (
            all(r.seen_mismatch is None for r in result.each),
            "The feedback was not compared with the vanes: note the position seen at both ends.",
        ),
        (
            all(r.slowing is None for r in result.each),
            "Speed along the travel was not checked: record feedback over time in full strokes.",
        ),
        (
            result.drift is None,
            "Drift of the zero was not checked: make at least three closing strokes.",
        ),
    )
    return tuple(text for missing, text in checks if missing)
