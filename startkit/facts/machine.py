"""The machine sheet: what the maker's documents and the order say of one machine."""

# `Any` here: what the validator has read; pydantic has no schema of its own for a quantity.
from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import pint
from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError

from startkit.errors import ScienceError, SheetError, StartkitError
from startkit.facts import limits as limits_
from startkit.facts import toml_file
from startkit.facts.starters import STARTERS, Starter
from startkit.science import refrigerant_data
from startkit.units import Q, label, parse

if TYPE_CHECKING:
    StarterName = str
    _Quantity = pint.Quantity
    from pydantic_core import ErrorDetails
else:
    StarterName = Literal[tuple(STARTERS)]
    _Quantity = Any  # what the validator has read; pydantic has no schema of its own for it


def _reads(kind: str) -> BeforeValidator:
    """Text such as ``"6.7 degC"`` read as a quantity of this kind."""

    def read(value: object) -> pint.Quantity:
        if isinstance(value, pint.Quantity):
            return value
        if not isinstance(value, str):
            raise ValueError(
                f'a number without a unit; write it in quotes with its unit, as in "{value}'
                f' {label(kind) or "%"}"'
            )
        try:
            return parse(value, kind)
        except StartkitError as error:
            raise ValueError(f"{error.what}; {error.remedy}") from None

    return BeforeValidator(read)


def _of(kind: str) -> Any:
    """The kind, for the blank sheet."""
    return Field(json_schema_extra={"kind": kind})


Temperature = Annotated[_Quantity, _reads("temperature"), _of("temperature")]
TemperatureDifference = Annotated[
    _Quantity, _reads("temperature_difference"), _of("temperature_difference")
]
PressureDifference = Annotated[_Quantity, _reads("pressure_difference"), _of("pressure_difference")]
PressureDrop = Annotated[_Quantity, _reads("pressure_drop"), _of("pressure_drop")]
RelativePressure = Annotated[_Quantity, _reads("relative_pressure"), _of("relative_pressure")]
Flow = Annotated[_Quantity, _reads("flow"), _of("flow")]
Cooling = Annotated[_Quantity, _reads("cooling"), _of("cooling")]
Power = Annotated[_Quantity, _reads("power"), _of("power")]
Current = Annotated[_Quantity, _reads("current"), _of("current")]
Voltage = Annotated[_Quantity, _reads("voltage"), _of("voltage")]
Time = Annotated[_Quantity, _reads("time"), _of("time")]
Minutes = Annotated[_Quantity, _reads("minutes"), _of("minutes")]
Percent = Annotated[_Quantity, _reads("percent"), _of("percent")]
Frequency = Annotated[_Quantity, _reads("frequency"), _of("frequency")]
Speed = Annotated[_Quantity, _reads("speed"), _of("speed")]
Mass = Annotated[_Quantity, _reads("mass"), _of("mass")]
Volume = Annotated[_Quantity, _reads("volume"), _of("volume")]
LoopVolume = Annotated[_Quantity, _reads("loop_volume"), _of("loop_volume")]
Elevation = Annotated[_Quantity, _reads("elevation"), _of("elevation")]
Area = Annotated[_Quantity, _reads("area"), _of("area")]
Viscosity = Annotated[_Quantity, _reads("viscosity"), _of("viscosity")]
Resistance = Annotated[_Quantity, _reads("resistance"), _of("resistance")]
Barometer = Annotated[_Quantity, _reads("barometer"), _of("barometer")]
Inertia = Annotated[_Quantity, _reads("inertia"), _of("inertia")]


class _Section(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True)


class Identity(_Section):
    """What machine it is."""

    tag: str
    maker: str = ""
    model: str = ""
    serial: str
    year: int | None = None
    work: Literal["new", "overhauled"] = "new"
    refrigerant: str
    refrigerant_charge: Mass | None = None
    drive: Literal["hermetic", "open"] = "hermetic"


class Site(_Section):
    """Where the machine is installed."""

    plant: str
    elevation: Elevation
    machinery_room_area: Area | None = None


class Motor(_Section):
    """Motor and starter."""

    rated_power: Power
    voltage: Voltage
    frequency: Frequency
    full_load_current: Current
    locked_rotor_current: Current | None = None
    starter: StarterName
    autotransformer_tap: Percent | None = None
    drive_current_limit: Percent | None = None
    starter_current_limit: Percent | None = None
    speed: Speed | None = None
    poles: int | None = None
    service_factor: float | None = None
    winding: Literal["thermoplastic", "thermosetting", "random-wound", "form-wound"] | None = None
    run_up_time: Time
    overcurrent_trip: Percent
    overcurrent_delay: Time | None = None
    start_to_start: Minutes | None = None
    stop_to_start: Minutes | None = None
    starts_per_hour: float | None = None
    load_inertia: Inertia | None = None
    efficiency: Percent | None = None
    drive_loss: Percent | None = None
    gear_loss: Percent | None = None
    vibration_group: Literal[1, 2] | None = None
    support: Literal["rigid", "flexible"] = "rigid"

    @property
    def kind_of_starter(self) -> Starter:
        """What follows from the starter."""
        return STARTERS[self.starter]

    @property
    def current_limit(self) -> pint.Quantity | None:
        """Limit of the starting current in the sheet [percent of full-load current]; None if the
        starter has none or the sheet does not give it.
        """
        key = self.kind_of_starter.limit_key
        return getattr(self, key) if key else None

    def expected_starting_current(self) -> pint.Quantity:
        """Line current that the sheet lets expect at the start [A].

        Raises
        ------
        SheetError
            The sheet lacks the locked-rotor current, the tap or the current limit.
        """
        from startkit.science.motor import expected_inrush

        kind, limit, locked = self.starting_key(), self.current_limit, self.locked_rotor_current
        if self.kind_of_starter.limits_current and limit is not None:
            # Without a locked-rotor current only the limit shows what to expect.
            most = limit * self.full_load_current if locked is None else locked
            return expected_inrush(most, kind, self.full_load_current, limit.to("dimensionless"))
        if locked is None or self.kind_of_starter.limits_current:
            lacking = self.kind_of_starter.limit_key or "locked_rotor_current"
            raise SheetError(
                f"the sheet gives no {lacking.replace('_', ' ')}", "", f"add {lacking} to the sheet"
            )
        return expected_inrush(locked, kind)

    def starting_key(self) -> str:
        """Key of the starting current in `startkit.science.motor.STARTERS`.

        Raises
        ------
        SheetError
            The sheet lacks the autotransformer's tap.
        """
        kind = self.kind_of_starter.starting
        if kind != "autotransformer":
            return kind
        if self.autotransformer_tap is None:
            raise SheetError(
                "the sheet gives no autotransformer tap", "", "add autotransformer_tap to the sheet"
            )
        return f"{kind}-{round(self.autotransformer_tap.to('percent').magnitude)}"


class Vanes(_Section):
    """Inlet guide vanes."""

    opening_time: Time
    closing_time: Time
    feedback: Literal["percent", "volts", "ohms"] = "percent"
    feedback_closed: float = 0.0
    feedback_open: float = 100.0
    switch: Literal["makes when closed", "none"] = "makes when closed"


class Oil(_Section):
    """Oil and oil pump."""

    kind: str
    grade: str = ""
    charge: Volume | None = None
    viscosity_40: Viscosity | None = None
    viscosity_100: Viscosity | None = None
    pump: Literal["fixed speed", "variable speed"] = "fixed speed"
    differential_set_point: PressureDifference
    low_trip: PressureDifference
    filter_drop_clean: PressureDifference | None = None
    filter_drop_change: PressureDifference | None = None
    pre_lube_time: Time | None = None
    post_lube_time: Time | None = None
    coast_down_time: Time | None = None


class Exchanger(_Section):
    """Evaporator or condenser: flow and drop on the water side; design pressure and relief setting
    on the refrigerant side.
    """

    fluid: str = "water"
    glycol_mass_fraction: Percent | None = None
    design_flow: Flow
    design_pressure_drop: PressureDrop
    flow_exponent: float = Field(default=0.5, ge=0.3, le=1.0)
    minimum_flow: Flow | None = None
    design_pressure: RelativePressure | None = None
    relief_setting: RelativePressure | None = None


class _Trip(_Section):
    direction: Literal["rising", "falling"] | None = None
    reset: Literal["by hand", "by itself"] | None = None
    source: str


class PressureTrip(_Trip):
    """The maker's setting of one pressure safety."""

    setting: RelativePressure


class TemperatureTrip(_Trip):
    """The maker's setting of one temperature safety."""

    setting: Temperature


class CurrentTrip(_Trip):
    """The maker's setting of one current safety, in percent of full-load current."""

    setting: Percent


class Safeties(_Section):
    """The maker's settings of the safeties, each with its source. Low oil differential and
    overcurrent have their own keys in [oil] and [motor].
    """

    high_condenser_pressure: PressureTrip | None = None
    low_evaporator_pressure: PressureTrip | None = None
    low_leaving_chilled_water: TemperatureTrip | None = None
    low_evaporator_refrigerant_temperature: TemperatureTrip | None = None
    high_motor_winding_temperature: TemperatureTrip | None = None
    high_bearing_temperature: TemperatureTrip | None = None
    high_oil_temperature: TemperatureTrip | None = None
    high_discharge_temperature: TemperatureTrip | None = None
    current_unbalance: CurrentTrip | None = None


class LoadPoint(_Section):
    """One row of the selection's part-load table."""

    load: Percent
    capacity: Cooling
    power: Power
    entering_chilled: Temperature | None = None
    leaving_chilled: Temperature
    entering_condenser: Temperature
    leaving_condenser: Temperature | None = None
    evaporator_approach: TemperatureDifference | None = None
    condenser_approach: TemperatureDifference | None = None


class SurgePoint(_Section):
    """One point of the maker's surge line: the lift at which the machine surges at a load."""

    load: Percent
    lift: TemperatureDifference


class Selection(_Section):
    """What the machine was sold to do."""

    document: str
    points: tuple[LoadPoint, ...] = Field(min_length=1)
    surge_line: tuple[SurgePoint, ...] = ()


class Loop(_Section):
    """The chilled-water loop, for planning the pull-down."""

    volume: LoopVolume | None = None
    connected_load: Cooling | None = None
    metal: Mass | None = None
    capacity_growth: Percent | None = (
        None  # of capacity and current, for each kelvin of warmer leaving water
    )


class Curves(_Section):
    """The maker's performance curves, biquadratic in leaving chilled and entering condenser water
    in degrees Celsius.
    """

    capacity: tuple[float, float, float, float, float, float] | None = None
    power: tuple[float, float, float, float, float, float] | None = None
    part_load: tuple[float, float, float] | None = None
    reference_capacity: Cooling | None = None
    reference_cop: float | None = None
    leaving_from: Temperature | None = None
    leaving_to: Temperature | None = None
    entering_from: Temperature | None = None
    entering_to: Temperature | None = None
    reference_leaving: Temperature | None = None
    reference_entering: Temperature | None = None
    least_load: Percent | None = None
    source: str = ""

    @property
    def given(self) -> bool:
        """True if nothing is lacking that a calculation needs."""
        needed = (
            self.capacity,
            self.power,
            self.part_load,
            self.reference_capacity,
            self.reference_cop,
            self.leaving_from,
            self.leaving_to,
        )
        return all(part is not None for part in needed)

    @property
    def of_conditions(self) -> bool:
        """True if they say what power to expect at other water temperatures too."""
        more = (
            self.entering_from,
            self.entering_to,
            self.reference_leaving,
            self.reference_entering,
        )
        return self.given and all(part is not None for part in more)


class Machine(_Section):
    """One machine's sheet."""

    machine: Identity
    site: Site
    motor: Motor
    vanes: Vanes
    oil: Oil
    evaporator: Exchanger
    condenser: Exchanger
    selection: Selection
    loop: Loop = Loop()
    safeties: Safeties = Safeties()
    curves: Curves = Curves()
    limits: dict[str, Any] = {}

    _text: str = ""

    @property
    def text(self) -> str:
        """The sheet as it is written."""
        return self._text

    @property
    def design(self) -> LoadPoint:
        """The selection's point at the highest load."""
        return max(self.selection.points, key=lambda point: point.load.to("percent").magnitude)

    @property
    def variable_speed(self) -> bool:
        return self.motor.kind_of_starter.code == "drive"

    def limits_over(self, base: limits_.Limits, name: str) -> limits_.Limits:
        """`base` with the sheet's own limits laid over it."""
        return base.overridden(self.limits, limits_.SHEET, name, self._text, ("limits",))


def load(path: Path) -> Machine:
    """The sheet in a TOML file.

    Raises
    ------
    SheetError
        Wrong or missing unit, missing field, unknown key: file, line, field, remedy.
    """
    table, text = toml_file.load(Path(path))
    return from_table(table, Path(path).name, text)


def from_table(table: dict[str, Any], name: str, text: str) -> Machine:
    """The sheet from its parsed table; `name` and `text` serve the error."""
    try:
        machine = Machine.model_validate(_without_retired(table))
    except ValidationError as error:
        raise _first_fault(error, name, text) from None
    machine._text = text  # noqa: SLF001 - its own module: the text is no field of a sheet
    machine.limits_over(limits_.defaults(), name)
    return machine


def check_refrigerant(path: Path, machine: Machine) -> None:
    """That a new job's refrigerant is known here; old jobs open with any.

    Raises
    ------
    SheetError
        It is not: file, line, and the names that come near.
    """
    try:
        refrigerant_data.find(machine.machine.refrigerant)
    except ScienceError as error:
        place = toml_file.where(path.name, machine.text, ("machine", "refrigerant"))
        raise SheetError(error.what, place, error.remedy) from None


# Keys of earlier sheets that nothing reads: such a sheet still opens, and the key is ignored.
RETIRED = {
    "vanes": ("actuator",),
    "oil": ("heater_power",),
    "evaporator": ("passes", "surface"),
    "condenser": ("passes", "surface"),
}


def _without_retired(table: dict[str, Any]) -> dict[str, Any]:
    return {
        name: {key: value for key, value in section.items() if key not in RETIRED.get(name, ())}
        if isinstance(section, dict)
        else section
        for name, section in table.items()
    }


def _first_fault(error: ValidationError, name: str, text: str) -> SheetError:
    """The first fault in the file, as one sentence; the others are counted."""
    faults = error.errors(include_url=False)
    first = min(faults, key=lambda f: toml_file.line_of(text, tuple(f["loc"])) or 10**9)
    what, remedy = _sentence(first)
    more = f" ({len(faults) - 1} more after this one)" if len(faults) > 1 else ""
    return SheetError(what + more, toml_file.where(name, text, tuple(first["loc"])), remedy)


def _sentence(fault: ErrorDetails) -> tuple[str, str]:
    field = str(fault["loc"][-1])
    if fault["type"] == "missing":
        return (
            f"{field!r} is missing",
            "add it; a blank sheet with every key comes from `startkit sheet`",
        )
    if fault["type"] == "extra_forbidden":
        known = _known_keys(fault["loc"])
        return (
            f"{field!r} is not a key of a machine sheet",
            f"check the spelling{': ' + known if known else ''}",
        )
    if fault["type"] == "literal_error":
        return f"{fault['input']!r} is not a choice", f"use {fault['ctx']['expected']}"
    what, _, remedy = str(fault["msg"]).removeprefix("Value error, ").partition("; ")
    return what, remedy or "see the blank sheet from `startkit sheet`"


def _known_keys(location: tuple[str | int, ...]) -> str:
    import difflib

    section: Any = Machine  # a model, or whatever the annotation of a key is
    for part in location[:-1]:
        if isinstance(part, int):
            continue
        field = section.model_fields.get(part) if hasattr(section, "model_fields") else None
        section = _section_of(field.annotation) if field else None
    names = list(section.model_fields) if hasattr(section, "model_fields") else []
    close = difflib.get_close_matches(str(location[-1]), names, n=1)
    return f"did you mean {close[0]!r}?" if close else ""


def _section_of(annotation: Any) -> Any:
    return next(
        (row for row in (LoadPoint, SurgePoint) if row.__name__ in str(annotation)), annotation
    )


__all__ = ["LoadPoint", "Machine", "Q", "from_table", "load"]
