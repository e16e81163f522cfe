"""Readings of the stage Water: liquid and flow of each circuit, by drop, meter and switch."""

from __future__ import annotations

from dataclasses import dataclass

from startkit.errors import StartkitError
from startkit.facts.machine import Exchanger, Machine
from startkit.procedure.circuits import Taps, flowing, taps
from startkit.procedure.entries import Entries
from startkit.procedure.reading import Reading
from startkit.procedure.selection import liquid_of
from startkit.science.water import Liquid
from startkit.stages.water.fields import CIRCUITS

DROPS = ("drop", "opens_drop", "closes_drop")


@dataclass(frozen=True)
class Circuit:
    """One circuit: its liquid, its flow by drop, meter and switch.

    `inflated` is True while the strainer's share of the drop is not known: the flow is then a
    highest value.
    """

    name: str
    sheet: Exchanger
    due: Liquid | None
    liquid: Liquid | None
    flow: Reading
    meter: Reading
    opens: Reading
    opens_drop: Reading
    closes: Reading
    inflated: bool
    problem: str

    @property
    def title(self) -> str:
        return CIRCUITS[self.name]


def collect(machine: Machine, entries: Entries) -> tuple[Circuit, ...]:
    """Both circuits."""
    return tuple(_circuit(machine, entries, name) for name in CIRCUITS)


def _circuit(machine: Machine, entries: Entries, name: str) -> Circuit:
    """Read one circuit; a liquid that cannot be used leaves the flows open, with the reason."""
    sheet: Exchanger = getattr(machine, name)
    due: Liquid | None = None
    seen: Liquid | None = None
    made: Taps | None = None
    problem = ""
    read = {
        part: entries.reading(f"{name}_{part}")
        for part in ("drop", "opens_drop", "closes_drop", "meter", "opens_flow", "closes_flow")
    }
    flows = {part: Reading.derived(None, None, read[part]) for part in DROPS}
    try:
        due = liquid_of(sheet)
        seen = flowing(entries, name)
        made = taps(sheet, entries, name)
        if seen is not None:
            flows = {part: made.flow(read[part]) for part in DROPS}
    except StartkitError as error:
        problem = str(error)
    opens, closes = (
        read[f"{event}_flow"] if read[f"{event}_flow"].taken else flows[f"{event}_drop"]
        for event in ("opens", "closes")
    )
    return Circuit(
        name=name,
        sheet=sheet,
        due=due,
        liquid=seen,
        flow=flows["drop"],
        meter=read["meter"],
        opens=opens,
        opens_drop=flows["opens_drop"],
        closes=closes,
        inflated=made is not None and made.inflated,
        problem=problem,
    )
