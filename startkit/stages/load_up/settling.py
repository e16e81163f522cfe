"""What would settle a reading that is within its uncertainty of its limit: a better instrument,
or a larger water range.
"""

from __future__ import annotations

from collections.abc import Mapping

import pint

from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.selection import design_range
from startkit.science.uncertainty import Propagated, Share
from startkit.stages.load_up.points import Point
from startkit.units import Q, difference_kind
from startkit.verdict import COVERAGE, Verdict

HOPELESS = 0.1  # of the present uncertainty: what no instrument of the field reaches
MOST_INPUTS = 4
RANGES = {
    "chilled water": ("chilled_entering", "chilled_leaving"),
    "condenser water": ("condenser_entering", "condenser_leaving"),
}


def what_would_tell(
    machine: Machine,
    entries: Entries,
    judged: Verdict,
    found: Propagated,
    p: Point,
    kinds: Mapping[str, str],
    labels: Mapping[str, str],
) -> str:
    """One or two sentences: which instrument dominates and how good it would have to be, or which
    water range would do.

    With u the uncertainty now and g the distance from the limit, the reading is decided once k u'
    <= g. The variance of the inputs that are improved has to fall from s u^2 to (g/k)^2 - (1 - s)
    u^2, with s their share.

    Parameters
    ----------
    judged : Verdict
        Unproven; its reading and limits.
    found : Propagated
        The figure it was made of, with its budget.
    kinds, labels : mapping
        Kind and printed name of each reading.
    """
    u, gap = _base(judged.uncertainty), _gap(judged)
    if not u or gap is None or not found.budget:
        return ""
    allowed = (gap / COVERAGE / u) ** 2
    if allowed < HOPELESS**2:
        return (
            "The reading is on the limit itself: no field instrument can settle that. Let those who"
            " agreed the limit decide, and record the decision."
        )
    sentences = [
        _instruments(entries, found, allowed, kinds, labels),
        *_ranges(machine, entries, found, p, allowed),
    ]
    return " ".join(sentence for sentence in sentences if sentence)


def _base(quantity: pint.Quantity | None) -> float:
    return 0.0 if quantity is None else float(quantity.to_base_units().magnitude)


def _gap(judged: Verdict) -> float | None:
    """Distance of the reading from its nearer limit."""
    if judged.reading is None:
        return None
    value = _base(judged.reading)
    gaps = [abs(value - _base(bound)) for bound in (judged.low, judged.high) if bound is not None]
    return min(gaps) if gaps else None


def _instruments(
    entries: Entries,
    found: Propagated,
    allowed: float,
    kinds: Mapping[str, str],
    labels: Mapping[str, str],
) -> str:
    """The fewest instruments that would do, and how good each would have to be."""
    improved: list[Share] = []
    for share in found.budget[:MOST_INPUTS]:
        improved.append(share)
        held = sum(each.share for each in improved)
        if held > 0 and allowed > (1 - held) + 1e-6:
            factor = ((allowed - (1 - held)) / held) ** 0.5
            if factor < HOPELESS:
                continue
            return (
                "It could be settled with"
                f" {_listed([_wanted(entries, each, factor, kinds, labels) for each in improved])}."
            )
    names = [
        labels.get(each.name, each.name.replace("_", " ")).lower()
        for each in found.budget[:MOST_INPUTS]
    ]
    return f"No single instrument can settle it: {_listed(names)} would all have to be better."


def _wanted(
    entries: Entries,
    share: Share,
    factor: float,
    kinds: Mapping[str, str],
    labels: Mapping[str, str],
) -> str:
    """``"chilled water entering to ± 0.02 K (now ± 0.05 K, 62 % of the variance)"``; accuracies as
    printed on an instrument.
    """
    kind = difference_kind(kinds.get(share.name, "ratio"))
    now, better = (_accuracy(entries, share.u * scale, kind) for scale in (1.0, factor))
    return (
        f"{labels.get(share.name, share.name.replace('_', ' ')).lower()} to ± {better} (now ±"
        f" {now}, {100 * share.share:.0f} % of the variance)"
    )


def _accuracy(entries: Entries, u: pint.Quantity, kind: str) -> str:
    """A standard uncertainty as the half-width that an instrument states, with two figures that
    tell.
    """
    from math import floor, log10

    from startkit.units import magnitude

    stated = 3**0.5 * u
    size = abs(magnitude(stated, kind, entries.job.system))
    return entries.show(stated, kind, max(0, 1 - floor(log10(size))) if size > 0 else None)


def _ranges(
    machine: Machine, entries: Entries, found: Propagated, p: Point, allowed: float
) -> list[str]:
    """The water range at which the same thermometers would do, if the machine can make it."""
    sentences = []
    for name, ends in RANGES.items():
        held = sum(each.share for each in found.budget if each.name in ends)
        entering, leaving = (p.readings[end].quantity for end in ends)
        if held <= 0.2 or entering is None or leaving is None or allowed <= (1 - held) + 1e-6:
            continue
        now = abs(entering.to("kelvin") - leaving.to("kelvin"))
        needed = Q(float(now.magnitude) * (held / (allowed - (1 - held))) ** 0.5, "delta_degC")
        if now < needed <= 1.2 * design_range(machine):
            sentences.append(
                f"Or read when the {name} range is"
                f" {entries.show(needed, 'temperature_difference', 1)} or more."
            )
    return sentences


def _listed(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
