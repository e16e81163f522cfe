"""What is judged of the machine under load: every steady point; the worst decides."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace

from startkit.facts.limits import PRACTICE, Limit, Limits
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.judging import check
from startkit.procedure.reading import Reading
from startkit.procedure.selection import approaches, promised
from startkit.stages.load_up import rating
from startkit.stages.load_up.fields import POINT_KINDS, POINT_LABELS
from startkit.stages.load_up.non_condensables import non_condensables
from startkit.stages.load_up.points import Point, load_of
from startkit.stages.load_up.rating import PartLoad
from startkit.stages.load_up.readings import Loads
from startkit.stages.load_up.settling import what_would_tell
from startkit.stages.load_up.several_loads import together
from startkit.stages.load_up.surge import margin, surge_line
from startkit.stages.load_up.tolerance import limit_at
from startkit.units import Q
from startkit.verdict import Outcome, Verdict, worst


@dataclass(frozen=True)
class Measured:
    """What one point shows for one item.

    Parameters
    ----------
    reading : Reading
    note : str
        Added to the sentence.
    figure : str
        Key of the figure behind it.
    nothing : str
        Why there is no reading.
    lacking : bool
        Readings are missing; False: they are there, but cannot be compared.
    """

    reading: Reading = field(default_factory=Reading)
    note: str = ""
    figure: str = ""
    nothing: str = ""
    lacking: bool = True

    @property
    def found(self) -> bool:
        return self.reading.quantity is not None


Measure = Callable[[Point], Measured]


@dataclass(frozen=True)
class Context:
    """What every verdict of this stage needs."""

    machine: Machine
    limits: Limits
    entries: Entries
    found: tuple[Point, ...]
    nothing: str = "No load has been read."


def judged(
    machine: Machine, limits: Limits, entries: Entries, loads: Loads, rated: PartLoad
) -> tuple[Verdict, ...]:
    """Every verdict of the stage."""
    sound = tuple(p for p in loads.points if not p.contradictions)
    context = Context(machine, limits, entries, sound)
    if loads.points:
        context = replace(context, nothing="No load whose readings can be true together.")
    return (
        _loads(context),
        _steady(loads.points),
        together(loads.points),
        _over_all(
            context,
            "heat_balance",
            _plain("heat_balance", "percent"),
            "Find the wrong reading before judging the machine: flows first, then water sensors,"
            " then power.",
        ),
        _full_capacity(context),
        _over_all(
            context,
            "specific_power",
            _power_deviation(machine),
            "Check flow, air in the machine, charge and fouling before blaming the compressor.",
        ),
        _over_all(
            context,
            "evaporator_approach",
            _approach(machine, entries, "evaporator"),
            "Check charge, oil in the evaporator, flow and fouling.",
        ),
        _over_all(
            context,
            "condenser_approach",
            _approach(machine, entries, "condenser"),
            "Check for air in the machine, then flow and fouling.",
        ),
        _over_all(
            context,
            "subcooling",
            _plain("subcooling", "delta_degC"),
            "Gas leaves the condenser with the liquid, or a reading is wrong: check charge and"
            " sensor.",
        ),
        _over_all(
            context,
            "current",
            _plain("current", "percent"),
            "Lower the current limit until the cause is found.",
        ),
        *_flows(context),
        *_surge(context),
        non_condensables(context.machine, context.limits, context.entries),
        *rating.verdicts(machine, limits, entries, rated),
    )


# --- one item over all points ------------------------------------------------------------------


def _over_all(context: Context, item: str, measure: Measure, next_step: str) -> Verdict:
    """The verdict of the worst point; points that were not steady are not judged, and one item
    never taken is open.
    """
    limit = context.limits[f"load_up.{item}"]
    measured = [(p, measure(p)) for p in context.found]
    judged = [
        (p, _one(context, f"load_up.{item}", p, m, next_step)) for p, m in measured if m.found
    ]
    if not judged:
        return _none(limit, [m for _, m in measured], context.nothing)
    outcome = worst([v.outcome for _, v in judged])
    at, speaking = max(
        ((p, v) for p, v in judged if v.outcome is outcome), key=lambda pair: _excess(pair[1])
    )
    apart = sum(not m.found and not m.lacking for _, m in measured)
    others = f"{len(judged)} loads judged" if len(judged) > 1 else ""
    others = ", ".join(
        word
        for word in (others, f"{apart} not compared: {_first_reason(measured)}" if apart else "")
        if word
    )
    items = [item for _, v in judged for item in v.rests_on]
    return replace(
        speaking,
        rests_on=tuple(dict.fromkeys(items)),
        sentence=f"At {at.label}: {speaking.sentence}" + (f" ({others})" if others else ""),
    )


def _first_reason(measured: list[tuple[Point, Measured]]) -> str:
    return next(f"at {p.label} {m.nothing}" for p, m in measured if not m.found and not m.lacking)


def _none(limit: Limit, measured: list[Measured], nothing: str) -> Verdict:
    """No point can be judged: open if readings are missing, unproven if they cannot be compared."""
    apart = next((m for m in measured if not m.lacking), None)
    if apart is not None:
        return Verdict(
            key=limit.key,
            title=limit.title,
            outcome=Outcome.UNPROVEN,
            sentence=f"Not compared: {apart.nothing}.",
            next_step="Measure closer to the loads and water temperatures of the selection, or ask"
            " for a selection at these.",
            source=limit.origin,
            rests_on=("load_up.points",),
        )
    reason = measured[0].nothing if measured else nothing
    return Verdict(
        key=limit.key,
        title=limit.title,
        outcome=Outcome.OPEN,
        sentence=reason,
        next_step="Take the readings.",
        source=limit.origin,
        rests_on=("load_up.points",),
    )


def _one(context: Context, key: str, p: Point, m: Measured, next_step: str) -> Verdict:
    limit = limit_at(context.limits, key, context.entries, context.machine, load_of(p))
    judged = check(
        context.entries,
        limit,
        m.reading,
        steady=p.steady,
        next_step=next_step,
        note=m.note,
    )
    if (
        judged.outcome is not Outcome.UNPROVEN
        or not p.steady
        or m.reading.untrusted
        or m.figure not in p.found
    ):
        return judged
    told = what_would_tell(
        context.machine, context.entries, judged, p.found[m.figure], p, POINT_KINDS, POINT_LABELS
    )
    return replace(judged, next_step=told or next_step)


def _excess(judged: Verdict) -> float:
    """How far the reading is beyond its nearer limit: the larger, the worse."""
    if judged.reading is None:
        return 0.0
    value = judged.reading.to_base_units().magnitude
    gaps = [judged.low.to_base_units().magnitude - value] if judged.low is not None else []
    gaps += [value - judged.high.to_base_units().magnitude] if judged.high is not None else []
    return max(gaps, default=0.0)


def _lacking(p: Point, key: str) -> Measured:
    return Measured(nothing=f"At {p.label} the figure {p.why_not.get(key, 'cannot be made')}.")


def _plain(key: str, unit: str) -> Measure:
    def measure(p: Point) -> Measured:
        found = p.reading(key)
        if found.quantity is None:
            return _lacking(p, key)
        u = None if found.u is None else found.u.to(unit)
        return Measured(found.with_quantity(found.quantity.to(unit), u), figure=key)

    return measure


def _power_deviation(machine: Machine) -> Measure:
    """Measured power for capacity against what the selection promises there [percent]."""

    def measure(p: Point) -> Measured:
        found, load = p.reading("specific_power"), load_of(p)
        if found.quantity is None or load is None:
            return _lacking(p, "specific_power")
        promise = promised(
            machine,
            load,
            p.readings["chilled_leaving"].quantity,
            p.readings["condenser_leaving"].quantity,
            p.readings["condenser_entering"].quantity,
        )
        if promise.specific_power is None:
            return Measured(nothing=promise.why_not, lacking=False)
        deviation = found.deviation_from(promise.specific_power)
        note = (
            f"Selection corrected by {100 * (promise.correction - 1):+.1f} % for the water"
            " temperatures on site."
            if abs(promise.correction - 1) >= 0.001
            else ""
        )
        if promise.curves:
            note = "Expected by the maker's curves at the water temperatures on site."
        return Measured(_doubted(deviation, promise.correction), note, "specific_power")

    return measure


def _doubted(deviation: Reading, correction: float) -> Reading:
    """With the doubt of the selection's correction for other water temperatures, which is trusted
    to a third of its size (own default).
    """
    if deviation.quantity is None:
        return deviation
    ratio = 100 + float(deviation.quantity.to("percent").magnitude)
    doubt = ratio * abs(correction - 1) / 3
    own = None if deviation.u is None else float(deviation.u.to("percent").magnitude)
    if own is None and not doubt:
        return deviation
    return deviation.with_quantity(deviation.quantity, Q(math.hypot(own or 0.0, doubt), "percent"))


def _approach(machine: Machine, entries: Entries, side: str) -> Measure:
    """Approach less the selection's approach at that load."""

    def measure(p: Point) -> Measured:
        key = f"{side}_approach"
        found, load = p.reading(key), load_of(p)
        if found.quantity is None:
            return _lacking(p, key)
        due = approaches(machine, load, side) if load is not None else None
        if due is None:
            return Measured(
                nothing="the selection gives no approach at this load",
                lacking=load is None
                or all(getattr(row, key) is None for row in machine.selection.points),
            )
        note = (
            f"Approach {entries.show(found.quantity, 'temperature_difference')}, selection"
            f" {entries.show(due, 'temperature_difference')}."
        )
        return Measured(found.less(due), note, key)

    return measure


# --- single items -------------------------------------------------------------------------------


def _loads(context: Context) -> Verdict:
    steady = [p for p in context.found if p.steady and p.value("capacity") is not None]
    count = Reading(quantity=Q(len(steady), "dimensionless"), taken=True)
    return check(
        context.entries,
        context.limits["load_up.loads"],
        count if context.found else Reading(),
        next_step="Take further loads, each confirmed steady by a named person.",
        rests_on=_confirmations(context.found),
    )


def _confirmations(found: tuple[Point, ...]) -> tuple[str, ...]:
    """Items by which the loads were confirmed as steady."""
    return tuple(item for p in found for item in p.confirmation) or ("load_up.points",)


def _steady(found: tuple[Point, ...]) -> Verdict:
    key, title, source = (
        "load_up.steady",
        "Readings taken while steady",
        PRACTICE,
    )
    if not found:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.OPEN,
            sentence="No load has been read.",
            next_step="Load step by step and read.",
            source=source,
            rests_on=_confirmations(found),
        )
    swinging = [p.label + (f" ({p.unsteady})" if p.unsteady else "") for p in found if not p.steady]
    if swinging:
        return Verdict(
            key=key,
            title=title,
            outcome=Outcome.UNPROVEN,
            sentence=f"Not confirmed as steady: {', '.join(swinging)}. They are shown but not"
            " judged.",
            next_step="Wait until the loop is steady, read again, and enter who confirms it.",
            source=source,
            rests_on=_confirmations(found),
        )
    return Verdict(
        key=key,
        title=title,
        outcome=Outcome.PASS,
        sentence=f"{len(found)} loads, each confirmed steady by a named person.",
        source=source,
        rests_on=_confirmations(found),
    )


def _full_capacity(context: Context) -> Verdict:
    """Capacity at the highest steady load against the selection's full capacity."""
    limit = limit_at(context.limits, "load_up.capacity", context.entries, context.machine, 1.0)
    steady = [p for p in context.found if p.steady and load_of(p) is not None]
    if not steady:
        return check(context.entries, limit, Reading(items=("load_up.points",)), next_step="")
    top = max(steady, key=lambda p: load_of(p) or 0.0)
    load, reading = load_of(top) or 0.0, top.reading("load")
    if load < 0.9:
        return Verdict(
            key=limit.key,
            title=limit.title,
            outcome=Outcome.UNPROVEN,
            sentence=f"The highest load reached was {100 * load:.0f} %: full capacity was not"
            " tested.",
            next_step="Come back when the building can load the machine, or waive it with a"
            " reason.",
            reading=Q(100 * load, "percent"),
            uncertainty=None,
            kind="percent",
            source=limit.origin,
            rests_on=reading.items,
        )
    entries, note = (
        context.entries,
        (
            f"At {top.label} {context.entries.show(top.value('capacity'), 'cooling')}, selection"
            f" {context.entries.show(context.machine.design.capacity, 'cooling')}."
        ),
    )
    judged = check(
        entries,
        limit,
        reading.deviation_from(Q(1, "dimensionless")),
        next_step="Check flow, water temperatures, vane position and charge.",
        note=note,
    )
    if judged.outcome is not Outcome.UNPROVEN or reading.untrusted:
        return judged
    told = what_would_tell(
        context.machine, entries, judged, top.found["load"], top, POINT_KINDS, POINT_LABELS
    )
    return replace(judged, next_step=told or judged.next_step)


def _flows(context: Context) -> tuple[Verdict, ...]:
    """The meter against the exchanger's pressure drop, where both were read."""
    found = []
    for side, name in (("evaporator", "chilled water"), ("condenser", "condenser water")):
        if any(
            p.flows.get(side, Reading()).quantity is not None and _metered(p, side)
            for p in context.found
        ):
            found.append(
                _over_all(
                    context,
                    f"{side}_flow",
                    _flow_deviation(side),
                    f"Meter and pressure drop of the {name} disagree: check gauges for air and"
                    " level, the meter's pipe data, and strainers.",
                )
            )
    return tuple(found)


def _metered(p: Point, side: str) -> bool:
    return p.row.quantity(f"{side}_flow") is not None


def _flow_deviation(side: str) -> Measure:
    def measure(p: Point) -> Measured:
        by_drop, meter = p.flows.get(side, Reading()), p.readings[f"{side}_flow"]
        if by_drop.quantity is None or not _metered(p, side):
            return Measured(nothing=f"At {p.label} meter or pressure drop was not read.")
        return Measured(meter.deviation_from(by_drop))

    return measure


def _surge(context: Context) -> tuple[Verdict, ...]:
    """Distance to the surge line, where the sheet has one."""
    if not surge_line(context.machine):
        return ()

    def measure(p: Point) -> Measured:
        found = margin(context.machine, p)
        if found.reading.quantity is None:
            lacking = p.value("lift") is None or load_of(p) is None
            return Measured(nothing=found.why_not, lacking=lacking)
        return Measured(found.reading)

    return (
        _over_all(
            context,
            "surge_margin",
            measure,
            "Stay away from this load at this lift: lower the condenser water or the load limit,"
            " and ask the maker.",
        ),
    )
