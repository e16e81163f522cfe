"""What the stage Load-up asks for."""

from __future__ import annotations

from startkit.procedure.stage import Choice, Column, Field
from startkit.procedure.usual import about
from startkit.units import KINDS

AS_LISTED = Choice("as_listed", "limits as listed")
LABORATORY = Choice("laboratory", "laboratory tolerance of AHRI 550/590")
_TEMPERATURE = ("-15 °C", "60 °C")
COLUMNS = (
    Column("label", "Load", help="The load aimed at, for example 75 %", required=True),
    Column("moment", "Read at", "moment", running=True),
    Column(
        "steady",
        "Steady",
        "yes_no",
        help=(
            "Yes only if water temperatures, current and oil have been steady for at least the"
            " last ten minutes"
        ),
        required=True,
    ),
    Column(
        "steady_by",
        "Confirmed steady by",
        "person",
        help="Who watched the readings",
        was=("Steady, says",),
    ),
    Column(
        "chilled_entering",
        "Chilled water entering",
        "temperature",
        plausible=("-5 °C", "40 °C"),
        required=True,
        measured=True,
    ),
    Column(
        "chilled_leaving",
        "Chilled water leaving",
        "temperature",
        plausible=("-10 °C", "30 °C"),
        required=True,
        measured=True,
    ),
    Column(
        "evaporator_flow",
        "Chilled water flow",
        "flow",
        plausible=("1 L/s", "2000 L/s"),
        measured=True,
    ),
    Column(
        "evaporator_drop",
        "Evaporator pressure drop",
        "pressure_drop",
        plausible=("1 kPa", "400 kPa"),
        measured=True,
    ),
    Column(
        "condenser_entering",
        "Condenser water entering",
        "temperature",
        plausible=("0 °C", "50 °C"),
        required=True,
        measured=True,
    ),
    Column(
        "condenser_leaving",
        "Condenser water leaving",
        "temperature",
        plausible=("0 °C", "60 °C"),
        required=True,
        measured=True,
    ),
    Column(
        "condenser_flow",
        "Condenser water flow",
        "flow",
        plausible=("1 L/s", "2500 L/s"),
        measured=True,
    ),
    Column(
        "condenser_drop",
        "Condenser pressure drop",
        "pressure_drop",
        plausible=("1 kPa", "400 kPa"),
        measured=True,
    ),
    Column(
        "evaporator_pressure",
        "Evaporator pressure",
        "gauge_pressure",
        help="A vacuum with its unit, such as 12 in Hg vac",
        required=True,
        measured=True,
    ),
    Column(
        "condenser_pressure", "Condenser pressure", "gauge_pressure", required=True, measured=True
    ),
    Column(
        "suction_temperature",
        "Suction temperature",
        "temperature",
        plausible=_TEMPERATURE,
        measured=True,
    ),
    Column(
        "discharge_temperature",
        "Discharge temperature",
        "temperature",
        plausible=("5 °C", "120 °C"),
        measured=True,
    ),
    Column(
        "liquid_temperature",
        "Liquid temperature leaving condenser",
        "temperature",
        plausible=("0 °C", "70 °C"),
        measured=True,
    ),
    Column(
        "power",
        "Input power",
        "power",
        help="At the terminals of the machine, including the drive",
        required=True,
        measured=True,
    ),
    Column("current", "Motor current, mean of the phases", "current", measured=True),
    Column("vane_position", "Vane position", "percent", plausible=("0 %", "110 %"), measured=True),
    Column(
        "speed",
        "Motor speed",
        "frequency",
        plausible=about(lambda machine: machine.motor.frequency, 0.2, 1.1),
    ),
    Column(
        "oil_differential",
        "Oil differential",
        "pressure_difference",
        plausible=about(lambda machine: machine.oil.differential_set_point, 0.4, 2.5),
        measured=True,
    ),
    Column(
        "oil_temperature",
        "Oil supply temperature",
        "temperature",
        plausible=("10 °C", "90 °C"),
        measured=True,
    ),
)
WINDOWS = (
    Column("label", "Load", help="The load aimed at, for example 75 %"),
    Column(
        "begin",
        "Begin",
        "moment",
        help="From the list of steady stretches",
        required=True,
        running=True,
    ),
    Column(
        "end",
        "End",
        "moment",
        help="From the list of steady stretches, or earlier",
        required=True,
        running=True,
    ),
    Column(
        "chosen_by",
        "Chosen by",
        "person",
        help="Who looked at the plot and chose the stretch",
        required=True,
    ),
)
FIELDS = (
    Field(
        "points",
        "Readings at each load",
        "table",
        "One column of the sheet is one load. Load step by step, wait until everything is steady,"
        " then take all readings within a few minutes. Do not read approaches while the loop"
        " temperature is swinging.",
        columns=COLUMNS,
        rows=4,
        across=True,
        group="Readings",
        required=False,
    ),
    Field(
        "trend",
        "Trend",
        "text",
        "Name of a trend imported with the command trend. Its steady stretches are then listed and"
        " plotted below.",
        required=False,
        group="From a trend",
    ),
    Field(
        "windows",
        "Stretches to use",
        "table",
        "Look at the plotted trend, then copy begin and end of the stretches to use. Each becomes"
        " one load; its readings are the means over the stretch.",
        columns=WINDOWS,
        rows=2,
        required=False,
        group="From a trend",
    ),
    Field(
        "tolerance",
        "Judge by",
        "choice",
        "Laboratory tolerances are those of a factory test. Limits in the sheet or the"
        " specification override both.",
        required=False,
        choices=(AS_LISTED, LABORATORY),
        group="Comparison with the selection",
    ),
    Field(
        "standstill_pressure",
        "Condenser pressure at standstill",
        "gauge_pressure",
        "Machine stopped, condenser water circulating until the refrigerant has reached the water's"
        " temperature.",
        required=False,
        group="Air in the machine",
        measured=True,
    ),
    Field(
        "standstill_temperature",
        "Condenser water at standstill",
        "temperature",
        required=False,
        plausible=("0 °C", "50 °C"),
        group="Air in the machine",
        measured=True,
    ),
)
POINT_KINDS = {column.name: column.kind for column in COLUMNS if column.kind in KINDS}
POINT_LABELS = {column.name: column.label for column in COLUMNS}
