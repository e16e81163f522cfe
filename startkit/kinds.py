"""Kinds of reading: the unit shown in SI and in I-P, the decimals, and the spellings understood.

A kind is the sort of reading that a field holds (``"oil_differential"`` is a field,
``"pressure_difference"`` its kind).
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from startkit.errors import UnitError
from startkit.spellings import (
    CELSIUS,
    COOLING,
    DELTA_C,
    DELTA_F,
    DIFFERENCE,
    FAHRENHEIT,
    FLOW,
    FRACTION,
    MASS,
    PRESSURES,
    SPECIFIC,
    TEMPERATURE,
    TIME,
    VOLUME,
    WATTS,
    Unit,
    folded,
    pressures,
)

SI, IP = "SI", "I-P"
SYSTEMS = (SI, IP)


@dataclass(frozen=True)
class Kind:
    """What sort of reading: name, unit shown in SI and I-P with decimals."""

    name: str
    si: Unit
    ip: Unit
    si_digits: int = 1
    ip_digits: int = 1

    def unit(self, system: str) -> Unit:
        return self.ip if system == IP else self.si

    def digits(self, system: str) -> int:
        return self.ip_digits if system == IP else self.si_digits


def _k(
    name: str,
    si: Unit,
    ip: Unit,
    si_digits: int,
    ip_digits: int,
    spellings: dict[str, Unit],
) -> tuple[Kind, dict[str, Unit]]:
    return Kind(name, si, ip, si_digits, ip_digits), spellings


_TABLE: list[tuple[Kind, dict[str, Unit]]] = [
    _k("temperature", CELSIUS, FAHRENHEIT, 1, 1, TEMPERATURE),
    _k("temperature_difference", DELTA_C, DELTA_F, 2, 2, DIFFERENCE),
    _k("pressure", Unit("kPa abs", "kilopascal"), Unit("psia", "psi"), 1, 2, pressures("")),
    _k(
        "gauge_pressure",
        Unit("kPa gauge", "kilopascal", "gauge"),
        Unit("psig", "psi", "gauge"),
        1,
        1,
        pressures("gauge"),
    ),
    _k(
        "barometer",
        Unit("kPa abs", "kilopascal"),
        Unit("in Hg abs", "inHg"),
        2,
        2,
        pressures(""),
    ),
    _k("vacuum", Unit("Pa abs", "pascal"), Unit("micron", "micron_mercury"), 1, 0, pressures("")),
    _k(
        "relative_pressure",
        Unit("kPa gauge", "kilopascal"),
        Unit("psig", "psi"),
        1,
        1,
        {
            k: Unit(u.label, u.pint)
            for k, u in pressures("gauge").items()
            if not k.endswith(("a", "abs", "absolute", "vac", "vacuum")) or k in PRESSURES
        },
    ),
    _k("pressure_difference", Unit("kPa", "kilopascal"), Unit("psi", "psi"), 1, 1, pressures("")),
    _k("pressure_drop", Unit("kPa", "kilopascal"), Unit("ft H2O", "ftH2O"), 1, 1, pressures("")),
    _k("flow", Unit("L/s", "liter/second"), Unit("gpm", "gallon/minute"), 1, 0, FLOW),
    _k("air_flow", Unit("m³/s", "meter**3/second"), Unit("cfm", "foot**3/minute"), 2, 0, FLOW),
    _k("cooling", Unit("kW", "kilowatt"), Unit("ton", "ton_cooling"), 0, 1, COOLING),
    _k("power", Unit("kW", "kilowatt"), Unit("kW", "kilowatt"), 1, 1, folded(WATTS)),
    _k(
        "specific_power",
        Unit("kW/kW", "dimensionless"),
        Unit("kW/ton", "kilowatt/ton_cooling"),
        4,
        3,
        SPECIFIC,
    ),
    _k("cop", Unit("", "dimensionless"), Unit("", "dimensionless"), 2, 2, FRACTION),
    _k("ratio", Unit("", "dimensionless"), Unit("", "dimensionless"), 3, 3, FRACTION),
    _k("count", Unit("", "dimensionless"), Unit("", "dimensionless"), 0, 0, FRACTION),
    _k("percent", Unit("%", "percent"), Unit("%", "percent"), 1, 1, FRACTION),
    _k(
        "current",
        Unit("A", "ampere"),
        Unit("A", "ampere"),
        1,
        1,
        folded(
            {"a,amp,amps": ("A", "ampere"), "ma": ("mA", "milliampere"), "ka": ("kA", "kiloampere")}
        ),
    ),
    _k(
        "voltage",
        Unit("V", "volt"),
        Unit("V", "volt"),
        1,
        1,
        folded(
            {
                "v,volt,volts,vac,vdc": ("V", "volt"),
                "kv": ("kV", "kilovolt"),
                "mv": ("mV", "millivolt"),
            }
        ),
    ),
    _k(
        "resistance",
        Unit("Ω", "ohm"),
        Unit("Ω", "ohm"),
        1,
        1,
        folded(
            {
                "ohm,ohms,ω": ("Ω", "ohm"),
                "kohm,kω": ("kΩ", "kiloohm"),
                "mohm,mω,megohm": ("MΩ", "megaohm"),
            }
        ),
    ),
    _k(
        "insulation",
        Unit("MΩ", "megaohm"),
        Unit("MΩ", "megaohm"),
        1,
        1,
        folded(
            {
                "mohm,mω,megohm,megohms": ("MΩ", "megaohm"),
                "gohm,gω": ("GΩ", "gigaohm"),
                "kohm,kω": ("kΩ", "kiloohm"),
                "ohm,ω": ("Ω", "ohm"),
            }
        ),
    ),
    _k("time", Unit("s", "second"), Unit("s", "second"), 1, 1, TIME),
    _k("minutes", Unit("min", "minute"), Unit("min", "minute"), 1, 1, TIME),
    _k("hours", Unit("h", "hour"), Unit("h", "hour"), 1, 1, TIME),
    _k(
        "frequency",
        Unit("Hz", "hertz"),
        Unit("Hz", "hertz"),
        2,
        2,
        folded({"hz": ("Hz", "hertz")}),
    ),
    _k(
        "speed",
        Unit("r/min", "revolution/minute"),
        Unit("r/min", "revolution/minute"),
        0,
        0,
        folded(
            {
                "rpm,r/min,1/min": ("r/min", "revolution/minute"),
                "hz,r/s": ("r/s", "revolution/second"),
            }
        ),
    ),
    _k(
        "vibration",
        Unit("mm/s", "millimeter/second"),
        Unit("in/s", "inch/second"),
        1,
        3,
        folded({"mm/s": ("mm/s", "millimeter/second"), "in/s,ips": ("in/s", "inch/second")}),
    ),
    _k(
        "length",
        Unit("mm", "millimeter"),
        Unit("in", "inch"),
        2,
        3,
        folded(
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
        Unit("mm", "millimeter"),
        Unit("in", "inch"),
        3,
        4,
        folded(
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
        Unit("m", "meter"),
        Unit("ft", "foot"),
        0,
        0,
        folded({"m": ("m", "meter"), "ft": ("ft", "foot"), "km": ("km", "kilometer")}),
    ),
    _k(
        "area",
        Unit("m²", "meter**2"),
        Unit("ft²", "foot**2"),
        1,
        0,
        folded({"m2,m²": ("m²", "meter**2"), "ft2,ft²,sqft": ("ft²", "foot**2")}),
    ),
    _k("mass", Unit("kg", "kilogram"), Unit("lb", "pound"), 1, 1, MASS),
    _k("volume", Unit("L", "liter"), Unit("gal", "gallon"), 1, 1, VOLUME),
    _k("loop_volume", Unit("m³", "meter**3"), Unit("gal", "gallon"), 1, 0, VOLUME),
    _k(
        "torque",
        Unit("N·m", "newton*meter"),
        Unit("lbf·ft", "pound_force*foot"),
        0,
        0,
        folded(
            {
                "nm,n·m,n*m": ("N·m", "newton*meter"),
                "lbf·ft,lbft,ftlb,ft-lb,lb-ft,lbf.ft": ("lbf·ft", "pound_force*foot"),
            }
        ),
    ),
    _k(
        "inertia",
        Unit("kg·m²", "kilogram*meter**2"),
        Unit("lb·ft²", "pound*foot**2"),
        2,
        1,
        folded(
            {
                "kgm2,kg·m²,kg*m2": ("kg·m²", "kilogram*meter**2"),
                "lbft2,lb·ft²,lb*ft2": ("lb·ft²", "pound*foot**2"),
            }
        ),
    ),
    _k(
        "viscosity",
        Unit("mm²/s", "millimeter**2/second"),
        Unit("cSt", "millimeter**2/second"),
        1,
        1,
        folded({"mm2/s,mm²/s,cst": ("mm²/s", "millimeter**2/second")}),
    ),
    _k(
        "density",
        Unit("kg/m³", "kilogram/meter**3"),
        Unit("lb/ft³", "pound/foot**3"),
        1,
        2,
        folded(
            {
                "kg/m3,kg/m³": ("kg/m³", "kilogram/meter**3"),
                "lb/ft3,lb/ft³": ("lb/ft³", "pound/foot**3"),
            }
        ),
    ),
    _k(
        "specific_energy",
        Unit("kJ/kg", "kilojoule/kilogram"),
        Unit("Btu/lb", "Btu/pound"),
        2,
        2,
        folded({"kj/kg": ("kJ/kg", "kilojoule/kilogram"), "btu/lb": ("Btu/lb", "Btu/pound")}),
    ),
    _k(
        "conductance",
        Unit("kW/K", "kilowatt/delta_degC"),
        Unit("kBtu/h·°F", "kiloBtu/hour/delta_degF"),
        1,
        1,
        folded({"kw/k": ("kW/K", "kilowatt/delta_degC")}),
    ),
    _k(
        "ramp",
        Unit("K/min", "delta_degC/minute"),
        Unit("Δ°F/min", "delta_degF/minute"),
        3,
        3,
        folded(
            {
                "k/min,°c/min,c/min": ("K/min", "delta_degC/minute"),
                "f/min,°f/min,δ°f/min": ("Δ°F/min", "delta_degF/minute"),
            }
        ),
    ),
    _k(
        "leak_rate",
        Unit("%/a", "percent/year"),
        Unit("%/a", "percent/year"),
        1,
        1,
        folded({"%/a,%/y,%/year": ("%/a", "percent/year")}),
    ),
    _k(
        "throughput",
        Unit("Pa·m³/s", "pascal*meter**3/second"),
        Unit("atm·cm³/s", "atm_cc/second"),
        4,
        4,
        folded(
            {
                "pa·m³/s,pam3/s,pa*m3/s": ("Pa·m³/s", "pascal*meter**3/second"),
                "mbar·l/s,mbarl/s,mbar*l/s": ("mbar·L/s", "millibar*liter/second"),
                "atm·cm³/s,atmcc/s,stdcc/s": ("atm·cm³/s", "atm_cc/second"),
            }
        ),
    ),
    _k(
        "yearly_mass",
        Unit("g/a", "gram/year"),
        Unit("oz/yr", "ounce/year"),
        0,
        1,
        folded(
            {
                "g/a,g/y,g/yr,g/year": ("g/a", "gram/year"),
                "kg/a,kg/y,kg/yr,kg/year": ("kg/a", "kilogram/year"),
                "oz/a,oz/y,oz/yr,oz/year": ("oz/yr", "ounce/year"),
                "lb/a,lb/yr,lb/year": ("lb/yr", "pound/year"),
            }
        ),
    ),
    _k(
        "yearly_loss",
        Unit("kg/a", "kilogram/year"),
        Unit("lb/yr", "pound/year"),
        1,
        1,
        folded(
            {
                "kg/a,kg/y,kg/yr,kg/year": ("kg/a", "kilogram/year"),
                "lb/a,lb/yr,lb/year": ("lb/yr", "pound/year"),
            }
        ),
    ),
    _k(
        "concentration",
        Unit("ppm", "ppm"),
        Unit("ppm", "ppm"),
        0,
        0,
        folded({"ppm,ppmv": ("ppm", "ppm"), "%,percent": ("%", "percent")}),
    ),
    _k(
        "sound",
        Unit("dB(A)", "dimensionless"),
        Unit("dB(A)", "dimensionless"),
        0,
        0,
        folded({"db,dba,db(a),dB(A)": ("dB(A)", "dimensionless")}),
    ),
]
KINDS: dict[str, Kind] = {kind.name: kind for kind, _ in _TABLE}
SPELLINGS: dict[str, dict[str, Unit]] = {kind.name: table for kind, table in _TABLE}


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
    table = SPELLINGS[kind_name]
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


_DIFFERENCES = {
    "temperature": "temperature_difference",
    **dict.fromkeys(
        ("pressure", "gauge_pressure", "relative_pressure", "barometer"), "pressure_difference"
    ),
}


def difference_kind(kind_name: str) -> str:
    """The kind in which a spread or an uncertainty of this kind is expressed."""
    return _DIFFERENCES.get(kind_name, kind_name)
