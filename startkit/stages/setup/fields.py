"""Fields of the stage Setup: people, instruments, the site's barometer, nameplate, order."""

from __future__ import annotations

from startkit.procedure.stage import Column, Field
from startkit.units import KINDS

ROLES = (
    "technician",
    "owner's witness",
    "commissioning engineer",
    "electrician",
    "maker's representative",
    "safety officer",
    "other",
)


INSTRUMENT_KINDS = tuple(
    name.replace("_", " ")
    for name in (
        "temperature",
        "pressure",
        "gauge_pressure",
        "pressure_difference",
        "pressure_drop",
        "vacuum",
        "barometer",
        "flow",
        "power",
        "current",
        "voltage",
        "insulation",
        "percent",
        "time",
        "frequency",
        "speed",
        "vibration",
        "mass",
        "length",
        "torque",
        "sound",
        "air_flow",
        "concentration",
    )
)


FIELDS = (
    Field(
        "people",
        "People on this job",
        "table",
        "Everyone who enters, confirms or witnesses something.",
        group="People",
        columns=(
            Column("name", "Name", "person", required=True),
            Column("role", "Role", "choice", choices=ROLES, required=True),
            Column("firm", "Firm"),
        ),
    ),
    Field(
        "instruments",
        "Instruments",
        "table",
        "Every gauge, meter and panel sensor that a reading is taken from. The tag is what you pick"
        " beside a reading.",
        group="Instruments",
        rows=4,
        columns=(
            Column("tag", "Tag", required=True),
            Column("name", "What it is"),
            Column("kind", "Reads", "choice", choices=INSTRUMENT_KINDS, required=True),
            Column("serial", "Serial number"),
            Column("range", "Range", help="For example  0 to 1000 kPa"),
            Column(
                "accuracy",
                "Accuracy",
                help="For example  0.1 K,  0.5 % of range,  1 % of reading + 0.2 A",
                required=True,
            ),
            Column("due", "Calibration due", "date", help="Year-month-day"),
            Column(
                "pair",
                "Matched pair with",
                help="Tag of the other one, if both were calibrated together",
            ),
            Column(
                "pair_accuracy",
                "Accuracy of the difference",
                help="From the pair's certificate, for example  0.05 K",
            ),
        ),
    ),
    Field(
        "barometer",
        "Barometric pressure in the plant room",
        "barometer",
        "From a barometer on site, not reduced to sea level. Without it the standard atmosphere at"
        " the sheet's elevation is used.",
        required=False,
        plausible=("60 kPa", "108 kPa"),
        group="Site",
    ),
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
assert set(INSTRUMENT_KINDS) <= {name.replace("_", " ") for name in KINDS}
