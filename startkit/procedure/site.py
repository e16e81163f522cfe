"""Facts of the job from the site: instruments and barometer, whichever stages the job has."""

from __future__ import annotations

from startkit.facts import instruments as instruments_
from startkit.facts.instruments import Instrument
from startkit.facts.machine import Machine
from startkit.procedure.field import Column, Field
from startkit.procedure.reading import Reading, Row
from startkit.units import KINDS, Q

# First part of the names of the job's own items, as in ``setup.instruments.1.tag``; the stage that
# asks for them has the same name.
PREFIX = "setup"

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
assert set(INSTRUMENT_KINDS) <= {name.replace("_", " ") for name in KINDS}

INSTRUMENTS = Field(
    "instruments",
    "Instruments",
    "table",
    "Every gauge, meter and panel sensor used for a reading. The tag is what you pick next to a"
    " reading.",
    group="Instruments",
    rows=4,
    columns=(
        Column("tag", "Tag", required=True),
        Column("name", "Description", was=("What it is",)),
        Column("kind", "Reads", "choice", choices=INSTRUMENT_KINDS, required=True),
        Column("serial", "Serial number"),
        Column("range", "Range", help="For example  0 to 1000 kPa"),
        Column(
            "accuracy",
            "Accuracy",
            help="For example  0.1 K,  0.5 % of range,  1 % of reading + 0.2 A,  U = 0.05 K, k = 2",
            required=True,
        ),
        Column("due", "Calibration due", "date", help="Year-month-day"),
        Column(
            "pair",
            "Matched pair with",
            help="Tag of the other instrument, if both were calibrated together",
        ),
        Column(
            "pair_accuracy",
            "Accuracy of the difference",
            help="From the pair's certificate, for example  0.05 K",
        ),
    ),
)

BAROMETER = Field(
    "barometer",
    "Barometric pressure in the plant room",
    "barometer",
    "From a barometer on site, not reduced to sea level. Without it the standard atmosphere at"
    " the sheet's elevation is used.",
    required=False,
    plausible=("60 kPa", "108 kPa"),
    group="Site",
)

_OF_AN_INSTRUMENT = (
    "tag",
    "name",
    "serial",
    "kind",
    "accuracy",
    "range",
    "due",
    "pair",
    "pair_accuracy",
)


def instrument_of(row: Row) -> Instrument | None:
    """An instrument from its row, or None if the row lacks tag, kind or a readable accuracy."""
    return instruments_.of_texts(*(row.text(column) for column in _OF_AN_INSTRUMENT))


def barometer(measured: Reading, machine: Machine) -> Reading:
    """The site's barometric pressure: as measured, else from its elevation by the standard
    atmosphere.
    """
    if measured.quantity is not None:
        return measured
    from startkit.science.air import standard_barometer

    # Weather moves the barometer by about 1 kPa (one standard deviation); common practice, no
    # source.
    return Reading(
        what=measured.what,
        quantity=standard_barometer(machine.site.elevation),
        u=Q(1.0, "kilopascal"),
    )
