"""Readings of the stage Electrical: insulation brought to 40 °C, and the three line voltages."""

from __future__ import annotations

from dataclasses import dataclass

from startkit.errors import StartkitError
from startkit.facts.machine import Machine
from startkit.procedure import three_phase
from startkit.procedure.entries import Entries
from startkit.procedure.reading import Reading, Row
from startkit.science.insulation import SYSTEMS, insulation_at_40C
from startkit.science.uncertainty import propagate
from startkit.stages.electrical.fields import KINDS_OF_WINDING, LINES


@dataclass(frozen=True)
class Measured:
    """One row of the insulation table: as read, and at 40 °C."""

    place: str
    one: Reading
    ten: Reading
    voltage: Reading
    at_40: Reading


@dataclass(frozen=True)
class Winding:
    """What is known of the winding and what was measured."""

    system: str
    kind: str
    temperature: Reading
    rows: tuple[Measured, ...]

    @property
    def problem(self) -> str:
        """What is wrong with the first row that cannot be used; empty if all can."""
        return next((row.at_40.problem for row in self.rows if row.at_40.problem), "")

    @property
    def items(self) -> tuple[str, ...]:
        """Names of the items that the resistances at 40 °C rest on."""
        found = (*self.temperature.items, *(i for row in self.rows for i in row.at_40.items))
        return tuple(dict.fromkeys(found))

    @property
    def worst(self) -> Measured | None:
        """The row with the lowest resistance at 40 °C."""
        known = [row for row in self.rows if row.at_40.quantity is not None]
        return min(known, key=_ohms) if known else None

    @property
    def chosen(self) -> str:
        """What has not been chosen yet; empty if all has."""
        return "; ".join(
            word
            for word, given in (("insulation system", self.system), ("kind of winding", self.kind))
            if not given
        )


def _ohms(row: Measured) -> float:
    assert row.at_40.quantity is not None
    return float(row.at_40.quantity.to("ohm").magnitude)


@dataclass(frozen=True)
class Supply:
    """The three line voltages, their mean and their unbalance."""

    lines: tuple[Reading, ...]
    mean: Reading
    unbalance: Reading


def winding_readings(machine: Machine, entries: Entries) -> Winding:
    """Every row brought to 40 °C, with the uncertainty of tester and thermometer."""
    said = machine.motor.winding or ""
    system = entries.code("winding_system") or (said if said in SYSTEMS else "")
    kind = entries.code("winding_kind") or (said if said in KINDS_OF_WINDING else "")
    temperature = entries.reading("winding_temperature")
    return Winding(
        system,
        kind,
        temperature,
        tuple(_measured(row, system, temperature) for row in entries.rows("insulation")),
    )


def _measured(row: Row, system: str, temperature: Reading) -> Measured:
    one, ten, voltage = (
        row.reading(name) for name in ("one_minute", "ten_minutes", "test_voltage")
    )
    place = row.text("place") or f"row {row.index}"
    return Measured(place, one, ten, voltage, _at_40(one, temperature, system))


def _at_40(one: Reading, temperature: Reading, system: str) -> Reading:
    blank = Reading.derived(None, None, one, temperature)
    if one.quantity is None or temperature.quantity is None or not system:
        return blank
    try:
        if one.u is None or temperature.u is None:
            value = insulation_at_40C(one.quantity, temperature.quantity, system)
            return Reading.derived(value, None, one, temperature)
        found = propagate(
            insulation_at_40C.si,
            {"resistance": one.quantity, "temperature": temperature.quantity, "system": system},
            {"resistance": one.u, "temperature": temperature.u},
            returns="ohm",
        )
    except StartkitError as error:
        return blank.unreadable(str(error))
    return Reading.derived(found.value, found.u, one, temperature)


def supply_readings(entries: Entries) -> Supply:
    """The three line voltages as entered, their mean and unbalance."""
    lines = tuple(entries.reading(name) for name in LINES)
    return Supply(lines, three_phase.mean(lines), three_phase.unbalance(lines))
