"""Units: one registry, the spellings a technician types, and how a quantity is shown.

A *kind* says what sort of reading a field holds (``"oil_differential"`` is a field,
``"pressure_difference"`` its kind). It fixes the dimension, the unit shown in SI and in I-P,
the decimals, and the spellings that are understood for it.
"""

from __future__ import annotations

import functools
import inspect
import math
import re
from collections.abc import Callable
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Any, ParamSpec, Protocol, TypeVar, cast

import pint

from startkit.errors import ReadingError, UnitError
from startkit.unit_registry import Q, bare, is_temperature, is_temperature_difference

SI, IP = "SI", "I-P"
SYSTEMS = (SI, IP)

P = ParamSpec("P")
R = TypeVar("R")


@dataclass(frozen=True)
class Unit:
    """A unit as it is shown: its printed label, pint's name, and how pressure is referred."""

    label: str
    pint: str
    reference: str = ""  # "", "gauge" or "vacuum"


@dataclass(frozen=True)
class Kind:
    """What sort of reading: name, unit shown in SI and I-P with decimals, accepted spellings."""

    name: str
    si: Unit
    ip: Unit
    si_digits: int = 1
    ip_digits: int = 1
    spellings: tuple[str, ...] = ()

    def unit(self, system: str) -> Unit:
        return self.ip if system == IP else self.si

    def digits(self, system: str) -> int:
        return self.ip_digits if system == IP else self.si_digits


def _unit(label: str, name: str, reference: str = "") -> Unit:
    return Unit(label, name, reference)


_C, _F = _unit("°C", "degC"), _unit("°F", "degF")
_DC, _DF = _unit("K", "delta_degC"), _unit("Δ°F", "delta_degF")

# Spelling tables: what is typed (folded: lower case, no blanks) -> how it is understood.
_TEMPERATURE = {
    "c": _C,
    "°c": _C,
    "degc": _C,
    "f": _F,
    "°f": _F,
    "degf": _F,
    "k": _unit("K", "kelvin"),
}
_DIFFERENCE = {
    "k": _DC,
    "c": _DC,
    "°c": _DC,
    "degc": _DC,
    "delta_degc": _DC,
    "f": _DF,
    "°f": _DF,
    "degf": _DF,
    "δ°f": _DF,
    "df": _DF,
    "δf": _DF,
    "delta_degf": _DF,
    "r": _DF,
    "δ°c": _DC,
    "dc": _DC,
}
_PRESSURE_PLAIN = {
    "pa": "pascal",
    "hpa": "hectopascal",
    "kpa": "kilopascal",
    "mpa": "megapascal",
    "bar": "bar",
    "mbar": "millibar",
    "psi": "psi",
    "inhg": "inHg",
    "mmhg": "mmHg",
    "torr": "torr",
    "fth2o": "ftH2O",
    "ftwg": "ftH2O",
    "ft": "ftH2O",
    "mh2o": "meter_H2O",
    "inh2o": "inH2O",
    "inwg": "inH2O",
    "atm": "atm",
    "kg/cm2": "kgf/cm**2",
}
_LABELS = {
    "pascal": "Pa",
    "hectopascal": "hPa",
    "kilopascal": "kPa",
    "megapascal": "MPa",
    "bar": "bar",
    "millibar": "mbar",
    "psi": "psi",
    "inHg": "in Hg",
    "mmHg": "mm Hg",
    "torr": "torr",
    "ftH2O": "ft H2O",
    "inH2O": "in H2O",
    "meter_H2O": "m H2O",
    "atm": "atm",
    "kgf/cm**2": "kg/cm2",
}


def _pressures(default_reference: str) -> dict[str, Unit]:
    table: dict[str, Unit] = {}
    for typed, name in _PRESSURE_PLAIN.items():
        label = _LABELS[name]
        table[typed] = _unit(
            label if not default_reference else label + " gauge", name, default_reference
        )
        for suffix in ("g", "(g)", "gauge", "ga"):
            table[typed + suffix] = _unit(label + " gauge", name, "gauge")
        for suffix in ("a", "(a)", "abs", "absolute"):
            table[typed + suffix] = _unit(label + " abs", name)
        for suffix in ("vac", "vacuum", "(vac)"):
            table[typed + suffix] = _unit(label + " vac", name, "vacuum")
    for typed in ("micron", "microns", "umhg", "µmhg", "μmhg", "mtorr"):
        table[typed] = _unit("micron", "micron_mercury")
    return table


def _folded(units: dict[str, tuple[str, str]]) -> dict[str, Unit]:
    """{"typed, typed": (label, pint name)} -> one entry for each spelling."""
    return {
        typed.strip(): _unit(*unit)
        for typed_all, unit in units.items()
        for typed in typed_all.split(",")
    }


_WATTS = {
    "w": ("W", "watt"),
    "kw": ("kW", "kilowatt"),
    "mw": ("MW", "megawatt"),
    "hp": ("hp", "horsepower"),
    "btu/h,btuh,btu/hr": ("Btu/h", "Btu/hour"),
    "mbh": ("kBtu/h", "kiloBtu/hour"),
}
_COOLING = _folded({**_WATTS, "ton,tons,tr,rt,tonr,usrt": ("ton", "ton_cooling")})
_TIME = _folded(
    {
        "s,sec,secs,second,seconds": ("s", "second"),
        "ms": ("ms", "millisecond"),
        "min,mins,minute,minutes": ("min", "minute"),
        "h,hr,hrs,hour,hours": ("h", "hour"),
        "d,day,days": ("d", "day"),
    }
)
_FLOW = _folded(
    {
        "gpm,usgpm,gal/min": ("gpm", "gallon/minute"),
        "l/s,lps": ("L/s", "liter/second"),
        "m3/h,m³/h,cmh": ("m³/h", "meter**3/hour"),
        "m3/s,m³/s": ("m³/s", "meter**3/second"),
        "l/min,lpm": ("L/min", "liter/minute"),
        "cfm,ft3/min": ("cfm", "foot**3/minute"),
    }
)
_FRACTION = _folded(
    {"%,percent,pct": ("%", "percent"), "1": ("", "dimensionless"), "": ("", "dimensionless")}
)
_MASS = _folded(
    {
        "kg": ("kg", "kilogram"),
        "g": ("g", "gram"),
        "lb,lbs": ("lb", "pound"),
        "oz": ("oz", "ounce"),
        "t": ("t", "metric_ton"),
    }
)
_VOLUME = _folded(
    {
        "l,liter,litre,liters,litres": ("L", "liter"),
        "gal,gallon,gallons": ("gal", "gallon"),
        "m3,m³": ("m³", "meter**3"),
        "ft3,ft³": ("ft³", "foot**3"),
    }
)
_SPECIFIC = _folded(
    {
        "kw/ton,kw/tr": ("kW/ton", "kilowatt/ton_cooling"),
        "kw/kw": ("kW/kW", "dimensionless"),
        "": ("", "dimensionless"),
    }
)


def _k(name, si, ip, si_digits=1, ip_digits=1, spellings=None):
    kind = Kind(name, si, ip, si_digits, ip_digits)
    return kind, spellings


_TABLE: list[tuple[Kind, dict[str, Unit]]] = [
    _k("temperature", _C, _F, 1, 1, _TEMPERATURE),
    _k("temperature_difference", _DC, _DF, 2, 2, _DIFFERENCE),
    _k("pressure", _unit("kPa abs", "kilopascal"), _unit("psia", "psi"), 1, 2, _pressures("")),
    _k(
        "gauge_pressure",
        _unit("kPa gauge", "kilopascal", "gauge"),
        _unit("psig", "psi", "gauge"),
        1,
        1,
        _pressures("gauge"),
    ),
    _k(
        "barometer",
        _unit("kPa abs", "kilopascal"),
        _unit("in Hg abs", "inHg"),
        2,
        2,
        _pressures(""),
    ),
    _k(
        "vacuum", _unit("Pa abs", "pascal"), _unit("micron", "micron_mercury"), 1, 0, _pressures("")
    ),
    _k(
        "relative_pressure",
        _unit("kPa gauge", "kilopascal"),
        _unit("psig", "psi"),
        1,
        1,
        {
            k: _unit(u.label, u.pint)
            for k, u in _pressures("gauge").items()
            if not k.endswith(("a", "abs", "absolute", "vac", "vacuum")) or k in _PRESSURE_PLAIN
        },
    ),
    _k(
        "pressure_difference", _unit("kPa", "kilopascal"), _unit("psi", "psi"), 1, 1, _pressures("")
    ),
    _k("pressure_drop", _unit("kPa", "kilopascal"), _unit("ft H2O", "ftH2O"), 1, 1, _pressures("")),
    _k("flow", _unit("L/s", "liter/second"), _unit("gpm", "gallon/minute"), 1, 0, _FLOW),
    _k("air_flow", _unit("m³/s", "meter**3/second"), _unit("cfm", "foot**3/minute"), 2, 0, _FLOW),
    _k("cooling", _unit("kW", "kilowatt"), _unit("ton", "ton_cooling"), 0, 1, _COOLING),
    _k("power", _unit("kW", "kilowatt"), _unit("kW", "kilowatt"), 1, 1, _folded(_WATTS)),
    _k(
        "specific_power",
        _unit("kW/kW", "dimensionless"),
        _unit("kW/ton", "kilowatt/ton_cooling"),
        4,
        3,
        _SPECIFIC,
    ),
    _k("cop", _unit("", "dimensionless"), _unit("", "dimensionless"), 2, 2, _FRACTION),
    _k("ratio", _unit("", "dimensionless"), _unit("", "dimensionless"), 3, 3, _FRACTION),
    _k("count", _unit("", "dimensionless"), _unit("", "dimensionless"), 0, 0, _FRACTION),
    _k("percent", _unit("%", "percent"), _unit("%", "percent"), 1, 1, _FRACTION),
    _k(
        "current",
        _unit("A", "ampere"),
        _unit("A", "ampere"),
        1,
        1,
        _folded(
            {"a,amp,amps": ("A", "ampere"), "ma": ("mA", "milliampere"), "ka": ("kA", "kiloampere")}
        ),
    ),
    _k(
        "voltage",
        _unit("V", "volt"),
        _unit("V", "volt"),
        1,
        1,
        _folded(
            {
                "v,volt,volts,vac,vdc": ("V", "volt"),
                "kv": ("kV", "kilovolt"),
                "mv": ("mV", "millivolt"),
            }
        ),
    ),
    _k(
        "resistance",
        _unit("Ω", "ohm"),
        _unit("Ω", "ohm"),
        1,
        1,
        _folded(
            {
                "ohm,ohms,ω": ("Ω", "ohm"),
                "kohm,kω": ("kΩ", "kiloohm"),
                "mohm,mω,megohm": ("MΩ", "megaohm"),
            }
        ),
    ),
    _k(
        "insulation",
        _unit("MΩ", "megaohm"),
        _unit("MΩ", "megaohm"),
        1,
        1,
        _folded(
            {
                "mohm,mω,megohm,megohms": ("MΩ", "megaohm"),
                "gohm,gω": ("GΩ", "gigaohm"),
                "kohm,kω": ("kΩ", "kiloohm"),
                "ohm,ω": ("Ω", "ohm"),
            }
        ),
    ),
    _k("time", _unit("s", "second"), _unit("s", "second"), 1, 1, _TIME),
    _k("minutes", _unit("min", "minute"), _unit("min", "minute"), 1, 1, _TIME),
    _k("hours", _unit("h", "hour"), _unit("h", "hour"), 1, 1, _TIME),
    _k(
        "frequency",
        _unit("Hz", "hertz"),
        _unit("Hz", "hertz"),
        2,
        2,
        _folded({"hz": ("Hz", "hertz")}),
    ),
    _k(
        "speed",
        _unit("r/min", "revolution/minute"),
        _unit("r/min", "revolution/minute"),
        0,
        0,
        _folded(
            {
                "rpm,r/min,1/min": ("r/min", "revolution/minute"),
                "hz,r/s": ("r/s", "revolution/second"),
            }
        ),
    ),
    _k(
        "vibration",
        _unit("mm/s", "millimeter/second"),
        _unit("in/s", "inch/second"),
        1,
        3,
        _folded({"mm/s": ("mm/s", "millimeter/second"), "in/s,ips": ("in/s", "inch/second")}),
    ),
    _k(
        "length",
        _unit("mm", "millimeter"),
        _unit("in", "inch"),
        2,
        3,
        _folded(
            {
                "mm": ("mm", "millimeter"),
                "µm,um,μm": ("µm", "micrometer"),
                "cm": ("cm", "centimeter"),
                "m": ("m", "meter"),
                "in": ("in", "inch"),
                "mil,mils,thou": ("mil", "thousandth_inch"),
                "ft": ("ft", "foot"),
            }
        ),
    ),
    _k(
        "clearance",
        _unit("mm", "millimeter"),
        _unit("in", "inch"),
        3,
        4,
        _folded(
            {
                "mm": ("mm", "millimeter"),
                "µm,um,μm": ("µm", "micrometer"),
                "in": ("in", "inch"),
                "mil,mils,thou": ("mil", "thousandth_inch"),
            }
        ),
    ),
    _k(
        "elevation",
        _unit("m", "meter"),
        _unit("ft", "foot"),
        0,
        0,
        _folded({"m": ("m", "meter"), "ft": ("ft", "foot"), "km": ("km", "kilometer")}),
    ),
    _k(
        "area",
        _unit("m²", "meter**2"),
        _unit("ft²", "foot**2"),
        1,
        0,
        _folded({"m2,m²": ("m²", "meter**2"), "ft2,ft²,sqft": ("ft²", "foot**2")}),
    ),
    _k("mass", _unit("kg", "kilogram"), _unit("lb", "pound"), 1, 1, _MASS),
    _k("volume", _unit("L", "liter"), _unit("gal", "gallon"), 1, 1, _VOLUME),
    _k("loop_volume", _unit("m³", "meter**3"), _unit("gal", "gallon"), 1, 0, _VOLUME),
    _k(
        "torque",
        _unit("N·m", "newton*meter"),
        _unit("lbf·ft", "pound_force*foot"),
        0,
        0,
        _folded(
            {
                "nm,n·m,n*m": ("N·m", "newton*meter"),
                "lbf·ft,lbft,ftlb,ft-lb,lb-ft,lbf.ft": ("lbf·ft", "pound_force*foot"),
            }
        ),
    ),
    _k(
        "inertia",
        _unit("kg·m²", "kilogram*meter**2"),
        _unit("lb·ft²", "pound*foot**2"),
        2,
        1,
        _folded(
            {
                "kgm2,kg·m²,kg*m2": ("kg·m²", "kilogram*meter**2"),
                "lbft2,lb·ft²,lb*ft2": ("lb·ft²", "pound*foot**2"),
            }
        ),
    ),
    _k(
        "viscosity",
        _unit("mm²/s", "millimeter**2/second"),
        _unit("cSt", "millimeter**2/second"),
        1,
        1,
        _folded({"mm2/s,mm²/s,cst": ("mm²/s", "millimeter**2/second")}),
    ),
    _k(
        "density",
        _unit("kg/m³", "kilogram/meter**3"),
        _unit("lb/ft³", "pound/foot**3"),
        1,
        2,
        _folded(
            {
                "kg/m3,kg/m³": ("kg/m³", "kilogram/meter**3"),
                "lb/ft3,lb/ft³": ("lb/ft³", "pound/foot**3"),
            }
        ),
    ),
    _k(
        "specific_energy",
        _unit("kJ/kg", "kilojoule/kilogram"),
        _unit("Btu/lb", "Btu/pound"),
        2,
        2,
        _folded({"kj/kg": ("kJ/kg", "kilojoule/kilogram"), "btu/lb": ("Btu/lb", "Btu/pound")}),
    ),
    _k(
        "conductance",
        _unit("kW/K", "kilowatt/delta_degC"),
        _unit("kBtu/h·°F", "kiloBtu/hour/delta_degF"),
        1,
        1,
        _folded({"kw/k": ("kW/K", "kilowatt/delta_degC")}),
    ),
    _k(
        "ramp",
        _unit("K/min", "delta_degC/minute"),
        _unit("Δ°F/min", "delta_degF/minute"),
        3,
        3,
        _folded(
            {
                "k/min,°c/min,c/min": ("K/min", "delta_degC/minute"),
                "f/min,°f/min,δ°f/min": ("Δ°F/min", "delta_degF/minute"),
            }
        ),
    ),
    _k(
        "leak_rate",
        _unit("%/a", "percent/year"),
        _unit("%/a", "percent/year"),
        1,
        1,
        _folded({"%/a,%/y,%/year": ("%/a", "percent/year")}),
    ),
    _k(
        "throughput",
        _unit("Pa·m³/s", "pascal*meter**3/second"),
        _unit("atm·cm³/s", "atm_cc/second"),
        4,
        4,
        _folded(
            {
                "pa·m³/s,pam3/s,pa*m3/s": ("Pa·m³/s", "pascal*meter**3/second"),
                "mbar·l/s,mbarl/s,mbar*l/s": ("mbar·L/s", "millibar*liter/second"),
                "atm·cm³/s,atmcc/s,stdcc/s": ("atm·cm³/s", "atm_cc/second"),
            }
        ),
    ),
    _k(
        "yearly_mass",
        _unit("g/a", "gram/year"),
        _unit("oz/yr", "ounce/year"),
        0,
        1,
        _folded(
            {
                "g/a,g/y,g/yr,g/year": ("g/a", "gram/year"),
                "kg/a,kg/y,kg/yr,kg/year": ("kg/a", "kilogram/year"),
                "oz/a,oz/y,oz/yr,oz/year": ("oz/yr", "ounce/year"),
                "lb/a,lb/yr,lb/year": ("lb/yr", "pound/year"),
            }
        ),
    ),
    _k(
        "concentration",
        _unit("ppm", "ppm"),
        _unit("ppm", "ppm"),
        0,
        0,
        _folded({"ppm,ppmv": ("ppm", "ppm"), "%,percent": ("%", "percent")}),
    ),
    _k(
        "sound",
        _unit("dB(A)", "dimensionless"),
        _unit("dB(A)", "dimensionless"),
        0,
        0,
        _folded({"db,dba,db(a),dB(A)": ("dB(A)", "dimensionless")}),
    ),
]
KINDS: dict[str, Kind] = {kind.name: kind for kind, _ in _TABLE}
_SPELLINGS: dict[str, dict[str, Unit]] = {kind.name: table for kind, table in _TABLE}
_BASE: dict[str, Any] = {
    name: Q(1, kind.si.pint).to_base_units().units for name, kind in KINDS.items()
}


def _fold(unit: str) -> str:
    return (
        re.sub(r"[\s_]+", "", unit.replace("₂", "2")).casefold()
        if unit not in ("delta_degC", "delta_degF")
        else unit.casefold()
    )


def kind(name: str) -> Kind:
    """The kind of that name; a `UnitError` names the known ones."""
    try:
        return KINDS[name]
    except KeyError:
        raise UnitError(
            f"no kind of reading is called {name!r}", "units", f"use one of {', '.join(KINDS)}"
        ) from None


def unit_for(spelling: str, kind_name: str, where: str = "") -> Unit:
    """The unit that a typed spelling means for this kind of reading.

    Parameters
    ----------
    spelling : str
        As typed: ``"psig"``, ``"in Hg vac"``, ``"gpm"``, ``"µm Hg"``.
    kind_name : str
        A name in `KINDS`.
    where : str
        Field or file and line, for the error.

    Raises
    ------
    UnitError
        The spelling means nothing, or another dimension.
    """
    chosen = kind(kind_name)
    table = _SPELLINGS[kind_name]
    for unit in (chosen.si, chosen.ip):
        if spelling.strip() == unit.label:
            return unit
    found = table.get(_fold(spelling))
    if found is None:
        shown = (
            " or ".join(dict.fromkeys(u.label for u in (chosen.si, chosen.ip) if u.label))
            or "no unit"
        )
        raise UnitError(
            f"{spelling!r} is not a unit of {kind_name.replace('_', ' ')}", where, f"give {shown}"
        )
    return found


_LEADING = re.compile(
    r"^([+\-−]?(?:\d[\d.,'\u2019]*(?:[   ]\d{3})*(?:[.,]\d+)?|[.,]\d+)(?:[eE][+\-]?\d+)?)\s*(.*)$",
    re.DOTALL,
)
_PLAIN = re.compile(r"-?\d{1,12}(?:\.\d{1,12})?\Z", re.ASCII)
_LONGEST = 200  # characters; more digits than any reading has


def number(text: str, where: str = "") -> float:
    """A number as a person types it: decimal comma or point, blanks or marks between thousands.

    Raises
    ------
    ReadingError
        Not a number, or one that can be read in two ways (``1,234``).

    Examples
    --------
    >>> number("12,5"), number("1 234,5"), number("1,234.5")
    (12.5, 1234.5, 1234.5)
    """
    if _PLAIN.match(text):  # nearly every cell of a long pasted block
        return float(text)
    text = text.strip()
    plain = re.sub(r"[\s'\u2019]", "", text[:_LONGEST]).replace("−", "-")
    if len(text) > _LONGEST or not re.fullmatch(r"[+\-]?[\d.,]*\d[\d.,]*(?:[eE][+\-]?\d+)?", plain):
        raise ReadingError(
            f"{text!r} is not a number",
            where,
            "type digits with a comma or a point as decimal mark",
        )
    value = float(_one_decimal_mark(plain, text, where))
    if not math.isfinite(value):
        raise ReadingError(
            f"{text!r} is too large to be a reading", where, "check the number of digits"
        )
    return value


def _one_decimal_mark(plain: str, text: str, where: str) -> str:
    commas, points = plain.count(","), plain.count(".")
    if commas and points:
        decimal = max(plain.rfind(","), plain.rfind("."))
        whole = plain[:decimal].replace(",", "").replace(".", "")
        if plain.count(plain[decimal]) > 1:
            raise _ambiguous(text, where)
        return whole + "." + plain[decimal + 1 :]
    mark = "," if commas else "."
    if commas + points <= 1:
        if commas and re.fullmatch(r"[+\-]?[1-9]\d{0,2},\d{3}", plain):
            raise _ambiguous(text, where)
        return plain.replace(",", ".")
    if re.fullmatch(rf"[+\-]?\d{{1,3}}(?:{re.escape(mark)}\d{{3}})+", plain):
        return plain.replace(mark, "")
    raise _ambiguous(text, where)


def _ambiguous(text: str, where: str) -> ReadingError:
    return ReadingError(
        f"{text!r} can be read in two ways",
        where,
        "type it without a mark between thousands, or with a point as decimal mark",
    )


def split(text: str) -> tuple[str, str]:
    """A typed reading as (number, unit): ``"60 psig"`` -> ``("60", "psig")``."""
    match = _LEADING.match(text.strip())
    return (match.group(1), match.group(2).strip()) if match else (text.strip(), "")


def parse(
    text: str,
    kind_name: str,
    unit: str = "",
    barometer: pint.Quantity | None = None,
    where: str = "",
) -> pint.Quantity:
    """A typed reading as a quantity; gauge and vacuum readings become absolute pressure.

    p_abs = p_barometer + p_gauge;  p_abs = p_barometer - p_vacuum

    Parameters
    ----------
    text : str
        As typed, with or without a unit; a unit in the text wins over `unit`.
    kind_name : str
        A name in `KINDS`.
    unit : str
        Unit of the field, used if the text has none.
    barometer : pint.Quantity, optional
        [pressure] at the site; needed for gauge and vacuum readings.
    where : str
        Field, cell or file and line, for the error.

    Raises
    ------
    ReadingError
        The text is not a number, or gauge pressure came without a barometer.
    UnitError
        The unit is missing or belongs to another kind of reading.
    """
    digits, typed_unit = split(text)
    value = number(digits, where)
    quantity, chosen = _with_unit(value, text.strip(), kind_name, typed_unit or unit, where)
    return _absolute(quantity, chosen, barometer, where)


def parse_number(
    value: float, kind_name: str, unit: str, barometer: pint.Quantity | None = None, where: str = ""
) -> pint.Quantity:
    """A bare number in a unit as `parse` would read it, but without refusing pressures below a
    perfect vacuum.

    Parameters
    ----------
    value, kind_name, unit, barometer, where
        As in `parse`.
    """
    quantity, chosen = _with_unit(value, f"{value:g}", kind_name, unit, where)
    return _absolute(quantity, chosen, barometer, where, refuse=False)


def _with_unit(
    value: float, text: str, kind_name: str, spelling: str, where: str
) -> tuple[pint.Quantity, Unit]:
    shown = kind(kind_name)
    if not spelling and shown.si.label:
        raise UnitError(
            f"{text!r} has no unit", where, f"add one, such as {shown.si.label} or {shown.ip.label}"
        )
    chosen = unit_for(spelling, kind_name, where)
    return Q(value, chosen.pint), chosen


def _absolute(
    quantity: pint.Quantity,
    unit: Unit,
    barometer: pint.Quantity | None,
    where: str,
    refuse: bool = True,
) -> pint.Quantity:
    if not unit.reference:
        return quantity
    if barometer is None:
        raise ReadingError(
            "gauge pressure cannot be read without the site's barometer",
            where,
            "enter the barometric pressure in the stage Setup",
        )
    signed = quantity if unit.reference == "gauge" else -quantity
    absolute = barometer.to(quantity.units) + signed
    if refuse and absolute.magnitude < 0:
        raise ReadingError(
            "that is below a perfect vacuum at this barometer",
            where,
            "check the reading and its unit",
        )
    return absolute


def magnitude(
    quantity: pint.Quantity,
    kind_name: str,
    system: str = SI,
    barometer: pint.Quantity | None = None,
) -> float:
    """The number to show for a quantity in the unit of its kind.

    Parameters
    ----------
    quantity : pint.Quantity
        Absolute, also where the kind is shown as gauge pressure.
    kind_name, system : str
        Kind and unit system, which fix the unit.
    barometer : pint.Quantity or None
        Absolute pressure at the site; gauge pressure needs it.
    """
    unit = kind(kind_name).unit(system)
    if unit.reference == "gauge":
        if barometer is None:
            raise ReadingError(
                "gauge pressure cannot be shown without the site's barometer",
                "",
                "enter the barometric pressure in the stage Setup",
            )
        quantity = quantity - barometer
    return cast("float", bare(quantity, unit.pint))


def label(kind_name: str, system: str = SI) -> str:
    """The unit printed beside values of this kind, e.g. ``"kPa abs"`` or ``"psia"``."""
    return kind(kind_name).unit(system).label


def show(
    quantity: pint.Quantity | None,
    kind_name: str,
    system: str = SI,
    barometer: pint.Quantity | None = None,
    digits: int | None = None,
    with_unit: bool = True,
) -> str:
    """A quantity as text with its unit, in the person's system of units.

    Parameters
    ----------
    quantity : pint.Quantity or None
        None is "not taken".
    kind_name, system : str
        A name in `KINDS`; `SI` or `IP`.
    barometer : pint.Quantity, optional
        [pressure] at the site; needed where gauge pressure is shown.
    digits, with_unit : int, bool
        Digits after the decimal mark, if not those of the kind; whether the unit follows.

    Examples
    --------
    >>> show(Q(44, "degF"), "temperature"), show(Q(1, "ton_cooling"), "cooling", "I-P")
    ('6.7 °C', '1.0 ton')
    """
    if quantity is None:
        return "not taken"
    places = kind(kind_name).digits(system) if digits is None else digits
    value = magnitude(quantity, kind_name, system, barometer)
    if not math.isfinite(value):
        return "not known"
    text = f"{value:.{places}f}"
    if float(text) == 0:
        text = text.lstrip("-")
    text = text.replace("-", "−", 1) if text.startswith("-") else text
    unit = label(kind_name, system)
    return f"{text} {unit}".strip() if with_unit else text


_DIFFERENCES = {
    "temperature": "temperature_difference",
    **dict.fromkeys(
        ("pressure", "gauge_pressure", "relative_pressure", "barometer"), "pressure_difference"
    ),
}


def difference_kind(kind_name: str) -> str:
    """The kind in which a spread or an uncertainty of this kind is expressed."""
    return _DIFFERENCES.get(kind_name, kind_name)


# --- the door of the science floor -----------------------------------------------------------


def _to_si(value: Any, unit: str, name: str, function: str) -> Any:
    """The bare SI magnitude of one argument, or an error that names it."""
    where = f"{function}({name})"
    if value is None:
        return None
    if not isinstance(value, pint.Quantity):
        if unit == "dimensionless":
            return value
        raise UnitError(
            f"a bare number stands where [{unit}] is due",
            where,
            f"give a quantity such as Q(1, {unit!r})",
        )
    if unit.startswith("delta_") and is_temperature(value.units):
        raise UnitError(
            "a temperature stands where a temperature difference is due",
            where,
            "give delta_degC or delta_degF",
        )
    if unit == "kelvin" and is_temperature_difference(value.units):
        raise UnitError(
            "a temperature difference stands where a temperature is due",
            where,
            "give degC, degF or kelvin",
        )
    try:
        return bare(value, unit)
    except pint.DimensionalityError:
        raise UnitError(
            f"{value.units:~P} cannot be read as [{unit}]", where, f"give a quantity of [{unit}]"
        ) from None


def _wrap(result: Any, returns: Any) -> Any:
    if returns is None or result is None:
        return result
    if isinstance(returns, str):
        return Q(result, returns)
    if isinstance(returns, tuple):
        return tuple(_wrap(part, unit) for part, unit in zip(result, returns, strict=True))
    if isinstance(returns, dict) and is_dataclass(result) and not isinstance(result, type):
        known = {f.name for f in fields(result)}
        return replace(
            result, **{n: _wrap(getattr(result, n), u) for n, u in returns.items() if n in known}
        )
    raise TypeError(f"cannot wrap {type(result).__name__} as {returns!r}")


class Formula(Protocol[P, R]):
    """A function that takes and gives quantities, and its body on bare SI values."""

    si: Callable[P, R]
    units: dict[str, Any]

    def __call__(self, *args: Any, **kwargs: Any) -> Any: ...


def quantities(returns: Any = None, **arguments: str) -> Callable[[Callable[P, R]], Formula[P, R]]:
    """Check units at the door and run the body on bare SI numbers or arrays.

    The bare body stays reachable as ``function.si``.

    Parameters
    ----------
    returns : str, tuple of str, dict of field -> str, or None
        Unit of the result; a dict names the fields of a frozen dataclass that carry units.
    **arguments : str
        Unit of each argument in the body; ``"delta_degC"`` marks a temperature difference,
        ``"kelvin"`` a temperature. Arguments not named pass untouched.

    Raises
    ------
    UnitError
        A bare number, another dimension, or a temperature where a difference is due.
    """

    def decorate(body: Callable[P, R]) -> Formula[P, R]:
        signature = inspect.signature(body)
        unknown = set(arguments) - set(signature.parameters)
        if unknown:
            raise TypeError(f"{body.__name__} has no argument {sorted(unknown)}")

        @functools.wraps(body)
        def checked(*args: Any, **kwargs: Any) -> Any:
            bound = signature.bind(*args, **kwargs)
            for name, unit in arguments.items():
                if name in bound.arguments:
                    bound.arguments[name] = _to_si(bound.arguments[name], unit, name, body.__name__)
            return _wrap(body(*bound.args, **bound.kwargs), returns)

        door = cast("Formula[P, R]", checked)
        door.si, door.units = body, {"returns": returns, **arguments}
        return door

    return decorate
