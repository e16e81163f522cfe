"""Verdicts of the stage Water: liquid, flow, strainer, air and flow switch of each circuit."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from startkit.facts.limits import Limit, Limits
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.judging import check, confirm
from startkit.procedure.reading import Reading
from startkit.science.water import (
    freezing_point,
)
from startkit.stages.water.readings import Circuit
from startkit.units import Q
from startkit.verdict import Outcome, Verdict

SHEET = "machine sheet"
# Two flows read with one gauge share nine tenths of their error. Common practice, no source.
SAME_GAUGE = 0.9


def judged(
    machine: Machine, limits: Limits, entries: Entries, circuits: Iterable[Circuit]
) -> tuple[Verdict, ...]:
    """Both circuits, one after the other."""
    return tuple(v for c in circuits for v in _of_circuit(machine, limits, entries, c))


def _of_circuit(
    machine: Machine, limits: Limits, entries: Entries, c: Circuit
) -> tuple[Verdict, ...]:
    return (
        _fluid(limits, entries, c),
        *_freezing(machine, limits, c, entries),
        _flow(limits, entries, c),
        *_meter(limits, entries, c),
        *_strainer(limits, entries, c),
        *_air(limits, entries, c),
        *_switch(limits, entries, c),
    )


def _key(c: Circuit, item: str) -> str:
    return f"water.{c.name}_{item}"


def _named(limit: Limit, c: Circuit) -> str:
    return f"{c.title}: {limit.title[0].lower()}{limit.title[1:]}"


def _check(
    entries: Entries,
    limit: Limit,
    c: Circuit,
    item: str,
    reading: Reading | None,
    next_step: str,
    note: str = "",
) -> Verdict:
    return check(
        entries,
        limit,
        reading,
        key=_key(c, item),
        title=_named(limit, c),
        next_step=next_step,
        note=note,
    )


def _fluid(limits: Limits, entries: Entries, c: Circuit) -> Verdict:
    """The liquid of the sheet; glycol within its share."""
    blank = Verdict(
        key=_key(c, "fluid"),
        title=f"{c.title}: liquid as in the sheet",
        outcome=Outcome.OPEN,
        sentence=c.problem or "Not entered.",
        next_step="Enter the liquid, with the share of glycol.",
        source=SHEET,
        rests_on=_items(_what_flows(entries, c)),
    )
    if c.problem or c.liquid is None or c.due is None:
        return blank
    shown = str(c.liquid).capitalize()
    if c.liquid.name != c.due.name:
        return replace(
            blank,
            outcome=Outcome.FAIL,
            sentence=f"{shown}; the selection is for {c.due}.",
            next_step=(
                "Refer it to the office: capacity, pressure drop and freezing point all change."
            ),
        )
    if c.due.name == "water":
        return replace(blank, outcome=Outcome.PASS, sentence="Water.", next_step="")
    if c.liquid.basis != c.due.basis:
        return replace(
            blank,
            outcome=Outcome.UNPROVEN,
            sentence=f"{shown}; the sheet gives {c.due}.",
            next_step="Enter the share by mass.",
        )
    found, due = c.liquid.fraction, c.due.fraction
    share = entries.reading(f"{c.name}_share")
    return _check(
        entries,
        limits["water.glycol_share"],
        c,
        "fluid",
        share.with_quantity(Q(100 * (found - due), "percent"), share.u),
        "Adjust the share to the sheet.",
        f"{shown}.",
    )


def _freezing(
    machine: Machine, limits: Limits, c: Circuit, entries: Entries
) -> tuple[Verdict, ...]:
    """Leaving chilled water of the selection over the freezing point of what really flows."""
    if c.name != "evaporator" or c.liquid is None:
        return ()
    margin = (machine.design.leaving_chilled - freezing_point(c.liquid)).to("delta_degC")
    note = (
        f"Leaving water {entries.show(machine.design.leaving_chilled, 'temperature')}, freezing"
        f" point {entries.show(freezing_point(c.liquid), 'temperature')}."
    )
    return (
        _check(
            entries,
            limits["water.freeze_margin"],
            c,
            "freeze_margin",
            Reading.derived(margin, None, *_what_flows(entries, c)),
            "Add glycol or raise the set point: tubes burst when they freeze.",
            note,
        ),
    )


def _flow(limits: Limits, entries: Entries, c: Circuit) -> Verdict:
    limit = limits["water.flow"]
    if c.flow.quantity is None:
        told = c.problem or (
            "" if c.liquid is not None else "The liquid in the circuit is not entered yet."
        )
        missing = c.flow if c.flow.problem or not told else c.flow.unreadable(told)
        return _check(entries, limit, c, "flow", missing, "")
    deviation = c.flow.deviation_from(c.sheet.design_flow)
    note = (
        f"By drop {entries.show(c.flow.quantity, 'flow')}, design"
        f" {entries.show(c.sheet.design_flow, 'flow')}."
    )
    found = _check(
        entries,
        limit,
        c,
        "flow",
        deviation,
        "Balance the pumps and valves; look for a blocked strainer or tube sheet, or air.",
        note,
    )
    if not c.inflated or found.outcome is not Outcome.PASS:
        return found
    return replace(
        found,
        outcome=Outcome.UNPROVEN,
        sentence=(
            f"{found.sentence} The strainer is between the taps and its share of the drop is not"
            " known: the true flow is lower."
        ),
        next_step="Read the drop over the strainer alone, or move the taps.",
    )


def _meter(limits: Limits, entries: Entries, c: Circuit) -> tuple[Verdict, ...]:
    """Flow by drop against the meter, where there is one."""
    if not c.meter.taken:
        return ()
    limit = limits["water.meter"]
    reading = c.flow.deviation_from(c.meter)
    if reading.quantity is None:
        return (_check(entries, limit, c, "meter", reading, ""),)
    note = (
        f"By drop {entries.show(c.flow.quantity, 'flow')}, by meter"
        f" {entries.show(c.meter.quantity, 'flow')}."
    )
    return (
        _check(
            entries,
            limit,
            c,
            "meter",
            reading,
            "Find out which is wrong: air in a gauge line, a blocked strainer, the meter's straight"
            " pipe or its setting.",
            note,
        ),
    )


def _strainer(limits: Limits, entries: Entries, c: Circuit) -> tuple[Verdict, ...]:
    clean = confirm(
        entries,
        f"{c.name}_strainer_clean",
        _key(c, "strainer_clean"),
        f"{c.title}: strainer cleaned after flushing",
        good="Cleaned.",
        bad="Not cleaned since flushing.",
        next_step="Clean it: it holds the debris loosened by flushing.",
    )
    drop = entries.reading(f"{c.name}_strainer_drop")
    if not drop.taken:
        return (clean,)
    return (
        clean,
        _check(
            entries,
            limits["water.strainer_drop"],
            c,
            "strainer_drop",
            drop,
            "Clean the strainer, then read the drops again.",
        ),
    )


def _air(limits: Limits, entries: Entries, c: Circuit) -> tuple[Verdict, ...]:
    bled = confirm(
        entries,
        f"{c.name}_air",
        _key(c, "air"),
        f"{c.title}: no air",
        good="Bled, none seen or heard.",
        bad="There is air in the circuit.",
        next_step="Bleed every high point, including the water boxes.",
    )
    swing, drop = entries.reading(f"{c.name}_swing"), entries.reading(f"{c.name}_drop")
    if not swing.taken:
        return (bled,)
    reading = swing.share_of(drop)
    return (
        bled,
        _check(
            entries,
            limits["water.swing"],
            c,
            "swing",
            reading,
            "Bleed it, check the pump suction, and snub the gauge.",
        ),
    )


def _switch(limits: Limits, entries: Entries, c: Circuit) -> tuple[Verdict, ...]:
    """It must let go before the flow is too small, close below design, and not at one and the same
    flow.
    """
    opens, closes = (reading.share_of(c.sheet.design_flow) for reading in (c.opens, c.closes))
    differential = closes.less(opens, _same_gauge(c.opens, c.closes))
    step = "Adjust the flow switch and test it again by throttling."
    opening = _check(
        entries, _opening(limits, c), c, "switch_opens", opens, step, _shown(entries, c.opens)
    )
    return (
        _by_both(limits, c, opening),
        _check(
            entries,
            limits["water.switch_closes"],
            c,
            "switch_closes",
            closes,
            step,
            _shown(entries, c.closes),
        ),
        _check(
            entries,
            limits["water.switch_differential"],
            c,
            "switch_differential",
            differential,
            step,
            "" if differential.quantity is None else "Of design flow, closing less opening.",
        ),
    )


def _by_both(limits: Limits, c: Circuit, opening: Verdict) -> Verdict:
    """The opening read by drop and by meter: it is proven only if the two agree."""
    most = limits["water.meter"].high
    apart = c.opens_drop.deviation_from(c.opens)
    if opening.outcome is not Outcome.PASS or apart.quantity is None or most is None:
        return opening
    if abs(apart.quantity) <= most:
        return opening
    return replace(
        opening,
        outcome=Outcome.UNPROVEN,
        sentence=(
            f"{opening.sentence} By pressure drop it opened at a different flow: the two disagree."
        ),
        next_step="Find out which is wrong, drop or meter, and test the switch again.",
        rests_on=tuple(dict.fromkeys((*opening.rests_on, *c.opens_drop.items))),
    )


def _same_gauge(first: Reading, second: Reading) -> float:
    """Correlation of two flows: of one gauge and one curve, the errors are mostly the same."""
    return SAME_GAUGE if first.instruments and first.instruments == second.instruments else 0.0


def _shown(entries: Entries, reading: Reading) -> str:
    if reading.quantity is None:
        return ""
    return f"{entries.show(reading.quantity, 'flow')}, share of design flow."


def _items(readings: Iterable[Reading]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(item for reading in readings for item in reading.items))


def _what_flows(entries: Entries, c: Circuit) -> tuple[Reading, ...]:
    """The entries that say what flows."""
    fluid, share = (entries.reading(f"{c.name}_{part}") for part in ("fluid", "share"))
    return (fluid, share) if share.taken else (fluid,)


def _opening(limits: Limits, c: Circuit) -> Limit:
    """The default window, its lower end at the sheet's smallest flow where the sheet has one."""
    limit = limits["water.switch_opens"]
    if c.sheet.minimum_flow is None or limit.authority != "default":
        return limit
    return replace(
        limit,
        low=(c.sheet.minimum_flow / c.sheet.design_flow).to("percent"),
        source="minimum_flow",
        authority=SHEET,
    )
