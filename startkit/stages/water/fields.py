"""Fields of the stage Water: what flows, how much, and where the flow switch lets go; for each
circuit.
"""

from __future__ import annotations

from startkit.procedure.stage import Field

CIRCUITS = {"evaporator": "Chilled water", "condenser": "Condenser water"}


FLUIDS, BASES = ("water", "ethylene glycol", "propylene glycol"), ("mass", "volume")


def _circuit_fields(name: str) -> tuple[Field, ...]:
    title = CIRCUITS[name]

    def field(
        part: str, question: str, kind: str = "text", help: str = "", required: bool = True, **more
    ) -> Field:
        return Field(f"{name}_{part}", question, kind, help, required, group=title, **more)

    return (
        field("fluid", "Liquid", "choice", choices=FLUIDS),
        field(
            "share",
            "Glycol share",
            "percent",
            "By refractometer or hydrometer, from a sample of the circuit.",
            False,
            plausible=("10 %", "60 %"),
        ),
        field("basis", "Share by", "choice", "As the instrument is marked.", False, choices=BASES),
        field(
            "temperature",
            "Temperature at the taps",
            "temperature",
            plausible=("-15 °C", "60 °C"),
            measured=True,
        ),
        field(
            "drop",
            "Pressure drop over the exchanger",
            "pressure_drop",
            "One gauge moved between the taps, or two at the same level; pumps running, valves in"
            " their operating position.",
            plausible=("1 kPa", "400 kPa"),
            measured=True,
        ),
        field(
            "swing",
            "Swing of that reading",
            "pressure_drop",
            "Highest minus lowest over a minute: air makes it swing.",
            False,
            plausible=("0 kPa", "100 kPa"),
        ),
        field("strainer_inside", "The strainer is between the taps", "yes_no"),
        field(
            "strainer_drop",
            "Pressure drop over the strainer",
            "pressure_drop",
            required=False,
            plausible=("0 kPa", "200 kPa"),
            measured=True,
        ),
        field("strainer_clean", "Strainer cleaned after flushing", "yes_no"),
        field("air", "Air bled; none seen or heard at the highest vents", "yes_no"),
        field(
            "meter",
            "Flow by meter",
            "flow",
            "If there is one.",
            False,
            plausible=("1 L/s", "2000 L/s"),
            measured=True,
        ),
        field(
            "opens_drop",
            "Drop at which the flow switch opened",
            "pressure_drop",
            "Throttle slowly and read at the moment it opens.",
            False,
            plausible=("0.1 kPa", "400 kPa"),
            measured=True,
        ),
        field(
            "opens_flow",
            "or: flow by meter",
            "flow",
            required=False,
            plausible=("0.5 L/s", "2000 L/s"),
            measured=True,
        ),
        field(
            "closes_drop",
            "Drop at which it closed again",
            "pressure_drop",
            required=False,
            plausible=("0.1 kPa", "400 kPa"),
            measured=True,
        ),
        field(
            "closes_flow",
            "or: flow by meter",
            "flow",
            required=False,
            plausible=("0.5 L/s", "2000 L/s"),
            measured=True,
        ),
    )


FIELDS = tuple(field for name in CIRCUITS for field in _circuit_fields(name))
