"""Spellings: what a technician types for a unit, and the unit that it means."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Unit:
    """A unit as it is shown: its printed label, pint's name, and how pressure is referred."""

    label: str
    pint: str
    reference: str = ""  # "", "gauge" or "vacuum"


CELSIUS, FAHRENHEIT = Unit("°C", "degC"), Unit("°F", "degF")
DELTA_C, DELTA_F = Unit("K", "delta_degC"), Unit("Δ°F", "delta_degF")


# Spelling tables: what is typed (folded: lower case, no blanks) -> how it is understood.
TEMPERATURE = {
    "c": CELSIUS,
    "°c": CELSIUS,
    "degc": CELSIUS,
    "f": FAHRENHEIT,
    "°f": FAHRENHEIT,
    "degf": FAHRENHEIT,
    "k": Unit("K", "kelvin"),
}
DIFFERENCE = {
    "k": DELTA_C,
    "c": DELTA_C,
    "°c": DELTA_C,
    "degc": DELTA_C,
    "delta_degc": DELTA_C,
    "f": DELTA_F,
    "°f": DELTA_F,
    "degf": DELTA_F,
    "δ°f": DELTA_F,
    "df": DELTA_F,
    "δf": DELTA_F,
    "delta_degf": DELTA_F,
    "r": DELTA_F,
    "δ°c": DELTA_C,
    "dc": DELTA_C,
}
PRESSURES = {
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


def pressures(default_reference: str) -> dict[str, Unit]:
    """Spellings of pressure, absolute, gauge and vacuum; a unit alone means `default_reference`."""
    table: dict[str, Unit] = {}
    for typed, name in PRESSURES.items():
        label = _LABELS[name]
        table[typed] = Unit(
            label if not default_reference else label + " gauge", name, default_reference
        )
        for suffix in ("g", "(g)", "gauge", "ga"):
            table[typed + suffix] = Unit(label + " gauge", name, "gauge")
        for suffix in ("a", "(a)", "abs", "absolute"):
            table[typed + suffix] = Unit(label + " abs", name)
        for suffix in ("vac", "vacuum", "(vac)"):
            table[typed + suffix] = Unit(label + " vac", name, "vacuum")
    for typed in ("micron", "microns", "umhg", "µmhg", "μmhg", "mtorr"):
        table[typed] = Unit("micron", "micron_mercury")
    return table


def folded(units: dict[str, tuple[str, str]]) -> dict[str, Unit]:
    """{"typed, typed": (label, pint name)} -> one entry for each spelling."""
    return {
        typed.strip(): Unit(*unit)
        for typed_all, unit in units.items()
        for typed in typed_all.split(",")
    }


WATTS = {
    "w": ("W", "watt"),
    "kw": ("kW", "kilowatt"),
    "mw": ("MW", "megawatt"),
    "hp": ("hp", "horsepower"),
    "btu/h,btuh,btu/hr": ("Btu/h", "Btu/hour"),
    "mbh": ("kBtu/h", "kiloBtu/hour"),
}
COOLING = folded({**WATTS, "ton,tons,tr,rt,tonr,usrt": ("ton", "ton_cooling")})
TIME = folded(
    {
        "s,sec,secs,second,seconds": ("s", "second"),
        "ms": ("ms", "millisecond"),
        "min,mins,minute,minutes": ("min", "minute"),
        "h,hr,hrs,hour,hours": ("h", "hour"),
        "d,day,days": ("d", "day"),
    }
)
FLOW = folded(
    {
        "gpm,usgpm,gal/min": ("gpm", "gallon/minute"),
        "l/s,lps": ("L/s", "liter/second"),
        "m3/h,m³/h,cmh": ("m³/h", "meter**3/hour"),
        "m3/s,m³/s": ("m³/s", "meter**3/second"),
        "l/min,lpm": ("L/min", "liter/minute"),
        "cfm,ft3/min": ("cfm", "foot**3/minute"),
    }
)
FRACTION = folded(
    {"%,percent,pct": ("%", "percent"), "1": ("", "dimensionless"), "": ("", "dimensionless")}
)
MASS = folded(
    {
        "kg": ("kg", "kilogram"),
        "g": ("g", "gram"),
        "lb,lbs": ("lb", "pound"),
        "oz": ("oz", "ounce"),
        "t": ("t", "metric_ton"),
    }
)
VOLUME = folded(
    {
        "l,liter,litre,liters,litres": ("L", "liter"),
        "gal,gallon,gallons": ("gal", "gallon"),
        "m3,m³": ("m³", "meter**3"),
        "ft3,ft³": ("ft³", "foot**3"),
    }
)
SPECIFIC = folded(
    {
        "kw/ton,kw/tr": ("kW/ton", "kilowatt/ton_cooling"),
        "kw/kw": ("kW/kW", "dimensionless"),
        "": ("", "dimensionless"),
    }
)
