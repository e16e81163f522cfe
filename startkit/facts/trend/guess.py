"""A first map of a trend, guessed from names, units and ranges, for a person to confirm."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pint

from startkit.errors import ReadingError, StartkitError
from startkit.facts.machine import Machine
from startkit.facts.trend import arrow, files, stamps
from startkit.facts.trend.cells import is_stamp, numbers, split_unit
from startkit.facts.trend.column_map import Mapped, TrendMap
from startkit.facts.trend.points import Point, fold, points, says, words
from startkit.facts.trend.table import RawTable
from startkit.science import refrigerant
from startkit.units import KINDS, Q, parse, parse_number, unit_for

LEAST = 0.45  # confidence below which a column is left out
SURE = 0.8
SAMPLE = 2_000
ATMOSPHERE = Q(101.325, "kilopascal")
# Units tried where none is written, most usual first.
TRIED: Mapping[str, tuple[str, ...]] = {
    "temperature": ("°C", "°F"),
    "flow": ("L/s", "gpm", "m³/h"),
    "power": ("kW", "W"),
    "gauge_pressure": ("kPa", "psi", "bar"),
    "pressure_drop": ("kPa", "ft H2O", "psi"),
    "pressure_difference": ("kPa", "psi", "bar"),
    "percent": ("%", "1"),
    "current": ("A",),
    "frequency": ("Hz",),
    "count": ("",),
}


@dataclass(frozen=True)
class _Seen:
    """A column as it is seen: its name without unit, its unit, a sample of its readings."""

    column: str
    bare: str
    unit: str
    sample: np.ndarray


def guess_file(path: Path, machine: Machine | None = None) -> TrendMap:
    """A first map of the file for a person to confirm.

    Parameters
    ----------
    path : pathlib.Path
    machine : Machine, optional
        Its sheet shows what readings are possible.
    """
    return guess(files.read(Path(path)), machine)


def guess(raw: RawTable, machine: Machine | None = None) -> TrendMap:
    """A map of the file: every column with the point it most likely is, and how sure that is.

    Parameters
    ----------
    raw : RawTable
    machine : Machine, optional
        Its tag, flows, temperatures and refrigerant help to find units and to distinguish gauge
        from absolute pressure.

    Raises
    ------
    ReadingError
        No column holds stamps.
    """
    names, stamp_format = _stamps(raw)
    rest = [each for each in raw.names if each not in names]
    seen = [_look(raw, name) for name in rest]
    columns = _assigned([_candidates(each, machine) for each in seen], seen, machine)
    columns = _pressures(columns, {each.column: each for each in seen}, machine)
    remarks = [stamp_format.note] if stamp_format.note else []
    remarks += (
        []
        if raw.layout.header
        else [
            "no line of the file names the columns, and their order alone is not enough; name"
            " them by hand"
        ]
    )
    remarks += _contradictions(columns, {each.column: each for each in seen})
    zone = stamps.STAMPED if stamp_format.text.endswith(("%z", "%Z")) else ""
    return TrendMap(raw.layout, names, stamp_format.text, zone, columns, False, tuple(remarks))


def _stamps(raw: RawTable) -> tuple[tuple[str, ...], stamps.StampFormat]:
    """The column of the stamps, or those of date and time, and their format."""
    import pyarrow as pa

    found: list[tuple[str, list[str]]] = []
    for name in raw.names:
        column = raw.column(name)
        if pa.types.is_timestamp(column.type):
            return (name,), stamps.StampFormat(stamps.ISO)
        if pa.types.is_string(column.type):
            sample = [text for text in _spread(column).to_pylist() if text]
            if sample and np.mean([is_stamp(text.strip()) for text in sample[:50]]) > 0.5:
                found.append((name, sample))
    for names in _pairs(found):
        texts = [
            " ".join(parts)
            for parts in zip(*(sample for name, sample in found if name in names), strict=False)
        ]
        format_ = stamps.guess(texts)
        if format_ is not None:
            return names, format_
    numeric = _numeric_stamps(raw)
    if numeric is not None:
        return numeric
    raise ReadingError(
        "no column holds date and time",
        "trend",
        "export the trend with its time stamps, or name column and format in a map",
    )


def _pairs(found: list[tuple[str, list[str]]]) -> list[tuple[str, ...]]:
    """One column with date and time first, then the first two together, then any alone."""
    whole = [
        (name,)
        for name, sample in found
        if ":" in sample[0] and not sample[0].strip()[:3].count(":")
    ]
    dates = [name for name, sample in found if ":" not in sample[0]]
    times = [name for name, sample in found if sample[0].strip()[:3].count(":")]
    both = [(dates[0], times[0])] if dates and times else []
    return [*whole, *both, *((name,) for name in dates)]


def _numeric_stamps(raw: RawTable) -> tuple[tuple[str, ...], stamps.StampFormat] | None:
    import pyarrow as pa

    for name in raw.names:
        column = raw.column(name)
        if (pa.types.is_floating(column.type) or pa.types.is_integer(column.type)) and {
            "time",
            "timestamp",
            "date",
            "datetime",
            "epoch",
            "ts",
        } & {*words(name), fold(name)}:
            format_ = stamps.guess(numbers(_spread(column)).values)
            if format_ is not None:
                return (name,), format_
    return None


def _spread(column):
    """Some two thousand cells spread over the column."""
    step = max(1, len(column) // SAMPLE)
    return column.take(arrow.places(np.arange(0, len(column), step)[:SAMPLE]))


def _look(raw: RawTable, name: str) -> _Seen:
    bare, unit = split_unit(name)
    index = raw.names.index(name)
    sample = numbers(_spread(raw.columns[index]), raw.layout.decimal).values
    return _Seen(name, bare, raw.units[index] or unit, sample[np.isfinite(sample)])


# --- one column -----------------------------------------------------------------------------------


def _candidates(seen: _Seen, machine: Machine | None) -> list[Mapped]:
    """Every point that the column could be, with unit and confidence."""
    if not seen.sample.size:
        return []
    rated = (_rated(seen, point, machine) for point in points().values())
    return sorted(
        (each for each in rated if each is not None and each.confidence >= LEAST),
        key=lambda each: -each.confidence,
    )


def _rated(seen: _Seen, point: Point, machine: Machine | None) -> Mapped | None:
    unit = _fitting_unit(seen.unit, point)
    if seen.unit and unit is None:
        return None
    named = says(seen.bare, point, _word_of(seen.unit, point))
    if named < LEAST:
        return None
    tried = [seen.unit] if seen.unit else list(TRIED.get(point.kind, ("",)))
    shares = [(_inside(seen.sample, point, each, machine), each) for each in tried]
    share, chosen = max(shares, key=lambda each: each[0])
    clear = seen.unit or sum(other > 0.6 * share for other, _ in shares) == 1
    confidence = named * (0.5 + 0.5 * share) * (1.0 if clear else 0.8)
    why = [
        (
            f"the name matches {point.label.lower()}"
            if named >= 0.9
            else f"the name partly matches {point.label.lower()}"
        )
    ]
    why.append(
        f"unit {chosen or 'none'} from the file"
        if seen.unit
        else f"unit {chosen or 'none'} from the range of its readings"
        + ("" if clear else ", others would also fit")
    )
    if share < 0.9:
        why.append(f"{100 * (1 - share):.0f} % of its readings are unlikely for it")
    return Mapped(
        seen.column, point.name, chosen, confidence=round(confidence, 2), why="; ".join(why)
    )


def _fitting_unit(unit: str, point: Point) -> str | None:
    try:
        unit_for(unit, point.kind)
    except StartkitError:
        return None
    return unit


def _word_of(unit: str, point: Point) -> str:
    """What a unit tells about a column whose name leaves it out."""
    if not unit:
        return ""
    return {
        "temperature": "temperature",
        "flow": "flow",
        "gauge_pressure": "pressure",
        "power": "power",
        "current": "current",
        "percent": "percent",
    }.get(point.kind, "")


def _inside(sample: np.ndarray, point: Point, unit: str, machine: Machine | None) -> float:
    """Share of the readings that are likely for the point in this unit."""
    try:
        low, high = (
            float(parse(text, point.kind, barometer=ATMOSPHERE).to_base_units().magnitude)
            for text in _likely(point, machine)
        )
        zero, one = (
            float(parse_number(v, point.kind, unit, ATMOSPHERE).to_base_units().magnitude)
            for v in (0.0, 1.0)
        )
    except StartkitError:
        return 0.0
    values = zero + (one - zero) * sample
    values = values[sample != 0] if (sample != 0).any() else values
    return float(np.mean((values >= low) & (values <= high)))


_LIKELY = {
    "chilled_entering": ("1 °C", "28 °C"),
    "chilled_leaving": ("-3 °C", "22 °C"),
    "condenser_entering": ("8 °C", "42 °C"),
    "condenser_leaving": ("10 °C", "50 °C"),
    "suction_temperature": ("-5 °C", "25 °C"),
    "discharge_temperature": ("15 °C", "95 °C"),
    "liquid_temperature": ("8 °C", "50 °C"),
    "oil_temperature": ("15 °C", "80 °C"),
    "oil_sump_temperature": ("15 °C", "85 °C"),
    "evaporator_saturation": ("-8 °C", "25 °C"),
    "condenser_saturation": ("8 °C", "55 °C"),
    "speed": ("5 Hz", "400 Hz"),
    "oil_differential": ("20 kPa", "700 kPa"),
    "evaporator_drop": ("3 kPa", "200 kPa"),
    "condenser_drop": ("3 kPa", "200 kPa"),
    "vane_position": ("1 %", "110 %"),
    "current_share": ("5 %", "130 %"),
}


def _likely(point: Point, machine: Machine | None) -> tuple[str, str]:
    """The range of a running machine's readings; the sheet narrows flows, power and current."""
    if machine is not None:
        near = {
            "evaporator_flow": machine.evaporator.design_flow,
            "condenser_flow": machine.condenser.design_flow,
            "power": machine.design.power,
            "current": machine.motor.full_load_current,
        }.get(point.name)
        if near is not None:
            unit = KINDS[point.kind].si
            value = near.to(unit.pint).magnitude
            return f"{0.1 * value:.6g} {unit.label}", f"{1.6 * value:.6g} {unit.label}"
    return _LIKELY.get(point.name, point.usual)


# --- all columns together -------------------------------------------------------------------------


def _assigned(
    candidates: list[list[Mapped]], seen: list[_Seen], machine: Machine | None
) -> tuple[Mapped, ...]:
    """Each point to one column, the surest first; a column of another machine's name comes last."""
    tag = fold(machine.machine.tag) if machine is not None else ""
    several = _several_machines([each.column for each in seen])
    order = sorted(
        (
            (
                each.confidence
                - (0.3 if several and tag and tag not in fold(each.column) else 0.0),
                -i,
                each,
            )
            for i, row in enumerate(candidates)
            for each in row
        ),
        key=lambda item: (-item[0], -item[1], item[2].point),
    )
    taken: dict[str, Mapped] = {}
    for _, _, each in order:
        if each.point not in {other.point for other in taken.values()} and each.column not in taken:
            taken[each.column] = each
    return tuple(
        taken.get(each.column) or Mapped(each.column, "", why=_unused(each, rows))
        for each, rows in zip(seen, candidates, strict=True)
    )


def _several_machines(names: list[str]) -> bool:
    import re

    found = {
        re.sub(r"[\s_\-]+", "", match.group(0).casefold())
        for name in names
        if (match := re.match(r"^[A-Za-z]{2,8}[\s_\-]?\d{1,2}(?=\D)", name))
    }
    return len(found) > 1


def _unused(seen: _Seen, rows: list[Mapped]) -> str:
    if not seen.sample.size:
        return "holds no number"
    return f"{rows[0].point} is another column" if rows else "its name matches no point in use"


def _pressures(
    columns: tuple[Mapped, ...], seen: Mapping[str, _Seen], machine: Machine | None
) -> tuple[Mapped, ...]:
    """Gauge or absolute, where the unit does not say: whichever lets the refrigerant boil below the
    water and condense above it.
    """
    by_point = {each.point: each for each in columns if each.point}
    return tuple(
        _referred(each, by_point, seen, machine) if each.point in _WATER else each
        for each in columns
    )


_WATER = {
    "evaporator_pressure": ("chilled_leaving", -1.0),
    "condenser_pressure": ("condenser_leaving", 1.0),
}


def _referred(
    column: Mapped,
    by_point: Mapping[str, Mapped],
    seen: Mapping[str, _Seen],
    machine: Machine | None,
) -> Mapped:
    meaning = unit_for(column.unit, "pressure")
    if meaning.label.endswith((" gauge", " abs", " vac")):
        return replace(column, reference="absolute" if meaning.reference == "" else "gauge")
    water, sign = _WATER[column.point]
    fits = (
        {}
        if machine is None or water not in by_point
        else {
            reference: _approach(column, by_point[water], seen, machine, reference, sign)
            for reference in ("gauge", "absolute")
        }
    )
    likely = [
        reference
        for reference, approach in fits.items()
        if approach is not None and -0.5 < approach < 8
    ]
    if len(likely) == 1:
        return replace(
            column,
            reference=likely[0],
            why=(
                f"{column.why}; read as {likely[0]}, the refrigerant is then"
                f" {fits[likely[0]]:.1f} K from the water"
            ),
        )
    return replace(
        column,
        reference="gauge",
        confidence=min(column.confidence, 0.6),
        why=f"{column.why}; gauge or absolute is not known, taken as gauge",
    )


def _approach(
    column: Mapped,
    water: Mapped,
    seen: Mapping[str, _Seen],
    machine: Machine,
    reference: str,
    sign: float,
) -> float | None:
    """Median distance of saturation from the leaving water [K]; with few or no running rows it says
    nothing.
    """
    pressure = _median(
        column, seen, "pressure" if reference == "absolute" else "gauge_pressure", machine
    )
    temperature = _median(water, seen, "temperature", machine)
    try:
        saturation = refrigerant.dew_temperature(machine.machine.refrigerant, pressure)
    except StartkitError:
        return None
    return sign * float((saturation.to("kelvin") - temperature.to("kelvin")).magnitude)


def _median(
    column: Mapped, seen: Mapping[str, _Seen], kind: str, machine: Machine
) -> pint.Quantity:
    from startkit.science.air import standard_barometer

    sample = seen[column.column].sample
    sample = sample[sample != 0] if (sample != 0).any() else sample
    return parse_number(
        float(np.median(sample)), kind, column.unit, standard_barometer(machine.site.elevation)
    )


def _contradictions(columns: tuple[Mapped, ...], seen: Mapping[str, _Seen]) -> list[str]:
    """Pairs that are the wrong way round, as swapped names would make them."""
    by_point = {each.point: each for each in columns if each.point}
    found = []
    for warm, cold in (
        ("chilled_entering", "chilled_leaving"),
        ("condenser_leaving", "condenser_entering"),
        ("condenser_pressure", "evaporator_pressure"),
    ):
        if warm in by_point and cold in by_point and by_point[warm].unit == by_point[cold].unit:
            above, below = (np.median(seen[by_point[each].column].sample) for each in (warm, cold))
            if above < below:
                found.append(
                    f"{by_point[warm].column!r} reads lower than {by_point[cold].column!r}: their"
                    " names may be swapped"
                )
    references = {by_point[point].reference for point in _WATER if point in by_point}
    if len(references) > 1:
        found.append(
            "one of evaporator and condenser pressure is read as gauge, the other as absolute:"
            " check which is right"
        )
    return found
