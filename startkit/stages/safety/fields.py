"""Fields of the stage Safety: the machinery room, its ventilation and detector."""

from __future__ import annotations

from startkit.procedure.choice import Choice
from startkit.procedure.stage import Field
from startkit.units import IP, SI

SQUARE_ROOT = (
    Choice("si", "SI: 0.07 √kg, in m³/s"),
    Choice("ip", "I-P: 100 √lb, in cfm"),
)
FORMS = {"si": SI, "ip": IP}


FIELDS = (
    Field(
        "room_charge",
        "Charge of the largest system in the machinery room",
        "mass",
        "Every system with any part in the room counts. If left empty, the charge in the sheet is"
        " used.",
        required=False,
        plausible=("20 kg", "10000 kg"),
        group="Machinery room",
    ),
    Field(
        "exhaust_form",
        "Form of the square-root rule in the local code",
        "choice",
        "They differ by 0.1 %; if left empty, the one for the job's units is used.",
        required=False,
        choices=SQUARE_ROOT,
        group="Machinery room",
    ),
    Field(
        "emergency_installed",
        "Emergency exhaust as measured",
        "air_flow",
        "Measured by the balancer with doors shut; not the fan's nameplate figure.",
        plausible=("0.1 m³/s", "60 m³/s"),
        group="Machinery room",
    ),
    Field(
        "normal_installed",
        "Normal exhaust as measured",
        "air_flow",
        "Ventilation running while people are in the room.",
        required=False,
        plausible=("0.02 m³/s", "60 m³/s"),
        group="Machinery room",
    ),
    Field(
        "people_in_room",
        "Most people in the room",
        "count",
        required=False,
        plausible=("0", "50"),
        group="Machinery room",
    ),
    Field(
        "room_heat",
        "Heat released into the room",
        "power",
        "Motors, drives, panels. If left empty, the temperature rise is not checked.",
        required=False,
        plausible=("0.1 kW", "500 kW"),
        group="Machinery room",
    ),
    Field(
        "room_volume",
        "Volume of the machinery room",
        "loop_volume",
        required=False,
        plausible=("20 m³", "50000 m³"),
        group="Machinery room",
    ),
    Field(
        "detector_alarm",
        "Refrigerant detector alarms at",
        "concentration",
        "Set point as read at the detector or its panel.",
        plausible=("5 ppm", "2000 ppm"),
        group="Detector",
    ),
)
