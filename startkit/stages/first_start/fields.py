"""What the stage First start asks for."""

from __future__ import annotations

from startkit.procedure.stage import CLOCK, Choice, Column, Field
from startkit.procedure.starts import TRIP

MADE, OPEN = Choice("made", "made"), Choice("open", "open")
SLOW = Choice("panel_display", "panel display")
FAST = (
    Choice("recorder", "recorder or analyser, RMS of each cycle"),
    Choice("inrush_meter", "meter with inrush function"),
)
PEAK_BY = (*FAST, SLOW)
RIGHT = (
    Choice("right_at_shaft", "right, seen at the shaft"),
    Choice("right_by_meter", "right, by phase meter and pressure rise"),
)
WRONG = Choice("wrong", "wrong")
NOT_SEEN = Choice("not_seen", "not seen")
ROTATION = (*RIGHT, WRONG, NOT_SEEN)
FROM_10_HZ = Choice("10_to_1000_hz", "10 to 1000 Hz")
FROM_2_HZ = Choice("2_to_1000_hz", "2 to 1000 Hz")
BANDS = (FROM_10_HZ, FROM_2_HZ, Choice("other", "other or not known", ("another or not known",)))
DIRECTIONS = ("horizontal", "vertical", "axial")
SUPPLY_SIDE = Choice(
    "supply_side", "in the supply, before starter or drive", ("supply side of the drive",)
)
MOTOR_SIDE = Choice(
    "motor_side", "between starter or drive and motor", ("motor side of the drive",)
)
INSIDE_DELTA = Choice("inside_delta", "inside the delta, at one winding's lead")
CURRENT_WHERE = (SUPPLY_SIDE, MOTOR_SIDE, INSIDE_DELTA)
ENDS = (
    Choice("bump", "bump"),
    Choice("by_hand", "stopped by hand"),
    Choice("by_control", "stopped by control"),
    Choice(TRIP, "trip"),
)
PHASES = ("L1", "L2", "L3")


def _phases(prefix: str, question: str, help: str, high: str, group: str) -> tuple[Field, ...]:
    """One field for each phase; not required, since a pasted record may bring them."""
    return tuple(
        Field(
            f"{prefix}_{phase.lower()}",
            f"{question}, {phase}",
            "current",
            help,
            required=False,
            plausible=("1 A", high),
            group=group,
        )
        for phase in PHASES
    )


# What is checked before a start is entered before the hold point that the start itself waits for.
_BEFORE_A_START = (
    Column("taken_out", "Jumpers, forced points, simulated sensors out", "yes_no", after=""),
    Column("automatic", "Vanes, oil pump and limit back in automatic", "yes_no", after=""),
    Column(
        "unlocked",
        "Locks and tags off",
        "yes_no",
        "Each by the person who set it",
        after="",
    ),
    Column("people_clear", "People clear of the machine", "yes_no", after=""),
    Column("by", "Checked and started by", "person", after=""),
)
_AT_A_START = (
    Column("started", "Started", "moment", "Date and time, as 2026-11-25 14:30", required=True),
    Column(
        "closed",
        "Closed-position switch",
        "choice",
        "As the starter read it at the start command; empty if there is none",
        choices=(MADE, OPEN),
    ),
    Column(
        "vanes",
        "Vane position",
        "percent",
        "Feedback at the start command: 0 % is closed",
        plausible=("-10 %", "110 %"),
    ),
    Column(
        "oil_before",
        "Oil differential before",
        "pressure_difference",
        "As displayed: the zero error found with the pump off is subtracted here",
        plausible=("0 kPa", "800 kPa"),
    ),
    Column(
        "oil_after",
        "Oil differential after",
        "pressure_difference",
        "Running, or after a bump",
        plausible=("0 kPa", "800 kPa"),
    ),
    Column("flows", "Both water flows proven", "yes_no"),
    Column("limit", "Current limit set", "percent", plausible=("30 %", "110 %")),
    Column("stopped", "Stopped", "moment"),
    Column("end", "Ended by", "choice", choices=ENDS),
    Column("fault", "First fault, if it tripped", help="As the panel words it"),
    Column("remark", "Remark"),
)

FIELDS = (
    Field(
        "closed_proof",
        "Closed-position switch at start",
        "choice",
        "As the starter read it at the start command.",
        required=False,
        choices=(MADE, OPEN),
        group="At the start",
        applies=lambda machine: machine.vanes.switch != "none",
        retired=True,
    ),
    Field(
        "vane_position",
        "Vane position at start",
        "percent",
        "Feedback at the start command: 0 % is closed.",
        required=False,
        plausible=("-10 %", "110 %"),
        group="At the start",
        retired=True,
    ),
    Field(
        "starts",
        "Starts",
        "table",
        "One column for each start, bumps included: the check before it, what was read at the start"
        " command, and how it ended.",
        rows=3,
        group="Starts",
        across=True,
        columns=(*_BEFORE_A_START, *_AT_A_START),
    ),
    Field(
        "rotation",
        "Rotation, seen when bumped",
        "choice",
        "Bump the motor and watch the shaft turn. Where no shaft is visible, check with a phase"
        " meter and by the pressure rise.",
        choices=ROTATION,
        group="Starts",
    ),
    Field(
        "run_up_time",
        "Time from start to full speed or transition",
        "time",
        "By stopwatch or from the panel; leave empty if you paste a record.",
        required=False,
        plausible=("0.5 s", "300 s"),
        group="Run-up",
    ),
    *_phases(
        "peak",
        "Highest current at the start",
        "From a recorder or a meter with an inrush function.",
        "30 kA",
        "Run-up",
    ),
    Field(
        "peak_by",
        "How the highest current was read",
        "choice",
        "A slow display misses the peak.",
        choices=PEAK_BY,
        group="Run-up",
    ),
    *_phases(
        "settled",
        "Current once settled",
        "Read all three within a minute, at the load there is.",
        "3 kA",
        "Run-up",
    ),
    Field(
        "current_where",
        "Where the current was read",
        "choice",
        "Line and winding differ; so do the two sides of a drive, whose motor side counts.",
        required=False,
        choices=CURRENT_WHERE,
        group="Run-up",
    ),
    Field(
        "full_speed",
        "Speed reached",
        "speed",
        required=False,
        plausible=("100 r/min", "40000 r/min"),
        group="Run-up",
    ),
    Field(
        "oil_lowest",
        "Lowest oil differential in the run-up",
        "pressure_difference",
        "As displayed: the zero error found with the pump off is subtracted here. Leave empty if"
        " you paste a record.",
        required=False,
        plausible=("0 kPa", "800 kPa"),
        group="Run-up",
    ),
    Field(
        "run_up",
        "Record of the run-up",
        "series",
        "Paste seconds, speed, current of L1, L2 and L3, oil differential and vane position, one"
        " row per reading. Leave a column empty if it was not read.",
        required=False,
        group="Run-up",
        columns=(
            Column("time", "Time", "time", point=CLOCK),
            Column("speed", "Speed", "speed", point="speed"),
            Column("l1", "Current L1", "current", was=("Current, first",)),
            Column("l2", "Current L2", "current", was=("Current, second",)),
            Column("l3", "Current L3", "current", was=("Current, third",)),
            Column("oil", "Oil differential", "pressure_difference", point="oil_differential"),
            Column("vanes", "Vane position", "percent", point="vane_position"),
        ),
    ),
    Field(
        "start_at",
        "Start command at",
        "time",
        "On the clock of the rows above; empty means at 0 s.",
        required=False,
        group="Run-up",
    ),
    Field(
        "voltage_12",
        "Voltage L1 to L2, running",
        "voltage",
        "At the supply terminals of starter or drive, by a licensed person; not in the motor's"
        " terminal box.",
        plausible=("180 V", "15 kV"),
        group="Supply, running",
    ),
    Field(
        "voltage_23",
        "Voltage L2 to L3, running",
        "voltage",
        plausible=("180 V", "15 kV"),
        group="Supply, running",
    ),
    Field(
        "voltage_31",
        "Voltage L3 to L1, running",
        "voltage",
        plausible=("180 V", "15 kV"),
        group="Supply, running",
    ),
    Field(
        "vibration",
        "Vibration at the bearings",
        "table",
        "RMS velocity on the bearing housing, once settled. Give the shaft speed if it differs from"
        " the motor speed.",
        rows=4,
        group="Bearings",
        columns=(
            Column("bearing", "Bearing", required=True),
            Column("direction", "Direction", "choice", choices=DIRECTIONS, required=True),
            Column(
                "velocity",
                "RMS velocity",
                "vibration",
                required=True,
                plausible=("0.05 mm/s", "50 mm/s"),
            ),
            Column("band", "Band", "choice", choices=BANDS, required=True),
            Column("speed", "Shaft speed", "speed", plausible=("100 r/min", "60000 r/min")),
        ),
    ),
    Field(
        "temperatures",
        "Temperatures",
        "table",
        "Bearings, winding, discharge and oil, once settled.",
        required=False,
        rows=4,
        group="Bearings",
        columns=(
            Column("place", "Where", required=True),
            Column(
                "temperature",
                "Temperature",
                "temperature",
                required=True,
                plausible=("0 °C", "180 °C"),
            ),
        ),
    ),
    Field(
        "noise",
        "Noise at one metre",
        "sound",
        required=False,
        plausible=("40 dB(A)", "120 dB(A)"),
        group="Bearings",
    ),
    Field(
        "noise_heard",
        "What was heard",
        "text",
        "Rubbing, knocking, whistling, surge, or nothing unusual.",
        group="Bearings",
    ),
)
