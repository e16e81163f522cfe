"""Figures and tables of the stage Electrical."""

from __future__ import annotations

import pint

from startkit.errors import StartkitError
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.reading import Reading
from startkit.procedure.stage import Figure, Heading, Table
from startkit.science.insulation import (
    CORRECTION_SOURCE,
    discharge_time,
)
from startkit.science.motor import starter
from startkit.science.supply import (
    DERATING_SOURCE,
    derating,
    starting_torque_ratio,
    temperature_rise_increase,
)
from startkit.stages.electrical.readings import Measured, Supply, Winding
from startkit.stages.electrical.winding_verdicts import DISCHARGE_SOURCE
from startkit.units import Q


def figures(
    machine: Machine, entries: Entries, winding: Winding, supply: Supply
) -> tuple[Figure, ...]:
    """Of the winding, and of the supply."""
    return (*_winding_figures(winding), *_supply_figures(machine, entries, supply))


def _winding_figures(winding: Winding) -> tuple[Figure, ...]:
    """Worst resistance at 40 °C, and how long the winding is to be grounded."""
    if winding.worst is None:
        return ()
    worst, ten = winding.worst, any(row.ten.quantity is not None for row in winding.rows)
    charged = Q(10 if ten else 1, "minute")
    return (
        Figure(
            "Insulation at 40 °C",
            worst.at_40.quantity,
            "insulation",
            worst.at_40.u,
            CORRECTION_SOURCE[winding.system],
            "electrical.insulation",
        ),
        Figure(
            "Ground the winding for at least",
            discharge_time(charged),
            "minutes",
            note=f"four times as long as it was charged; {DISCHARGE_SOURCE}",
            digits=0,
        ),
    )


def tables(entries: Entries, winding: Winding) -> tuple[Table, ...]:
    """Every row as read, at 40 °C, and its polarisation index."""
    if not winding.rows:
        return ()
    head = (
        Heading("To ground"),
        Heading("Test voltage", "voltage", 0),
        Heading("One minute", "insulation"),
        Heading("at 40 °C", "insulation"),
        Heading("Ten minutes", "insulation"),
        Heading("Index"),
    )
    rows = tuple(
        (
            row.place,
            row.voltage.quantity,
            row.one.quantity,
            row.at_40.quantity,
            row.ten.quantity,
            _index(row),
        )
        for row in winding.rows
    )
    return (Table("Insulation to ground", head, rows),)


def _index(row: Measured) -> str | None:
    if row.one.quantity is None or row.ten.quantity is None or row.one.quantity.magnitude <= 0:
        return None
    return f"{(row.ten.quantity / row.one.quantity).to('dimensionless').magnitude:.2f}"


def _supply_figures(machine: Machine, entries: Entries, supply: Supply) -> tuple[Figure, ...]:
    """What unbalance and voltage cost the motor, and what it will draw at the start."""
    starting = _starting_current(machine)
    if supply.unbalance.quantity is None or supply.mean.quantity is None:
        return starting
    torque = _torque(machine, supply.mean.quantity, entries.quantity("frequency"))
    return (*_costs(supply.unbalance, supply.unbalance.quantity), torque, *starting)


def _starting_current(machine: Machine) -> tuple[Figure, ...]:
    """What the sheet lets expect at the start; nothing where it does not say enough."""
    try:
        current = machine.motor.expected_starting_current()
        row = starter(machine.motor.starting_key())
    except StartkitError:
        return ()
    return (
        Figure(
            "Expected starting current",
            current,
            "current",
            note=f"{row.title}: {row.source}; symmetrical, the first half cycle peaks higher",
            digits=0,
        ),
    )


def _costs(found: Reading, share: pint.Quantity) -> list[Figure]:
    rows = [
        Figure(
            "Voltage unbalance",
            share,
            "percent",
            found.u,
            "NEMA MG 1: largest deviation from the mean",
            "electrical.unbalance",
            2,
        )
    ]
    try:
        rows.append(
            Figure(
                "Rated power that is left",
                derating(share).to("percent"),
                "percent",
                note=f"{DERATING_SOURCE}; good to about 2 %",
                digits=0,
            )
        )
    except StartkitError as error:
        rows.append(Figure("Rated power that is left", "none", note=str(error)))
    rise = temperature_rise_increase(share).to("percent")
    return [
        *rows,
        Figure(
            "Temperature rise grows by",
            rise,
            "percent",
            note="about twice the square of the unbalance in percent, from memory",
        ),
    ]


def _torque(machine: Machine, mean: pint.Quantity, frequency: pint.Quantity | None) -> Figure:
    rated = (mean, machine.motor.voltage)
    ratio = (
        starting_torque_ratio(*rated)
        if frequency is None or frequency.magnitude <= 0
        else starting_torque_ratio(*rated, frequency, machine.motor.frequency)
    )
    return Figure(
        "Starting torque against rated",
        ratio.to("percent"),
        "percent",
        note="square of the voltage over square of the frequency, NEMA MG 1",
        digits=0,
    )
