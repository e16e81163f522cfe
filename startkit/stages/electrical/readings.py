"""Readings of the stage Electrical: insulation brought to 40 °C, and the three line voltages."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import pint

from startkit.errors import StartkitError
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.reading import Reading
from startkit.science.insulation import (
    SYSTEMS,
    insulation_at_40C,
)
from startkit.science.supply import (
    voltage_unbalance,
)
from startkit.science.uncertainty import propagate
from startkit.stages.electrical.fields import KINDS_OF_WINDING, LINES
from startkit.units import Q

# One meter reads all three: nine tenths of its error are the same each time and cancel. Common
# practice, no source.
SAME_METER = 0.9


@dataclass(frozen=True)
class Measured:
    """One row: as read and at 40 °C, with its uncertainty; `problem` if it cannot be used."""

    place: str
    one: Reading
    ten: Reading
    voltage: Reading
    at_40: pint.Quantity | None
    u: pint.Quantity | None
    problem: str


@dataclass(frozen=True)
class Winding:
    """What is known of the winding and what was measured."""

    system: str
    kind: str
    temperature: Reading
    rows: tuple[Measured, ...]

    @property
    def problem(self) -> str:
        return next((row.problem for row in self.rows if row.problem), "")

    @property
    def worst(self) -> Measured | None:
        """The row with the lowest resistance at 40 °C."""
        known = [row for row in self.rows if row.at_40 is not None]
        return min(known, key=lambda row: row.at_40.to("ohm").magnitude) if known else None

    @property
    def chosen(self) -> str:
        """What has not been chosen yet; empty if all has."""
        return "; ".join(
            word
            for word, given in (("insulation system", self.system), ("kind of winding", self.kind))
            if not given
        )


@dataclass(frozen=True)
class Supply:
    """The three voltages; `missing` is the reading that lacks, if one does."""

    lines: tuple[Reading, ...]
    missing: Reading | None
    untrusted: str


def winding_readings(machine: Machine, entries: Entries) -> Winding:
    """Every row brought to 40 °C, with the uncertainty of tester and thermometer."""
    said = machine.motor.winding or ""
    system = entries.text("winding_system") or (said if said in SYSTEMS else "")
    kind = entries.text("winding_kind") or (said if said in KINDS_OF_WINDING else "")
    temperature = entries.reading("winding_temperature")
    return Winding(
        system,
        kind,
        temperature,
        tuple(_measured(row, system, temperature) for row in entries.rows("insulation")),
    )


def _measured(row, system: str, temperature: Reading) -> Measured:
    one, ten, voltage = (
        row.reading(name) for name in ("one_minute", "ten_minutes", "test_voltage")
    )
    at_40, u, problem = None, None, one.problem or temperature.problem
    if one.quantity is not None and temperature.quantity is not None and system:
        try:
            at_40, u = _at_40(one, temperature, system)
        except StartkitError as error:
            problem = str(error)
    return Measured(row.text("place") or f"row {row.index}", one, ten, voltage, at_40, u, problem)


def _at_40(
    one: Reading, temperature: Reading, system: str
) -> tuple[pint.Quantity, pint.Quantity | None]:
    if one.u is None or temperature.u is None:
        return insulation_at_40C(one.quantity, temperature.quantity, system), None
    found = propagate(
        insulation_at_40C.si,
        {"resistance": one.quantity, "temperature": temperature.quantity, "system": system},
        {"resistance": one.u, "temperature": temperature.u},
        returns="ohm",
    )
    return found.value, found.u


def supply_readings(entries: Entries) -> Supply:
    """The three line voltages as entered."""
    lines = tuple(entries.reading(name) for name in LINES)
    missing = next(
        (r for r in lines if r.problem), next((r for r in lines if r.quantity is None), None)
    )
    return Supply(lines, missing, next((r.untrusted for r in lines if r.untrusted), ""))


def _of_lines(supply: Supply, function: Callable[..., float], returns: str) -> Reading:
    """A figure of the three voltages with its uncertainty; errors of one meter are mostly shared."""
    values = dict(zip(LINES, (r.quantity for r in supply.lines), strict=True))
    if any(r.u is None for r in supply.lines):
        return Reading(
            "",
            "",
            Q(function(**{k: v.to("volt").magnitude for k, v in values.items()}), returns),
            untrusted=supply.untrusted,
        )
    tags = {r.entry.instrument for r in supply.lines}
    shared = {(a, b): SAME_METER for a in LINES for b in LINES if a < b} if len(tags) == 1 else None
    found = propagate(
        function,
        values,
        dict(zip(LINES, (r.u for r in supply.lines), strict=True)),
        shared,
        returns=returns,
    )
    return Reading("", "", found.value, found.u, untrusted=supply.untrusted)


def unbalance(supply: Supply) -> Reading | None:
    """Voltage unbalance; None while a voltage lacks or none is there."""
    if supply.missing is not None:
        return None
    try:
        return _of_lines(supply, voltage_unbalance.si, "dimensionless")
    except StartkitError:
        return None


def mean(supply: Supply) -> Reading | None:
    """Mean of the three line voltages; None while one lacks."""
    return (
        None
        if supply.missing is not None
        else _of_lines(supply, lambda v12, v23, v31: (v12 + v23 + v31) / 3, "volt")
    )


def starter_key(machine: Machine) -> str:
    """The starter's key in the table of starting currents; an autotransformer by its tap."""
    if machine.motor.starter != "autotransformer":
        return _KEYS[machine.motor.starter]
    tap = machine.motor.autotransformer_tap
    return f"autotransformer-{round(tap.to('percent').magnitude)}" if tap is not None else ""


_KEYS = {
    "across the line": "across-the-line",
    "wye-delta": "wye-delta",
    "soft start": "soft-start",
    "variable-speed drive": "drive",
}
