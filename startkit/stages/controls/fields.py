"""Fields of the stage Controls: sensors against references, safeties and interlocks."""

from __future__ import annotations

from startkit.facts.machine import Machine
from startkit.procedure.choice import Choice
from startkit.procedure.stage import Column, Field
from startkit.units import difference_kind

SENSORS_GROUP = "Sensors"


# Table of each kind of sensor: its field, its title, whether every machine has some.
SENSORS = {
    "temperature_sensors": ("temperature", "Temperature sensors", True),
    "pressure_sensors": ("gauge_pressure", "Pressure sensors", True),
    "flow_sensors": ("flow", "Flow meters", False),
    "current_sensors": ("current", "Current sensors", False),
}


# Accuracies of the sensors that machines have; common practice, no source.
ACCURACIES = {"temperature": ("0.05 K", "1.2 K"), "gauge_pressure": ("0.3 kPa", "35 kPa")}


def _sensor_field(name: str) -> Field:
    kind, title, required = SENSORS[name]
    difference = difference_kind(kind)
    return Field(
        name,
        f"{title} against a reference",
        "table",
        "Place the reference within 10 cm (4 in) of the sensor and let both settle. The"
        " reference's accuracy is that of the instrument you pick for it.",
        required,
        rows=4 if required else 1,
        group=SENSORS_GROUP,
        columns=(
            Column("sensor", "Sensor", required=True),
            Column("panel", "Shown by the controls", kind, required=True),
            Column("reference", "Reference", kind, required=True, measured=True),
            Column(
                "accuracy",
                "Accuracy of the sensor",
                difference,
                "From its data sheet, plus and minus",
                plausible=ACCURACIES.get(kind),
                required=True,
            ),
            Column(
                "offset",
                "Offset set",
                difference,
                "Offset added in the controls; leave empty if none",
            ),
            Column("left_panel", "As left: controls", kind),
            Column("left_reference", "As left: reference", kind),
        ),
    )


_SENSORS = tuple(_sensor_field(name) for name in SENSORS)


SAFETIES_GROUP = "Safeties and interlocks"


RISING, FALLING = Choice("rising", "rising"), Choice("falling", "falling")


BROUGHT = Choice("brought_about", "condition brought about")
AT_SENSOR = Choice("at_sensor", "simulated at the sensor")
FORCED = Choice("forced", "forced in the controls")


BY_HAND, BY_ITSELF = Choice("by_hand", "by hand"), Choice("by_itself", "by itself")


OTHER = Choice("other", "other")


def _named(*labels: str) -> tuple[Choice, ...]:
    """Safeties by their names, and any other."""
    return (*(Choice(label.replace(" ", "_"), label) for label in labels), OTHER)


PRESSURES = _named("high condenser pressure", "low evaporator pressure")


TEMPERATURES = _named(
    "low leaving chilled water",
    "low evaporator refrigerant temperature",
    "high motor winding temperature",
    "high bearing temperature",
    "high oil temperature",
    "high discharge temperature",
)


CURRENTS = _named("motor overcurrent", "current unbalance")


INTERLOCKS = _named(
    "evaporator water flow",
    "condenser water flow",
    "emergency stop",
    "chilled water pump",
    "condenser water pump",
    "oil pump overload",
    "refrigerant detector",
    "supply monitor",
)


# Field of each table: kind of reading, title, choices, limit.
SAFETIES = {
    "pressure_safeties": (
        "gauge_pressure",
        "Pressure safeties",
        PRESSURES,
        "controls.trip_pressure",
    ),
    "temperature_safeties": (
        "temperature",
        "Temperature safeties",
        TEMPERATURES,
        "controls.trip_temperature",
    ),
    "current_safeties": ("percent", "Current safeties", CURRENTS, "controls.trip_current"),
}


_HOW = (
    Column("method", "Proven by", "choice", choices=(BROUGHT, AT_SENSOR, FORCED)),
    Column(
        "reset",
        "Reset",
        "choice",
        choices=(BY_HAND, BY_ITSELF),
    ),
    Column("who", "By", "person"),
    Column("reason", "If not: why not"),
)


_HELP = (
    "Create the condition, watch the value, and read it at the moment of the trip. Low oil"
    " differential and closed vanes have their own stages."
)


def _field(name: str) -> Field:
    kind, title, choices, _ = SAFETIES[name]
    return Field(
        name,
        title,
        "table",
        _HELP + (" In percent of full-load current." if kind == "percent" else ""),
        rows=3,
        group=SAFETIES_GROUP,
        columns=(
            Column("safety", "Safety", "choice", choices=choices, required=True),
            Column("which", "Which, if other"),
            Column("setting", "Setting", kind, required=True),
            Column("direction", "Trips when", "choice", choices=(RISING, FALLING), required=True),
            Column("seen", "Tripped at", kind),
            *_HOW,
        ),
    )


_SAFETIES = (
    *(_field(name) for name in SAFETIES),
    Field(
        "interlocks",
        "Interlocks and proofs of flow",
        "table",
        "Remove each while its circuit is ready, and see the controls drop out or refuse to start.",
        rows=4,
        group=SAFETIES_GROUP,
        columns=(
            Column("safety", "Interlock", "choice", choices=INTERLOCKS, required=True),
            Column("which", "Which, if other"),
            Column("seen", "It acted", "yes_no"),
            *_HOW,
        ),
    ),
)


# --- starts refused -------------------------------------------------------------------------------

REFUSED = Choice("refused", "refused, condition really missing")
SIMULATED = Choice("refused_simulated", "refused, condition simulated")
STARTED = Choice("not_refused", "not refused")
# Field of each condition: what is taken away.
REFUSALS = {
    "refused_vanes": "Vanes off their closed position",
    "refused_oil": "No oil pressure",
    "refused_evaporator": "No evaporator flow",
    "refused_condenser": "No condenser flow",
    "refused_timer": "Timer between starts still running",
}
REFUSALS_GROUP = "Starts that must be refused"


def _timed(machine: Machine) -> bool:
    motor = machine.motor
    timers = (motor.start_to_start, motor.stop_to_start, motor.starts_per_hour)
    return any(timer is not None for timer in timers)


def _always(machine: Machine) -> bool:
    return True


_REFUSALS = (
    *(
        Field(
            name,
            title,
            "choice",
            "Motor circuit locked out, all else ready: give the start command with only this"
            " missing."
            if name == "refused_vanes"
            else "",
            required=False,
            choices=(REFUSED, SIMULATED, STARTED),
            group=REFUSALS_GROUP,
            applies=_timed if name == "refused_timer" else _always,
        )
        for name, title in REFUSALS.items()
    ),
    Field("refused_by", "Tried by", "person", required=False, group=REFUSALS_GROUP),
)

FIELDS = (*_SENSORS, *_SAFETIES, *_REFUSALS)
