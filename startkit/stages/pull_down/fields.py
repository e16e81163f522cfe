"""What the stage Pull-down asks for."""

from __future__ import annotations

from startkit.procedure.stage import CLOCK, Choice, Column, Field

REACHED = Choice("set_point_reached", "set point reached")
TRIPPED = Choice("tripped_on_overcurrent", "tripped on overcurrent")
RUNNING = Choice("still_running", "still running")
ENDS = (
    REACHED,
    TRIPPED,
    Choice("tripped_otherwise", "tripped for another reason", ("tripped on something else",)),
    Choice("stopped_by_hand", "stopped by hand"),
    RUNNING,
)
_WATER = ("-10 °C", "50 °C")


# The same columns by hand and by trend.
_SEEN = (
    Column("minute", "Minute", "minutes", "Since the pull-down began", required=True, point=CLOCK),
    Column(
        "entering",
        "Entering chilled water",
        "temperature",
        plausible=_WATER,
        required=True,
        point="chilled_entering",
    ),
    Column(
        "leaving",
        "Leaving chilled water",
        "temperature",
        plausible=_WATER,
        required=True,
        point="chilled_leaving",
    ),
    Column(
        "flow",
        "Chilled-water flow",
        "flow",
        "Empty: the flow entered in the plan",
        point="evaporator_flow",
    ),
    Column("current", "Current, highest phase", "current", point="current"),
    Column("limit", "Current limit", "percent", "Of full-load current"),
    Column(
        "evaporator_pressure", "Evaporator pressure", "gauge_pressure", point="evaporator_pressure"
    ),
    Column("suction", "Suction temperature", "temperature", point="suction_temperature"),
    Column(
        "condenser_pressure", "Condenser pressure", "gauge_pressure", point="condenser_pressure"
    ),
    Column(
        "leaving_condenser", "Leaving condenser water", "temperature", point="condenser_leaving"
    ),
)


def _plan(
    name: str,
    question: str,
    kind: str,
    help: str = "",
    plausible: tuple[str, str] | None = None,
    group: str = "Plan: loop",
    required: bool = False,
) -> Field:
    """A field of the plan: it may be filled at any time."""
    return Field(
        name, question, kind, help, required=required, plausible=plausible, group=group, after=""
    )


_SWING, _LIMIT = "Plan: swing of the current", "Plan: current limit"
FIELDS = (
    _plan(
        "start",
        "Water in the loop before the pull-down",
        "temperature",
        "Mean over the loop, after the pumps have run for a while.",
        _WATER,
        required=True,
    ),
    _plan(
        "target",
        "Leaving water at the end",
        "temperature",
        "The set point. Empty: leaving water of the selection.",
        _WATER,
    ),
    _plan(
        "volume",
        "Loop volume",
        "loop_volume",
        "All pipes, coils and tanks the water now flows through. Empty: value in the sheet.",
        ("1 m³", "20000 m³"),
    ),
    _plan(
        "volume_known",
        "Loop volume known within",
        "percent",
        "Plus or minus. Empty: 20 %.",
        ("1 %", "100 %"),
    ),
    _plan(
        "ramp",
        "Temperature ramp already observed",
        "ramp",
        "Instead of the volume: how fast the loop temperature changed at a steady rate, without"
        " sign.",
        ("0.001 K/min", "5 K/min"),
    ),
    _plan(
        "ramp_heat",
        "Net heat during this ramp",
        "cooling",
        "Cooling less load, or the load alone while the loop warmed up.",
        ("1 kW", "50000 kW"),
    ),
    _plan(
        "load",
        "Connected load",
        "cooling",
        "Heat flowing into the loop during the pull-down, including pumps. Empty: value in the"
        " sheet.",
        ("0 kW", "50000 kW"),
    ),
    _plan(
        "load_known",
        "Connected load known within",
        "percent",
        "Plus or minus. Empty: 25 %.",
        ("1 %", "200 %"),
    ),
    _plan(
        "flow",
        "Chilled-water flow",
        "flow",
        "Empty: value of the selection.",
        ("1 L/s", "2000 L/s"),
    ),
    _plan(
        "condenser_entering",
        "Entering condenser water",
        "temperature",
        "Used only if the sheet has the maker's curves. Empty: value of the selection.",
        ("0 °C", "50 °C"),
    ),
    _plan(
        "growth",
        "Growth of capacity per kelvin of warmer water",
        "percent",
        "From the maker. Empty: value in the sheet; without either, no growth is assumed.",
        ("0 %", "8 %"),
    ),
    _plan(
        "capacity_known",
        "Capacity of the machine known within",
        "percent",
        "Plus or minus. Empty: 10 %.",
        ("1 %", "50 %"),
    ),
    Field(
        "current_trend",
        "Current while held by the limit",
        "series",
        "Paste seconds and current of the highest phase, one row per reading at an even interval:"
        " sixty rows or more, all at one limit.",
        required=False,
        group=_SWING,
        after="",
        columns=(
            Column("time", "Time", "time", point=CLOCK),
            Column("current", "Current", "current", point="current"),
        ),
    ),
    _plan(
        "trend_limit",
        "Current limit during these readings",
        "percent",
        "Of full-load current; for the trend above or the two figures below.",
        ("20 %", "120 %"),
        _SWING,
    ),
    _plan(
        "current_low",
        "Lowest current seen",
        "current",
        "Instead of the trend.",
        ("1 A", "3000 A"),
        _SWING,
    ),
    _plan(
        "current_high",
        "Highest current seen",
        "current",
        "Instead of the trend.",
        ("1 A", "3000 A"),
        _SWING,
    ),
    _plan(
        "watched",
        "Watched for",
        "minutes",
        "How long the display was watched for these two figures.",
        ("0.5 min", "240 min"),
        _SWING,
    ),
    _plan(
        "display_step", "Display updates every", "time", "Empty: 2 s.", ("0.1 s", "120 s"), _SWING
    ),
    _plan(
        "trip_delay",
        "Time the overcurrent must last to trip",
        "time",
        "Empty: value in the sheet; without either, no delay.",
        ("0 s", "120 s"),
        _LIMIT,
    ),
    _plan(
        "trip_known",
        "Trip and displayed current agree within",
        "percent",
        "Of full-load current, plus or minus. Empty: 1 %.",
        ("0 %", "20 %"),
        _LIMIT,
    ),
    _plan(
        "risk",
        "Accepted chance of a trip",
        "percent",
        "Empty: the limit in the workbook, the specification or the sheet.",
        ("0.01 %", "50 %"),
        _LIMIT,
    ),
    _plan(
        "chosen",
        "Current limit chosen",
        "percent",
        "Of full-load current.",
        ("30 %", "110 %"),
        _LIMIT,
        required=True,
    ),
    _plan("chosen_by", "Chosen by", "person", group=_LIMIT),
    _plan("hold", "Limit held for", "minutes", "Empty: as planned.", ("1 min", "600 min"), _LIMIT),
    Field(
        "began",
        "Pull-down began at",
        "moment",
        "Date and time, as 2026-11-25 14:30: minute 0 of the readings.",
        group="Pull-down",
        running=True,
        after="turn_shaft",  # a warm loop begins to cool with the start, at the limit chosen before
    ),
    Field(
        "readings",
        "Readings by hand",
        "table",
        "Every ten minutes, from minute 0.",
        required=False,
        rows=6,
        group="Pull-down",
        columns=_SEEN,
    ),
    Field(
        "trend",
        "Readings from a trend",
        "series",
        "Paste minute, entering, leaving, flow, current, limit, evaporator pressure, suction"
        " temperature, condenser pressure, leaving condenser water, one row per reading. Leave a"
        " column empty if it was not read.",
        required=False,
        group="Pull-down",
        columns=_SEEN,
    ),
    Field("ended", "How it ended", "choice", choices=ENDS, group="Pull-down"),
    Field(
        "reached",
        "Set point reached after",
        "minutes",
        "Empty: from the readings.",
        required=False,
        plausible=("1 min", "1440 min"),
        group="Pull-down",
    ),
    Field(
        "limit_left",
        "Current limit as left",
        "percent",
        "Of full-load current; restored in steps once the water is cold.",
        plausible=("20 %", "120 %"),
        group="Pull-down",
    ),
)
