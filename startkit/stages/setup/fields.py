"""Fields of the stage Setup: people, instruments, the site's barometer, nameplate, order."""

from __future__ import annotations

from startkit.procedure.people import PEOPLE
from startkit.procedure.site import BAROMETER, INSTRUMENTS
from startkit.procedure.stage import Field

FIELDS = (
    PEOPLE,
    INSTRUMENTS,
    BAROMETER,
    Field(
        "nameplate_serial",
        "Serial number on the nameplate",
        "text",
        "Read it from the machine itself.",
        group="Nameplate",
    ),
    Field("nameplate_refrigerant", "Refrigerant on the nameplate", "text", group="Nameplate"),
    Field(
        "nameplate_voltage",
        "Rated voltage on the motor's nameplate",
        "voltage",
        plausible=("180 V", "15 kV"),
        group="Nameplate",
    ),
    Field(
        "nameplate_current",
        "Full-load current on the motor's nameplate",
        "current",
        plausible=("10 A", "3000 A"),
        group="Nameplate",
    ),
    Field(
        "nameplate_model",
        "Model on the nameplate",
        required=False,
        group="Nameplate",
        applies=lambda machine: bool(machine.machine.model),
    ),
    Field(
        "nameplate_frequency",
        "Rated frequency on the motor's nameplate",
        "frequency",
        required=False,
        plausible=("45 Hz", "65 Hz"),
        group="Nameplate",
    ),
    Field(
        "nameplate_charge",
        "Refrigerant charge on the nameplate",
        "mass",
        required=False,
        plausible=("20 kg", "10000 kg"),
        group="Nameplate",
        applies=lambda machine: machine.machine.refrigerant_charge is not None,
    ),
    Field(
        "order_number",
        "Order",
        "text",
        "Number of the order or contract.",
        required=False,
        group="Order",
    ),
    Field(
        "order_capacity",
        "Capacity on the order",
        "cooling",
        required=False,
        plausible=("200 kW", "20000 kW"),
        group="Order",
    ),
    Field(
        "order_refrigerant_charge",
        "Refrigerant charge on the order",
        "mass",
        required=False,
        group="Order",
    ),
    Field("order_refrigerant", "Refrigerant on the order", required=False, group="Order"),
    Field(
        "order_voltage",
        "Voltage on the order",
        "voltage",
        required=False,
        plausible=("180 V", "15 kV"),
        group="Order",
    ),
    Field(
        "order_leaving_chilled",
        "Leaving chilled water on the order",
        "temperature",
        required=False,
        plausible=("-15 °C", "20 °C"),
        group="Order",
    ),
)
