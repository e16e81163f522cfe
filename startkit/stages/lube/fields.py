"""What the stage Lubrication asks for."""

from __future__ import annotations

from startkit.facts.machine import Machine
from startkit.procedure.stage import CLOCK, Choice, Column, Field

CLEAR = Choice("clear", "clear, level in the glass")
HIDDEN = Choice("cannot_be_seen", "cannot be seen")
SIGHT_GLASS = (
    CLEAR,
    Choice("foaming", "foaming"),
    Choice("level_low", "level low"),
    Choice("level_high", "level high"),
    HIDDEN,
)
GAUGE = Choice("independent_gauge", "an independent gauge")
READ_ON = (Choice("own_transducers", "the machine's own transducers"), GAUGE)
SIMULATED = Choice("simulated", "simulated at the transducer")
NOT_PROVEN = Choice("not_proven", "not proven")
METHODS = (
    Choice("pressure_lowered", "pressure lowered with the pump running"),
    SIMULATED,
    NOT_PROVEN,
)


def _variable(machine: Machine) -> bool:
    return machine.oil.pump == "variable speed"


_SERIES = (
    Column("time", "Time", "time", point=CLOCK),
    Column("supply", "Supply pressure", "gauge_pressure"),
    Column("sump", "Sump pressure", "gauge_pressure"),
    Column("differential", "Differential", "pressure_difference", point="oil_differential"),
    Column("speed", "Pump speed", "frequency"),
)
_PASTE = (
    "Paste seconds, supply pressure, sump pressure, differential and pump speed, one row per"
    " reading. Leave a column empty if it was not read; the differential alone is enough."
)
FIELDS = (
    Field(
        "oil_kind",
        "Oil in the machine",
        "text",
        "From the drum label or the maker's plate, not from memory.",
        group="Oil",
        after="",
    ),
    Field(
        "oil_charge",
        "Oil charged",
        "volume",
        required=False,
        plausible=("2 L", "500 L"),
        group="Oil",
        after="",
    ),
    Field(
        "sight_glass",
        "Sump sight glass",
        "choice",
        choices=SIGHT_GLASS,
        group="Oil",
        after="",
    ),
    Field(
        "heater_on_since",
        "Oil heater on since",
        "moment",
        "Date and time, as 2026-11-25 14:30.",
        group="Before the pump runs",
        after="",
    ),
    Field(
        "sump_temperature",
        "Sump temperature",
        "temperature",
        "At the sump well, pump off.",
        plausible=("0 °C", "110 °C"),
        group="Before the pump runs",
        after="",
    ),
    Field(
        "sump_pressure",
        "Sump pressure",
        "gauge_pressure",
        "At the sump, pump off; a vacuum with its unit, such as 12 in Hg vac.",
        group="Before the pump runs",
        after="",
    ),
    Field(
        "pressure_to_come",
        "Sump pressure expected when running",
        "gauge_pressure",
        "About the evaporator pressure at the first load. If left empty, saturation pressure at the"
        " selection's leaving water temperature is used.",
        required=False,
        group="Before the pump runs",
        after="",
    ),
    Field(
        "zero",
        "Transducers with the pump off",
        "table",
        "Both read the same pressure: the difference is their zero error; it is subtracted from"
        " every differential.",
        rows=2,
        required=False,
        group="Before the pump runs",
        after="",
        columns=(
            Column("supply", "Supply pressure", "gauge_pressure", required=True),
            Column("sump", "Sump pressure", "gauge_pressure", required=True),
        ),
    ),
    Field(
        "differential_off",
        "Differential shown with the pump off",
        "pressure_difference",
        "If the panel shows only the difference.",
        required=False,
        plausible=("-100 kPa", "100 kPa"),
        group="Before the pump runs",
        after="",
    ),
    Field(
        "pre_lube",
        "Differential over time from pump start",
        "series",
        _PASTE,
        columns=_SERIES,
        group="Pump running",
    ),
    Field(
        "pump_start",
        "Pump started at",
        "time",
        "On the clock of the rows above; empty means at 0 s.",
        required=False,
        group="Pump running",
    ),
    Field(
        "supply_temperature",
        "Oil supply temperature",
        "temperature",
        "To the bearings, once steady.",
        plausible=("10 °C", "90 °C"),
        group="Pump running",
    ),
    Field(
        "pump_speed",
        "Pump speed at the set point",
        "frequency",
        plausible=("5 Hz", "120 Hz"),
        group="Pump running",
        applies=_variable,
    ),
    Field(
        "filter_drop",
        "Drop over the oil filter",
        "pressure_difference",
        plausible=("0 kPa", "300 kPa"),
        group="Pump running",
    ),
    Field(
        "cooler_water",
        "Cooler water or refrigerant open",
        "yes_no",
        required=False,
        group="Pump running",
    ),
    Field(
        "set_point_found",
        "Set point as found",
        "pressure_difference",
        plausible=("20 kPa", "600 kPa"),
        group="Set point and trip",
    ),
    Field(
        "set_point_left",
        "Set point as left",
        "pressure_difference",
        plausible=("20 kPa", "600 kPa"),
        group="Set point and trip",
    ),
    Field(
        "trip_setting",
        "Low-oil trip setting",
        "pressure_difference",
        plausible=("10 kPa", "500 kPa"),
        group="Set point and trip",
    ),
    Field(
        "trip_seen",
        "Differential at which it tripped",
        "pressure_difference",
        "Lower the pressure with the bypass or the pump speed, and read the value at the moment of"
        " the trip.",
        plausible=("10 kPa", "500 kPa"),
        group="Set point and trip",
    ),
    Field(
        "trip_read_on",
        "Read on",
        "choice",
        "The zero error of the transducers does not affect an independent gauge.",
        required=False,
        choices=READ_ON,
        group="Set point and trip",
    ),
    Field(
        "trip_method",
        "How the trip was proven",
        "choice",
        choices=METHODS,
        group="Set point and trip",
    ),
    Field(
        "baseline_speed",
        "Pump speed at the last visit",
        "frequency",
        required=False,
        group="Last visit",
        applies=_variable,
    ),
    Field(
        "baseline_temperature",
        "Oil supply temperature at the last visit",
        "temperature",
        required=False,
        group="Last visit",
        applies=_variable,
    ),
    Field(
        "coast_down",
        "Differential over time from the first stop",
        "series",
        _PASTE,
        required=False,
        columns=_SERIES,
        group="First stop",
    ),
    Field(
        "stopped",
        "Motor stopped at",
        "time",
        "On the clock of the rows above.",
        required=False,
        group="First stop",
    ),
    Field(
        "at_rest",
        "Shaft at rest at",
        "time",
        "On the same clock.",
        required=False,
        group="First stop",
    ),
)
