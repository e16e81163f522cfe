"""Fields of the stage Electrical: winding, supply, connections, control power, starter."""

from __future__ import annotations

from startkit.facts import starters
from startkit.facts.machine import Machine
from startkit.procedure.choice import Choice
from startkit.procedure.stage import Column, Field
from startkit.science.insulation import (
    MINIMUMS,
    SYSTEMS,
)

KINDS_OF_WINDING = tuple(MINIMUMS)


CLASSES = ("A", "B", "F", "H")


LINES = ("v12", "v23", "v31")


AS_MARKED = Choice("as_marked", "in the order that the motor's marking asks")
REVERSED = Choice("reversed", "reversed")
NOT_CHECKED = Choice("not_checked", "not checked")
ROTATION = (AS_MARKED, REVERSED, NOT_CHECKED)


STARTERS = tuple(Choice(row.code, row.label) for row in starters.ROWS)


INSULATION = "Insulation"


SUPPLY, JOINTS, CONTROL, STARTER = "Supply", "Connections", "Control power", "Starter"


def is_hermetic(machine: Machine) -> bool:
    """True if the motor runs in refrigerant."""
    return machine.machine.drive == "hermetic"


def _open_motor(machine: Machine) -> bool:
    return not is_hermetic(machine)


def _limited(machine: Machine) -> bool:
    return machine.motor.kind_of_starter.limits_current


_WINDING = (
    Field(
        "winding_system",
        "Insulation system",
        "choice",
        "According to the motor's maker; at 20 °C the two differ by a factor of three. If left"
        " empty, the one in the sheet is used.",
        required=False,
        choices=SYSTEMS,
        group=INSULATION,
    ),
    Field(
        "winding_kind",
        "Kind of winding",
        "choice",
        "If left empty, the one in the sheet is used; older means made before about 1970.",
        required=False,
        choices=KINDS_OF_WINDING,
        group=INSULATION,
    ),
    Field(
        "thermal_class",
        "Thermal class",
        "choice",
        "From the nameplate.",
        required=False,
        choices=CLASSES,
        group=INSULATION,
    ),
    Field(
        "under_vacuum",
        "Machine under vacuum while testing",
        "yes_no",
        "Never test under vacuum: the winding flashes over inside the shell.",
        group=INSULATION,
        applies=is_hermetic,
    ),
    Field(
        "winding_temperature",
        "Temperature of the winding",
        "temperature",
        "From its own sensors; after a long standstill, the shell temperature.",
        plausible=("-10 °C", "90 °C"),
        group=INSULATION,
        measured=True,
    ),
    Field(
        "insulation",
        "Insulation to ground",
        "table",
        "All phases together, or each with the others grounded; starter and drive disconnected."
        " If over range, enter the end of the scale.",
        rows=3,
        group=INSULATION,
        columns=(
            Column("place", "What to ground", required=True),
            Column(
                "test_voltage",
                "Test voltage",
                "voltage",
                plausible=("100 V", "11 kV"),
                required=True,
            ),
            Column(
                "one_minute",
                "After one minute",
                "insulation",
                plausible=("0.1 MΩ", "1000000 MΩ"),
                required=True,
                measured=True,
            ),
            Column(
                "ten_minutes",
                "After ten minutes",
                "insulation",
                plausible=("0.1 MΩ", "2000000 MΩ"),
                measured=True,
            ),
        ),
    ),
    Field(
        "discharged",
        "Winding grounded after the test, at least four times as long as it was charged",
        "yes_no",
        group=INSULATION,
    ),
    Field(
        "room_temperature",
        "Air temperature at the motor",
        "temperature",
        required=False,
        plausible=("-10 °C", "50 °C"),
        group=INSULATION,
        applies=_open_motor,
    ),
    Field(
        "room_humidity",
        "Relative humidity at the motor",
        "percent",
        required=False,
        plausible=("5 %", "100 %"),
        group=INSULATION,
        applies=_open_motor,
    ),
)


_SUPPLY = (
    *(
        Field(
            name,
            f"Voltage {name[1]}-{name[2]}",
            "voltage",
            "Line to line at the starter's supply terminals, all within a minute.",
            plausible=("180 V", "15 kV"),
            group=SUPPLY,
        )
        for name in LINES
    ),
    Field("frequency", "Frequency", "frequency", plausible=("45 Hz", "65 Hz"), group=SUPPLY),
    Field(
        "rotation",
        "Phase rotation at the motor terminals",
        "choice",
        "With a rotation meter at the starter's supply terminals; behind a drive, from the order of"
        " its output leads and its direction setting. Not by bumping the motor.",
        choices=ROTATION,
        group=SUPPLY,
    ),
    Field(
        "connections",
        "Power connections",
        "table",
        "Every bolted power connection from the supply to the motor.",
        rows=3,
        group=JOINTS,
        columns=(
            Column("place", "Which", required=True),
            Column(
                "specified",
                "Torque specified",
                "torque",
                plausible=("1 N·m", "500 N·m"),
                required=True,
            ),
            Column(
                "applied",
                "Torque applied",
                "torque",
                plausible=("1 N·m", "500 N·m"),
                required=True,
                measured=True,
            ),
            Column("marked", "Marked", "yes_no"),
            Column("who", "By", "person"),
        ),
    ),
    Field(
        "control_rated",
        "Control voltage on the drawing",
        "voltage",
        plausible=("10 V", "300 V"),
        group=CONTROL,
    ),
    Field(
        "control_voltage",
        "Control voltage measured",
        "voltage",
        plausible=("10 V", "300 V"),
        group=CONTROL,
        measured=True,
    ),
    Field("starter_seen", "Starter found on site", "choice", choices=STARTERS, group=STARTER),
    Field(
        "starter_limit",
        "Current limit set in the starter or drive",
        "percent",
        "Of full-load current.",
        plausible=("50 %", "600 %"),
        group=STARTER,
        applies=_limited,
    ),
)


FIELDS = (*_WINDING, *_SUPPLY)
