"""Blank forms of the facts: a machine sheet with every key, the list of limits."""

# `Any` here: the annotations of a pydantic model, of every kind.
from __future__ import annotations

from pathlib import Path
from typing import Any, get_args

from startkit.errors import SheetError
from startkit.facts import limits as limits_
from startkit.facts import machine as machine_
from startkit.units import KINDS, label, show

_EXAMPLES = {
    "temperature": "6.7 °C",
    "temperature_difference": "1.5 K",
    "pressure_difference": "150 kPa",
    "pressure_drop": "55 kPa",
    "relative_pressure": "1000 kPa",
    "flow": "75 L/s",
    "cooling": "1750 kW",
    "power": "300 kW",
    "current": "480 A",
    "voltage": "400 V",
    "time": "40 s",
    "minutes": "20 min",
    "percent": "100 %",
    "frequency": "50 Hz",
    "speed": "2960 r/min",
    "mass": "400 kg",
    "volume": "40 L",
    "loop_volume": "40 m³",
    "elevation": "120 m",
    "area": "80 m²",
    "viscosity": "68 mm²/s",
    "resistance": "1000 ohm",
    "barometer": "101.3 kPa",
    "inertia": "12 kg·m²",
}


def blank_sheet() -> str:
    """A machine sheet with every key: required ones empty, optional ones commented out."""
    lines = [
        "# Machine sheet: data from the maker's documents and the order for one machine.",
        (
            "# Write numbers in quotes with their unit. Lines that begin with # are optional:"
            " remove the # to use one."
        ),
        "",
    ]
    for name, field in machine_.Machine.model_fields.items():
        if name == "limits":
            continue
        section = field.annotation
        assert section is not None, name  # every section of the sheet is declared with its type
        lines += [f"[{name}]  # {' '.join((section.__doc__ or '').split())}"]
        lines += [
            _line(key, sub) for key, sub in section.model_fields.items() if key != "points"
        ] + [""]
    lines += [
        "[[selection.points]]  # one table for each row of the part-load table, full load first"
    ]
    lines += [_line(key, sub) for key, sub in machine_.LoadPoint.model_fields.items()]
    return "\n".join(
        [
            *lines,
            "",
            "# [limits]  # the maker's own limits; the names are listed by `startkit limits`",
            (
                '# "vanes.travel_time" = { low = "-10 %", high = "10 %", source = "data sheet, page'
                ' 3" }'
            ),
            "",
        ]
    )


# Where the example of the kind would mislead.
_FOR = {
    "locked_rotor_current": "2900 A",
    "autotransformer_tap": "65 %",
    "drive_current_limit": "110 %",
    "starter_current_limit": "300 %",
    "overcurrent_trip": "108 %",
    "overcurrent_delay": "5 s",
    "efficiency": "95 %",
    "low_trip": "100 kPa",
    "filter_drop_clean": "15 kPa",
    "filter_drop_change": "100 kPa",
    "pre_lube_time": "30 s",
    "post_lube_time": "60 s",
    "coast_down_time": "60 s",
    "viscosity_100": "8.5 mm²/s",
    "glycol_mass_fraction": "25 %",
    "capacity_growth": "2.5 %",
    "least_load": "10 %",
    "minimum_flow": "45 L/s",
    "run_up_time": "30 s",
    "entering_chilled": "12.2 °C",
    "entering_condenser": "29.4 °C",
    "leaving_condenser": "35 °C",
    "low_evaporator_pressure": "200 kPa",
    "low_leaving_chilled_water": "3 °C",
    "low_evaporator_refrigerant_temperature": "1 °C",
    "high_motor_winding_temperature": "110 °C",
}


# Examples of a setting, by the sort of safety.
_TRIPS: dict[object, str] = {
    machine_.PressureTrip: "1100 kPa",
    machine_.TemperatureTrip: "80 °C",
    machine_.CurrentTrip: "20 %",
}


def _section_kind(annotation: object) -> object:
    """The section behind ``Section | None``; None for anything else."""
    return next((part for part in get_args(annotation) if part in _TRIPS), None)


def _line(key: str, field: Any) -> str:
    if key == "surge_line":
        return (
            '# surge_line = [{ load = "100 %", lift = "34 K" }, { load = "50 %", lift = "27 K" }] '
            " # the maker's surge line, two points or more"
        )
    trip = _TRIPS.get(_section_kind(field.annotation))
    if trip is not None:
        setting = _FOR.get(key, trip)
        return f'# {key} = {{ setting = "{setting}", reset = "by hand", source = "page 3" }}'
    kind = (
        (field.json_schema_extra or {}).get("kind")
        if isinstance(field.json_schema_extra, dict)
        else None
    )
    kind = kind or _kind_inside(field.annotation)
    choices = _choices(field.annotation)
    value, remark = '""', ""
    if kind:
        value, remark = ('""', f"  # such as {_FOR.get(key) or _EXAMPLES.get(kind, label(kind))}")
    elif "tuple[float" in str(field.annotation):
        value, remark = ("[]", f"  # {str(field.annotation).count('float')} coefficients")
    elif choices:
        value, remark = (
            _toml(choices[0] if field.is_required() or field.default is None else field.default),
            f"  # {' | '.join(map(str, choices))}",
        )
    elif "int" in str(field.annotation) or "float" in str(field.annotation):
        value = _toml(field.default or 0)
    elif field.annotation is not str and not field.is_required() and field.default is not None:
        value = _toml(field.default)
    return f"{'' if field.is_required() else '# '}{key} = {value}{remark}"


def _kind_inside(annotation: object) -> str | None:
    for part in get_args(annotation):
        for extra in getattr(part, "__metadata__", ()) or get_args(part):
            schema = getattr(extra, "json_schema_extra", None)
            if isinstance(schema, dict):
                return schema.get("kind")
    return None


def _choices(annotation: object) -> tuple[object, ...]:
    values = [
        a
        for part in (annotation, *get_args(annotation))
        for a in get_args(part)
        if isinstance(a, str | int)
    ]
    return tuple(dict.fromkeys(values))


def _toml(value: object) -> str:
    return f'"{value}"' if isinstance(value, str) else "0" if value is None else str(value)


def write_new(path: Path, text: str) -> Path:
    """Write a file that must not exist yet.

    Raises
    ------
    SheetError
        It exists, or the folder cannot be written.
    """
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError:
        raise SheetError("the file already exists", str(path), "choose another name") from None
    except OSError as error:
        raise SheetError(
            f"the file cannot be written ({error.strerror})", str(path), "choose another folder"
        ) from None
    return path


def limit_lines(sheet: Path | None) -> list[str]:
    """One line a limit: key, bounds, source."""
    layered = limits_.defaults()
    if sheet is not None:
        layered = machine_.load(sheet).limits_over(layered, sheet.name)
    return [
        f"{key:36} {_bounds(limit):28} {limit.origin}" for key, limit in sorted(layered.items())
    ]


def _bounds(limit: limits_.Limit) -> str:
    low, high = (
        show(side, limit.kind) if side is not None else "" for side in (limit.low, limit.high)
    )
    if not low and not high:
        return "set by its stage"
    return (
        " to ".join(part for part in (low, high) if part)
        if low and high
        else f"at least {low}"
        if low
        else f"at most {high}"
    )


assert set(_EXAMPLES) <= set(KINDS)
